"""Grub, a marsh troll: huge lumpy feet, short legs, long arms, a belly, a heavy brow; a kilt and a cape of moss."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from examples.salt_ferry.arms import FOUR, Arm, hand, hang_arm
from examples.salt_ferry.feet import tread, troll_foot
from examples.salt_ferry.fields import (
    Field,
    ball,
    beside,
    cone,
    cut,
    ellipsoid,
    grow,
    half_space,
    limb,
    mirrored,
    on_surface,
    union,
)
from examples.salt_ferry.grub_head import crest_piece, eye_piece, head_piece, tusk_piece, wart_piece
from examples.salt_ferry.legs import Leg, stand_leg
from examples.salt_ferry.member import Piece, Recipe, Triple, box, read_proportions
from examples.salt_ferry.skin import always, belonging, both, led
from examples.salt_ferry.spine import Place, spine_gates, spine_joints
from examples.salt_ferry.surface import Grid
from instep.character.arrays import FloatArray

COLOURS: dict[str, Triple] = {
    "body": (0.55, 0.51, 0.40),
    "moss": (0.36, 0.40, 0.22),
    "kilt": (0.50, 0.38, 0.25),
    "rope": (0.74, 0.64, 0.44),
    "teeth": (0.90, 0.85, 0.70),
    "eyes": (0.12, 0.09, 0.06),
}

LUMPS = (
    # direction from the middle of the trunk, radius: warts of the back, the flanks and the belly
    (0.70, 0.25, -0.85, 0.050),
    (0.35, -0.10, -1.00, 0.042),
    (0.95, 0.05, 0.15, 0.036),
    (0.60, 0.35, 0.75, 0.026),
    (0.85, -0.20, -0.35, 0.045),
    (0.75, -0.05, 0.60, 0.020),
)


@dataclass(frozen=True, slots=True)
class GrubProportions:
    """What can be changed. Lengths in metres; where one is 0 here it follows from the height.

    `leg_length` is from hip over knee to ankle; `foot_breadth` is a fraction of the foot's length.
    """

    height: float = 1.45
    leg_length: float = 0.0
    foot_length: float = 0.0
    foot_breadth: float = 0.67
    toes_out_deg: float = 14.0


def grub(detail: float, given: Mapping[str, float]) -> Recipe:
    """What Grub is made from."""
    size = read_proportions(GrubProportions, "grub", given)
    foot_length = size.foot_length or 0.290 * size.height
    leg = stand_leg(
        hip_out=0.090 * size.height,
        ankle_out=0.118 * size.height,
        leg_length=size.leg_length or 0.270 * size.height,
        ankle_up=0.270 * foot_length,
        foot_length=foot_length,
        foot_breadth=size.foot_breadth,
        toes_out_deg=size.toes_out_deg,
        ankle_ahead=0.245,
        ball_up=0.105,
        ball_ahead=0.660,
    )
    u = (size.height - float(leg.hip[1])) / 0.945

    def at(x: float, y: float, z: float) -> FloatArray:
        return np.asarray(np.array([x, y, z]) * u + np.array([0.0, leg.hip[1], 0.0]))

    arm = hang_arm(at(0.060, 0.470, -0.010), at(0.285, 0.455, -0.015), 0.300 * u, 0.290 * u, 57.0, 16.0)
    spine = {
        "pelvis": at(0.0, 0.040, -0.010),
        "spine.lower": at(0.0, 0.130, -0.010),
        "spine.upper": at(0.0, 0.250, -0.020),
        "chest": at(0.0, 0.370, -0.030),
        "neck": at(0.0, 0.540, 0.040),
        "head": at(0.0, 0.620, 0.100),
    }
    h = 0.0208 * np.sqrt(size.height / 1.45) / np.sqrt(detail)
    foot = leg.frame.stand(troll_foot(foot_length, size.foot_breadth))
    trunk = _trunk(at, u)
    pieces = [
        _body_piece(at, leg, arm, spine, foot, trunk, u, h),
        head_piece(at, spine, u, h),
        _hand_piece(arm, u, h),
        wart_piece(at, u, h),
        _moss_piece(at, arm, spine, trunk, u, h),
        _kilt_piece(at, leg, trunk, u, h),
        _rope_piece(at, trunk, u, h),
        _wrap_piece(arm, u, h),
        crest_piece(at, u, h),
        tusk_piece(at, u, h),
        eye_piece(at, u, h),
    ]
    joints = spine_joints(spine) + leg.joints() + arm.joints()
    return Recipe(joints, pieces, leg.truth(tread(foot, leg.frame), 0.0), COLOURS)


def _trunk(at: Place, u: float) -> Field:
    return union(
        ellipsoid(at(0.0, 0.165, 0.065), np.array([0.265, 0.230, 0.245]) * u),
        ellipsoid(at(0.0, 0.020, -0.010), np.array([0.215, 0.150, 0.190]) * u),
        mirrored(ball(at(0.090, -0.010, -0.100), 0.115 * u), 0.04 * u),
        ellipsoid(at(0.0, 0.400, -0.010), np.array([0.255, 0.190, 0.190]) * u),
        ellipsoid(at(0.0, 0.490, -0.110), np.array([0.200, 0.150, 0.140]) * u),
        cone(at(0.0, 0.460, -0.010), at(0.0, 0.540, 0.040), 0.115 * u, 0.100 * u),
        mirrored(ball(at(0.085, 0.400, 0.110), 0.095 * u), 0.05 * u),
        blend=0.10 * u,
    )


def _body_piece(
    at: Place, leg: Leg, arm: Arm, spine: Mapping[str, FloatArray], foot: Field, trunk: Field, u: float, h: float
) -> Piece:
    g = float(np.linalg.norm(leg.hip - leg.ankle)) / 0.39
    legs = limb(
        [
            leg.frame.place(0.0, 0.34, 0.235),
            beside(0.55 * leg.ankle + 0.45 * leg.knee, 0.0, 0.0, -0.012 * u),
            leg.knee,
            beside(leg.hip, 0.0, -0.01 * u, 0.0),
        ],
        np.array([0.185 * leg.frame.length, 0.092 * u, 0.094 * u, 0.126 * u]),
    )
    kneecap = ellipsoid(beside(leg.knee, 0.0, 0.0, 0.070 * u), np.array([0.052, 0.050 * g, 0.040]) * u)
    legs = union(legs, kneecap, foot, blend=0.05 * u)
    elbow_back = beside(arm.elbow, 0.0, 0.0, -0.050 * u)
    arms = union(
        limb(
            [
                arm.shoulder,
                0.55 * arm.shoulder + 0.45 * arm.elbow,
                arm.elbow,
                0.62 * arm.elbow + 0.38 * arm.wrist,
                arm.wrist,
            ],
            np.array([0.118, 0.088, 0.068, 0.086, 0.050]) * u,
        ),
        ball(elbow_back, 0.032 * u),
        blend=0.04 * u,
    )
    centre = at(0.0, 0.220, 0.0)
    lumps = union(
        *(ball(on_surface(trunk, centre, np.array(way), u) - 0.5 * r * u * np.array(way), r * u) for *way, r in LUMPS),
        blend=0.02 * u,
    )
    navel = ball(at(0.0, 0.150, 0.318), 0.020 * u)
    middle = union(cut(trunk, navel, blend=0.03 * u), mirrored(legs, 0.02 * u, 0.03 * u), blend=0.06 * u)
    field = union(middle, arms, blend=0.07 * u)
    field = union(field, mirrored(lumps, 0.0), blend=0.040 * u)

    gates = {**spine_gates(spine, "pelvis", "neck"), **leg.gates()}
    gates["thigh.left"] = both(gates["thigh.left"], belonging(legs, trunk, 0.12 * u))
    own_legs = belonging(legs, union(trunk, arms, blend=0.0), 0.02 * u)
    gates = led(gates, own_legs, ("thigh.left", "shin.left", "foot.left", "toes.left")) | {
        name: gates[name] for name in ("thigh.left", "shin.left", "foot.left", "toes.left")
    }
    gates = arm.with_trunk(gates, arms, middle, 0.10 * u)

    length = leg.frame.length
    top = at(0.0, 0.70, 0.0)[1]
    belly = np.array([at(0.0, 0.1, z) for z in (-0.26, 0.30)])
    low, high = leg.frame.box(0.50, arm.elbow, arm.wrist, leg.hip, *belly, margin=0.10 * u)
    grid = Grid(
        (0.0, 0.0, float(low[2])),
        (float(high[0]), float(top), float(high[2])),
        h,
        fine=0.41,
        fine_below=0.40 * length,
        coarse_above=0.85 * length + 0.1 * u,
        middle=(0.0, float(leg.frame.place(0.0, 0.0, 0.5)[2])),
    )
    return Piece("body", field, grid, gates)


def _hand_piece(arm: Arm, u: float, h: float) -> Piece:
    """A hand on a grid of its own, much finer than the body's; the wrap hides where it starts."""
    field = union(
        cone(arm.wrist - 0.035 * u * arm.along, arm.wrist + 0.06 * u * arm.along, 0.052 * u, 0.058 * u),
        hand(arm, 0.275 * u, 0.135, FOUR),
        blend=0.05 * u,
    )
    tip = arm.wrist + 0.28 * u * arm.along
    low, high = box(np.minimum(arm.wrist, tip) - 0.15 * u, np.maximum(arm.wrist, tip) + 0.15 * u)
    return Piece("body", field, Grid(low, high, 0.62 * h), arm.bare_gates())


