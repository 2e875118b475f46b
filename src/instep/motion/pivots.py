"""Which of a foot's pivots carry what: the redundant channels of a stance, chosen by contact.

With the footprint P, the change that puts the whole foot flat where it stands, a foot that bears on its heel is
P heel(pitch), one that bears on its ball is P ball(lift) with the toes at P, and one that bears on its tip is
P tip(pitch) ball(lift). So the foot control stays at P for the whole stance, and whatever the pivots' values are, and
however coarsely they are keyed later, the point that bears does not move.

`roll` carries as much as it can: below 0 the heel's pitch; above, the ball's lift up to where the ball gives out, and
the tip's pitch beyond. What is left of the lift goes to `ball.pitch`, which adds to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.motion.blend import fade
from instep.motion.goals import LegGoal
from instep.motion.stance import AIR, BALL, FLAT, HEEL, TIP, Stance, footprint_turns
from instep.motion.turns import control_angles, inverse, points_of, quat, turns_of
from instep.rig.parts.roll import hand_over, settle
from instep.rig.plan import LegPlan

SOFT_DEG: Final = 1.0
"""Degrees over which a pivot's angle comes to zero where it would change its sign: keeps value and slope continuous."""

TIP_MOST_DEG: Final = 40.0
"""Degrees by which toes may be pitched over the floor and their tip still carry a foot. Toes that stand steeper only
brush the floor; and `roll` within its range turns a foot about its tip by 41 degrees."""

BLEND_S: Final = 0.12
"""Seconds over which a foot comes from its own turn to that of its footprint: about the loading response (12 % of a
cycle of 1.1 s; Perry & Burnfield 2010)."""


@dataclass(frozen=True, slots=True, eq=False)
class Pivots:
    """Angles in degrees over N frames, in the meaning of the rig's channels; zero off the stances.

    heel, ball, tip, toes : (N, 3) yaw, pitch and lean.
    """

    heel: FloatArray
    ball: FloatArray
    tip: FloatArray
    toes: FloatArray


def measure_pivots(
    leg: LegPlan, goal: LegGoal, modes: IntArray, stances: list[Stance], rate: float, *, full: bool
) -> Pivots:
    """What the pivots of a foot have to do in its stances.

    The clip's own angles against the footprint, brought to zero where the part lies flat (see `fade`). Without the
    full controls a stance has pitch only: what a foot turns and leans besides is left out.
    """
    frames = len(modes)
    made = Pivots(*(np.zeros((frames, 3)) for _ in range(4)))
    window = max(round(BLEND_S * rate), 2)
    kept = np.array([1.0, 1.0, 1.0]) if full else np.array([0.0, 1.0, 0.0])
    turns, _, _ = footprint_turns(stances, frames)
    back, foot, toes = quat(inverse(turns)), quat(goal.foot), quat(goal.toes)
    all_foot, all_toes, all_bent = (
        control_angles(turns_of(turn, frames), leg.foot_axes, leg.side, apart=True)
        for turn in (back @ foot, back @ toes, foot.inverse @ toes)
    )
    for stance in stances:
        span = slice(stance.first, stance.end)
        own = modes[span]
        count = len(own)
        of_foot, of_toes, bent = all_foot[span], all_toes[span], all_bent[span]
        flat = own == FLAT
        held = flat | (own == BALL)
        of_foot = of_foot + fade(-of_foot, flat, window)
        of_toes = of_toes + fade(-of_toes, held, window)
        bent = bent + fade(-bent, own >= FLAT, window)
        heel = (own == HEEL)[:, None] * of_foot * kept
        heel[:, 1] = -settle(-heel[:, 1], SOFT_DEG)
        on_tip = (own == TIP)[:, None]
        tip = on_tip * of_toes * kept if leg.has_toes else on_tip * of_foot * kept
        tip[:, 1] = settle(tip[:, 1], SOFT_DEG)
        lifted = (own >= BALL)[:, None] * (of_foot * kept - tip) if leg.has_toes else np.zeros((count, 3))
        lifted[:, 1] = settle(lifted[:, 1], SOFT_DEG)
        made.heel[span], made.ball[span], made.tip[span] = heel, lifted, tip
        made.toes[span] = (own == HEEL)[:, None] * bent * kept if leg.has_toes else 0.0
    return made


