"""instep thin: few keys instead of one a frame."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import click

from instep.cli.answer import Answer, answers, working

_UNITS = {"mm": 0.001, "cm": 0.01, "m": 1.0}


@click.command(short_help="Few keys instead of one a frame.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--within",
    default="1mm",
    show_default=True,
    help="How far a joint may be from where it was: with mm, cm or m where the file's unit is the metre, or a number.",
)
@click.option("-o", "--output", "target", type=click.Path(path_type=Path), help="Otherwise FILE itself is replaced.")
@answers
def thin(file: Path, within: str, target: Path | None) -> Answer:
    """Replace the frames of the motion FILE (.move.toml) by keys, which then stand in the file itself.

    The controls of a foot get keys where it strikes and leaves; contacts stay exact.
    """
    from instep.cli.motion_words import load_motion, seen_from
    from instep.cli.wording import heading, lengths_of, line
    from instep.motion.file import read_motion, write_motion
    from instep.motion.thin import thin as thin_motion

    distance = parse_distance(within)
    with working("building the rig") as tell:
        motion, rig = load_motion(file)
        tell("thinning")
        thinned = thin_motion(rig, motion, distance)
        _, rig_path = read_motion(file)
        path = target or file
        write_motion(thinned.motion, seen_from(path, rig_path), path)
    share = thinned.keys / max(thinned.frames, 1)
    data: dict[str, Any] = {
        "file": str(path),
        "keys": thinned.keys,
        "frames": thinned.frames,
        "share": share,
        "worst": thinned.worst,
    }
    lengths = lengths_of(rig.character, rig.measurement)
    told = (
        f"{thinned.keys:,} keys for {thinned.frames:,}, {100 * share:.0f} %; "
        f"no joint is off by more than {lengths.text(thinned.worst, 2)}"
    )
    return Answer(data, lambda: [heading(f"Written: {path}"), line(told)])


def parse_distance(text: str) -> float:
    """``1mm`` in metres, or a plain number in the file's own unit. Raises MotionError where it is neither."""
    from instep.motion.faults import MotionError

    match = re.fullmatch(r"\s*([0-9.eE+-]+)\s*(mm|cm|m)?\s*", text)
    try:
        value = float(match[1]) * _UNITS.get(match[2] or "m", 1.0) if match else math.nan
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0.0):
        raise MotionError(f'"{text}" is no distance', where="--within", expected="a distance such as 1mm")
    return value
