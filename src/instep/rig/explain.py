"""Why a joint moves: which channels reach it, read off the program's data flow, and through which parts.

Which channel moves which joint is exact (`Rig.influence`); the route is the shortest way through the parts as they
are put together in `assemble`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.errors import ChannelError
from instep.rig.channels import Channel
from instep.rig.nearest import nearest_name
from instep.rig.rig import Rig

JOINT = "\0"
"""Marks what carries a joint among the parts, where a control may have the same name."""


@dataclass(frozen=True, slots=True)
class Mover:
    """Channels of one control that move a joint, and the parts that their motion passes through."""

    control: str
    channels: tuple[Channel, ...]
    route: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JointReason:
    """Why joints move.

    Attributes
    ----------
    role : the driver that carries them: "left.shin", "pelvis", a plain control.
    joints : all joints that follow it, by their own names.
    movers : what moves them, outermost control first.
    """

    role: str
    joints: tuple[str, ...]
    movers: tuple[Mover, ...]


@dataclass(frozen=True, slots=True)
class Moved:
    """Joints that one channel moves: those that follow one driver, `role`."""

    role: str
    joints: tuple[str, ...]
    route: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChannelReason:
    """What one channel moves."""

    channel: Channel
    moves: tuple[Moved, ...]


@dataclass(frozen=True, slots=True)
class Reasons:
    """All that a name stands for: a joint (by its own name or its role), a channel, a control's channels."""

    name: str
    joints: tuple[JointReason, ...]
    channels: tuple[ChannelReason, ...]


def explain(rig: Rig, name: str) -> Reasons:
    """What moves the joint, or what the channel or the control's channels move, of this name.

    Raises ChannelError that names the nearest for a name that the rig has not got.
    """
    skeleton = rig.character.skeleton
    roles = []
    if name in rig.plan.drivers:
        roles.append(rig.plan.drivers.index(name))
    if name in skeleton.names:
        driver = int(rig.plan.followers[skeleton.index(name)])
        if driver not in roles:
            roles.append(driver)
    channels = [number for number, channel in enumerate(rig.channels) if name in (channel.name, channel.control)]
    if not roles and not channels:
        known = {*rig.plan.drivers, *skeleton.names}
        known |= {text for channel in rig.channels for text in (channel.name, channel.control)}
        near = nearest_name(name, known)
        raise ChannelError(
            f'"{name}" is no joint, control or channel of this rig',
            where=rig.character.source.name,
            expected=f'one such as "{near}"' if near else 'one such as "left.foot"',
            cure="See `instep look` for the joints, `instep why left.foot` for what a control has",
        )
    links = _parts(rig)
    return Reasons(
        name,
        tuple(_explain_joint(rig, links, role) for role in roles),
        tuple(_explain_channel(rig, links, number) for number in channels),
    )


def joints_of(rig: Rig, driver: int) -> tuple[str, ...]:
    """Names of the joints that follow a driver, by its number."""
    return tuple(rig.character.skeleton.names[joint] for joint in np.flatnonzero(rig.plan.followers == driver))


def _explain_joint(rig: Rig, links: dict[str, list[str]], driver: int) -> JointReason:
    role = rig.plan.drivers[driver]
    by_control: dict[str, list[Channel]] = {}
    for number in np.flatnonzero(rig.influence[driver]):
        channel = rig.channels[number]
        by_control.setdefault(channel.control, []).append(channel)
    movers = (Mover(control, tuple(own), _route(links, control, role)) for control, own in by_control.items())
    return JointReason(role, joints_of(rig, driver), tuple(movers))


def _explain_channel(rig: Rig, links: dict[str, list[str]], number: int) -> ChannelReason:
    channel = rig.channels[number]
    moves = []
    for driver in np.flatnonzero(rig.influence[:, number]):
        role = rig.plan.drivers[driver]
        joints = joints_of(rig, int(driver))
        if joints:
            moves.append(Moved(role, joints, _route(links, channel.control, role)))
    return ChannelReason(channel, tuple(moves))


def _parts(rig: Rig) -> dict[str, list[str]]:
    """From each part to what it hands its change to, as `assemble` and the parts themselves do it."""
    names = {channel.name for channel in rig.channels}
    plan = rig.plan
    links: dict[str, list[str]] = {"root": [JOINT + driver for driver in plan.drivers], "pelvis": [JOINT + "pelvis"]}

    def pass_on(start: str, *ends: str) -> None:
        links.setdefault(start, []).extend(ends)

    for plain in plan.plains:
        pass_on(plain.name, JOINT + plain.name)
        pass_on(JOINT + plain.carrier, plain.name)
    for leg in plan.legs:
        foot, heel, outer, inner, tip, ball, toes, knee, solve, thigh, shin, ankle = (
            f"{leg.name}.{part}"
            for part in (
                *("foot", "heel", "outer", "inner", "tip", "ball", "toes", "knee"),
                *("leg", "thigh", "shin", "ankle"),
            )
        )
        for start, end in ((foot, heel), (heel, outer), (outer, inner), (inner, tip)):
            pass_on(start, end)
        last = ball if leg.has_toes else tip
        if leg.has_toes:
            pass_on(tip, toes, ball)
            pass_on(ball, toes)
            pass_on(toes, JOINT + toes)
            pass_on(JOINT + foot, JOINT + toes)
        pass_on(last, JOINT + foot, solve)
        pass_on(knee, solve)
        pass_on(solve, JOINT + thigh, JOINT + shin)
        pass_on(JOINT + leg.carrier, solve)
        pass_on(thigh, JOINT + thigh)
        pass_on(shin, JOINT + shin)
        pass_on(ankle, JOINT + foot)
        pass_on(JOINT + thigh, JOINT + shin)
        pass_on(JOINT + shin, JOINT + foot)
        for space in leg.spaces:
            if f"{foot}.follow_{space}" in names:
                pass_on(JOINT + space, foot)
    return links


def _route(links: dict[str, list[str]], control: str, role: str) -> tuple[str, ...]:
    """The shortest way from a control to what carries a joint; names that follow themselves once."""
    goal = JOINT + role
    came_from: dict[str, str] = {control: control}
    queue = [control]
    for part in queue:
        for following in links.get(part, []):
            if following not in came_from:
                came_from[following] = part
                queue.append(following)
    assert goal in came_from, f"no part hands on from {control} to {role}, though the data flow does"
    path = [goal]
    while path[-1] != control:
        path.append(came_from[path[-1]])
    names = [part.removeprefix(JOINT) for part in reversed(path)]
    return tuple(name for number, name in enumerate(names) if number == 0 or name != names[number - 1])
