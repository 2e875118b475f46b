"""instep plant: feet that stay where they are planted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Take out sliding, sinking and popping.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("-o", "--output", "target", type=click.Path(path_type=Path), help="Otherwise FILE itself is replaced.")
@click.option("--page", type=click.Path(path_type=Path), help="Write a page (.html) of what was done.")
@answers
def plant(file: Path, target: Path | None, page: Path | None) -> Answer:
    """Plant the feet of the motion FILE (.move.toml), by the contacts that stand in it.

    Where a contact is wrong, correct it in the file and plant the fitted motion again.
    """
    from instep.cli.motion_words import load_motion, seen_from
    from instep.cli.wording import heading, lengths_of, line, table
    from instep.motion.figures import sinks, slides
    from instep.motion.file import read_motion, write_motion
    from instep.motion.plant import plant as plant_feet

    with working("building the rig") as tell:
        motion, rig = load_motion(file)
        tell("planting")
        planted = plant_feet(rig, motion)
        _, rig_path = read_motion(file)
        path = target or file
        before, after = slides(rig, motion), slides(rig, planted.motion)
        sunk = {name: float(depth.max()) for name, depth in sinks(rig, planted.motion).items()}
        write_motion(planted.motion, seen_from(path, rig_path), path)
        if page is not None:
            from instep.delivery.motion_page import write_motion_page

            write_motion_page(rig, planted.motion, page, before=(motion, rig.evaluate(motion.values)))
    size = {leg.name: leg.foot_length for leg in rig.measurement.legs}
    data: dict[str, Any] = {
        "file": str(path),
        "before": [_slide(each) for each in before],
        "after": [_slide(each) for each in after],
        "sole_sinks": sunk,
        "pelvis_sank": float(planted.sunk.max(initial=0.0)),
        "missed": planted.missed,
    }
    lengths = lengths_of(rig.character, rig.measurement)
    rows = []
    for leg in size:
        was = max((each.slide for each in before if each.leg == leg), default=0.0)
        now = max((each.slide for each in after if each.leg == leg), default=0.0)
        rows.append(
            (
                leg,
                lengths.text(was, 2),
                lengths.text(now, 4),
                f"{100 * now / size[leg]:.4f} %",
                f"{100 * sunk[leg] / size[leg]:.2f} %",
            )
        )
    heads = ("leg", "slid", "slides", "of the foot", "sole sinks")
    told = f"the pelvis sinks by {lengths.text(float(planted.sunk.max(initial=0.0)), 1)} at most"

    def text() -> list[Any]:
        parts: list[Any] = [heading(f"Written: {path}"), table(heads, rows, right=(1, 2, 3, 4)), line(told)]
        for leg, miss in planted.missed.items():
            if miss > 1e-6 * rig.plan.unit:
                parts.append(line(f"the {leg} leg is too short for its footprint by {lengths.text(miss, 1)}"))
        return parts

    return Answer(data, text)


def _slide(slide: Any) -> dict[str, Any]:
    return {
        "leg": slide.leg,
        "part": slide.part,
        "start_s": slide.start_s,
        "end_s": slide.end_s,
        "slide": slide.slide,
        "rise": slide.rise,
    }
