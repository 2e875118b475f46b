"""instep pose: the character in one pose, from channel values."""

from __future__ import annotations

from pathlib import Path

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Write the character in one pose.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("settings", nargs=-1, required=True, metavar="CHANNEL=VALUE...")
@click.option(
    "-o", "--output", "target", type=click.Path(path_type=Path), required=True, help="The .glb or .gltf to write."
)
@answers
def pose(file: Path, settings: tuple[str, ...], target: Path) -> Answer:
    """Pose the character of the rig FILE (.rig.toml) and write it, standing so.

    Angles in degrees, lengths in the file's own unit: left.foot.roll=35 left.toes.bend=-10
    """
    from instep.cli.wording import amount, heading, lengths_of, table
    from instep.delivery.job import refuse_own_source
    from instep.errors import ChannelError
    from instep.formats import write_pose
    from instep.rig.file import load_rig

    values: dict[str, float] = {}
    for setting in settings:
        name, value = _parse(setting)
        if name in values:
            raise ChannelError(f"{name} is set twice", expected="each channel once")
        values[name] = value
    with working("building the rig"):
        rig = load_rig(file)
        refuse_own_source(target, rig.character.source)
        poses = rig.pose(values)
        write_pose(rig.character.source, target, poses)
    names = rig.character.skeleton.names
    data = {
        "file": str(target),
        "channels": values,
        "joints": {
            name: {"position": poses.position[0, joint].tolist(), "turn": poses.rotation[0, joint].tolist()}
            for joint, name in enumerate(names)
        },
    }
    lengths = lengths_of(rig.character, rig.measurement)
    rows = [
        (channel.name, amount(channel, values[channel.name], lengths))
        for channel in rig.channels
        if channel.name in values
    ]
    return Answer(data, lambda: [heading(f"Written: {target}"), table(("", ""), rows, right=(1,))])


def _parse(setting: str) -> tuple[str, float]:
    """``left.foot.roll=35``. Raises ChannelError where it is not such."""
    from instep.errors import ChannelError

    name, equals, text = setting.partition("=")
    try:
        value = float(text)
    except ValueError:
        equals = ""
    if not equals:
        raise ChannelError(
            f'"{setting}" sets no channel',
            expected="a channel, an equals sign and a number",
            cure="Write it as left.foot.roll=35",
        )
    return name.strip(), value
