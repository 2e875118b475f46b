"""Rotations as unit quaternions w, x, y, z, in half-angle forms without inverse trigonometry."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import overload

from instep.frames.scalar import Scalar, cos, largest, select, sin, sqrt
from instep.frames.vector import Vec, across, cross, dot


@dataclass(frozen=True, slots=True)
class Quat:
    """A unit quaternion. `q_a_b @ q_b_c` composes; `q @ v` turns a vector."""

    w: Scalar
    x: Scalar
    y: Scalar
    z: Scalar

    @staticmethod
    def identity() -> Quat:
        """No turn."""
        return Quat(1.0, 0.0, 0.0, 0.0)

    @property
    def vector(self) -> Vec:
        """The vector part."""
        return Vec(self.x, self.y, self.z)

    @property
    def inverse(self) -> Quat:
        """The opposite turn."""
        return Quat(self.w, -self.x, -self.y, -self.z)

    @property
    def matrix(self) -> tuple[Vec, Vec, Vec]:
        """The rows of the rotation matrix: cheaper than `@` for more than one vector."""
        x, y, z = self.x * 2.0, self.y * 2.0, self.z * 2.0
        xx, yy, zz = x * self.x, y * self.y, z * self.z
        xy, xz, yz = x * self.y, x * self.z, y * self.z
        wx, wy, wz = x * self.w, y * self.w, z * self.w
        return (
            Vec(1.0 - (yy + zz), xy - wz, xz + wy),
            Vec(xy + wz, 1.0 - (xx + zz), yz - wx),
            Vec(xz - wy, yz + wx, 1.0 - (xx + yy)),
        )

    def __iter__(self) -> Iterator[Scalar]:
        return iter((self.w, self.x, self.y, self.z))

    @overload
    def __matmul__(self, other: Quat) -> Quat: ...
    @overload
    def __matmul__(self, other: Vec) -> Vec: ...
    def __matmul__(self, other: Quat | Vec) -> Quat | Vec:
        """Compose (`other` first, then `self`), or turn a vector.

        A vector turns as v + w t + u x t with t = 2 u x v: 15 products and 15 sums.
        """
        if isinstance(other, Vec):
            t = cross(self.vector, other) * 2.0
            turned: Vec = other + t * self.w + cross(self.vector, t)
            return turned
        a, b = self, other
        return Quat(
            a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z,
            a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
            a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x,
            a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w,
        )


def turn_about(axis: Vec, angle_deg: Scalar) -> Quat:
    """Turn about a unit axis by an angle in degrees, by the right-hand rule."""
    half = angle_deg * (math.pi / 360.0)
    s = sin(half)
    return Quat(cos(half), axis.x * s, axis.y * s, axis.z * s)


def turn_yaw_pitch_lean(axes: tuple[Vec, Vec, Vec], yaw_deg: Scalar, pitch_deg: Scalar, lean_deg: Scalar) -> Quat:
    """R_yaw R_pitch R_lean about `axes` (left, up, forward): yaw turns about up, pitch left, lean forward."""
    left, up, forward = axes
    return turn_about(up, yaw_deg) @ turn_about(left, pitch_deg) @ turn_about(forward, lean_deg)


def normalised(q: Quat, guard: float = 0.0) -> Quat:
    """`q` divided by its length."""
    k = 1.0 / sqrt(q.w * q.w + q.x * q.x + q.y * q.y + q.z * q.z + guard * guard)
    return Quat(q.w * k, q.x * k, q.y * k, q.z * k)


def swing(start: Vec, end: Vec, spare_axis: Vec) -> Quat:
    """The least turn that takes unit vector `start` to unit vector `end`.

    (1 + a.b, a x b), normalised; beyond a right angle 1 + a.b is taken as |a x b|^2 / (1 - a.b), in which nothing
    cancels. Where the two oppose one another to within 1e-10 every axis across `start` would do: then `spare_axis`
    (a unit vector across `start`) is taken. No continuous choice exists there; fading between the axes was tried,
    and passes through a place where they cancel and the turn is wrong altogether.
    """
    near = 1e-10
    c = dot(start, end)
    normal = across(cross(start, end), start)  # rounding leaves a share along `start`, large near the opposite
    w = select(c >= 0.0, 1.0 + c, dot(normal, normal) * (1.0 / (1.0 + largest(-c, 0.0))))
    apart = w > 0.5 * near * near
    x, y, z = (select(apart, a, spare * near) for a, spare in zip(normal, spare_axis, strict=True))
    return normalised(Quat(w, x, y, z), 1e-30)


def twist_between(start: Vec, end: Vec, axis: Vec) -> Quat:
    """The turn about a unit `axis` that takes `start` to `end`, both unit vectors across the axis.

    Half angles from (1 + c, s) or (s, 1 - c), whichever is longer, so that no angle is singular.
    """
    c = dot(start, end)
    s = dot(cross(start, end), axis)
    ahead = c >= 0.0
    sign = select(s >= 0.0, 1.0, -1.0)
    w = select(ahead, 1.0 + c, s * sign)
    v = select(ahead, s, (1.0 - c) * sign)
    k = 1.0 / sqrt(w * w + v * v + 1e-30)
    return Quat(w * k, axis.x * (v * k), axis.y * (v * k), axis.z * (v * k))


def mix_turns(a: Quat, b: Quat, share: Scalar) -> Quat:
    """`a` at share 0, `b` at share 1, by the short way: a normalised linear blend."""
    near = a.w * b.w + a.x * b.x + a.y * b.y + a.z * b.z
    toward = select(near >= 0.0, share, -share)
    keep = 1.0 - share
    return normalised(
        Quat(
            a.w * keep + b.w * toward,
            a.x * keep + b.x * toward,
            a.y * keep + b.y * toward,
            a.z * keep + b.z * toward,
        ),
        1e-30,
    )
