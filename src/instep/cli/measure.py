"""instep measure: the landmarks of each foot, how sure they are, and what they were seen from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from instep.cli.answer import Answer, answers

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.character import Character
    from instep.landmarks import Measurement


@click.command(short_help="Show the landmarks of each foot; set some by hand.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=X,Y,Z",
    help="Set a landmark by hand, in the file's own axes and unit: left.heel=0.1,0,-0.06. May be given several times.",
)
@click.option("--save", is_flag=True, help="Write what --set sets into FILE, a rig file, under by_hand.landmarks.")
@answers
def measure(file: Path, settings: tuple[str, ...], save: bool) -> Answer:
    """Measure the landmarks of each foot of the character in FILE (.glb, .gltf, or .rig.toml).

    Positions are in the file's own axes and unit, as --set and the rig file take them.
    """
    from instep.delivery.job import is_rig_file
    from instep.errors import RigFileError
    from instep.formats import read_character
    from instep.landmarks import measure as measure_character
    from instep.rig.description import ByHand
    from instep.rig.file import measure_described, read_described_character, read_rig_file, write_rig_file

    by_hand = dict(_parse(text) for text in settings)
    if not is_rig_file(file):
        if save:
            raise RigFileError(
                "only a rig file can hold what is set by hand",
                where=str(file),
                expected="a .rig.toml file with --save",
                cure="Make one with `instep rig`, then measure that",
            )
        character = read_character(file)
        measurement = measure_character(character, by_hand)
    else:
        description = read_rig_file(file)
        character = read_described_character(description, file)
        measure_character(character, by_hand)  # faults in what was typed are told as such, before the file's own
        hand = description.by_hand
        landmarks = hand.landmarks | by_hand
        changed = ByHand(landmarks=landmarks, tuned=hand.tuned, ranges=hand.ranges, pinned=hand.pinned)
        description = description.model_copy(update={"by_hand": changed})
        measurement = measure_described(character, description, file)
        if save:
            write_rig_file(description, file)
    saved = sorted(by_hand) if save else []
    return Answer(_data(file, character, measurement, saved), lambda: _text(file, character, measurement, saved))


def _parse(text: str) -> tuple[str, tuple[float, float, float]]:
    """``left.heel=0.1,0,-0.06``. Raises LandmarkError where it is not such."""
    from instep.errors import LandmarkError

    name, equals, value = text.partition("=")
    try:
        x, y, z = (float(number) for number in value.split(","))
    except ValueError:
        equals = ""
    if not equals:
        raise LandmarkError(
            f'"{text}" sets no landmark',
            where="--set",
            expected="a name, an equals sign and three numbers",
            cure="Write it as left.heel=0.1,0,-0.06",
        )
    return name.strip(), (x, y, z)


def _data(file: Path, character: Character, measurement: Measurement, saved: list[str]) -> dict[str, Any]:
    names = character.skeleton.names
    return {
        "file": str(file),
        "leg_length": measurement.leg_length,
        "floor": measurement.floor,
        "pelvis": names[measurement.pelvis],
        "body_axes": {
            direction: measurement.R_world_body[:, column].tolist()
            for column, direction in enumerate(("left", "up", "forward"))
        },
        "legs": [
            {
                "name": leg.name,
                "side": leg.side,
                "joints": {
                    "thigh": names[leg.thigh],
                    "shin": names[leg.shin],
                    "foot": names[leg.foot],
                    "toes": None if leg.toes is None else names[leg.toes],
                },
                "landmarks": {
                    name: {
                        "position": landmark.position.tolist(),
                        "confidence": landmark.confidence,
                        "source": landmark.source,
                        "by_hand": landmark.by_hand,
                        "evidence": landmark.evidence.tolist(),
                    }
                    for name, landmark in leg.landmarks.items()
                },
                "sole_normal": leg.sole_normal.tolist(),
                "axis": leg.axis.tolist(),
                "foot_length": leg.foot_length,
                "heel_height": leg.heel_height,
                "outline": leg.outline.tolist(),
            }
            for leg in measurement.legs
        ],
        "remarks": list(measurement.remarks),
        "saved": saved,
    }


def _text(file: Path, character: Character, measurement: Measurement, saved: list[str]) -> list[RenderableType]:
    from instep.cli.wording import heading, lengths_of, line, listed, point, table

    lengths = lengths_of(character, measurement)
    unit = "x, y, z in metres" if lengths.unit == "mm" else "x, y, z in the file's unit"
    parts: list[RenderableType] = [heading(f"{file.name}: leg {lengths.text(measurement.leg_length)}, hip to ankle")]
    for leg in measurement.legs:
        parts.append(
            heading(
                f"{leg.name}: foot {lengths.text(leg.foot_length)} long, heel raised by {lengths.text(leg.heel_height)}"
            )
        )
        rows = [
            (
                name,
                point(landmark.position, lengths),
                "by hand" if landmark.by_hand else f"{landmark.confidence:.2f}",
                "" if landmark.by_hand else landmark.source,
            )
            for name, landmark in leg.landmarks.items()
        ]
        parts.append(table(("landmark", unit, "sure of 1", "seen from"), rows, right=(1, 2)))
    if measurement.remarks:
        parts.append(heading("Remarks"))
        parts += [line(f"{remark}.") for remark in measurement.remarks]
    if saved:
        parts.append(heading(f"Saved in {file.name}: {listed(saved)}"))
    return parts
