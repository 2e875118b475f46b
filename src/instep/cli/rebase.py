"""instep rebase: the model has changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.delivery.rebase import Rebased

SHOWN = 12
"""Joints told by name; the rest are counted."""


@click.command(short_help="Carry a rig file over to a changed model, and say what moved.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("model", type=click.Path(path_type=Path))
@click.option("--no-checks", is_flag=True, help="Do not run the checks on the old and the new model.")
@click.option("--look", is_flag=True, help="Tell what would change, but write nothing.")
@answers
def rebase(file: Path, model: Path, no_checks: bool, look: bool) -> Answer:
    """Carry the rig in FILE (.rig.toml) over to the changed MODEL (.glb or .gltf).

    Measures the model anew, keeps what you set by hand, and says landmark by landmark what moved, which joints came
    and went, and which checks changed their verdict. Then FILE is written: the rig is built from it with instep rig.
    """
    from instep.delivery.rebase import rebase as carry_over
    from instep.delivery.rebase import refuse_unlike

    refuse_unlike(file, model)
    with working("measuring and proving the old model and the new"):
        result = carry_over(file, model, checks=not no_checks, write=not look)
    return Answer(_data(result, not look), lambda: _text(result, model, not look))


def _data(result: Rebased, written: bool) -> dict[str, Any]:
    return {
        "rig": str(result.rig_file),
        "written": written,
        "old_model_missing": result.old_missing or None,
        "landmarks": [
            {"name": mark.name, "by_hand": mark.by_hand, "distance": mark.distance, "state": mark.state}
            for mark in result.landmarks
        ],
        "joints": {
            "came": list(result.joints_came),
            "went": list(result.joints_went),
            "moved": [{"name": name, "distance": distance} for name, distance in result.joints_moved],
        },
        "far_from_mesh": [
            {"name": mark.name, "distance": mark.distance, "before": mark.before} for mark in result.strays
        ],
        "verdicts": [
            {
                "check": change.check,
                "before": change.before,
                "after": change.after,
                "figure": change.figure,
                "allowance": change.allowance,
                "unit": change.unit,
                "cause": change.cause,
            }
            for change in result.verdicts
        ],
        "holds": None if result.report is None else result.report.holds,
    }


def _text(result: Rebased, model: Path, written: bool) -> list[RenderableType]:
    from instep.cli.wording import heading, lengths_of, line, listed, table

    lengths = lengths_of(result.rig.character, result.rig.measurement)
    told = [mark for mark in result.landmarks if mark.state != "stays"]
    stays = len(result.landmarks) - len(told)
    parts: list[RenderableType] = [heading(f"{result.rig_file.name} on {model.name}")]
    if result.old_missing:
        parts.append(line(f"The old model could not be looked at: {result.old_missing}."))
    rows = [
        (
            mark.name,
            mark.state if mark.distance is None else lengths.text(mark.distance, 1),
            "by hand" if mark.by_hand else "",
        )
        for mark in told
    ]
    parts.append(heading(f"Landmarks: {len(told)} moved, {stays} stay"))
    if rows:
        parts.append(table(("", "", ""), rows, right=(1,)))
    for words, names in (("came", result.joints_came), ("went", result.joints_went)):
        if names:
            parts.append(heading(f"{len(names)} {'joint' if len(names) == 1 else 'joints'} {words}"))
            parts.append(line(listed(_shortened(names))))
    if result.joints_moved:
        parts.append(heading("Joints that stand elsewhere"))
        moved = [(name, lengths.text(distance, 1)) for name, distance in result.joints_moved[:SHOWN]]
        parts.append(table(("", ""), moved, right=(1,)))
        if len(result.joints_moved) > SHOWN:
            parts.append(line(f"and {len(result.joints_moved) - SHOWN} more"))
    for mark in result.strays:
        before = "" if mark.before is None else f", {lengths.text(mark.before, 1)} from the old one"
        parts.append(heading("Look at what you set by hand") if mark is result.strays[0] else line(""))
        parts.append(
            line(f"{mark.name} is {lengths.text(mark.distance, 1)} from the nearest vertex of the new mesh{before}.")
        )
    if result.report is not None:
        parts.append(heading("Checks"))
        for change in result.verdicts:
            cause = f": {change.cause.rstrip('.')}" if change.cause else ""
            parts.append(line(f"{change.check}: {change.before}, now {change.after}{cause}."))
        if not result.verdicts:
            short = [finding.check for finding in result.report.findings if finding.verdict == "falls short"]
            kept = "None changed its verdict" if not result.old_missing else "There is nothing to compare them with"
            parts.append(line(f"{kept}; {'all hold' if not short else listed(short) + ' fall short'}."))
    parts.append(heading(f"Written: {result.rig_file}" if written else "Nothing was written"))
    return parts


def _shortened(names: tuple[str, ...]) -> list[str]:
    return [*names[:SHOWN], f"{len(names) - SHOWN} more"] if len(names) > SHOWN else list(names)
