"""Odile, the ferrywoman, 1.70 m: heeled boots, a long coat open in front, breeches, hair in a bun."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from examples.salt_ferry.arms import FIVE, Arm, hand, hang_arm
from examples.salt_ferry.boots import boot
from examples.salt_ferry.feet import tread
from examples.salt_ferry.fields import (
    Field,
    beside,
    cone,
    cut,
    ellipsoid,
    grow,
    half_space,
    limb,
    meet,
    mirrored,
    on_surface,
    union,
)
from examples.salt_ferry.legs import Leg, stand_leg
from examples.salt_ferry.member import Piece, Recipe, Triple, box, read_proportions
from examples.salt_ferry.odile_head import eye_piece, hair_piece, head_piece
from examples.salt_ferry.skin import across, always, aside, both, ramp
from examples.salt_ferry.spine import Place, spine_gates, spine_joints
from examples.salt_ferry.surface import Grid
from instep.character.arrays import FloatArray

COLOURS: dict[str, Triple] = {
    "body": (0.83, 0.66, 0.54),
    "boots": (0.33, 0.21, 0.14),
    "breeches": (0.72, 0.66, 0.54),
    "coat": (0.20, 0.31, 0.36),
    "belt": (0.42, 0.27, 0.16),
    "brass": (0.78, 0.62, 0.30),
    "hair": (0.42, 0.38, 0.35),
    "eyes": (0.10, 0.08, 0.07),
}


HEAD = 1.13
"""Ratio of the head's size to life: a puppet's head is a little large."""


@dataclass(frozen=True, slots=True)
class OdileProportions:
    """What can be changed. Lengths in metres; where one is 0 here it follows from the height.

    `leg_length` is from hip over knee to ankle, `foot_length` that of the boot; `foot_breadth` is a fraction
    of it. Foot length and breadth over stature are those of women in ANSUR II (Gordon et al. 2014), the boot
    a little longer than the foot; a heel shortens it again.
    """

    height: float = 1.70
    leg_length: float = 0.0
    foot_length: float = 0.0
    foot_breadth: float = 0.356
    heel_height: float = 0.050
    toes_out_deg: float = 6.0


def odile(detail: float, given: Mapping[str, float]) -> Recipe:
    """What Odile is made from."""
    size = read_proportions(OdileProportions, "odile", given)
    foot_length = size.foot_length or 0.153 * size.height
    leg = stand_leg(
        hip_out=0.050 * size.height,
        ankle_out=0.052 * size.height,
        leg_length=size.leg_length or 0.465 * size.height,
        ankle_up=size.heel_height + 0.335 * foot_length,
        foot_length=foot_length,
        foot_breadth=size.foot_breadth,
        toes_out_deg=size.toes_out_deg,
        ankle_ahead=0.240,
        ball_up=0.095,
        ball_ahead=0.690,
    )
    u = (size.height - float(leg.hip[1])) / 0.792

    def at(x: float, y: float, z: float) -> FloatArray:
        return np.asarray(np.array([x, y, z]) * u + np.array([0.0, leg.hip[1], 0.0]))

    def face(x: float, y: float, z: float) -> FloatArray:
        """A place in the head, whose recipes are written for a head of life size."""
        return at(HEAD * x, 0.562 + HEAD * (y - 0.575), HEAD * z)

    arm = hang_arm(at(0.025, 0.440, -0.004), at(0.146, 0.424, -0.014), 0.270 * u, 0.240 * u, 54.0, 14.0)
    spine = {
        "pelvis": at(0.0, 0.040, 0.0),
        "spine.lower": at(0.0, 0.130, 0.0),
        "spine.upper": at(0.0, 0.220, -0.005),
        "chest": at(0.0, 0.320, -0.015),
        "neck": at(0.0, 0.485, -0.020),
        "head": at(0.0, 0.570, -0.008),
    }
    h = 0.0157 * np.sqrt(size.height / 1.70) / np.sqrt(detail)
    foot = leg.frame.stand(boot(foot_length, size.foot_breadth, size.heel_height))
    calf = _calf(leg, u)
    trunk = _trunk(at, u)
    pieces = [
        _boot_piece(leg, foot, calf, u, h),
        _breeches_piece(at, leg, u, h),
        _skirt_piece(at, leg, spine, trunk, u, h),
        _bodice_piece(at, arm, spine, trunk, u, h),
        _collar_piece(at, u, h),
        _belt_piece(at, trunk, u, h),
        *_button_pieces(at, trunk, spine, u, h),
        _hand_piece(arm, u, h),
        head_piece(face, spine, HEAD * u, h),
        hair_piece(face, HEAD * u, h),
        eye_piece(face, HEAD * u, h),
    ]
    joints = spine_joints(spine) + leg.joints() + arm.joints()
    return Recipe(joints, pieces, leg.truth(tread(foot, leg.frame), size.heel_height), COLOURS)


def _calf(leg: Leg, u: float) -> Field:
    """The leg from ankle to knee, which fills the boot's shaft."""
    length = leg.frame.length
    rise = float(leg.ankle[1]) - 0.335 * length
    start = leg.frame.place(0.0, 0.34 + rise / length, 0.222)
    return limb(
        [
            start,
            beside(0.80 * leg.ankle + 0.20 * leg.knee, 0.0, 0.0, -0.008 * u),
            beside(0.42 * leg.ankle + 0.58 * leg.knee, 0.0, 0.0, -0.014 * u),
            leg.knee,
        ],
        np.array([0.135 * length, 0.036 * u, 0.051 * u, 0.048 * u]),
    )


