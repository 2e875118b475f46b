"""The soft zone at full reach: long enough that the knee does not pop, short enough that the ankle keeps its goal.

Aim: the least of (rate / HARD_RATE)^2 + (miss / SEEN_MISS)^2. `rate` is the knee's greatest rate with the zone s: that
at its start a = L - s, a / (p q sin f) for bones p and q and flexion f there (for equal bones 2 / sqrt(L^2 - a^2)).
`miss` is by how much the ankle falls short of a goal at the leg's whole length: s / 2 for the rational zone. The zone
never reaches the rest pose: it takes at most nine tenths of what lies between that and the straight leg.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.optimize import minimize_scalar

from instep.landmarks import LegLandmarks
from instep.rig.plan import LegPlan
from instep.rig.tuning.solved import Solved

HARD_RATE: Final = 16.2
"""Degrees of knee for 1 % of the leg: what a leg without a soft zone takes over its last 1 %. Geometry."""

SEEN_MISS: Final = 0.03
"""Share of the leg: a change of its length that is visible with attention (Harrison, Rensink & van de Panne 2004, ACM
TOG 23:569)."""

SHORTEST, LONGEST = 1e-6, 0.2
"""Shares of the leg between which the zone is sought."""


def solve_soft(leg: LegLandmarks, plan: LegPlan, unit: float) -> Solved:
    """Solve by Brent's bounded method (scipy) in the logarithm of the zone. `unit` is the leg's length."""
    thigh, shin = lengths_of_bones(leg)
    spare = max(thigh + shin - float(np.linalg.norm(leg.ankle.position - leg.hip.position)), 0.0)
    most = min(0.9 * spare / unit, LONGEST)
    before = zone_cost(thigh, shin, max(plan.soft, SHORTEST * unit), unit)
    if most <= SHORTEST:
        return Solved(
            leg.name, "soft", None, before, before, "cost of the soft zone", "",
            "the leg stands straight at rest, so that a soft zone has no room",
        )  # fmt: skip
    found = minimize_scalar(
        lambda log_zone: zone_cost(thigh, shin, float(np.exp(log_zone)) * unit, unit),
        bounds=(np.log(SHORTEST), np.log(most)),
        method="bounded",
        options={"xatol": 1e-6},
    )
    soft = min(float(np.exp(found.x)), most, key=lambda share: zone_cost(thigh, shin, share * unit, unit))
    if soft > most * (1.0 - 1e-3) and abs(plan.soft - most * unit) < 1e-3 * most * unit:
        return Solved(
            leg.name, "soft", None, before, before, "cost of the soft zone", "",
            f"it is {100 * most:.2g} % of the leg, all that the rest pose leaves: a knee bent more leaves more",
        )  # fmt: skip
    rounded = float(f"{soft:.3g}")
    after = zone_cost(thigh, shin, min(rounded, most) * unit, unit)
    return Solved(leg.name, "soft", rounded, before, after, "cost of the soft zone", "")


def lengths_of_bones(leg: LegLandmarks) -> tuple[float, float]:
    """Lengths of thigh and shin, in the file's unit."""
    thigh, shin = leg.knee.position - leg.hip.position, leg.ankle.position - leg.knee.position
    return float(np.linalg.norm(thigh)), float(np.linalg.norm(shin))


def zone_cost(thigh: float, shin: float, zone: float, unit: float) -> float:
    """The cost of a soft zone of length `zone`; 1 is as bad as the hard knee, or as a miss that is seen."""
    rate = knee_rate(thigh, shin, zone, unit)
    return (rate / HARD_RATE) ** 2 + (0.5 * zone / unit / SEEN_MISS) ** 2


def knee_rate(thigh: float, shin: float, zone: float, unit: float) -> float:
    """The knee's greatest rate with a soft zone, in degrees for 1 % of the leg."""
    start = thigh + shin - zone
    # Of the straight leg's triangle, by Heron's factors: no digits are lost next to full reach.
    product = (zone * (2.0 * (thigh + shin) - zone)) * (start**2 - (thigh - shin) ** 2)
    sine = np.sqrt(max(product, 0.0)) / (2.0 * thigh * shin)
    return float(np.degrees(start / (thigh * shin * sine)) * 0.01 * unit) if sine > 0.0 else np.inf