def _wrap_piece(arm: Arm, u: float, h: float) -> Piece:
    """A band of cord around the wrist."""
    field = union(
        *(
            limb(_ring(arm, along * u, radius * u), np.full(17, 0.017) * u, steps=1)
            for along, radius in ((-0.052, 0.056), (-0.026, 0.054), (0.0, 0.054))
        ),
        cone(arm.wrist - 0.05 * u * arm.along, arm.wrist, 0.050 * u, 0.050 * u),
        blend=0.006 * u,
    )
    low, high = box(arm.wrist - 0.14 * u, arm.wrist + 0.12 * u)
    return Piece("rope", field, Grid(low, high, 0.62 * h), arm.bare_gates())


def _ring(arm: Arm, along: float, radius: float) -> FloatArray:
    """(17, 3) of a closed ring around the wrist."""
    first = np.cross(arm.along, (0.0, 0.0, 1.0))
    first /= np.linalg.norm(first)
    second = np.cross(arm.along, first)
    turn = np.linspace(0.0, 2.0 * np.pi, 17)[:, None]
    return np.asarray(arm.wrist + along * arm.along + radius * (np.cos(turn) * first + np.sin(turn) * second))


def _moss_piece(at: Place, arm: Arm, spine: Mapping[str, FloatArray], trunk: Field, u: float, h: float) -> Piece:
    """A cape of moss over back and shoulders, with a ragged hem."""
    sleeve = cone(arm.shoulder, 0.7 * arm.shoulder + 0.3 * arm.elbow, 0.118 * u, 0.100 * u)
    collar = cone(at(0.0, 0.480, -0.010), at(0.0, 0.570, 0.060), 0.150 * u, 0.120 * u)
    under = union(trunk, sleeve, collar, blend=0.08 * u)

    def thickness(p: FloatArray) -> FloatArray:
        q = (p - at(0.0, 0.0, 0.0)) / u
        tuft = np.sin(31.0 * q[:, 0] + 9.0 * q[:, 1]) * np.cos(29.0 * q[:, 2] - 7.0 * q[:, 1])
        return np.asarray((0.030 + 0.009 * tuft + 0.006 * np.sin(47.0 * q[:, 1])) * u)

    def hem(p: FloatArray) -> FloatArray:
        q = (p - at(0.0, 0.0, 0.0)) / u
        turn = np.arctan2(np.abs(q[:, 0]), -q[:, 2])
        rag = 0.045 * np.sin(5.5 * turn) ** 2 + 0.012 * np.sin(15.0 * turn)
        return np.asarray((q[:, 1] - 0.335 - 0.125 * (turn / np.pi) ** 2 + rag) * u)

    front = ellipsoid(at(0.0, 0.420, 0.300), np.array([0.110, 0.200, 0.200]) * u)
    field = cut(grow(under, thickness), Field(hem, at(0.0, 0.0, 0.0), np.inf), front, blend=0.014 * u)
    low, high = box(at(0.0, 0.22, -0.34), at(0.50, 0.76, 0.30))
    gates = arm.with_trunk(spine_gates(spine, "spine.upper", "chest"), sleeve, trunk, 0.12 * u)
    return Piece("moss", field, Grid((0.0, *low[1:]), high, 1.12 * h), gates)


