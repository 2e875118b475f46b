"""instep gait: a walk from published joint curves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Make a walk from published joint curves.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--speed", type=float, default=1.2, show_default=True, help="Metres a second, for a leg in metres.")
@click.option(
    "--stride", type=click.FloatRange(0.3, 2.0), default=1.0, show_default=True, help="Factor on the length of a step."
)
@click.option(
    "--toe-out",
    "toe_out_deg",
    type=click.FloatRange(-45.0, 60.0),
    default=7.0,
    show_default=True,
    help="Degrees that each foot points outward.",
)
@click.option("--style", default="plain", show_default=True, help="plain, crouched, marching or shuffling.")
@click.option("--cycles", type=click.IntRange(1, 200), default=2, show_default=True, help="Cycles of two steps.")
@click.option("--in-place", is_flag=True, help="One cycle on the spot, over a floor that moves.")
@click.option("--rate", type=click.FloatRange(1.0, 1000.0), default=60.0, show_default=True, help="Frames a second.")
@click.option("-o", "--output", "target", type=click.Path(path_type=Path), help="The .move.toml to write.")
@answers
def gait(
    file: Path,
    speed: float,
    stride: float,
    toe_out_deg: float,
    style: str,
    cycles: int,
    in_place: bool,
    rate: float,
    target: Path | None,
) -> Answer:
    """Make a planted walk for the rig FILE (.rig.toml), with a left and a right leg of any proportions.

    Joint curves are those of Perry & Burnfield 2010; step length and cadence follow the speed as people's do.
    """
    from instep.cli.motion_words import move_path, seen_from
    from instep.cli.wording import heading, lengths_of, line, seconds
    from instep.motion.file import write_motion
    from instep.motion.gait import make_gait, plan_gait
    from instep.rig.file import load_rig

    with working("building the rig") as tell:
        rig = load_rig(file)
        tell("walking")
        lengths = lengths_of(rig.character, rig.measurement)
        planned = plan_gait(
            rig, speed, stride=stride, toe_out_deg=toe_out_deg, style=style, metres=lengths.unit == "mm"
        )
        motion = make_gait(rig, planned, rate=rate, cycles=cycles, in_place=in_place)
        path = move_path(target, file, "walk")
        files = write_motion(motion, seen_from(path, file), path)
    data: dict[str, Any] = {
        "files": [str(each) for each in files],
        "speed": planned.speed,
        "step": planned.step,
        "cadence": planned.cadence,
        "frames": len(motion),
        "cyclic": motion.cyclic,
    }
    told = (
        f"steps of {lengths.text(planned.step)}, {planned.cadence:.0f} a minute, {planned.style.sentence}; "
        f"{len(motion):,} frames, {seconds((len(motion) - 1) / motion.rate)}"
    )
    return Answer(data, lambda: [heading(f"Written: {path}"), line(told)])
