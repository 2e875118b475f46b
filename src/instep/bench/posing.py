"""Poses made from poses: mirrored, swapped, and posed another way without moving. All by channel values."""

from __future__ import annotations

from collections.abc import Mapping

from instep.checks.mirror import match_sides
from instep.checks.subject import Subject, partner
from instep.errors import ChannelError
from instep.rig import Rig
from instep.rig.channels import MIDDLE_FLIPS
from instep.rig.matching import match_forward, match_inverse, switch_space

Pose = Mapping[str, float]


def mirrored(rig: Rig, pose: Pose, leg: str, *, swap: bool) -> dict[str, float]:
    """The pose with the values of the side of `leg` on the other side too; with `swap` both sides change places.

    A swap also mirrors the middle of the body; mirroring one side leaves it. Raises ChannelError where `leg` is no
    leg or has no partner.
    """
    names = {one.name: one for one in rig.measurement.legs}
    if leg not in names or partner(leg) not in names:
        raise ChannelError(f"{leg} has no leg on the other side", cure="Pose the sides by themselves")
    side = names[leg].side
    drivers = match_sides(Subject(rig)).drivers
    values = {channel.name: float(pose.get(channel.name, channel.default)) for channel in rig.channels}
    made = dict(values)
    middle = {"root", "pelvis", *(plain.name for plain in rig.plan.plains if not plain.side)}
    for channel in rig.channels:
        theirs = _partner_control(channel.control, drivers, set(names))
        other = f"{theirs}.{channel.quantity}"
        if other not in values:
            continue
        if theirs == channel.control:
            if swap and channel.control in middle and channel.quantity in MIDDLE_FLIPS:
                made[channel.name] = -values[channel.name]
        elif swap or _is_on(channel.control, side, drivers, set(names), rig):
            made[other] = values[channel.name]
    defaults = {channel.name: channel.default for channel in rig.channels}
    return {name: value for name, value in made.items() if value != defaults[name]}


def _partner_control(control: str, drivers: Mapping[str, str], legs: set[str]) -> str:
    head, _, part = control.rpartition(".")
    if head in legs:
        return f"{partner(head)}.{part}"
    return drivers.get(control, control)


def _is_on(control: str, side: str, drivers: Mapping[str, str], legs: set[str], rig: Rig) -> bool:
    """Whether a control that has a partner is on this side of the body."""
    head = control.rpartition(".")[0]
    if head in legs:
        return next(leg.side for leg in rig.measurement.legs if leg.name == head) == side
    plan = next((plain for plain in rig.plan.plains if plain.name == control), None)
    return plan is not None and (plan.side > 0) == (side == "left")


def matched(rig: Rig, pose: Pose, leg: str, to: str, space: str) -> tuple[dict[str, float], tuple[str, ...]]:
    """The same place of a leg by other channels, and what to tell. Raises ChannelError where the rig has not got
    them."""
    values = rig.values(pose)
    if to == "joints":
        found = match_forward(rig, values, leg)
    elif to == "foot":
        found = match_inverse(rig, values, leg)
    else:
        found = switch_space(rig, values, leg, space)
    moved = abs(rig.evaluate(found).position - rig.evaluate(values).position).max() / rig.plan.unit
    told = (f"The {leg} leg moved by {100 * moved:.2g} % of its length.",) if moved > 1e-6 else ()
    return {
        channel.name: float(value)
        for channel, value in zip(rig.channels, found[0], strict=True)
        if abs(value - channel.default) > 1e-12
    }, told
