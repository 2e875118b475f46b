"""Vectors of three scalars."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from instep.frames.scalar import Scalar, sqrt


@dataclass(frozen=True, slots=True)
class Vec:
    """A point or a direction: x to the character's left, y up, z forward, unless its frame says otherwise."""

    x: Scalar
    y: Scalar
    z: Scalar

    @staticmethod
    def of(values: Iterable[Scalar]) -> Vec:
        """From three values."""
        x, y, z = values
        return Vec(x, y, z)

    def __iter__(self) -> Iterator[Scalar]:
        return iter((self.x, self.y, self.z))

    def __add__(self, other: Vec) -> Vec:
        return Vec(self.x + other.x, self.y + other.y, self.z + other.z)

    def __sub__(self, other: Vec) -> Vec:
        return Vec(self.x - other.x, self.y - other.y, self.z - other.z)

    def __neg__(self) -> Vec:
        return Vec(-self.x, -self.y, -self.z)

    def __mul__(self, factor: Scalar) -> Vec:
        return Vec(self.x * factor, self.y * factor, self.z * factor)

    __rmul__ = __mul__


def dot(a: Vec, b: Vec) -> Scalar:
    """Inner product."""
    return a.x * b.x + a.y * b.y + a.z * b.z


def cross(a: Vec, b: Vec) -> Vec:
    """Outer product, right-handed."""
    return Vec(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x)


def length(a: Vec, guard: Scalar = 0.0) -> Scalar:
    """Euclidean length, as sqrt(|a|^2 + guard^2): a guard keeps the derivative finite at zero."""
    return sqrt(dot(a, a) + guard * guard)


def unit(a: Vec, guard: Scalar = 0.0) -> Vec:
    """`a` divided by its guarded length: zero, not NaN, where a guarded vector vanishes."""
    scaled: Vec = a * (1.0 / length(a, guard))
    return scaled


def across(a: Vec, direction: Vec) -> Vec:
    """The part of `a` that is perpendicular to a unit direction."""
    part: Vec = a - direction * dot(direction, a)
    return part


def mix_vectors(a: Vec, b: Vec, share: Scalar) -> Vec:
    """`a` at share 0, `b` at share 1, linear between."""
    mixed: Vec = a + (b - a) * share
    return mixed
