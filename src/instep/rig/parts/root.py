"""The root: carries the whole character. Applied last, so that all else is solved in its own space."""

from __future__ import annotations

from dataclasses import dataclass

from instep.frames.quaternion import Quat
from instep.frames.rigid import Rigid
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec, dot
from instep.rig.channels import ChannelBook
from instep.rig.parts.turns import BODY_AXES, take_shift, take_turn


@dataclass(frozen=True, slots=True)
class Root:
    """x goes to ``scale turn (x - point) + point + shift``."""

    point: Vec
    turn: Quat
    shift: Vec
    scale: Scalar

    def carry(self, change: Rigid, start: Vec) -> tuple[Quat, Vec]:
        """Turn and place, in the world, of what stood at `start` and changes by `change` in root space."""
        # By a matrix, which all joints share: 18 operations each, in place of 39 by the quaternion.
        rows = [row * self.scale for row in self.turn.matrix]
        offset = self.point + self.shift - Vec.of(dot(row, self.point) for row in rows)
        place: Vec = Vec.of(dot(row, change @ start) for row in rows) + offset
        return self.turn @ change.turn, place

    def undo(self, held: Vec) -> Rigid:
        """The change in root space that leaves the world as it was, exactly so at the point `held`."""
        back = self.turn.inverse
        place: Vec = (back @ (held - self.point - self.shift)) * (1.0 / self.scale) + self.point
        return Rigid.carrying(back, held, place)


def build_root(book: ChannelBook, point: Vec, unit: float) -> Root:
    """The root's channels and what they do."""
    shift = take_shift(book, "root", 0.0, 100.0 * unit, "the whole character", essential=True)
    turn = take_turn(book, "root", BODY_AXES, 0.0, 360.0, "the whole character", essential=True)
    scale = book.take(
        "root.scale", "share", 0.1, 10.0, "Scales the whole character evenly.", default=1.0, essential=True
    )
    return Root(point, turn, shift, scale)
