"""Where the tip has taken over: the roll beyond which all of it turns the foot about the toe tip.

Aim: the smallest whole degree at which the hand-over is smooth (at most SMOOTH_HANDOVER of the roll's rate passes from
ball to tip in a degree), the toes extend by 40 to 65 degrees as far as the skin allows, and the tread's deepest sinking
over the whole roll is the least that any such degree reaches.
"""

from __future__ import annotations

import math

from instep.rig.tuning.solved import Solved
from instep.rig.tuning.tread import RollSinking
from instep.tolerances import LEAST_GAIN, SMOOTH_HANDOVER, TOES_EXTEND_DEG

STEEPEST = 1.5
"""Greatest slope of the smooth step 3 u^2 - 2 u^3."""


def solve_tip_takes_over(leg: str, sinking: RollSinking, gives_out_deg: float, before: tuple[float, float]) -> Solved:
    """Solve by search over whole degrees, for a ball that gives out at `gives_out_deg`."""
    narrowest = math.ceil(STEEPEST / SMOOTH_HANDOVER - 1e-9)
    first = math.ceil(gives_out_deg) + narrowest
    last = max(first, min(120, int(2.0 * TOES_EXTEND_DEG[1] - gives_out_deg), int(sinking.rolls_deg[-1])))
    found = {degrees: sinking.deepest(gives_out_deg, float(degrees)) for degrees in range(first, last + 1)}
    reached = min(found.values()) + LEAST_GAIN
    best = min(degrees for degrees, deepest in found.items() if deepest <= reached)
    return Solved(
        leg, "tip_takes_over_deg", float(best), sinking.deepest(*before), found[best],
        "deepest sinking over the roll", "of foot length",
    )  # fmt: skip
