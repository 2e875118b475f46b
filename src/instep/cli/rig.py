"""instep rig: the whole job in one command."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.checks import Report
    from instep.delivery.job import JobResult

SHORT = 1
"""Exit status where a claim falls short; everything has been written."""

STEPS = {
    "reading": "reading the character",
    "measuring": "measuring legs and feet",
    "building": "building the rig",
    "solving": "solving how far the toes hold to the floor",
    "exercising": "baking the exercises",
    "proving": "proving the rig",
    "drawing": "drawing the sheet",
}


@click.command(short_help="Rig a character: rig file, exercise clips, rig sheet.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path),
    help="Folder for the results; made if need be. Otherwise that of a rig file, or out/ for a character.",
)
@click.option(
    "--controls",
    type=click.Choice(["essential", "full"]),
    help="Which controls the rig has. Otherwise as the rig file says; essential in a new one.",
)
@click.option("--plain/--no-plain", default=None, help="Whether joints that no leg owns get a control each.")
@click.option(
    "--rate",
    type=click.FloatRange(1.0, 1000.0),
    default=30.0,
    show_default=True,
    help="Frames a second of the exercise clips.",
)
@click.option("--proof/--no-proof", default=True, show_default=True, help="Whether to run the checks at the end.")
@answers
def rig(
    file: Path,
    folder: Path | None,
    controls: Literal["essential", "full"] | None,
    plain: bool | None,
    rate: float,
    proof: bool,
) -> Answer:
    """Rig the character in FILE (.glb or .gltf), or build anew from an edited rig file (.rig.toml).

    Measures legs and feet, builds the rig, solves it, and writes NAME.rig.toml (the rig, for you to edit), NAME.glb
    (the character with exercise clips), NAME.html (the rig sheet) and NAME.rig.json (the rig in its built form). A
    rig file that is there already keeps what you set in it, and your comments.

    At its end every claim about the rig is proved: see `instep prove`. The exit status is 1 where one falls short.
    """
    from instep.delivery.job import is_rig_file, rig_job

    if folder is None:
        folder = file.parent if is_rig_file(file) else Path("out")
    with working(STEPS["reading"]) as tell:
        result = rig_job(
            file,
            folder,
            controls=controls,
            plain=plain,
            rate=rate,
            proof=proof,
            progress=lambda step: tell(_step_words(step)),
        )
    short = result.proof is not None and not result.proof.holds
    return Answer(_data(result), lambda: _text(result), SHORT if short else 0)


def _step_words(step: str) -> str:
    """What is being done, in words; of a check, its name."""
    step, _, check = step.partition(" ")
    return f"{STEPS[step]}: {check}" if check else STEPS[step]


def _data(result: JobResult) -> dict[str, Any]:
    return {
        "files": {
            "rig": str(result.rig_file),
            "built": str(result.built),
            "model": str(result.model),
            "sheet": str(result.sheet),
        },
        "kept": result.kept,
        "channels": [channel.name for channel in result.rig.channels],
        "legs": [
            {
                "name": leg.name,
                "hold": leg.hold if leg.has_toes else None,
                "pad_off_floor": None
                if leg.name not in result.fits
                else {"at_hold_1": result.fits[leg.name].before, "as_solved": result.fits[leg.name].after},
            }
            for leg in result.rig.plan.legs
        ],
        "clips": [
            {"name": exercise.name, "sentence": exercise.sentence, "duration_s": float(exercise.times_s[-1])}
            for exercise in result.exercises
        ],
        "moved": [{"name": landmark.name, "distance": landmark.distance} for landmark in result.moved],
        "proof": None if result.proof is None else result.proof.to_data(),
        "remarks": list(result.rig.measurement.remarks),
        "odd": [{"where": note.where, "seen": note.seen, "means": note.means} for note in result.rig.character.notes],
    }


def _text(result: JobResult) -> list[RenderableType]:
    from instep.cli.wording import heading, lengths_of, line, listed, seconds, table

    rig, measurement = result.rig, result.rig.measurement
    lengths = lengths_of(rig.character, measurement)
    parts: list[RenderableType] = [
        heading(
            f"{rig.character.source.name}: {listed(leg.name for leg in measurement.legs)} legs, "
            f"{len(rig.channels)} channels"
        )
    ]
    rows = []
    for leg, plan in zip(measurement.legs, rig.plan.legs, strict=True):
        marks = leg.landmarks.values()
        least = min(marks, key=lambda landmark: landmark.confidence)
        name = next(name for name, landmark in leg.landmarks.items() if landmark is least)
        fit = result.fits.get(leg.name)
        off = f"{plan.hold:.2f}" + (f", pad within {lengths.text(fit.after, 2)} of the floor" if fit else "")
        rows.append(
            (
                leg.name,
                lengths.text(leg.foot_length),
                f"{least.confidence:.2f} {name}",
                off if plan.has_toes else "no toes",
            )
        )
    parts.append(table(("leg", "foot", "least sure", "toes hold"), rows, right=(1,)))
    if result.moved:
        parts.append(heading("Moved since the rig file was last written"))
        parts.append(
            table(("", ""), [(mark.name, lengths.text(mark.distance, 1)) for mark in result.moved], right=(1,))
        )
    if result.proof is not None:
        parts += _proof_text(result.proof)
    odd = [f"{note.where}: {note.seen}; {note.means}" for note in rig.character.notes]
    if odd or measurement.remarks:
        parts.append(heading("Remarks"))
        parts += [line(f"{remark.rstrip('.')}.") for remark in (*measurement.remarks, *odd)]
    length = sum(float(exercise.times_s[-1]) for exercise in result.exercises)
    kept = "kept what you set in it" if result.kept else "edit it, then: instep rig " + str(result.rig_file)
    parts.append(heading("Written"))
    parts.append(
        table(
            ("", ""),
            [
                (str(result.rig_file), f"the rig file; {kept}"),
                (str(result.model), f"the character with {len(result.exercises)} exercise clips, {seconds(length)}"),
                (str(result.sheet), "the rig sheet; open it in a browser"),
                (str(result.built), "the rig in its built form, for programs"),
            ],
        )
    )
    return parts


def _proof_text(report: Report) -> list[RenderableType]:
    """How many claims hold, and of each that falls short its cause."""
    from instep.cli.wording import heading, line
    from instep.delivery.proof.words import summary

    parts: list[RenderableType] = [heading(f"Proof: {summary(report)}")]
    for finding in report.findings:
        if finding.verdict == "falls short":
            parts.append(line(f"{finding.check} falls short: {finding.cause}"))
    return parts
