"""The foot's pivots, outermost first: foot, heel, outer and inner edge, tip, then toes and ball side by side."""

from __future__ import annotations

from dataclasses import dataclass

from instep.frames.quaternion import turn_about
from instep.frames.rigid import Rigid, mix_frames
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec, dot
from instep.rig.channels import ChannelBook
from instep.rig.parts.roll import settle, share_roll
from instep.rig.parts.turns import sided_turn, take_shift, take_turn
from instep.rig.plan import LegPlan


@dataclass(frozen=True, slots=True)
class Foot:
    """Changes, in root space, of what the foot control stack places.

    placed : the foot control, before any pivot.
    foot : the foot itself, as far as the leg can follow; its ankle is the goal of the leg.
    toes : the toes' turn (their joint hangs on the foot).
    frames : by control ("heel", "tip", ...): where what the animator grabs has gone.
    """

    placed: Rigid
    foot: Rigid
    toes: Rigid
    frames: dict[str, Rigid]


def build_foot(book: ChannelBook, leg: LegPlan, spaces: dict[str, Rigid], world: Rigid, unit: float) -> Foot:
    """The foot's stack. `spaces` are the changes of the drivers that it can follow, `world` that of the world."""
    placed = _place(book, leg, spaces, world, unit)
    roll = book.take(
        f"{leg.name}.foot.roll",
        "deg",
        -40.0,
        90.0,
        "Rolls the foot: back onto the heel below 0; above, over the ball and then over the toe tip.",
        essential=True,
    )
    bank = book.take(
        f"{leg.name}.foot.bank",
        "deg",
        -40.0,
        40.0,
        "Banks the foot onto its outer edge; below 0 onto its inner edge.",
        essential=True,
    )
    if leg.has_toes:
        heel_deg, ball_deg, tip_deg = share_roll(roll, leg.ball_gives_out_deg, leg.tip_takes_over_deg, leg.settle_deg)
    else:
        # A foot without a toe joint is rigid: only its tip can carry it when the heel lifts.
        heel_deg, ball_deg, tip_deg = -settle(-roll, leg.settle_deg), 0.0, settle(roll, leg.settle_deg)
    _, up, forward = leg.foot_axes
    on_sole = leg.ball - up * dot(up, leg.ball - leg.heel)
    twist = book.take(
        f"{leg.name}.foot.twist",
        "deg",
        -60.0,
        60.0,
        "Turns the whole foot on the floor about its ball, toes outward.",
        essential=True,
    )
    change = placed @ Rigid.about(on_sole, turn_about(up, twist * leg.side))
    frames = {"foot": change}
    change = change @ _pivot(book, leg, "heel", leg.heel, "the foot about its heel", (0.0, heel_deg, 0.0))
    frames["heel"] = change
    outer = book.take(
        f"{leg.name}.outer.lean", "deg", -45.0, 45.0, "Turns the foot about its outer edge, that edge down."
    )
    inner = book.take(
        f"{leg.name}.inner.lean",
        "deg",
        -45.0,
        45.0,
        "Turns the foot about its inner edge, the outer edge down.",
    )
    for edge, point, lean in (
        ("outer", leg.outer, outer + settle(bank, leg.settle_deg)),
        ("inner", leg.inner, inner - settle(-bank, leg.settle_deg)),
    ):
        change = change @ Rigid.about(point, turn_about(forward, lean * -leg.side))
        frames[edge] = change
    tip = change @ _pivot(book, leg, "tip", leg.tip, "the foot about its toe tip", (0.0, tip_deg, 0.0))
    frames["tip"] = tip
    if not leg.has_toes:
        return Foot(placed, tip, tip, frames)
    ball, toes = _ball_and_toes(book, leg, tip, ball_deg)
    return Foot(placed, ball, toes, frames | {"ball": ball, "toes": toes})


def _ball_and_toes(book: ChannelBook, leg: LegPlan, tip: Rigid, ball_deg: Scalar) -> tuple[Rigid, Rigid]:
    """The ball lifts the heel; the toes, beside it, undo that much of it that `hold` says."""
    name = leg.name
    lift = book.take(
        f"{name}.ball.pitch", "deg", -60.0, 90.0, "Lifts the heel about the ball of the foot.", essential=True
    )
    ball_yaw = book.take(f"{name}.ball.yaw", "deg", -60.0, 60.0, "Swings the heel in about the ball.")
    ball_lean = book.take(f"{name}.ball.lean", "deg", -45.0, 45.0, "Rocks the foot outward about the ball.")
    lifted = ball_deg + lift
    ball = tip @ Rigid.about(leg.ball, sided_turn(leg.foot_axes, leg.side, ball_yaw, lifted, ball_lean))
    bend = book.take(f"{name}.toes.bend", "deg", -90.0, 60.0, "Bends the toes down; below 0 up.", essential=True)
    yaw = book.take(f"{name}.toes.yaw", "deg", -45.0, 45.0, "Turns the toes outward.")
    lean = book.take(f"{name}.toes.lean", "deg", -45.0, 45.0, "Rocks the toes onto their outer edge.")
    hold = book.take(
        f"{name}.toes.hold",
        "share",
        0.0,
        1.0,
        "How far the toes hold to the floor while the ball lifts the heel: 1 all the way, 0 not at all.",
        default=leg.hold,
    )
    pitch = bend + lifted * (1.0 - hold)
    toes = tip @ Rigid.about(leg.ball, sided_turn(leg.foot_axes, leg.side, yaw, pitch, lean))
    return ball, toes


def _place(book: ChannelBook, leg: LegPlan, spaces: dict[str, Rigid], world: Rigid, unit: float) -> Rigid:
    """Where the foot control stands: in root space, or following another."""
    control = f"{leg.name}.foot"
    shift = take_shift(book, control, leg.side, 3.0 * unit, "the foot", essential=True)
    turn = take_turn(book, control, leg.foot_axes, leg.side, 180.0, "the foot about its ankle", essential=True)
    base = Rigid.identity()
    for space in leg.spaces:
        share = book.take(
            f"{control}.follow_{space}",
            "share",
            0.0,
            1.0,
            f"How far the foot follows {space}; 0: the root.",
            control=control,
        )
        base = mix_frames(base, spaces[space], share, leg.ankle)
    share = book.take(
        f"{control}.follow_world",
        "share",
        0.0,
        1.0,
        "How far the foot stays in the world when the root moves.",
    )
    base = mix_frames(base, world, share, leg.ankle)
    return base @ Rigid.carrying(turn, leg.ankle, leg.ankle + shift)


def _pivot(
    book: ChannelBook,
    leg: LegPlan,
    place: str,
    point: Vec,
    what: str,
    added: tuple[Scalar, Scalar, Scalar],
) -> Rigid:
    """A turn about a point of the sole, by the control's own channels and what roll adds."""
    turn = take_turn(book, f"{leg.name}.{place}", leg.foot_axes, leg.side, 90.0, what, added=added)
    return Rigid.about(point, turn)
