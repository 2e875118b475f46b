"""The toe tip: the foremost tread, over which the foot would roll. Claws and sprung toes reach further."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.landmarks.tread import FootFrame, Tread

BEHIND = 0.008
"""Foot lengths behind the front where the foot is cut across: through a straight front, and through the
foremost toe alone."""
LOWEST = 0.006
"""Foot lengths: of the cut, what lies this close to its lowest place is tread. The convex outline of the tread
was tried in place of the cut: the second toe pulled the tip sideways by 0.03 of the foot."""


def tip_point(p_foot: FloatArray, faces: IntArray, frame: FootFrame, tread: Tread) -> FloatArray:
    """(3,) in the world, on the sole plane: in the middle of the foremost tread.

    `p_foot` is (N, 3) vertices of the foot (left, height, along), `faces` (G, 3) the triangles between them.
    """
    left = _middle_of_cut(p_foot, faces, tread.front - BEHIND * frame.length, LOWEST * frame.length)
    if left is None:
        left = tread.middle(tread.front - BEHIND * frame.length)
    return frame.world(left, 0.0, tread.front)


def _middle_of_cut(p_foot: FloatArray, faces: IntArray, along: float, band: float) -> float | None:
    """Middle of the lowest part of the foot's section across; None where the section misses the foot."""
    ahead = p_foot[faces][:, :, 2] > along
    cut = faces[ahead.any(axis=1) & ~ahead.all(axis=1)]
    if not len(cut):
        return None
    # The corner that lies alone on its side goes first: the plane then cuts the two edges that leave it.
    over = p_foot[cut][:, :, 2] > along
    alone = np.argmax(over == (over.sum(axis=1) == 1)[:, None], axis=1)
    ring = np.stack([np.take_along_axis(cut, ((alone + i) % 3)[:, None], axis=1)[:, 0] for i in range(3)], axis=1)
    a, ends = p_foot[ring[:, 0]], []
    for other in (1, 2):
        b = p_foot[ring[:, other]]
        t = (along - a[:, 2]) / (b[:, 2] - a[:, 2])
        ends.append((a + t[:, None] * (b - a))[:, :2])
    low, high = np.where(ends[0][:, 1:] <= ends[1][:, 1:], (ends[0], ends[1]), (ends[1], ends[0]))
    limit = float(low[:, 1].min()) + band
    low, high = low[low[:, 1] <= limit], high[low[:, 1] <= limit]
    rise = np.maximum(high[:, 1] - low[:, 1], 1e-300)
    t = np.clip((limit - low[:, 1]) / rise, 0, 1)
    reach = np.concatenate([low[:, 0], low[:, 0] + t * (high[:, 0] - low[:, 0])])
    return float(0.5 * (reach.min() + reach.max()))
