"""Feet: the frame that they are made in, a bare foot, a troll's foot, a heeled boot, and their treads.

A foot is made in its own frame, for the left side: origin on the floor below the rearmost point of the heel,
x outwards, y up, z towards the toes. Lengths in the recipes are fractions of the foot's length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from examples.salt_ferry.fields import (
    Field,
    ball,
    cone,
    cut,
    ellipsoid,
    limb,
    moved,
    on_surface,
    union,
)
from examples.salt_ferry.skin import Gate, ramp
from examples.salt_ferry.surface import in_batches
from instep.character.arrays import BoolArray, FloatArray

TREAD = 0.004
"""Fraction of foot length. The tread is what lies this close to the floor: enough to pass over the rounding
of its edge, too little to take in the wall of a heel."""


@dataclass(frozen=True, slots=True, eq=False)
class FootFrame:
    """Where a left foot stands.

    Attributes
    ----------
    origin : (3,) on the floor, below the rearmost point of the heel.
    length : of the foot, metres.
    out_rad : turn of the toes outwards.
    """

    origin: FloatArray
    length: float
    out_rad: float

    @property
    def turn(self) -> FloatArray:
        """(3, 3) rotation whose columns are the foot's outward, up and forward directions in the world."""
        c, s = np.cos(self.out_rad), np.sin(self.out_rad)
        return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])

    def place(self, out: float, up: float, ahead: float) -> FloatArray:
        """(3,) in the world of a place in the foot, given as fractions of its length."""
        return np.asarray(self.turn @ (np.array([out, up, ahead]) * self.length) + self.origin)

    def inside(self, points: FloatArray) -> FloatArray:
        """(n, 3) of points in the world, in the foot's frame, as fractions of its length."""
        return np.asarray((points - self.origin) @ self.turn / self.length)

    def box(self, half_breadth: float, *others: FloatArray, margin: float) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest corner, (3,) each, of a box around a foot on the floor and other places (3,).

        `half_breadth` is a fraction of the foot's length; `margin` is room in metres around the other places.
        """
        corners = [place + sign * margin for place in others for sign in (-1.0, 1.0)]
        corners += [self.place(out, 0.0, ahead) for out in (-half_breadth, half_breadth) for ahead in (-0.06, 1.06)]
        return np.min(corners, axis=0), np.max(corners, axis=0)

    def stand(self, solid: Field) -> Field:
        """A solid made in the foot's frame, in metres, brought to its place in the world."""
        return moved(solid, self.turn, self.origin)


def standing_frame(ankle: FloatArray, length: float, out_deg: float, ankle_ahead: float) -> FootFrame:
    """The frame of a foot whose ankle stands `ankle_ahead` (a fraction of its length) before its heel."""
    frame = FootFrame(np.zeros(3), length, float(np.radians(out_deg)))
    origin = ankle - frame.place(0.0, 0.0, ankle_ahead)
    origin[1] = 0.0
    return FootFrame(origin, length, frame.out_rad)


def toes_gate(frame: FootFrame, ball_up: float, ball_ahead: float, reach: float = 0.13) -> Gate:
    """The gate from the foot to its toes.

    Where the sole treads the blend lies wholly behind the ball, so that all of the tread before it turns with
    the toes and stays on the floor while the foot rolls over the ball. Higher up it passes over the joint,
    and the skin bends evenly. Places are fractions of the foot's length.
    """

    def gate(points: FloatArray) -> FloatArray:
        q = frame.inside(points)
        high = ramp(q[:, 1], 0.2 * ball_up, 2.0 * ball_up)
        end = -0.02 + high * 0.7 * reach
        return ramp(q[:, 2] - ball_ahead, end - reach, end)

    return gate


