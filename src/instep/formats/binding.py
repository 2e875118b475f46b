"""Where the skin was attached: bind poses from inverse bind matrices. Source: glTF 2.0, 3.7.3.

For a joint j with rest transform G_j and inverse bind matrix B_j, a vertex v (mesh space) goes to
``G_j B_j v``. In the bind pose that is the same matrix M for all joints: M takes mesh space to the world, and
``T_world_joint = M inv(B_j)``. Where the file's rest pose is the bind pose, M can be read off any joint. Where
it is another pose (a frame of a clip), only the joints that stand as they stood when the skin was attached
still show M; the file does not say which. `mesh_to_world` states the rule by which M is then chosen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.tolerances import BIND_AGREEMENT, BIND_NOISE

FAR_TURN_RAD: Final = np.radians(40.0)
"""A transform that is turned further than this from the mean of the joints is not taken for mesh space: half of
the way between two of the quarter turns that exporters make is 45 degrees, and a frame of a clip turns the body
as a whole by less."""

FAR_SCALE: Final = 0.1
"""Fraction by which a candidate's scale may differ from the joints' median."""


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """Mesh space in the world.

    `M` is (4, 4); `agreeing` (J,) says which joints stand in the rest pose as they stood when the skin was
    attached; `how` says how M was chosen.
    """

    M: FloatArray
    agreeing: BoolArray
    how: str


def _corners(bind_positions: FloatArray) -> tuple[FloatArray, float]:
    """(8, 4) corners of a box around the joints, in mesh space, and its diagonal."""
    low, high = bind_positions.min(axis=0), bind_positions.max(axis=0)
    diagonal = float(np.linalg.norm(high - low)) or 1.0
    middle, half = (low + high) / 2, np.maximum((high - low) / 2, diagonal / 4)
    signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    return np.concatenate([middle + signs * half, np.ones((8, 1))], axis=1), diagonal


def _scale(matrices: FloatArray) -> FloatArray:
    return np.asarray(np.cbrt(np.abs(np.linalg.det(matrices[..., :3, :3]))), dtype=np.float64)


def _rounded(scale: float) -> float:
    """The power of ten that a scale misses by rounding alone, or the scale: units differ by powers of ten."""
    nearest = float(10.0 ** np.round(np.log10(scale)))
    return nearest if abs(scale / nearest - 1) < BIND_AGREEMENT else scale


def _turn(matrix: FloatArray) -> FloatArray:
    """Nearest rotation of the 3 x 3 part."""
    u, _, vt = np.linalg.svd(matrix[..., :3, :3])
    flip = np.sign(np.linalg.det(u @ vt))
    u[..., :, -1] *= flip[..., None]
    return np.asarray(u @ vt, dtype=np.float64)


def _angle(a: FloatArray, b: FloatArray) -> float:
    return float(np.arccos(np.clip((np.trace(a.T @ b) - 1) / 2, -1, 1)))


def quarter_turns() -> FloatArray:
    """(24, 4, 4) rotations that take axes to axes, the identity first, small turns before large ones."""
    found = []
    for axes in [(0, 1, 2), (1, 2, 0), (2, 0, 1), (0, 2, 1), (2, 1, 0), (1, 0, 2)]:
        for signs in [(x, y, z) for x in (1, -1) for y in (1, -1) for z in (1, -1)]:
            R = np.zeros((3, 3))
            R[list(axes), range(3)] = signs
            if np.linalg.det(R) > 0:
                found.append(R)
    found.sort(key=lambda R: -round(float(np.trace(R))))
    turns = np.tile(np.eye(4), (24, 1, 1))
    turns[:, :3, :3] = found
    return turns


def mesh_to_world(
    rest: FloatArray,
    inverse_bind: FloatArray,
    parents: IntArray,
    candidates: Sequence[tuple[str, FloatArray]],
) -> Placement:
    """Find M, which takes a skin's mesh space to the world.

    The rule, first that holds:

    1. All joints agree on ``G_j B_j`` (within BIND_AGREEMENT of the skeleton's size): M is that matrix.
    2. More than half of all joints agree with the skin's first joint (its topmost one): M is their matrix.
    3. The first of `candidates`, then of the quarter turns at the joints' scale, whose rotation lies within
       FAR_TURN_RAD of the joints' mean (each joint counts by the length of the bone above it, so that a
       hand's fingers do not outvote a leg) and whose scale lies within FAR_SCALE of their median, and that
       neither mirrors nor shears.
    4. The matrix of the topmost joint.

    A matrix that lies within BIND_NOISE of a candidate or of a quarter turn is taken to be just that.

    Parameters
    ----------
    rest, inverse_bind : (J, 4, 4) of the skin's joints, parents first, as float64.
    parents : (J,) index within the skin of the nearest joint above, -1 where there is none.
    candidates : (how, matrix) in the order in which they are tried.
    """
    each = rest @ inverse_bind
    bind_positions = np.asarray(np.linalg.inv(inverse_bind)[:, :3, 3], dtype=np.float64)
    corners, diagonal = _corners(bind_positions)
    shown = each @ corners.T  # (J, 4, 8)
    size = float(np.median(_scale(each))) * diagonal
    turned = quarter_turns()
    turned[:, :3, :3] *= _rounded(float(np.median(_scale(each))))
    exact: list[FloatArray] = [*(M for _, M in candidates), *turned]

    def cleaned(M: FloatArray) -> FloatArray:
        for known in exact:
            if np.abs((M - known) @ corners.T).max() <= BIND_NOISE * size:
                return known
        return M

    def near(M: FloatArray) -> BoolArray:
        gap = np.linalg.norm((shown - M @ corners.T)[:, :3], axis=1).max(axis=1)
        return np.asarray(gap <= BIND_AGREEMENT * size, dtype=np.bool_)

    mean = each.mean(axis=0)
    if near(mean).all():
        M = cleaned(mean)
        return Placement(M, near(M), "all joints agree")
    with_first = near(each[0])
    if 2 * with_first.sum() > len(each):
        M = cleaned(each[with_first].mean(axis=0))
        return Placement(M, near(M), f"the {with_first.sum()} joints that agree with the topmost one")

    bone = np.where(parents >= 0, np.linalg.norm(bind_positions - bind_positions[parents], axis=1), 0.0)
    if bone.sum() == 0:
        bone = np.ones(len(each))
    middle = _turn(np.einsum("j,jab->ab", bone, _turn(each)))
    scale = float(np.median(_scale(each)))
    tries = [*candidates, *(("a quarter turn", M) for M in turned)]
    for how, M in tries:
        own = float(_scale(M))
        if abs(own / scale - 1) > FAR_SCALE or np.linalg.det(M[:3, :3]) <= 0:
            continue
        R = M[:3, :3] / own
        if np.abs(R.T @ R - np.eye(3)).max() < 1e-3 and _angle(_turn(M), middle) < FAR_TURN_RAD:
            return Placement(M, near(M), how)
    return Placement(each[0], near(each[0]), "the topmost joint")


def mesh_to_known_bind(bind: FloatArray, inverse_bind: FloatArray, size: float) -> tuple[FloatArray, float, BoolArray]:
    """M of a second skin from joints whose bind transforms are known: the ``T_world_joint B_j`` most agree on.

    Returns M, the largest distance (in the file's unit) by which a joint disagrees, and which joints agree.
    """
    each = bind @ inverse_bind
    corners, _ = _corners(np.asarray(np.linalg.inv(inverse_bind)[:, :3, 3], dtype=np.float64))
    shown = (each @ corners.T)[:, :3]
    gaps = np.linalg.norm(shown[:, None] - shown[None], axis=2).max(axis=2)
    agreeing = gaps <= BIND_AGREEMENT * size
    most = int(agreeing.sum(axis=1).argmax())
    M = each[agreeing[most]].mean(axis=0)
    disagreement = np.linalg.norm(shown - (M @ corners.T)[:3], axis=1).max(axis=1)
    return M, float(disagreement.max()), np.asarray(agreeing[most], dtype=np.bool_)
