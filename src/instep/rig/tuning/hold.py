"""*Hold*: how far the toes undo the ball's turn, solved so that the skinned toe pad stays on the floor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import minimize_scalar

from instep.character.arrays import FloatArray, IntArray
from instep.character.skinning import skin_vertices
from instep.errors import LandmarkError
from instep.landmarks import LegLandmarks
from instep.rig.rig import Rig
from instep.rig.tuning.tread import full_rig

LIFTS_DEG: Final = tuple(float(angle) for angle in np.linspace(0.0, 60.0, 13))
"""Lifts of the ball over which the toe pad is watched: from flat to the toe extension at toe-off
(40 to 65 degrees: Nawoczenski 1999, JBJS 81A:370; Neumann)."""

PAD_WEIGHT: Final = 0.5
"""A vertex of the tread belongs to the toe pad where it lies ahead of the ball joint and the toes' joint has at
least this much of its weight. What lies behind the joint peels off the floor as the heel lifts, as it should."""


@dataclass(frozen=True, slots=True)
class HoldFit:
    """A leg's solved hold, and the toe pad's greatest departure from its rest height over the lifts, in the file's
    unit: at hold 1 (`before`) and as solved (`after`)."""

    hold: float
    before: float
    after: float


def solve_hold(rig: Rig, full: Rig | None = None) -> dict[str, HoldFit]:
    """Hold of each leg that has toes and a toe pad, by one-dimensional search. `full` is `full_rig(rig)`, where it is
    built already.

    Least squares: the mean over lifts 0 to 60 degrees of the squared change in height of each pad vertex over
    the sole plane. Brent's bounded method (scipy), hold in 0 to 1.
    """
    if rig.character.mesh is None:
        raise LandmarkError("the file has no mesh, so hold cannot be solved", where=rig.character.source.name)
    full = full_rig(rig) if full is None else full
    names = {channel.name for channel in full.channels}
    fits: dict[str, HoldFit] = {}
    for leg in rig.measurement.legs:
        pad = toe_pad(rig, leg)
        if leg.toes is None or not len(pad) or f"{leg.name}.toes.hold" not in names:
            continue

        def miss(hold: float, leg: LegLandmarks = leg, pad: IntArray = pad) -> float:
            return float(np.mean(_pad_changes(full, leg, pad, hold) ** 2))

        found = minimize_scalar(miss, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-5})
        # The search never evaluates its bounds; 1 is the exact answer for a pad that only the toes move.
        hold = min(float(found.x), 1.0, key=miss)
        before, after = (pad_departure(full, leg, value) for value in (1.0, hold))
        fits[leg.name] = HoldFit(round(hold, 4), before, after)
    return fits


def pad_departure(full: Rig, leg: LegLandmarks, hold: float) -> float:
    """The toe pad's greatest departure from its rest height over the lifts, at a hold, in the file's unit."""
    return float(np.abs(_pad_changes(full, leg, toe_pad(full, leg), hold)).max())


def toe_pad(rig: Rig, leg: LegLandmarks) -> IntArray:
    """The vertices of a foot's tread ahead of the ball that the toes' joint (or what it carries) moves."""
    mesh = rig.character.mesh
    if mesh is None or leg.toes is None:
        return np.zeros(0, dtype=np.int64)
    moved = [joint for joint, carrier in leg.joints if carrier == leg.toes] + [leg.toes]
    share = np.where(np.isin(mesh.joints[leg.sole], moved), mesh.weights[leg.sole], 0.0).sum(axis=1)
    ahead = (mesh.positions[leg.sole] - leg.ball.position) @ leg.axis > 0.0
    return np.asarray(leg.sole[ahead & (share >= PAD_WEIGHT)], dtype=np.int64)


def _pad_changes(full: Rig, leg: LegLandmarks, pad: IntArray, hold: float) -> FloatArray:
    """(lifts, vertices) change in height over the sole plane."""
    mesh = full.character.mesh
    assert mesh is not None
    values = full.values({f"{leg.name}.ball.pitch": LIFTS_DEG, f"{leg.name}.toes.hold": hold}, len(LIFTS_DEG))
    moved = skin_vertices(mesh, full.character.skeleton, full.evaluate(values), pad)
    return np.asarray((moved - mesh.positions[pad]) @ leg.sole_normal, dtype=np.float64)