def tread(field: Field, frame: FootFrame) -> dict[str, tuple[float, float, float]]:
    """Heel, tip, inner and outer of a left foot's tread, at y = 0 in the world.

    The tread is where the field is inside at the height TREAD. Heel and tip are its rearmost and foremost
    points along the foot's axis; inner and outer are the furthest to either side before the middle of the
    foot and behind the toes. Sampled to a five-hundredth of the foot's length.
    """
    step, stride = 2e-3, 8
    out, ahead = np.meshgrid(np.arange(-0.44, 0.44, step), np.arange(-0.1, 1.1, step), indexing="ij")

    def values(x: FloatArray, z: FloatArray) -> FloatArray:
        local = np.stack([x, np.full(len(x), TREAD), z], axis=1) * frame.length
        return in_batches(field, local @ frame.turn.T + frame.origin, 0.1 * frame.length)

    # Only the neighbourhood of the edge is looked at closely.
    some = np.s_[::stride, ::stride]
    rough = values(out[some].ravel(), ahead[some].ravel()).reshape(out[some].shape)
    spread = rough.repeat(stride, axis=0).repeat(stride, axis=1)[: out.shape[0], : out.shape[1]].ravel()
    inside = spread <= 0.0
    near = np.abs(spread) < 3.0 * stride * step * frame.length
    inside[near] = values(out.ravel()[near], ahead.ravel()[near]) <= 0.0
    x, z = out.ravel()[inside], ahead.ravel()[inside]
    fore = (z > 0.5) & (z < 0.82)

    def at(chosen: BoolArray) -> tuple[float, float, float]:
        place = frame.place(float(x[chosen].mean()), 0.0, float(z[chosen].mean()))
        return float(place[0]), 0.0, float(place[2])

    half = 0.5 * step
    return {
        "heel": at(z <= z.min() + half),
        "tip": at(z >= z.max() - half),
        "inner": at(fore & (x <= x[fore].min() + half)),
        "outer": at(fore & (x >= x[fore].max() - half)),
    }


def on_floor(solid: Field, blend: float, floor: Field | None = None) -> Field:
    """The solid pressed flat where it would go below the floor (or below another field's surface)."""
    return cut(solid, floor or _FLOOR, blend=blend)


_FLOOR = Field(lambda p: np.asarray(p[:, 1]), np.zeros(3), np.inf)

BARE_TOES = (
    # out, base ahead, tip ahead, radius at the base, radius of the pad, height of the middle joint
    (-0.132, 0.745, 0.945, 0.052, 0.053, 0.058),
    (-0.034, 0.755, 0.940, 0.035, 0.034, 0.066),
    (0.042, 0.735, 0.907, 0.033, 0.0325, 0.062),
    (0.114, 0.700, 0.860, 0.032, 0.0315, 0.058),
    (0.183, 0.650, 0.800, 0.032, 0.032, 0.052),
)


def bare_foot(length: float, breadth: float) -> Field:
    """A bare left foot with five toes, in its own frame. `breadth` is a fraction of the length."""
    w = breadth / 0.40

    def at(out: float, up: float, ahead: float) -> FloatArray:
        return np.array([w * out, up, ahead]) * length

    def stick(a: Sequence[float], b: Sequence[float], ra: float, rb: float) -> Field:
        return cone(at(*a), at(*b), ra * length, rb * length)

    toes = []
    for out, base, tip, thick, pad, knuckle in BARE_TOES:
        middle = 0.45 * base + 0.55 * tip
        spread = out + 0.07 * (out + 0.03)
        toes.append(
            limb(
                [at(out, 0.062, base), at(out, knuckle, middle), at(spread, pad - 0.014, tip)],
                [w * thick * length, w * 0.93 * thick * length, w * pad * length],
            )
        )
    sole = union(
        ellipsoid(at(0.0, 0.095, 0.128), np.array([0.128 * w, 0.13, 0.128]) * length),
        stick((0.0, 0.14, 0.13), (0.0, 0.30, 0.20), 0.115, 0.10),
        stick((0.045, 0.075, 0.20), (0.115, 0.058, 0.60), 0.088, 0.078),
        stick((-0.035, 0.17, 0.28), (-0.095, 0.075, 0.66), 0.10, 0.085),
        stick((-0.005, 0.27, 0.25), (-0.03, 0.10, 0.66), 0.105, 0.07),
        stick((-0.138, 0.064, 0.700), (0.142, 0.050, 0.625), 0.086, 0.068),
        stick((-0.055, 0.060, 0.70), (0.060, 0.055, 0.665), 0.080, 0.076),
        ball(at(-0.085, 0.285, 0.225), 0.05 * length),
        ball(at(0.085, 0.255, 0.195), 0.048 * length),
        blend=0.07 * length,
    )
    whole = union(sole, union(*toes, blend=0.004 * length), blend=0.035 * length)
    return on_floor(whole, 0.012 * length)


