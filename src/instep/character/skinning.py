"""Linear blend skinning. Source: glTF 2.0, 3.7.3: a vertex goes where the weighted sum of its joints' changes
takes it.

With ``A_j x + t_j`` the change of joint j, ``sum_j w_j (A_j x + t_j)`` is linear in the 12 numbers of each
change: one sparse matrix of w x, w y, w z, w at each vertex and joint, made once, times the changes of all
poses. Measured on one core: see `benchmarks/`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy import sparse

from instep.character.arrays import FloatArray, IntArray
from instep.character.mesh import Mesh
from instep.character.pose import Poses
from instep.character.skeleton import Skeleton
from instep.character.skinning_native import skin_natively

FRAMES: Final = 32
VERTICES: Final = 2048
"""Poses and vertices in one step: its 1.6 MB of positions stay in a core's cache while they are put in order.
On stocky.glb, 240 poses, an idle core: 83 M vertices x poses a second; all vertices at once with 64 poses
53; a plain einsum 5. The sparse product alone runs at 270, writing the result takes the rest."""


def skin_vertices(
    mesh: Mesh,
    skeleton: Skeleton,
    poses: Poses,
    vertices: Sequence[int] | IntArray | None = None,
    *,
    native: bool | None = None,
    threads: int | None = None,
    out: FloatArray | None = None,
) -> FloatArray:
    """(N, V, 3) positions of chosen vertices (all, where `vertices` is None) in N poses, in the world.

    Parameters
    ----------
    native : whether compiled code does it, where there is a compiler: False never, True always, None where it pays. The
        results are the same to 1e-12 of the character's size. INSTEP_NATIVE=0 turns it off for all.
    threads : at most so many; None for as many as there are cores. Only compiled code uses more than one.
    out : a C-contiguous (N, V, 3) array to fill and return, instead of a new one.
    """
    rows = np.arange(len(mesh)) if vertices is None else np.asarray(vertices, dtype=np.int64)
    done = skin_natively(mesh, skeleton, poses, rows, native=native, threads=threads, out=out)
    return _skin_with_numpy(mesh, skeleton, poses, rows, out) if done is None else done


def _skin_with_numpy(
    mesh: Mesh, skeleton: Skeleton, poses: Poses, rows: IntArray, out: FloatArray | None
) -> FloatArray:
    blend = _blend_matrix(mesh, len(skeleton), rows)
    used = np.unique(mesh.joints[rows])
    blend = blend[:, (used[:, None] * 4 + np.arange(4)).ravel()]
    slabs = [(first, blend[first : first + VERTICES]) for first in range(0, len(rows), VERTICES)]
    skinned = np.empty((len(poses), len(rows), 3)) if out is None else out
    for first in range(0, len(poses), FRAMES):
        block = slice(first, first + FRAMES)
        part = Poses(poses.rotation[block], poses.position[block], poses.scale[block])
        changes = part.changes(skeleton)[:, used]
        stacked = np.ascontiguousarray(changes.transpose(1, 3, 0, 2)).reshape(len(used) * 4, len(changes) * 3)
        for at, slab in slabs:
            moved = np.asarray(slab @ stacked).reshape(slab.shape[0], len(changes), 3)
            skinned[block, at : at + VERTICES] = moved.transpose(1, 0, 2)
    return skinned


def _blend_matrix(mesh: Mesh, joints: int, rows: IntArray) -> sparse.csr_array:
    """(V, 4 J): at vertex v and joint j the four numbers w x, w y, w z, w."""
    weights = mesh.weights[rows]
    homogeneous = np.concatenate([mesh.positions[rows], np.ones((len(rows), 1))], axis=1)
    values = weights[:, :, None] * homogeneous[:, None, :]
    columns = mesh.joints[rows][:, :, None] * 4 + np.arange(4)
    kept = np.broadcast_to(weights[:, :, None] != 0, values.shape)
    lines = np.broadcast_to(np.arange(len(rows))[:, None, None], values.shape)
    places = (lines[kept].astype(np.int32), columns[kept].astype(np.int32))
    return sparse.csr_array(sparse.coo_array((values[kept], places), shape=(len(rows), 4 * joints)))
