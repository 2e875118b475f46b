"""The pelvis: carries the hips and all above; planted feet stay."""

from __future__ import annotations

from instep.frames.rigid import Rigid
from instep.frames.vector import Vec
from instep.rig.channels import ChannelBook
from instep.rig.parts.turns import BODY_AXES, take_shift, take_turn


def build_pelvis(book: ChannelBook, point: Vec, unit: float) -> Rigid:
    """The pelvis' change in root space, from its own channels."""
    shift = take_shift(book, "pelvis", 0.0, 2.0 * unit, "the pelvis", essential=True)
    turn = take_turn(book, "pelvis", BODY_AXES, 0.0, 180.0, "the pelvis", essential=True)
    return Rigid.carrying(turn, point, point + shift)