def _boot_piece(leg: Leg, foot: Field, calf: Field, u: float, h: float) -> Piece:
    way = leg.knee - leg.ankle
    top = leg.ankle + 0.56 * way
    shaft = grow(calf, 0.006 * u)
    fold = across(top - 0.034 * u * way / np.linalg.norm(way), way, 0.0, 0.005 * u)
    shaft = grow(shaft, lambda p: 0.007 * u * fold(p))
    rim = half_space(top, beside(way, 0.0, 0.0, 0.10 * float(way[1])))
    shaft = meet(shaft, rim, blend=0.006 * u)
    room = meet(grow(calf, -0.003 * u), half_space(top - 0.03 * u * way / np.linalg.norm(way), -way), blend=0.0)
    field = cut(union(foot, shaft, blend=0.030 * u), room, blend=0.004 * u)
    length = leg.frame.length
    low, high = leg.frame.box(0.30, leg.ankle, top, margin=0.09 * u)
    grid = Grid(
        (0.002, 0.0, float(low[2])),
        (float(high[0]), float(top[1]) + 0.03 * u, float(high[2])),
        0.95 * h,
        fine=0.30,
        fine_below=float(leg.ankle[1]) - 0.1 * length,
        coarse_above=float(leg.ankle[1]) + 0.55 * length,
        middle=(float(leg.ankle[0]), float(leg.frame.place(0.0, 0.0, 0.45)[2])),
    )
    return Piece("boots", field, grid, leg.gates_from("shin.left"))


def _breeches_piece(at: Place, leg: Leg, u: float, h: float) -> Piece:
    seat = ellipsoid(at(0.0, 0.030, -0.006), np.array([0.115, 0.088, 0.092]) * u)
    end = leg.ankle + 0.48 * (leg.knee - leg.ankle)
    tube = limb(
        [
            beside(leg.hip, 0.0, 0.01 * u, -0.006 * u),
            beside(0.45 * leg.hip + 0.55 * leg.knee, 0.0, 0.0, 0.004 * u),
            leg.knee,
            beside(end, 0.0, 0.0, -0.012 * u),
        ],
        np.array([0.058, 0.064, 0.0555, 0.0475]) * u,
    )
    kneecap = ellipsoid(beside(leg.knee, 0.0, 0.0, 0.034 * u), np.array([0.032, 0.042, 0.024]) * u)
    field = union(seat, mirrored(union(tube, kneecap, blend=0.03 * u), 0.01 * u), blend=0.05 * u)
    low, high = box(at(0.0, 0.0, -0.13), at(0.19, 0.14, 0.13))
    grid = Grid((0.0, float(end[1]) - 0.06 * u, low[2]), high, 1.25 * h)
    gates = leg.gates()
    return Piece(
        "breeches", field, grid, {"pelvis": always, "thigh.left": gates["thigh.left"], "shin.left": gates["shin.left"]}
    )


def _trunk(at: Place, u: float) -> Field:
    return union(
        ellipsoid(at(0.0, 0.370, -0.008), np.array([0.132, 0.125, 0.096]) * u),
        mirrored(ellipsoid(at(0.058, 0.350, 0.060), np.array([0.056, 0.060, 0.046]) * u), 0.03 * u),
        ellipsoid(at(0.0, 0.205, 0.002), np.array([0.106, 0.130, 0.083]) * u),
        ellipsoid(at(0.0, 0.060, -0.004), np.array([0.146, 0.110, 0.114]) * u),
        mirrored(cone(at(0.0, 0.440, -0.018), at(0.122, 0.418, -0.016), 0.046 * u, 0.044 * u), 0.03 * u),
        mirrored(cone(at(0.0, 0.480, -0.026), at(0.100, 0.440, -0.020), 0.042 * u, 0.034 * u), 0.03 * u),
        blend=0.06 * u,
    )


