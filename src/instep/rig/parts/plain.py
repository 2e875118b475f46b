"""One plain control a joint, for what no leg owns."""

from __future__ import annotations

from instep.frames.rigid import Rigid
from instep.rig.channels import ChannelBook
from instep.rig.parts.turns import BODY_AXES, take_turn
from instep.rig.plan import PlainPlan


def build_plain(book: ChannelBook, plain: PlainPlan, carrier: Rigid) -> Rigid:
    """The joint's change: its carrier's, and its own turn about its joint in the body's axes."""
    turn = take_turn(book, plain.name, BODY_AXES, plain.side, 180.0, f"the joint {plain.name}", essential=True)
    return Rigid.carrying(carrier.turn @ turn, plain.point, carrier @ plain.point)
