"""How one angle passes from pivot to pivot."""

from __future__ import annotations

from instep.frames.scalar import Scalar, largest, least


def settle(angle_deg: Scalar, over_deg: float) -> Scalar:
    """Zero below 0, the angle itself from `over_deg` on, and between them e (2u^2 - u^3), u = angle / e.

    Value and slope are continuous, and the slope at 0 is 0: where the pivot changes there, the foot does not
    jump in speed. Written as y - e u (1 - u)^2.
    """
    y = largest(angle_deg, 0.0)
    u = least(y * (1.0 / over_deg), 1.0)
    rest = 1.0 - u
    return y - u * rest * rest * over_deg


def hand_over(angle_deg: Scalar, start_deg: float, end_deg: float) -> tuple[Scalar, Scalar]:
    """Two angles that sum to `angle_deg`: the first takes all below `start_deg`, the second all the rest from
    `end_deg` on.

    The second's rate is the smooth step 3u^2 - 2u^3, so its value is (end - start) (u^3 - u^4 / 2) within:
    value, slope and curvature are continuous.
    """
    span = end_deg - start_deg
    u = least(largest((angle_deg - start_deg) * (1.0 / span), 0.0), 1.0)
    second = span * (u * u * u * (1.0 - 0.5 * u)) + largest(angle_deg - end_deg, 0.0)
    return angle_deg - second, second


def share_roll(
    roll_deg: Scalar, ball_gives_out_deg: float, tip_takes_over_deg: float, settle_deg: float
) -> tuple[Scalar, Scalar, Scalar]:
    """(heel, ball, tip) turns in degrees: below 0 the heel; then the ball, which gives out; then the tip."""
    heel = -settle(-roll_deg, settle_deg)
    ball, tip = hand_over(settle(roll_deg, settle_deg), ball_gives_out_deg, tip_takes_over_deg)
    return heel, ball, tip