def pivot_channels(leg: LegPlan, pivots: Pivots, modes: IntArray, stances: list[Stance]) -> dict[str, FloatArray]:
    """By channel name, (N,) values that make up the pivots. Those that a rig has not got are passed over later."""
    name = leg.name
    y = np.zeros(len(modes))
    heel = -unsettle(-pivots.heel[:, 1], leg.settle_deg)
    if not leg.has_toes:
        roll = heel + unsettle(pivots.tip[:, 1], leg.settle_deg)
        return {f"{name}.foot.roll": roll} | _three(f"{name}.heel", pivots.heel) | _three(f"{name}.tip", pivots.tip)
    gives_out = leg.ball_gives_out_deg
    for stance in stances:
        span = slice(stance.first, stance.end)
        own, lifted = modes[span], pivots.ball[span, 1]
        tip = own == TIP
        share = 1.0
        if tip.any():
            # Roll shall stand where the ball gives out when the tip takes over, however far the heel is lifted then.
            at = lifted[int(np.flatnonzero(tip)[0])]
            share = gives_out / max(float(at), 0.25 * gives_out)
        y[span] = np.minimum(lifted * share, gives_out)
    on_tip = modes == TIP
    y[on_tip] = _tip_roll(pivots.tip[on_tip, 1], leg)
    ball_part, _ = hand_over(y, leg.ball_gives_out_deg, leg.tip_takes_over_deg)
    lift = pivots.ball[:, 1] - ball_part
    return {
        f"{name}.foot.roll": heel + unsettle(y, leg.settle_deg),
        f"{name}.ball.pitch": lift,
        f"{name}.ball.yaw": pivots.ball[:, 0],
        f"{name}.ball.lean": pivots.ball[:, 2],
        f"{name}.toes.bend": pivots.toes[:, 1] - pivots.ball[:, 1] * (1.0 - leg.hold),
        f"{name}.toes.yaw": pivots.toes[:, 0],
        f"{name}.toes.lean": pivots.toes[:, 2],
        **_three(f"{name}.heel", pivots.heel),
        **_three(f"{name}.tip", pivots.tip),
    }


def _three(control: str, angles: FloatArray) -> dict[str, FloatArray]:
    """Yaw and lean; the pitch is in the roll."""
    return {f"{control}.yaw": angles[:, 0], f"{control}.lean": angles[:, 2]}


def unsettle(settled_deg: FloatArray, over_deg: float) -> FloatArray:
    """The angle >= 0 whose `settle` is `settled_deg`: the root of e (2u^2 - u^3) = s between 0 and 1, by Newton."""
    s = np.maximum(settled_deg, 0.0) / over_deg
    u = np.sqrt(0.5 * np.minimum(s, 1.0))
    for _ in range(8):
        slope = 4.0 * u - 3.0 * u * u
        u = np.clip(u - (2.0 * u * u - u**3 - s) / np.where(slope > 1e-12, slope, 1.0), 0.0, 1.0)
    return np.asarray(np.where(s >= 1.0, s, u) * over_deg, dtype=np.float64)


def _tip_roll(tip_deg: FloatArray, leg: LegPlan) -> FloatArray:
    """The settled roll, from where the ball gives out on, whose tip part is `tip_deg`: the inverse of `hand_over`.

    span (u^3 - u^4 / 2) = tip: the left side rises from 0 to span / 2, so bisection closes in on u.
    """
    start, end = leg.ball_gives_out_deg, leg.tip_takes_over_deg
    wanted = np.maximum(tip_deg, 0.0)
    low, high = np.zeros_like(wanted), np.ones_like(wanted)
    span = end - start
    for _ in range(50):
        u = 0.5 * (low + high)
        over = span * (u**3 - 0.5 * u**4) > wanted
        low, high = np.where(over, low, u), np.where(over, u, high)
    return np.asarray(np.where(wanted >= 0.5 * span, end + wanted - 0.5 * span, start + span * 0.5 * (low + high)))


def without_brushing(leg: LegPlan, goal: LegGoal, modes: IntArray, normal: FloatArray) -> IntArray:
    """The modes without those frames on which only the tip bears and the toes stand steeper than `TIP_MOST_DEG`."""
    _, _, forward = leg.foot_axes
    ahead = points_of(quat(goal.toes) @ forward, len(modes))
    steep = np.degrees(np.arcsin(np.clip(-(ahead @ normal), -1.0, 1.0))) > TIP_MOST_DEG
    return np.where((modes == TIP) & steep, AIR, modes)
