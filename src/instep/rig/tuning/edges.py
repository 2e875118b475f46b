"""The pivots of a foot's edges: where the foot turns when it banks, so that it neither sinks nor floats.

Aim: least squares of the height of the tread's lowest vertex over the bank's range. A bank turns the foot about a line
along its axis. Moving that line by a outward and b up moves what turns by (1 - R)(a, b): at a bank of t the heights
change by a sin t + b (1 - cos t), whatever the vertex: the lowest stays the lowest. So its height is linear in a and b,
and the solution closed. Vertices that follow the shin in part are taken as if they followed the foot.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.landmarks import LegLandmarks, Measurement
from instep.rig.description import RigDescription, TunedLeg
from instep.rig.tuning.solved import Solved
from instep.rig.tuning.tread import Tread
from instep.tolerances import LEAST_GAIN

BANKS_DEG: Final = tuple(float(bank) for bank in np.linspace(2.5, 40.0, 16))
"""Over the whole range in which a bank is offered."""

FURTHEST: Final = 0.15
"""Of foot length: a pivot further from its landmark than this is no longer an edge of this foot."""

RIDGE: Final = 1e-4
"""Weight of the shift's own square in the sum: up is told from outward by large banks only, and noise shall not
throw it far."""


def solve_edge(tread: Tread, edge: str, before_shift: tuple[float, float]) -> Solved:
    """The pivot of the "outer" or "inner" edge. `before_shift` is that with which the rig was measured."""
    leg = tread.leg
    lowest = bank_heights(tread, edge).min(axis=1) / leg.foot_length
    lever = _lever()
    step = np.linalg.solve(lever.T @ lever + RIDGE * np.eye(2), -(lever.T @ lowest))
    shift = np.clip(np.array(before_shift) + step, -FURTHEST, FURTHEST)
    rounded = np.round(shift, 5) + 0.0
    before = float(np.sqrt(np.mean(lowest**2)))
    after = off_floor(lowest, rounded - before_shift)
    name, figure = f"{edge}_shift", "the sole's lowest vertex off the floor over the bank (root mean square)"
    if before - after < LEAST_GAIN:
        return Solved(leg.name, name, None, before, before, figure, "of foot length", "it is as good as it gets")
    return Solved(leg.name, name, (float(rounded[0]), float(rounded[1])), before, after, figure, "of foot length")


def off_floor(lowest: FloatArray, shift: FloatArray) -> float:
    """Root mean square of the lowest vertex's height over the banks, of foot length, with the pivot moved on by `shift`
    (outward, up) from where the heights `lowest` (banks,) were taken."""
    return float(np.sqrt(np.mean((lowest + _lever() @ shift) ** 2)))


def _lever() -> FloatArray:
    """(banks, 2) by how much heights change for a pivot moved by 1 outward and by 1 up."""
    t = np.radians(BANKS_DEG)
    return np.stack([np.sin(t), 1.0 - np.cos(t)], axis=1)


def bank_heights(tread: Tread, edge: str) -> FloatArray:
    """(banks, vertices) heights of the tread over the floor, banked over an edge by BANKS_DEG."""
    sign = 1.0 if edge == "outer" else -1.0
    return tread.heights({f"{edge}.lean": sign * np.array(BANKS_DEG)}, len(BANKS_DEG))


def with_edges(measurement: Measurement, description: RigDescription) -> Measurement:
    """The measurement with the edges' pivots where tuning has put them. What is set by hand stays."""
    legs = tuple(_shifted(leg, description.tuned.get(leg.name, TunedLeg())) for leg in measurement.legs)
    if all(one is other for one, other in zip(legs, measurement.legs, strict=True)):
        return measurement
    return replace(measurement, legs=legs)


def _shifted(leg: LegLandmarks, tuned: TunedLeg) -> LegLandmarks:
    outer, inner = leg.outer, leg.inner
    left = np.cross(leg.sole_normal, leg.axis) * (1.0 if leg.side == "left" else -1.0)
    if tuned.outer_shift is not None and not outer.by_hand:
        away, up = (share * leg.foot_length for share in tuned.outer_shift)
        outer = replace(outer, position=outer.position + left * away + leg.sole_normal * up)
    if tuned.inner_shift is not None and not inner.by_hand:
        away, up = (share * leg.foot_length for share in tuned.inner_shift)
        inner = replace(inner, position=inner.position - left * away + leg.sole_normal * up)
    return leg if outer is leg.outer and inner is leg.inner else replace(leg, outer=outer, inner=inner)
