"""Poses as changes from the bind pose, and what follows from them: matrices, local transforms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character.arrays import FloatArray
from instep.character.skeleton import Skeleton
from instep.errors import CharacterError


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """N poses of J joints, each joint as a change from its bind pose, in world axes.

    A point x that is fixed to joint j in the bind pose stands at ``scale R_j (x - bind_j) + position_j``.
    In the bind pose every rotation is the identity and every position is the bind position: which way a
    model's joints happen to be turned never matters.

    Attributes
    ----------
    rotation : (N, J, 4) unit quaternions w, x, y, z.
    position : (N, J, 3) joint positions in the world.
    scale : (N,) uniform scale of the whole character.
    """

    rotation: FloatArray
    position: FloatArray
    scale: FloatArray

    def __len__(self) -> int:
        return len(self.rotation)

    def changes(self, skeleton: Skeleton) -> FloatArray:
        """(N, J, 3, 4) ``[A | t]``: a point x of joint j in the bind pose goes to ``A x + t``."""
        linear = rotation_matrices(self.rotation) * self.scale[:, None, None, None]
        offset = self.position - np.einsum("njab,jb->nja", linear, skeleton.positions)
        return np.concatenate([linear, offset[..., None]], axis=-1)

    def world(self, skeleton: Skeleton) -> FloatArray:
        """(N, J, 4, 4) ``T_world_joint``, with the bind pose's own scale and axes."""
        change = np.zeros((*self.rotation.shape[:2], 4, 4))
        change[..., :3, :] = self.changes(skeleton)
        change[..., 3, 3] = 1.0
        return np.asarray(change @ skeleton.bind, dtype=np.float64)


def rotation_matrices(quaternions: FloatArray) -> FloatArray:
    """(..., 3, 3) rotation matrices of unit quaternions (..., 4) in the order w, x, y, z."""
    w, x, y, z = np.moveaxis(quaternions, -1, 0)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


def local_matrices(skeleton: Skeleton, world: FloatArray) -> FloatArray:
    """(N, J, 4, 4) transforms of joints as their file writes them, from (N, J, 4, 4) in the world."""
    has_parent = skeleton.parents >= 0
    T_world_link = np.broadcast_to(skeleton.link, world.shape).copy()
    T_world_link[:, has_parent] = world[:, skeleton.parents[has_parent]] @ skeleton.link[has_parent]
    return np.asarray(np.linalg.solve(T_world_link, world), dtype=np.float64)


def split_transforms(matrices: FloatArray, where: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Translation (..., 3), rotation (..., 4) w, x, y, z and scale (..., 3) of matrices (..., 4, 4).

    Raises CharacterError where a matrix shears or mirrors, since glTF cannot write such a transform
    (glTF 2.0, 3.6.2); `where` names the file.
    """
    linear = matrices[..., :3, :3]
    scale = np.linalg.norm(linear, axis=-2)
    rotation = linear / scale[..., None, :]
    shear = np.abs(np.swapaxes(rotation, -1, -2) @ rotation - np.eye(3)).max(initial=0.0)
    if shear > 1e-4 or np.any(np.linalg.det(rotation) < 0):
        raise CharacterError(
            "a joint would have to be sheared or mirrored to hold this pose",
            where=where,
            expected="joints whose scale is the same along all three axes",
            cure="Apply the scale in the modelling program and export again",
        )
    from scipy.spatial.transform import Rotation

    flat = Rotation.from_matrix(rotation.reshape(-1, 3, 3)).as_quat(scalar_first=True)
    return matrices[..., :3, 3], flat.reshape(*rotation.shape[:-2], 4), scale
