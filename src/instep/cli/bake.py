"""instep bake: a clip from a table of channel values."""

from __future__ import annotations

from pathlib import Path

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Bake a table of channel values into a clip.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("table", type=click.Path(path_type=Path))
@click.option(
    "--rate", type=click.FloatRange(1.0, 1000.0), default=30.0, show_default=True, help="Frames a second of the clip."
)
@click.option("--name", help="The clip's name. Otherwise that of the table's file.")
@click.option(
    "-o", "--output", "target", type=click.Path(path_type=Path), required=True, help="The .glb or .gltf to write."
)
@answers
def bake(file: Path, table: Path, rate: float, name: str | None, target: Path) -> Answer:
    """Bake channel values into a clip of the character of the rig FILE (.rig.toml).

    TABLE holds comma-separated values: a header row with channel names, then a row for each key. With a first
    column time_s (seconds) the keys are joined by straight lines; without it each row is one frame. Angles in
    degrees, lengths in the file's own unit. A clip of the same name is replaced.
    """
    from instep.character import BakedClip
    from instep.cli.wording import heading, line, seconds
    from instep.delivery.channel_table import read_channel_table
    from instep.delivery.job import refuse_own_source
    from instep.formats import write_clips
    from instep.rig.file import load_rig

    clip = name or table.stem
    with working("building the rig") as tell:
        rig = load_rig(file)
        refuse_own_source(target, rig.character.source)
        tell("baking")
        times, values = read_channel_table(table, rig, rate)
        write_clips(rig.character.source, target, [BakedClip(clip, times, rig.evaluate(values))])
    length = float(times[-1] - times[0])
    data = {"file": str(target), "clip": clip, "frames": len(times), "rate": rate, "duration_s": length}
    frames = f"{len(times):,} {'frame' if len(times) == 1 else 'frames'}"
    told = f'clip "{clip}": {frames} at {rate:g} a second, {seconds(length)}'
    return Answer(data, lambda: [heading(f"Written: {target}"), line(told)])
