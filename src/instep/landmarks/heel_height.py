"""How far a heel raises the foot's rear, read off the underside in front of the heel block.

From the ball backward the underside rises in an S and is level again under the heel, mostly hidden by the
block: the S ``H (1 - (3 t^2 - 2 t^3)), t = (x - a) / (b - a)`` is fitted to what is seen of it, and H is the
heel's height. Where it does not fit, the highest place in front of the block is taken.

Behind the ball the underside of a heeled shoe stands clear of the floor across its whole width, and the heel
block's front is a wall. A bare foot's arch rises gently, and rests on its outer edge. A wedge, which fills
the space under the foot, cannot be told from a thick sole by its shape: it is measured as 0.
"""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.landmarks.tread import Tread
from instep.tolerances import TREAD_BAND

STATION = 0.01
"""Distance of the sections across the foot, in foot lengths."""
LEAST_HEEL = 0.04
"""Foot lengths: lower steps are lumps or a shoe's profile. 1 cm on a foot of 26 cm."""
WALL_RUN = 0.08
"""Foot lengths in which the underside rises to WALL_RISE of its height behind a heel block; an arch takes 0.2."""
WALL_RISE = 0.7
FITS = 0.04
"""Share of the height: root mean square error up to which the S is believed."""
HIDDEN = 1.3
"""The S is not believed if it makes the heel higher than this many times what is seen of it."""
NEAR_WALL = 2
"""Stations in front of the block that are left out: the corner there may be rounded."""
MOST_PARTS = 120
"""A triangle as long as the foot is sampled at every station."""


def heel_height(p_foot: FloatArray, faces: IntArray, tread: Tread, length: float) -> float:
    """Height in the file's unit; 0 for a flat or bare foot.

    Parameters
    ----------
    p_foot : (N, 3) vertices of the foot: left, height, along.
    faces : (G, 3) triangles between them.
    length : of the foot.
    """
    samples = _underside(p_foot, faces, STATION * length)
    count = int(tread.length / (STATION * length))
    if count < 8 or not len(samples):
        return 0.0
    station = np.floor((samples[:, 2] - tread.rear) / (STATION * length)).astype(np.int64)
    inside = (station >= 0) & (station < count)
    low = np.full(count, np.inf)
    np.minimum.at(low, station[inside], samples[inside, 1])
    known = np.flatnonzero(np.isfinite(low))
    if len(known) < 4:
        return 0.0
    low = np.interp(np.arange(count), known, low[known])
    clear = low > TREAD_BAND * length
    first = int(np.argmax(clear))
    if clear[0] or not clear.any() or clear[first:].all():
        return 0.0  # It does not stand on two feet, heel and ball.
    end = first + int(np.argmin(clear[first:]))
    height = float(low[first:end].max())
    wall = low[first : first + round(WALL_RUN / STATION)]
    if height <= LEAST_HEEL * length or wall.max() <= WALL_RISE * height:
        return 0.0
    seen = np.arange(first + int(np.argmax(wall)) + NEAR_WALL, min(end + 2, count))
    return _fitted(seen, low[seen], first, height) if len(seen) >= 8 else height


def _fitted(x: IntArray, low: FloatArray, first: int, height: float) -> float:
    """Height H of the S through (x, low), its level end at or behind station `first`; `height` if none fits."""
    a, b = np.meshgrid(np.arange(0, first + NEAR_WALL + 1), np.arange(x[-1] - 12, x[-1] + 13), indexing="ij")
    start, stop = a.ravel(), np.maximum(b.ravel(), x[0] + 4)
    t = np.clip((x - start[:, None]) / (stop - start)[:, None], 0, 1)
    shape = 1 - t * t * (3 - 2 * t)
    tall = (shape @ low) / (shape * shape).sum(axis=1)
    error = np.sqrt(((tall[:, None] * shape - low) ** 2).mean(axis=1))
    best = int(np.argmin(error))
    believed = error[best] < FITS * height and height <= tall[best] < HIDDEN * height
    return float(tall[best]) if believed else height


def _underside(p_foot: FloatArray, faces: IntArray, spacing: float) -> FloatArray:
    """(S, 3) points on triangles that face down, no further apart than about `spacing`."""
    corner = p_foot[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    down = -normal[:, 1] > 0.2 * np.linalg.norm(normal, axis=1)
    corner = corner[down]
    if not len(corner):
        return np.zeros((0, 3))
    longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1)
    parts = np.clip(np.ceil(longest / spacing), 1, MOST_PARTS).astype(np.int64)
    samples = []
    for part in np.unique(parts):
        i, j = np.meshgrid(np.arange(part + 1), np.arange(part + 1), indexing="ij")
        keep = i + j <= part
        share = np.stack([i[keep], j[keep], part - i[keep] - j[keep]], axis=1) / part
        samples.append(np.einsum("sc,gca->gsa", share, corner[parts == part]).reshape(-1, 3))
    return np.concatenate(samples)