def _skirt_piece(at: Place, leg: Leg, spine: Mapping[str, FloatArray], trunk: Field, u: float, h: float) -> Piece:
    """The coat below the belt, open in front and with a vent behind; the belt hides where it starts."""
    waist = float(at(0.0, 0.150, 0.0)[1])
    hem = float(leg.knee[1]) + 0.055 * u
    drop = waist - hem

    def wall(p: FloatArray, inward: float) -> FloatArray:
        """Distance to the skirt's wall: an ellipse that widens downwards, with folds that deepen."""
        t = np.clip((waist - p[:, 1]) / drop, -0.2, 1.3)
        wide = (0.112 + 0.056 * ramp(t, 0.0, 0.52) + 0.062 * t) * u
        deep = (0.090 + 0.046 * ramp(t, 0.0, 0.52) + 0.062 * t) * u
        x, z = p[:, 0], p[:, 2] + 0.012 * u * t
        folds = 1.0 + 0.040 * ramp(t, 0.25, 1.1) * np.cos(8.0 * np.arctan2(x, z))
        return np.asarray((np.hypot(x / wide, z / deep) / folds - 1.0) * np.sqrt(wide * deep) * 0.93 + inward)

    middle = np.array([0.0, 0.5 * (waist + hem), 0.0])
    reach = 0.75 * drop + 0.1 * u
    outside = Field(lambda p: wall(p, 0.0), middle, reach)
    inside = Field(lambda p: wall(p, 0.026 * u), middle, reach)
    upwards = (0.0, 1.0, 0.0)
    hollow = meet(inside, half_space(at(0.0, 0.030, 0.0), upwards), blend=0.02 * u)

    def opening(p: FloatArray) -> FloatArray:
        down = at(0.0, 0.105, 0.0)[1] - p[:, 1]
        return np.asarray(np.maximum(0.95 * (p[:, 0] - 0.26 * np.maximum(down, -0.01 * u)), -p[:, 2]))

    def vent(p: FloatArray) -> FloatArray:
        down = at(0.0, -0.040, 0.0)[1] - p[:, 1]
        return np.asarray(np.maximum(p[:, 0] - np.clip(0.09 * down, -0.05 * u, 0.03 * u), p[:, 2] + 0.02 * u))

    solid = meet(union(trunk, outside, blend=0.035 * u), half_space((0.0, waist + 0.012 * u, 0.0), upwards), blend=0.0)
    solid = cut(solid, half_space((0.0, hem, 0.0), upwards), hollow, blend=0.012 * u)
    front = meet(Field(opening, middle, np.inf), half_space(at(0.0, 0.105, 0.0), upwards), blend=0.0)
    field = cut(solid, front, Field(vent, middle, np.inf), blend=0.016 * u)

    swing = both(across(leg.hip, (0.0, -1.0, 0.0), 0.06 * u, 0.22 * u), aside(0.075 * u))
    gates = {**spine_gates(spine, "pelvis", "spine.lower"), "thigh.left": swing}
    low, high = box(at(0.0, 0.0, -0.28), at(0.27, 0.19, 0.28))
    return Piece("coat", field, Grid((0.0, hem - 0.03 * u, low[2]), high, 0.82 * h), gates)


def _bodice_piece(at: Place, arm: Arm, spine: Mapping[str, FloatArray], trunk: Field, u: float, h: float) -> Piece:
    """The coat above the belt, with its sleeves and cuffs."""
    fore = arm.wrist - arm.elbow
    end = arm.elbow + 0.93 * fore
    sleeve = limb(
        [arm.shoulder, 0.5 * (arm.shoulder + arm.elbow), arm.elbow, end, end + 0.1 * fore],
        np.array([0.050, 0.046, 0.042, 0.040, 0.041]) * u,
    )
    fold = across(arm.elbow + 0.66 * fore, fore, 0.0, 0.006 * u)
    cuffed = meet(grow(sleeve, lambda p: 0.010 * u * fold(p)), half_space(end, fore), blend=0.006 * u)
    room = cone(end - 0.05 * fore, arm.wrist, 0.027 * u, 0.030 * u)
    upper = meet(trunk, half_space(at(0.0, 0.125, 0.0), (0.0, -1.0, 0.0)), blend=0.006 * u)
    field = cut(union(upper, cuffed, blend=0.040 * u), room, blend=0.005 * u)
    gates = arm.with_trunk(spine_gates(spine, "pelvis", "chest"), sleeve, trunk, 0.055 * u)
    low, high = box(at(0.0, 0.0, -0.15), at(0.0, 0.55, 0.15))
    bottom = min(float(at(0.0, 0.10, 0.0)[1]), float(arm.wrist[1]) - 0.04 * u)
    grid = Grid((0.0, bottom, low[2]), (float(arm.wrist[0]) + 0.06 * u, high[1], high[2]), 0.95 * h)
    return Piece("coat", field, grid, gates)


