"""instep why: what moves a joint, and what a channel moves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.delivery.lengths import Lengths
    from instep.rig import Channel
    from instep.rig.explain import ChannelReason, JointReason, Reasons


@click.command(short_help="Say what moves a joint, or what a channel moves.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("name")
@answers
def why(file: Path, name: str) -> Answer:
    """Say why NAME moves, or what it moves, in the rig FILE (.rig.toml).

    NAME is a joint by its own name or by its role (left.thigh, left.shin, left.foot, left.toes, pelvis), a control
    (left.foot) or a channel (left.foot.roll). Where it is both a joint and a control, both are shown.
    """
    from instep.cli.wording import lengths_of
    from instep.rig.explain import explain
    from instep.rig.file import load_rig

    with working("building the rig"):
        rig = load_rig(file)
        reasons = explain(rig, name)
    lengths = lengths_of(rig.character, rig.measurement)
    return Answer(_data(reasons), lambda: _text(reasons, lengths))


def _data(reasons: Reasons) -> dict[str, Any]:
    return {
        "name": reasons.name,
        "joints": [
            {
                "role": reason.role,
                "joints": list(reason.joints),
                "moved_by": [
                    {
                        "control": mover.control,
                        "channels": [_channel_data(channel) for channel in mover.channels],
                        "route": list(mover.route),
                    }
                    for mover in reason.movers
                ],
            }
            for reason in reasons.joints
        ],
        "channels": [
            {
                **_channel_data(reason.channel),
                "moves": [
                    {"role": moved.role, "joints": list(moved.joints), "route": list(moved.route)}
                    for moved in reason.moves
                ],
            }
            for reason in reasons.channels
        ],
    }


def _channel_data(channel: Channel) -> dict[str, Any]:
    return {
        "name": channel.name,
        "unit": channel.unit,
        "low": channel.low,
        "high": channel.high,
        "default": channel.default,
        "sentence": channel.sentence,
    }


def _text(reasons: Reasons, lengths: Lengths) -> list[RenderableType]:
    parts: list[RenderableType] = []
    for joint in reasons.joints:
        parts += _joint_text(joint, lengths)
    parts += _channels_text(reasons.channels, lengths)
    return parts


def _joint_text(reason: JointReason, lengths: Lengths) -> list[RenderableType]:
    from instep.cli.wording import heading, line, listed, span, table

    count = sum(len(mover.channels) for mover in reason.movers)
    names = listed(f'"{joint}"' for joint in reason.joints)
    noun = (
        "no joint" if not reason.joints else f"the joint {names}" if len(reason.joints) == 1 else f"the joints {names}"
    )
    parts: list[RenderableType] = [heading(f"{reason.role} carries {noun}; {count} channels move it")]
    for mover in reason.movers:
        parts.append(line(""))
        parts.append(line(route_text(mover.route)))
        rows = [(channel.quantity, span(channel, lengths), channel.sentence) for channel in mover.channels]
        parts.append(table(("", "", ""), rows, indent=6))
    return parts


def _channels_text(reasons: Sequence[ChannelReason], lengths: Lengths) -> list[RenderableType]:
    """Channels that move the same joints by the same ways are told together."""
    from instep.cli.wording import heading, line, listed, span, table

    groups: dict[tuple[tuple[str, ...], ...], list[ChannelReason]] = {}
    for reason in reasons:
        groups.setdefault(tuple(moved.route for moved in reason.moves), []).append(reason)
    parts: list[RenderableType] = []
    for group in groups.values():
        parts.append(heading(f"{group[0].channel.control}: {listed(reason.channel.quantity for reason in group)}"))
        rows = [(reason.channel.quantity, span(reason.channel, lengths), reason.channel.sentence) for reason in group]
        parts.append(table(("", "", ""), rows))
        moves = group[0].moves
        parts.append(line(f"{'moves' if len(group) == 1 else 'move'}" + ("" if moves else " nothing")))
        parts.append(table(("", ""), [(", ".join(moved.joints), route_text(moved.route)) for moved in moves], indent=4))
    return parts


def route_text(route: Sequence[str]) -> str:
    """``left.foot → heel → ball``: a leg's name once, where all parts are of that leg."""
    prefix = route[0].rpartition(".")[0] + "."
    if len(prefix) > 1 and all(part.startswith(prefix) for part in route):
        return " → ".join([route[0], *(part.removeprefix(prefix) for part in route[1:])])
    return " → ".join(route)
