"""Forward kinematics of the leg with the same joints, blended with the solved leg."""

from __future__ import annotations

from dataclasses import dataclass

from instep.frames.quaternion import Quat, mix_turns
from instep.frames.rigid import Rigid
from instep.frames.scalar import Scalar, mix
from instep.frames.vector import Vec, cross, length, unit
from instep.rig.channels import ChannelBook
from instep.rig.parts.leg import Bones
from instep.rig.parts.turns import take_turn
from instep.rig.plan import LegPlan
from instep.tolerances import GUARD


@dataclass(frozen=True, slots=True)
class LegPose:
    """Turns (as changes) and places of the leg's joints, in root space; toes as the foot's where there are none."""

    thigh: Quat
    shin: Quat
    foot: Quat
    toes: Quat
    hip: Vec
    knee: Vec
    ankle: Vec
    ball: Vec


def leg_axes(leg: LegPlan) -> tuple[Vec, Vec, Vec]:
    """Left, up, forward for turns of thigh and shin: up along the leg, left along the knee's hinge.

    A knee that bends backward (a bird's, a fore leg's) keeps a hinge that points left.
    """
    up = -unit(leg.ankle - leg.hip)
    forward = leg.bend if leg.bend.z >= 0.0 else -leg.bend
    return cross(up, forward), up, forward


def build_forward(book: ChannelBook, leg: LegPlan, carrier: Rigid, bones: Bones, foot: Rigid, toes: Quat) -> LegPose:
    """The leg's pose: solved at `leg.forward` 0, by the joints' own turns at 1.

    Turns blend by the short way, and the joints are chained anew, so that no bone shortens on the way.
    """
    share = book.take(
        f"{leg.name}.leg.forward",
        "share",
        0.0,
        1.0,
        "From inverse (0: the foot leads) to forward kinematics (1: each joint turns by its own channels).",
    )
    axes = leg_axes(leg)
    q_thigh = carrier.turn @ take_turn(book, f"{leg.name}.thigh", axes, leg.side, 180.0, "the thigh")
    q_shin = q_thigh @ take_turn(book, f"{leg.name}.shin", axes, leg.side, 180.0, "the shin")
    q_foot = q_shin @ take_turn(book, f"{leg.name}.ankle", leg.foot_axes, leg.side, 180.0, "the foot")
    # The toes' own turn relative to the foot serves both ways of posing.
    q_toes = q_foot @ (foot.turn.inverse @ toes)
    solved = LegPose(
        bones.thigh,
        bones.shin,
        foot.turn,
        toes,
        bones.hip,
        bones.knee,
        bones.ankle,
        bones.ankle + foot.turn @ (leg.ball - leg.ankle),
    )
    if isinstance(share, float) and share == 0.0:
        return solved
    thigh, shin = mix_turns(bones.thigh, q_thigh, share), mix_turns(bones.shin, q_shin, share)
    foot_turn = mix_turns(foot.turn, q_foot, share)
    knee = bones.hip + (thigh @ (leg.knee - leg.hip)) * _grown(leg.hip, leg.knee, bones.hip, bones.knee, share)
    ankle = knee + (shin @ (leg.ankle - leg.knee)) * _grown(leg.knee, leg.ankle, bones.knee, bones.ankle, share)
    return LegPose(
        thigh,
        shin,
        foot_turn,
        mix_turns(toes, q_toes, share),
        bones.hip,
        knee,
        ankle,
        ankle + foot_turn @ (leg.ball - leg.ankle),
    )


def _grown(rest_start: Vec, rest_end: Vec, start: Vec, end: Vec, share: Scalar) -> Scalar:
    """A bone's length over its rest length: as solved at share 0, 1 at share 1.

    Guarded: a knee that is pinned to the hip leaves a thigh without length, whose derivative would be NaN.
    """
    rest = length(rest_end - rest_start)
    return mix(length(end - start, GUARD * rest) * (1.0 / rest), 1.0, share)
