"""Where the ball gives out: how far roll lifts the heel about the ball before it passes over to the toe tip.

Aim: the largest whole degree at which, over the whole roll and with the hand-over that is common practice, the skinned
tread sinks by no more than its share (`Tread.share`), while the toes extend by 40 to 65 degrees at most roll. They
extend by the middle of the hand-over: the smooth step passes half of its width to the tip. Where the skin allows less
than 40 degrees, the floor goes before the toes.
"""

from __future__ import annotations

from typing import Final

from instep.rig.tuning.solved import Solved
from instep.rig.tuning.tread import RollSinking
from instep.tolerances import TOES_EXTEND_DEG

OVER_DEG: Final = 27.0
"""Width of the hand-over while the ball is solved: 35 to 62, common practice."""


def solve_ball_gives_out(
    leg: str, sinking: RollSinking, share: float, before: tuple[float, float], tip_by_hand: float | None = None
) -> Solved:
    """Solve by search over whole degrees. `before` is where the ball gave out and the tip took over; where the latter
    is set by hand the hand-over ends there."""
    most = int(TOES_EXTEND_DEG[1] - 0.5 * OVER_DEG)
    if tip_by_hand is not None:
        most = max(min(most, int(tip_by_hand - 1.0)), 0)
    found = {
        degrees: sinking.deepest(float(degrees), degrees + OVER_DEG if tip_by_hand is None else tip_by_hand)
        for degrees in range(most, -1, -1)
    }
    fitting = [degrees for degrees, deepest in found.items() if deepest <= share]
    least = TOES_EXTEND_DEG[0] - 0.5 * OVER_DEG
    note = ""
    if fitting:
        best = max(fitting)
        if best < least:
            note = (
                f"the toes extend by {best + 0.5 * OVER_DEG:.0f} degrees only, in walking by {TOES_EXTEND_DEG[0]:.0f} "
                "or more: beyond, the skin of the sole sinks too far"
            )
    else:
        stands = sinking.deepest(*before)
        note = (
            f"the sole sinks by more than {100 * share:.2g} % of the foot's length wherever the ball gives out: mend "
            "the weights of the toe pad in the model"
        )
        return Solved(
            leg, "ball_gives_out_deg", None, stands, stands, "deepest sinking over the roll", "of foot length", note
        )
    return Solved(
        leg, "ball_gives_out_deg", float(best), sinking.deepest(*before), found[best],
        "deepest sinking over the roll", "of foot length", note,
    )  # fmt: skip
