"""Pip, a child of about 1.15 m: barefoot with five toes, short trousers, a loose shirt, tousled hair."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from examples.salt_ferry.arms import FIVE, Arm, hand, hang_arm
from examples.salt_ferry.feet import bare_foot, tread
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
    meet,
    mirrored,
    union,
)
from examples.salt_ferry.legs import Leg, stand_leg
from examples.salt_ferry.member import Piece, Recipe, Triple, read_proportions
from examples.salt_ferry.skin import across, always
from examples.salt_ferry.spine import Place, spine_gates, spine_joints
from examples.salt_ferry.surface import Grid
from instep.character.arrays import FloatArray

COLOURS: dict[str, Triple] = {
    "body": (0.80, 0.60, 0.47),
    "shirt": (0.86, 0.82, 0.70),
    "shorts": (0.29, 0.38, 0.42),
    "scarf": (0.70, 0.27, 0.20),
    "hair": (0.36, 0.20, 0.11),
    "eyes": (0.10, 0.08, 0.07),
}


@dataclass(frozen=True, slots=True)
class PipProportions:
    """What can be changed. Lengths in metres; where one is 0 here it follows from the height.

    `leg_length` is from hip over knee to ankle; `foot_breadth` is a fraction of the foot's length.
    """

    height: float = 1.15
    leg_length: float = 0.0
    foot_length: float = 0.0
    foot_breadth: float = 0.40
    toes_out_deg: float = 7.0


def pip(detail: float, given: Mapping[str, float]) -> Recipe:
    """What Pip is made from."""
    size = read_proportions(PipProportions, "pip", given)
    foot_length = size.foot_length or 0.162 * size.height
    leg_length = size.leg_length or 0.405 * size.height
    leg = stand_leg(
        hip_out=0.055 * size.height,
        ankle_out=0.066 * size.height,
        leg_length=leg_length,
        ankle_up=0.285 * foot_length,
        foot_length=foot_length,
        foot_breadth=size.foot_breadth,
        toes_out_deg=size.toes_out_deg,
        ankle_ahead=0.235,
        ball_up=0.085,
        ball_ahead=0.690,
    )
    u = (size.height - float(leg.hip[1])) / 0.632

    def at(x: float, y: float, z: float) -> FloatArray:
        return np.asarray(np.array([x, y, z]) * u + np.array([0.0, leg.hip[1], 0.0]))

    arm = hang_arm(at(0.022, 0.262, 0.005), at(0.098, 0.254, -0.004), 0.160 * u, 0.140 * u, 50.0, 14.0)
    spine = {
        "pelvis": at(0.0, 0.025, 0.0),
        "spine.lower": at(0.0, 0.080, 0.002),
        "spine.upper": at(0.0, 0.150, 0.002),
        "chest": at(0.0, 0.215, 0.0),
        "neck": at(0.0, 0.292, -0.004),
        "head": at(0.0, 0.352, 0.004),
    }
    joints = spine_joints(spine) + leg.joints() + arm.joints()

    foot = leg.frame.stand(bare_foot(foot_length, size.foot_breadth))
    h = 0.0130 * np.sqrt(size.height / 1.15) / np.sqrt(detail)
    pieces = [
        _leg_piece(leg, foot, u, h),
        _arm_piece(arm, u, h),
        _head_piece(at, spine, u, h),
        _shirt_piece(at, arm, spine, u, h),
        _shorts_piece(at, leg, u, h),
        _scarf_piece(at, spine, u, h),
        _hair_piece(at, u, h),
        _eye_piece(at, u, h),
    ]
    return Recipe(joints, pieces, leg.truth(tread(foot, leg.frame), 0.0), COLOURS)


def _leg_piece(leg: Leg, foot: Field, u: float, h: float) -> Piece:
    ankle, knee, hip = leg.ankle, leg.knee, leg.hip
    back = np.array([0.0, 0.0, -1.0])
    length = leg.frame.length
    shape = limb(
        [
            leg.frame.place(0.0, 0.36, 0.222),
            leg.frame.place(0.0, 0.55, 0.215),
            0.45 * ankle + 0.55 * knee + 0.010 * u * back,
            knee,
            0.6 * knee + 0.4 * hip,
            0.25 * knee + 0.75 * hip,
        ],
        np.array([0.0225, 0.0235, 0.0375, 0.0345, 0.043, 0.050]) * u,
    )
    kneecap = ellipsoid(beside(knee, 0.0, 0.004 * u, 0.022 * u), np.array([0.022, 0.026, 0.018]) * u)
    top = float(0.2 * knee[1] + 0.8 * hip[1])
    field = cut(
        union(foot, shape, kneecap, blend=0.028 * u), half_space((0.0, top, 0.0), (0.0, -1.0, 0.0)), blend=0.01 * u
    )
    low, high = leg.frame.box(0.32, ankle, knee, hip, margin=0.075 * u)
    grid = Grid(
        (0.001, 0.0, float(low[2])),
        (float(high[0]), top + 2 * h, float(high[2])),
        h,
        fine=0.26,
        fine_below=0.35 * length,
        coarse_above=0.9 * length,
        middle=(float(ankle[0]), float(leg.frame.place(0.0, 0.0, 0.5)[2])),
    )
    # The same blend from the pelvis as the shorts over it: a thigh that turned whole would come through them.
    return Piece("body", field, grid, {"pelvis": always, **leg.gates()})


def _arm_piece(arm: Arm, u: float, h: float) -> Piece:
    palm = hand(arm, 0.118 * u, 0.085, FIVE)
    shape = limb(
        [
            0.65 * arm.shoulder + 0.35 * arm.elbow,
            arm.elbow,
            0.7 * arm.elbow + 0.3 * arm.wrist,
            arm.wrist,
            arm.wrist + 0.02 * u * arm.along,
        ],
        np.array([0.030, 0.0265, 0.0275, 0.0185, 0.019]) * u,
    )
    field = union(shape, palm, blend=0.02 * u)
    tip = arm.wrist + 0.14 * u * arm.along
    low = np.minimum(arm.elbow, tip) - 0.075 * u
    high = np.maximum(arm.shoulder, tip) + 0.075 * u
    wrist = float(arm.wrist[1])
    grid = Grid(
        (float(low[0]) - 0.05 * u, float(low[1]), float(low[2])),
        (float(high[0]), float(high[1]), float(high[2])),
        0.85 * h,
        fine=0.30,
        fine_below=wrist,
        coarse_above=wrist + 0.10 * u,
        middle=(float(tip[0]), float(tip[2])),
    )
    return Piece("body", field, grid, arm.bare_gates())


def _skull(at: Place, u: float) -> Field:
    return union(
        ellipsoid(at(0.0, 0.500, -0.008), np.array([0.097, 0.104, 0.108]) * u),
        ellipsoid(at(0.0, 0.430, 0.014), np.array([0.080, 0.066, 0.080]) * u),
        blend=0.05 * u,
    )


def _head_piece(at: Place, spine: dict[str, FloatArray], u: float, h: float) -> Piece:
    features = union(
        _skull(at, u),
        mirrored(ball(at(0.042, 0.422, 0.046), 0.040 * u), 0.02 * u),
        ball(at(0.0, 0.376, 0.062), 0.024 * u),
        cone(at(0.0, 0.225, -0.014), at(0.0, 0.390, -0.008), 0.050 * u, 0.044 * u),
        blend=0.045 * u,
    )
    eye = ellipsoid(at(0.038, 0.452, 0.108), np.array([0.026, 0.024, 0.020]) * u)
    features = cut(features, mirrored(eye, 0.0), blend=0.02 * u)
    nose = limb(
        [at(0.0, 0.455, 0.094), at(0.0, 0.436, 0.105), at(0.0, 0.430, 0.106)], np.array([0.008, 0.0125, 0.0125]) * u
    )
    lips = mirrored(limb([at(0.0, 0.384, 0.086), at(0.014, 0.387, 0.083)], np.array([0.007, 0.003]) * u), 0.004 * u)
    ear = cut(
        ellipsoid(at(0.096, 0.446, -0.004), np.array([0.016, 0.034, 0.024]) * u),
        ellipsoid(at(0.112, 0.450, 0.004), np.array([0.012, 0.020, 0.014]) * u),
        blend=0.01 * u,
    )
    field = union(features, nose, lips, mirrored(ear, 0.0), blend=0.014 * u)
    mouth = mirrored(
        limb([at(0.0, 0.3905, 0.094), at(0.020, 0.394, 0.090), at(0.036, 0.405, 0.081)], np.full(3, 0.005) * u), 0.0
    )
    field = cut(field, mouth, blend=0.006 * u)
    low, high = at(-0.13, 0.17, -0.13), at(0.13, 0.62, 0.14)
    grid = Grid((0.0, float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])), 0.60 * h)
    return Piece("body", field, grid, spine_gates(spine, "chest", "head"))


def _shirt_piece(at: Place, arm: Arm, spine: dict[str, FloatArray], u: float, h: float) -> Piece:
    trunk = union(
        ellipsoid(at(0.0, 0.200, -0.002), np.array([0.102, 0.098, 0.076]) * u),
        ellipsoid(at(0.0, 0.095, 0.010), np.array([0.104, 0.120, 0.086]) * u),
        ellipsoid(at(0.0, 0.005, -0.002), np.array([0.134, 0.085, 0.116]) * u),
        ellipsoid(at(0.0, 0.275, -0.008), np.array([0.070, 0.040, 0.054]) * u),
        mirrored(cone(at(0.0, 0.255, -0.006), at(0.080, 0.246, -0.006), 0.038 * u, 0.034 * u), 0.03 * u),
        blend=0.06 * u,
    )
    down = (arm.elbow - arm.shoulder) / np.linalg.norm(arm.elbow - arm.shoulder)
    end = 0.16 * arm.shoulder + 0.84 * arm.elbow
    sleeve = limb([arm.shoulder - 0.02 * u * down, end, end + 0.03 * u * down], np.array([0.042, 0.050, 0.052]) * u)
    inside = limb([0.5 * (arm.shoulder + arm.elbow), arm.elbow], np.array([0.033, 0.035]) * u)
    sleeve_end = meet(sleeve, half_space(end, down), blend=0.006 * u)
    field = union(trunk, sleeve_end, blend=0.035 * u)

    def hem(p: FloatArray) -> FloatArray:
        bottom = at(0.0, -0.014, 0.0)[1]
        wave = 0.005 * u * np.cos(7.0 * np.arctan2(p[:, 0], p[:, 2]))
        return np.asarray(p[:, 1] - bottom - wave)

    below = Field(hem, at(0.0, 0.0, 0.0), np.inf)
    field = cut(field, inside, below, blend=0.006 * u)
    low, high = at(0.0, -0.04, -0.14), at(0.26, 0.33, 0.14)
    grid = Grid((0.0, float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])), h)
    gates = arm.with_trunk(spine_gates(spine, "pelvis", "chest"), sleeve, trunk, 0.045 * u)
    return Piece("shirt", field, grid, gates)


def _scarf_piece(at: Place, spine: dict[str, FloatArray], u: float, h: float) -> Piece:
    turns = np.linspace(0.0, np.pi, 9)
    ring = [at(0.060 * np.sin(t), 0.302 - 0.018 * np.cos(t), 0.054 * np.cos(t) - 0.008) for t in turns]
    ends = limb(
        [at(0.006, 0.268, 0.066), at(0.022, 0.232, 0.086), at(0.034, 0.196, 0.086)], np.array([0.010, 0.015, 0.010]) * u
    )
    knot = ellipsoid(at(0.0, 0.272, 0.066), np.array([0.017, 0.015, 0.014]) * u)
    field = union(
        mirrored(limb(ring, np.full(9, 0.0175) * u, steps=3), 0.005 * u),
        knot,
        mirrored(ends, 0.004 * u),
        blend=0.008 * u,
    )
    low, high = at(0.0, 0.17, -0.09), at(0.09, 0.34, 0.12)
    grid = Grid((0.0, float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])), 0.8 * h)
    return Piece("scarf", field, grid, {"chest": always})


def _shorts_piece(at: Place, leg: Leg, u: float, h: float) -> Piece:
    end = 0.80 * leg.knee + 0.20 * leg.hip
    seat = ellipsoid(at(0.0, 0.022, -0.002), np.array([0.105, 0.075, 0.088]) * u)
    tube = limb(
        [beside(leg.hip, 0.0, 0.01 * u, 0.0), end, end + 0.4 * (leg.knee - leg.hip) * 0.3],
        np.array([0.064, 0.062, 0.064]) * u,
    )
    inside = limb(
        [0.45 * leg.knee + 0.55 * leg.hip, leg.knee + 0.1 * (leg.knee - leg.hip)], np.array([0.045, 0.048]) * u
    )
    field = union(seat, mirrored(tube, 0.016 * u), blend=0.05 * u)
    field = meet(field, half_space(end, leg.knee - leg.hip), blend=0.006 * u)
    turned_up = across(
        end - 0.028 * u * (leg.knee - leg.hip) / np.linalg.norm(leg.knee - leg.hip), leg.knee - leg.hip, 0.0, 0.004 * u
    )
    field = cut(grow(field, lambda p: 0.005 * u * turned_up(p)), inside, blend=0.006 * u)
    low, high = at(0.0, 0.0, -0.12), at(0.16, 0.12, 0.12)
    grid = Grid((0.0, float(end[1]) - 0.03 * u, float(low[2])), (float(high[0]), float(high[1]), float(high[2])), h)
    gates = leg.gates()
    return Piece("shorts", field, grid, {"pelvis": always, "thigh.left": gates["thigh.left"]})


def _hair_piece(at: Place, u: float, h: float) -> Piece:
    """A cap that leaves the face free, and locks that fall from the crown; the locks come in pairs."""
    face = ellipsoid(at(0.0, 0.430, 0.105), np.array([0.085, 0.088, 0.075]) * u)
    neck = ellipsoid(at(0.0, 0.340, -0.02), np.array([0.14, 0.085, 0.20]) * u)
    cap = cut(grow(_skull(at, u), 0.014 * u), face, neck, blend=0.02 * u)
    middle, radii = np.array([0.0, 0.492, -0.006]), np.array([0.104, 0.112, 0.116])
    crown = np.array([0.0, 0.88, -0.47])
    noise = np.random.default_rng(11)
    locks = []
    for i in range(64):
        up, turn = 1.0 - 2.0 * (i + 0.5) / 64.0, 2.39996 * i
        flat = np.sqrt(1.0 - up * up)
        d = np.array([flat * np.sin(turn), up, flat * np.cos(turn)])
        if d[0] < 0.05 or d[1] < -0.10 or (d[2] > 0.25 and d[1] < 0.45):
            continue
        away = d - crown * float(crown @ d)
        away /= np.linalg.norm(away)
        sway = noise.uniform(-0.5, 0.5) * np.cross(d, away)

        def on(ahead: float, off: float, d: FloatArray = d, flow: FloatArray = away + sway) -> FloatArray:
            towards = d + ahead * flow
            return np.asarray(at(*(middle + radii * off * towards / np.linalg.norm(towards))))

        size = noise.uniform(0.85, 1.15)
        locks.append(
            limb(
                [on(0.0, 0.96), on(0.42, 1.10), on(0.95 * size, 1.08 + 0.18 * size)],
                np.array([0.031, 0.026, 0.004]) * size * u,
            )
        )
    brow = limb(
        [at(0.022, 0.486, 0.100), at(0.040, 0.494, 0.096), at(0.060, 0.488, 0.083)], np.array([0.006, 0.007, 0.004]) * u
    )
    field = union(cap, mirrored(union(*locks, blend=0.003 * u), 0.006 * u), blend=0.014 * u)
    field = union(field, mirrored(brow, 0.0), blend=0.0)
    low, high = at(0.0, 0.33, -0.20), at(0.19, 0.72, 0.18)
    grid = Grid((0.0, float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])), 0.66 * h)
    return Piece("hair", field, grid, {"head": always})


def _eye_piece(at: Place, u: float, h: float) -> Piece:
    field = ellipsoid(at(0.039, 0.452, 0.083), np.array([0.015, 0.020, 0.012]) * u)
    low, high = at(0.015, 0.42, 0.06), at(0.065, 0.485, 0.11)
    grid = Grid(
        (float(low[0]), float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])), 0.6 * h
    )
    return Piece("eyes", field, grid, {"head": always})
