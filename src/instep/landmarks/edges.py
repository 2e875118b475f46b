"""Inner and outer edge: the widest places of the tread, near the ball; the foot banks over them."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray
from instep.landmarks.tread import FootFrame, Tread

BEHIND, AHEAD = 0.2, 0.15
"""Shares of the tread's length: how far from the ball the widest place may lie."""
HULL = 0.003
"""Share of the tread's length: where the tread's outline reaches further out than any place that touches, as on
a coarse mesh, the outline is taken."""
FLAT = 5e-4
"""Share of the tread's length: within this the tread is equally wide, and the place nearest to the ball is taken."""
BULGE = 0.08
"""Share of the tread's length: so far to both sides of the furthest place a parabola is laid through the edge. A
jagged edge of 0.005 moves the furthest place by 0.05 along the foot, but its parabola by 0.01 to 0.02."""
STRIP = 0.01
"""Share of the tread's length: of each strip so wide across the foot the furthest place counts."""


def edge_points(frame: FootFrame, tread: Tread, ball_along: float) -> tuple[FloatArray, FloatArray]:
    """(3,) right and (3,) left edge in the world, on the sole plane.

    `ball_along` is the ball's place along the foot.
    """
    length = tread.length
    centre = float(np.clip(ball_along, tread.rear + BEHIND * length, tread.front - AHEAD * length))
    stations = centre + np.linspace(-BEHIND, AHEAD, 71) * length
    chords = np.array([tread.chord(along) for along in stations])
    in_reach = (tread.touching[:, 1] >= stations[0]) & (tread.touching[:, 1] <= stations[-1])
    touching = tread.touching[in_reach]
    found = []
    for side, sign in ((0, -1.0), (1, 1.0)):
        out, places = sign * chords[:, side], stations
        touches = len(touching) > 0 and float((sign * touching[:, 0]).max()) > out.max() - HULL * length
        if touches:
            out, places = sign * touching[:, 0], touching[:, 1]
        wide = np.flatnonzero(out >= out.max() - FLAT * length)
        along = float(places[wide[int(np.argmin(np.abs(places[wide] - ball_along)))]])
        if touches:
            along = float(np.clip(_bulge(out / length, places / length, along / length) * length, *stations[[0, -1]]))
        found.append(frame.world(sign * float(out.max()), 0.0, along))
    return found[0], found[1]


def _bulge(out: FloatArray, along: FloatArray, furthest: float) -> float:
    """Top of the parabola through the furthest places of strips near `furthest`, which is kept if there is none.

    All lengths are shares of the tread's.
    """
    # Off the middle, so that evenly spaced places do not fall on the border of two strips.
    strip = np.floor((along - furthest) / STRIP + 0.437).astype(np.int64)
    reach = round(BULGE / STRIP)
    near = np.abs(strip) <= reach
    edge = np.full(2 * reach + 1, -np.inf)
    np.maximum.at(edge, strip[near] + reach, out[near])
    place = STRIP * np.arange(-reach, reach + 1)
    kept = edge > edge.max() - 2 * BULGE * 0.2
    for _ in range(3):
        if kept.sum() < 7 or place[kept][0] > -0.4 * BULGE or place[kept][-1] < 0.4 * BULGE:
            return furthest
        fit = np.polyfit(place[kept], edge[kept], 2)
        # Strips that hold no place of the edge itself lie inside it.
        kept &= edge > np.polyval(fit, place) - 0.004
    if fit[0] > -0.05:
        return furthest
    return furthest + float(np.clip(-fit[1] / (2 * fit[0]), -BULGE, BULGE))