def _kilt_piece(at: Place, leg: Leg, trunk: Field, u: float, h: float) -> Piece:
    bell = ellipsoid(at(0.0, -0.110, 0.025), np.array([0.315, 0.250, 0.280]) * u)
    inside = ellipsoid(at(0.0, -0.210, 0.025), np.array([0.285, 0.230, 0.250]) * u)

    def hem(p: FloatArray) -> FloatArray:
        q = (p - at(0.0, 0.0, 0.0)) / u
        turn = np.arctan2(np.abs(q[:, 0]), q[:, 2])
        rag = 0.022 * np.sin(7.0 * turn + 0.4) ** 2 + 0.006 * np.sin(13.0 * turn)
        return np.asarray((q[:, 1] + 0.130 + rag) * u)

    top = half_space(at(0.0, 0.050, 0.0), (0.0, -1.0, 0.0))
    field = cut(
        union(bell, grow(trunk, 0.016 * u), blend=0.04 * u),
        top,
        inside,
        Field(hem, at(0.0, 0.0, 0.0), np.inf),
        blend=0.012 * u,
    )
    low, high = box(at(0.0, -0.20, -0.30), at(0.36, 0.08, 0.33))
    thigh = leg.gates()["thigh.left"]
    return Piece("kilt", field, Grid((0.0, *low[1:]), high, h), {"pelvis": always, "thigh.left": thigh})


def _rope_piece(at: Place, trunk: Field, u: float, h: float) -> Piece:
    ring = []
    for turn in np.linspace(0.0, np.pi, 13):
        way = np.array([np.sin(turn), 0.0, np.cos(turn)])
        level = at(0.0, 0.048 + 0.016 * np.cos(turn), 0.030)
        ring.append(on_surface(trunk, level, way, u) + 0.013 * u * way)
    ends = limb(
        [at(0.016, 0.056, 0.288), at(0.038, -0.010, 0.306), at(0.046, -0.090, 0.316)],
        np.array([0.015, 0.016, 0.020]) * u,
    )
    knot = ellipsoid(at(0.0, 0.064, 0.286), np.array([0.034, 0.026, 0.024]) * u)
    field = union(
        mirrored(limb(ring, np.full(13, 0.021) * u, steps=2), 0.0), knot, mirrored(ends, 0.004 * u), blend=0.012 * u
    )
    low, high = box(at(0.0, -0.13, -0.27), at(0.33, 0.11, 0.35))
    return Piece("rope", field, Grid((0.0, *low[1:]), high, 0.75 * h), {"pelvis": always})
