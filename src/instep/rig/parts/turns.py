"""The three turns and three moves that a control can have."""

from __future__ import annotations

from instep.frames.quaternion import Quat, turn_yaw_pitch_lean
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec
from instep.rig.channels import ChannelBook

BODY_AXES = (Vec(1.0, 0.0, 0.0), Vec(0.0, 1.0, 0.0), Vec(0.0, 0.0, 1.0))
"""Left, up, forward."""


def sided_turn(axes: tuple[Vec, Vec, Vec], side: float, yaw_deg: Scalar, pitch_deg: Scalar, lean_deg: Scalar) -> Quat:
    """Pitch: the front goes down. Yaw: the front goes away from the middle. Lean: the outer edge goes down."""
    return turn_yaw_pitch_lean(axes, yaw_deg * side, pitch_deg, lean_deg * -side)


def take_turn(
    book: ChannelBook,
    control: str,
    axes: tuple[Vec, Vec, Vec],
    side: float,
    limit_deg: float,
    what: str,
    *,
    essential: bool = False,
    added: tuple[Scalar, Scalar, Scalar] = (0.0, 0.0, 0.0),
) -> Quat:
    """A control's own yaw, pitch and lean, with `added` (yaw, pitch, lean, in degrees) from elsewhere."""
    out = "its outer side" if side else "its left"
    angles = []
    for prop, sentence in (
        ("yaw", f"Turns {what} so that the front goes to {out}."),
        ("pitch", f"Turns {what} so that the front goes down."),
        ("lean", f"Turns {what} so that {out} goes down."),
    ):
        angles.append(book.take(f"{control}.{prop}", "deg", -limit_deg, limit_deg, sentence, essential=essential))
    yaw, pitch, lean = (own + other for own, other in zip(angles, added, strict=True))
    return sided_turn(axes, side or 1.0, yaw, pitch, lean)


def take_shift(
    book: ChannelBook, control: str, side: float, limit: float, what: str, *, essential: bool = False
) -> Vec:
    """A control's move: across (outward on a side, to the left in the middle), up and along (forward)."""
    out = "outward" if side else "to the left"
    shifts = [
        book.take(f"{control}.{prop}", "length", -limit, limit, f"Moves {what} {where}.", essential=essential)
        for prop, where in (("across", out), ("up", "up"), ("along", "forward"))
    ]
    return Vec(shifts[0] * (side or 1.0), shifts[1], shifts[2])
