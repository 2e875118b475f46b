"""instep bake: a clip from a motion, or from a table of channel values."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Bake a motion or a table of channel values into a clip.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("table", type=click.Path(path_type=Path), required=False)
@click.option(
    "--rate", type=click.FloatRange(1.0, 1000.0), help="Frames a second of the clip. Otherwise the motion's own, or 30."
)
@click.option(
    "--cubic",
    metavar="WITHIN",
    help="Cubic segments with few keys in place of frames, no joint off by more than this: 1mm. For motions.",
)
@click.option("--name", help="The clip's name. Otherwise the motion's, or that of the table's file.")
@click.option(
    "-o", "--output", "target", type=click.Path(path_type=Path), required=True, help="The .glb or .gltf to write."
)
@answers
def bake(
    file: Path, table: Path | None, rate: float | None, cubic: str | None, name: str | None, target: Path
) -> Answer:
    """Bake the motion FILE (.move.toml) into a clip of its rig's character.

    Or bake a TABLE of channel values on the rig FILE (.rig.toml): comma-separated values, a header row with channel
    names, then a row for each key. With a first column time_s (seconds) the keys are joined by straight lines;
    without it each row is one frame. Angles in degrees, lengths in the file's own unit. A clip of the same name is
    replaced.
    """
    from instep.character import BakedClip
    from instep.cli.wording import heading, line, seconds
    from instep.delivery.channel_table import read_channel_table
    from instep.delivery.job import refuse_own_source
    from instep.formats import write_clips
    from instep.motion.faults import MotionError
    from instep.motion.file import MOVE_FILE
    from instep.rig.file import load_rig

    if file.name.endswith(MOVE_FILE):
        if table is not None:
            raise MotionError("a motion is baked without a table", where=str(table), expected="a motion file alone")
        return _bake_motion(file, rate, cubic, name, target)
    if table is None:
        raise MotionError(
            "there is nothing to bake", where=str(file), expected="a motion file, or a rig file and a table"
        )
    if cubic is not None:
        raise MotionError("a table has no cubic segments", where="--cubic", expected="a motion file")
    rate = rate or 30.0
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


def _bake_motion(file: Path, rate: float | None, cubic: str | None, name: str | None, target: Path) -> Answer:
    from dataclasses import replace

    from instep.cli.motion_words import load_motion
    from instep.cli.thin import parse_distance
    from instep.cli.wording import heading, lengths_of, line, seconds
    from instep.delivery.job import refuse_own_source
    from instep.formats import write_clips
    from instep.motion.bake import bake as bake_clip
    from instep.motion.bake import bake_cubic

    within = None if cubic is None else parse_distance(cubic)
    with working("building the rig") as tell:
        motion, rig = load_motion(file)
        refuse_own_source(target, rig.character.source)
        motion = replace(motion, name=name or motion.name)
        tell("baking")
        length = (len(motion) - 1) / motion.rate
        data: dict[str, Any] = {"file": str(target), "clip": motion.name, "duration_s": length}
        if within is not None:
            clip, worst = bake_cubic(rig, motion, within)
            write_clips(rig.character.source, target, [clip])
            keys = sum(len(track.times) for track in clip.tracks)
            data |= {"keys": keys, "worst": worst}
            lengths = lengths_of(rig.character, rig.measurement)
            told = f"{keys:,} keys of joints, none off by more than {lengths.text(worst, 2)}"
        else:
            baked = bake_clip(rig, motion, rate)
            write_clips(rig.character.source, target, [baked])
            data |= {"frames": len(baked.times), "rate": rate or motion.rate}
            told = f"{len(baked.times):,} frames at {rate or motion.rate:g} a second"
    told = f'clip "{motion.name}": {told}, {seconds(length)}'
    return Answer(data, lambda: [heading(f"Written: {target}"), line(told)])