def _collar_piece(at: Place, u: float, h: float) -> Piece:
    wall = cone(at(0.0, 0.440, -0.020), at(0.0, 0.560, -0.030), 0.068 * u, 0.080 * u)
    room = cone(at(0.0, 0.440, -0.018), at(0.0, 0.580, -0.026), 0.054 * u, 0.064 * u)

    def rim(p: FloatArray) -> FloatArray:
        q = (p - at(0.0, 0.0, 0.0)) / u
        return np.asarray((q[:, 1] - 0.535 + 0.45 * np.maximum(q[:, 2] + 0.02, 0.0)) * 0.9 * u)

    notch = meet(
        Field(
            lambda p: np.asarray(p[:, 0] - 0.010 * u - 0.45 * (p[:, 1] - at(0.0, 0.455, 0.0)[1])), wall.centre, np.inf
        ),
        half_space(at(0.0, 0.0, 0.0), (0.0, 0.0, -1.0)),
        blend=0.0,
    )
    field = cut(
        meet(wall, Field(rim, wall.centre, np.inf), half_space(at(0.0, 0.455, 0.0), (0.0, -1.0, 0.0)), blend=0.005 * u),
        room,
        notch,
        blend=0.005 * u,
    )
    low, high = box(at(0.0, 0.43, -0.12), at(0.10, 0.56, 0.07))
    return Piece("coat", field, Grid((0.0, *low[1:]), high, 0.55 * h), {"chest": always})


def _belt_piece(at: Place, trunk: Field, u: float, h: float) -> Piece:
    def level(p: FloatArray) -> FloatArray:
        return np.asarray(np.abs(p[:, 1] - at(0.0, 0.168, 0.0)[1]) - 0.017 * u)

    band = meet(
        cut(grow(trunk, 0.012 * u), grow(trunk, -0.010 * u), blend=0.0),
        Field(level, trunk.centre, np.inf),
        blend=0.005 * u,
    )
    low, high = box(at(0.0, 0.13, -0.12), at(0.15, 0.21, 0.13))
    return Piece(
        "belt",
        band,
        Grid((0.0, *low[1:]), high, 0.55 * h),
        {"pelvis": always, "spine.lower": lambda p: np.full(len(p), 0.6)},
    )


def _button_pieces(at: Place, trunk: Field, spine: Mapping[str, FloatArray], u: float, h: float) -> list[Piece]:
    gates = spine_gates(spine, "pelvis", "chest")
    pieces = []
    for out, up in ((0.050, 0.400), (0.046, 0.335), (0.040, 0.270), (0.036, 0.218)):
        place = on_surface(trunk, at(out, up, 0.0), np.array([0.12, 0.0, 1.0]), u)
        field = ellipsoid(place, np.array([0.0115, 0.0115, 0.007]) * u)
        low, high = box(place - 0.02 * u, place + 0.02 * u)
        pieces.append(Piece("brass", field, Grid(low, high, 0.45 * h), gates))
    buckle = on_surface(trunk, at(0.0, 0.168, 0.0), np.array([0.0, 0.0, 1.0]), u)
    centre = beside(buckle, 0.0, 0.0, 0.010 * u)
    frame = cut(
        ellipsoid(centre, np.array([0.030, 0.027, 0.010]) * u),
        ellipsoid(beside(centre, 0.0, 0.0, 0.006 * u), np.array([0.017, 0.014, 0.010]) * u),
        blend=0.003 * u,
    )
    low, high = box(centre - 0.04 * u, centre + 0.04 * u)
    pieces.append(
        Piece(
            "brass",
            frame,
            Grid((0.0, *low[1:]), high, 0.45 * h),
            {"pelvis": always, "spine.lower": lambda p: np.full(len(p), 0.6)},
        )
    )
    return pieces


def _hand_piece(arm: Arm, u: float, h: float) -> Piece:
    field = union(
        cone(arm.wrist - 0.06 * u * arm.along, arm.wrist + 0.02 * u * arm.along, 0.0225 * u, 0.0215 * u),
        hand(arm, 0.165 * u, 0.075, FIVE),
        blend=0.03 * u,
    )
    tip = arm.wrist + 0.17 * u * arm.along
    low, high = box(np.minimum(arm.wrist, tip) - 0.09 * u, np.maximum(arm.wrist, tip) + 0.09 * u)
    return Piece("body", field, Grid(low, high, 0.43 * h), arm.bare_gates())
