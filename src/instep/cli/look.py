"""instep look: what is in a file, and what that means for a rig."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from instep.cli.answer import Answer, answers

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.character import Character
    from instep.errors import InstepError
    from instep.formats import FileSurvey
    from instep.landmarks import Measurement


@click.command(short_help="Show what is in a file, and what that means for a rig.")
@click.argument("file", type=click.Path(path_type=Path))
@answers
def look(file: Path) -> Answer:
    """Show what is in FILE (.glb or .gltf): joints, skins, meshes, clips, unit, the legs that are found, what is odd
    about it and what that means for a rig."""
    from instep.errors import InstepError
    from instep.formats import read_character, survey_file
    from instep.landmarks import measure

    survey = survey_file(file)
    character = read_character(file)
    measurement: Measurement | None = None
    fault: InstepError | None = None
    try:
        measurement = measure(character)
    except InstepError as error:  # told as what the file lacks: looking at it is what was asked for
        fault = error
    return Answer(
        _data(file, survey, character, measurement, fault),
        lambda: _text(file, survey, character, measurement, fault),
    )


def _data(
    file: Path,
    survey: FileSurvey,
    character: Character,
    measurement: Measurement | None,
    fault: InstepError | None,
) -> dict[str, Any]:
    from dataclasses import asdict

    from instep.formats.survey import guess_unit

    skeleton, mesh = character.skeleton, character.mesh
    roles = _roles(character, measurement)
    return {
        "file": str(file),
        "counts": asdict(survey),
        "unit": guess_unit(character),
        "joints": [
            {
                "name": name,
                "parent": None if parent < 0 else skeleton.names[parent],
                "role": roles.get(joint),
                "position": skeleton.positions[joint].tolist(),
            }
            for joint, (name, parent) in enumerate(zip(skeleton.names, skeleton.parents.tolist(), strict=True))
        ],
        "meshes": [
            {
                "name": part.name,
                "vertices": part.vertices.stop - part.vertices.start,
                "triangles": part.faces.stop - part.faces.start,
            }
            for part in (mesh.parts if mesh is not None else ())
        ],
        "clips": [
            {"name": clip.name, "duration_s": clip.duration_s, "tracks": len(clip.tracks)} for clip in character.clips
        ],
        "legs": [
            {
                "name": leg.name,
                "thigh": skeleton.names[leg.thigh],
                "shin": skeleton.names[leg.shin],
                "foot": skeleton.names[leg.foot],
                "toes": None if leg.toes is None else skeleton.names[leg.toes],
            }
            for leg in (measurement.legs if measurement is not None else ())
        ],
        "pelvis": None if measurement is None else skeleton.names[measurement.pelvis],
        "body_axes": None
        if measurement is None
        else {
            direction: measurement.R_world_body[:, column].tolist()
            for column, direction in enumerate(("left", "up", "forward"))
        },
        "no_legs_because": None if fault is None else str(fault),
        "odd": [{"where": note.where, "seen": note.seen, "means": note.means} for note in character.notes],
        "remarks": [] if measurement is None else list(measurement.remarks),
    }


def _roles(character: Character, measurement: Measurement | None) -> dict[int, str]:
    """What part each joint plays; none for those that no leg owns."""
    if measurement is None:
        return {}
    roles = {measurement.pelvis: "pelvis"}
    for leg in measurement.legs:
        own = {leg.thigh: "thigh", leg.shin: "shin", leg.foot: "foot"}
        if leg.toes is not None:
            own[leg.toes] = "toes"
        for joint, part in own.items():
            roles[joint] = f"{leg.name}.{part}"
        for joint, carrier in leg.joints:
            roles.setdefault(joint, f"rides on {leg.name}.{own[carrier]}")
    return roles


def _text(
    file: Path,
    survey: FileSurvey,
    character: Character,
    measurement: Measurement | None,
    fault: InstepError | None,
) -> list[RenderableType]:
    from instep.cli.wording import heading, line, listed, seconds, table
    from instep.formats.survey import guess_unit

    skeleton, mesh = character.skeleton, character.mesh
    counts = [
        f"{survey.bytes / 1e6:.2f} MB",
        _count(survey.nodes, "node"),
        _count(survey.skins, "skin"),
        _count(survey.meshes, "mesh", "meshes"),
        _count(survey.materials, "material"),
        _count(survey.images, "image"),
        _count(survey.morph_targets, "morph target"),
    ]
    parts: list[RenderableType] = [
        heading(file.name),
        line(", ".join(counts) + (f"; written by {survey.generator}" if survey.generator else "")),
        line(f"unit: {guess_unit(character)}"),
    ]
    if survey.extensions_used:
        needed = f" (needed: {listed(survey.extensions_required)})" if survey.extensions_required else ""
        parts.append(line(f"extensions: {listed(survey.extensions_used)}{needed}"))
    parts.append(heading("Legs"))
    if measurement is not None:
        parts.append(line(_stance(measurement)))
        rows = []
        for leg in measurement.legs:
            chain = (leg.thigh, leg.shin, leg.foot) + (() if leg.toes is None else (leg.toes,))
            rows.append((leg.name, " → ".join(skeleton.names[joint] for joint in chain)))
        parts.append(table(("", ""), rows))
        parts += [line(f"{remark}.") for remark in measurement.remarks]
    elif fault is not None:
        parts.append(line(f"none that a rig could be built on: {fault}"))
    roles = _roles(character, measurement)
    depth = [len(skeleton.ancestors(joint)) for joint in range(len(skeleton))]
    parts.append(heading(_count(len(skeleton), "joint").capitalize()))
    parts.append(
        table(
            ("", ""),
            [("  " * depth[joint] + skeleton.names[joint], roles.get(joint, "")) for joint in _tree_order(character)],
        )
    )
    if mesh is not None:
        parts.append(heading(f"Skin: {len(mesh):,} vertices, {len(mesh.faces):,} triangles"))
        pieces = [
            (part.name, f"{part.vertices.stop - part.vertices.start:,}", f"{part.faces.stop - part.faces.start:,}")
            for part in mesh.parts
        ]
        parts.append(table(("mesh", "vertices", "triangles"), pieces, right=(1, 2)))
    parts.append(heading(_count(len(character.clips), "clip").capitalize()))
    if character.clips:
        clips = [(clip.name, seconds(clip.duration_s), f"{len(clip.tracks)}") for clip in character.clips]
        parts.append(table(("clip", "length", "tracks"), clips, right=(1, 2)))
    parts.append(heading("Odd, and what it means"))
    if not character.notes:
        parts.append(line("nothing"))
    for note in character.notes:
        parts.append(line(f"{note.where}: {note.seen}"))
        parts.append(line(f"{note.means}.", 4))
    return parts


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}" if number else f"no {many or one + 's'}"


def _tree_order(character: Character) -> list[int]:
    """Joints with their children right under them."""
    skeleton = character.skeleton
    order: list[int] = []
    waiting = [joint for joint in reversed(range(len(skeleton))) if skeleton.parents[joint] < 0]
    while waiting:
        joint = waiting.pop()
        order.append(joint)
        waiting += reversed(skeleton.children(joint))
    return order


def _stance(measurement: Measurement) -> str:
    """Which way the body stands in its file."""
    words = []
    for column, direction in enumerate(("left", "up", "forward")):
        axis = measurement.R_world_body[:, column]
        largest = int(abs(axis).argmax())
        if abs(axis[largest]) > 1 - 1e-9:
            words.append(f"{direction} is {'+' if axis[largest] > 0 else '−'}{'XYZ'[largest]}")
        else:
            words.append(f"{direction} is ({', '.join(f'{value:.3f}' for value in axis)})")
    return ", ".join(words)
