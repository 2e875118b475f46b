"""The line that a rolled foot is drawn along, and which of its poses fit on it.

Its length is even in degrees, with a flat of one foot's length laid in at 0; its slope is a fixed fraction of
the roll. Even degrees won over the sole's own travel: travel stands still while the foot turns about its tip,
and the last poses would lie on one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from instep.character.arrays import FloatArray

TILT: Final = 0.2
"""Slope of the rocker, in degrees for each degree of roll."""


@dataclass(frozen=True, slots=True)
class Rocker:
    """`rate` drawing units for each degree, and a flat of `flat` units at 0, from `low_deg` to `high_deg`."""

    low_deg: float
    high_deg: float
    rate: float
    flat: float

    def at(self, roll_deg: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Right and up coordinates, from the middle of the flat, and slope in radians, at roll values (n,)."""
        roll = np.asarray(roll_deg, dtype=np.float64)
        slope = np.deg2rad(TILT * roll)
        radius = self.rate / np.deg2rad(TILT)  # even in degrees, slope in proportion: an arc of a circle
        x = radius * np.sin(slope) + 0.5 * self.flat * np.sign(roll)
        return x, radius * (1.0 - np.cos(slope)), slope

    def line(self) -> FloatArray:
        """(n, 2) points right and up along the whole rocker."""
        below = np.linspace(min(self.low_deg, -1e-6), -1e-6, 60)
        above = np.linspace(1e-6, max(self.high_deg, 1e-6), 120)
        x, y, _ = self.at(np.concatenate([below, above]))
        return np.stack([x, y], axis=1)

    @property
    def width(self) -> float:
        """From the lowest degree to the highest, in drawing units."""
        return float(np.ptp(self.line()[:, 0]))


def rocker_of_width(low_deg: float, high_deg: float, flat: float, width: float) -> Rocker:
    """The rocker from `low_deg` to `high_deg` that is `width` drawing units wide."""
    rate = max(width - flat, 1.0) / max(high_deg - low_deg, 1.0)
    rocker = Rocker(low_deg, high_deg, rate, flat)
    for _ in range(6):  # an arc is a little less wide than its length; converges by a factor of 30 a step
        rate *= max(width - flat, 1.0) / max(rocker.width - flat, 1e-9)
        rocker = Rocker(low_deg, high_deg, rate, flat)
    return rocker


def choose(
    rocker: Rocker, degrees: FloatArray, left: FloatArray, right: FloatArray, gap: float, most: int
) -> list[int]:
    """Which of the poses to draw: those at 0 and at both ends, and as many others as fit with `gap` between.

    Of all choices with the most poses, the one whose narrowest gap is widest (dynamic programming over pairs).

    Parameters
    ----------
    degrees : (n,) increasing.
    left, right : (n,) how far each drawn foot reaches from its place.
    most : no more than this many altogether; narrow feet then stand further apart.
    """
    x, _, _ = rocker.at(degrees)
    zero = int(np.argmin(np.abs(degrees)))
    # the two sides share `most` by their width on the rocker
    share = (x[zero] - x[0]) / max(float(x[-1] - x[0]), 1e-9)
    few = int(np.clip(np.round(share * most), 1, most))
    below = _row(x[zero::-1] * -1, right[zero::-1], left[zero::-1], gap, few)
    above = _row(x[zero:], left[zero:], right[zero:], gap, most - few)
    return sorted({zero - k for k in below} | {zero + k for k in above})


def _row(x: FloatArray, before: FloatArray, after: FloatArray, gap: float, most: int) -> list[int]:
    """A rising choice of indices from the first to the last, at most `most` after the first.

    Only the first where the last does not fit.
    """
    count = len(x)
    free = (x[None, :] - before[None, :]) - (x[:, None] + after[:, None])  # from one to another
    widest = np.full(count, -np.inf)
    widest[0] = np.inf
    came_from: list[NDArray[np.intp]] = []
    best: list[int] = [0]
    later = np.triu(np.ones((count, count), dtype=bool), 1)
    for _ in range(min(count - 1, most)):
        reach = np.minimum(widest[:, None], np.where(later, free, -np.inf))
        came_from.append(np.argmax(reach, axis=0))
        widest = reach.max(axis=0)
        widest[widest < gap] = -np.inf
        if np.isfinite(widest[-1]):
            path = [count - 1]
            for step in reversed(came_from):
                path.append(int(step[path[-1]]))
            best = path[::-1]
    return best
