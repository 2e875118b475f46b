"""Rigid frames: a turn and a shift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

from instep.frames.quaternion import Quat, mix_turns
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec, mix_vectors


@dataclass(frozen=True, slots=True)
class Rigid:
    """x goes to `turn x + shift`. As a *change*, it says where what stood at x in the bind pose has gone.

    `known` is a point and where it goes, told when the frame was made: asking for it again costs no arithmetic, and
    nothing is lost to rounding.
    """

    turn: Quat
    shift: Vec
    known: tuple[Vec, Vec] | None = None

    @staticmethod
    def identity() -> Rigid:
        """Nothing moves."""
        return Rigid(Quat.identity(), Vec(0.0, 0.0, 0.0))

    @staticmethod
    def about(point: Vec, turn: Quat) -> Rigid:
        """A turn that leaves `point` where it is."""
        return Rigid(turn, point - turn @ point, (point, point))

    @staticmethod
    def carrying(turn: Quat, start: Vec, end: Vec) -> Rigid:
        """A turn that takes `start` to `end`."""
        return Rigid(turn, end - turn @ start, (start, end))

    @overload
    def __matmul__(self, other: Rigid) -> Rigid: ...
    @overload
    def __matmul__(self, other: Vec) -> Vec: ...
    def __matmul__(self, other: Rigid | Vec) -> Rigid | Vec:
        """Compose (`other` first, then `self`), or say where a point goes."""
        if isinstance(other, Vec):
            if self.known is not None and _is_same(self.known[0], other):
                return self.known[1]
            return self.turn @ other + self.shift
        return Rigid(self.turn @ other.turn, self.turn @ other.shift + self.shift)

    @property
    def inverse(self) -> Rigid:
        """The opposite change."""
        back = self.turn.inverse
        return Rigid(back, -(back @ self.shift))


def _is_same(one: Vec, other: Vec) -> bool:
    """Whether two points are equal numbers; symbols and arrays of numbers count as different."""
    pairs = zip(one, other, strict=True)
    return all(isinstance(a, float) and isinstance(b, float) and a == b for a, b in pairs)


def mix_frames(a: Rigid, b: Rigid, share: Scalar, held: Vec) -> Rigid:
    """`a` at share 0, `b` at share 1; between, the point `held` moves on a straight line."""
    turn = mix_turns(a.turn, b.turn, share)
    return Rigid.carrying(turn, held, mix_vectors(a @ held, b @ held, share))