TROLL_TOES = (
    # out, base ahead, tip ahead, radius at the base, radius of the pad
    (-0.172, 0.71, 0.872, 0.090, 0.095),
    (0.014, 0.74, 0.914, 0.076, 0.083),
    (0.186, 0.69, 0.842, 0.069, 0.073),
    (0.318, 0.60, 0.730, 0.060, 0.064),
)
TROLL_LUMPS = (
    # direction from the middle of the foot (out, up, ahead), radius
    (0.75, 0.65, -0.25, 0.060),
    (0.95, 0.30, 0.10, 0.055),
    (0.30, 0.95, 0.25, 0.048),
    (-0.70, 0.70, 0.20, 0.058),
    (-0.85, 0.35, -0.45, 0.062),
    (0.10, 0.60, 0.80, 0.042),
    (0.60, 0.30, -0.80, 0.055),
    (-0.20, 0.45, -1.00, 0.050),
    (0.70, 0.45, 0.65, 0.040),
    (-0.80, 0.25, 0.75, 0.045),
)
TROLL_DENTS = (
    # out, ahead, width, depth: hollows between the lumps of the sole
    (0.050, 0.160, 0.034, 0.013),
    (-0.065, 0.230, 0.029, 0.016),
    (0.070, 0.330, 0.038, 0.020),
    (-0.045, 0.420, 0.046, 0.018),
    (0.110, 0.490, 0.034, 0.016),
    (-0.130, 0.560, 0.029, 0.014),
    (0.030, 0.600, 0.034, 0.016),
    (0.150, 0.620, 0.027, 0.012),
    (-0.070, 0.690, 0.029, 0.015),
    (0.080, 0.705, 0.025, 0.013),
)


def troll_foot(length: float, breadth: float) -> Field:
    """Grub's left foot, in its own frame: four thick toes, lumps above, hollows in the sole.

    The hollows are 1 to 2 % of the foot's length deep and keep away from the edge of the tread.
    """
    w = breadth / 0.60

    def at(out: float, up: float, ahead: float) -> FloatArray:
        return np.array([w * out, up, ahead]) * length

    def stick(a: Sequence[float], b: Sequence[float], ra: float, rb: float) -> Field:
        return cone(at(*a), at(*b), ra * length, rb * length)

    toes, nails = [], []
    for out, base, tip, thick, pad in TROLL_TOES:
        spread = out + 0.06 * out
        toes.append(
            limb(
                [at(out, 0.085, base - 0.04), at(out, 0.095, 0.5 * (base + tip)), at(spread, pad - 0.030, tip)],
                [w * thick * length, w * 0.96 * thick * length, w * pad * length],
            )
        )
        tilt = np.radians(35.0)
        nail_turn = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(tilt), -np.sin(tilt)], [0.0, np.sin(tilt), np.cos(tilt)]])
        nails.append(
            ellipsoid(
                at(spread, 1.62 * pad - 0.030, tip + 0.62 * pad),
                np.array([0.62 * w * pad, 0.22 * pad, 0.60 * pad]) * length,
                nail_turn,
            )
        )
    mass = union(
        ellipsoid(at(0.0, 0.125, 0.165), np.array([0.175 * w, 0.175, 0.165]) * length),
        ellipsoid(at(0.015, 0.150, 0.43), np.array([0.215 * w, 0.172, 0.30]) * length),
        stick((0.0, 0.31, 0.26), (0.0, 0.155, 0.58), 0.155, 0.11),
        stick((-0.185, 0.092, 0.640), (0.0, 0.100, 0.670), 0.122, 0.115),
        stick((0.0, 0.100, 0.670), (0.215, 0.080, 0.575), 0.115, 0.102),
        ball(at(-0.145, 0.300, 0.235), 0.065 * length),
        ball(at(0.145, 0.275, 0.205), 0.065 * length),
        blend=0.10 * length,
    )
    centre = at(0.0, 0.12, 0.36)
    lumps = []
    for *towards, r in TROLL_LUMPS:
        way = np.array(towards)
        lumps.append(
            ball(on_surface(mass, centre, way, length) - 0.45 * r * length * way / np.linalg.norm(way), r * length)
        )
    mass = union(mass, *lumps, blend=0.055 * length)
    whole = union(mass, union(*toes, blend=0.008 * length), blend=0.05 * length)
    whole = union(whole, *nails, blend=0.010 * length)

    def hollows(p: FloatArray) -> FloatArray:
        q = p / length
        depth = np.zeros(len(p))
        for out, ahead, wide, deep in TROLL_DENTS:
            square = ((q[:, 0] - w * out) ** 2 + (q[:, 2] - ahead) ** 2) / wide**2
            depth = np.maximum(depth, deep * np.exp(-square))
        return np.asarray(p[:, 1] - length * np.maximum(depth - 0.001, 0.0))

    return on_floor(whole, 0.012 * length, Field(hollows, np.zeros(3), np.inf))
