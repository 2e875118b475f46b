"""What is in a file, counted, before anything is made of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from instep.character import Character
from instep.formats.container import read_document


@dataclass(frozen=True, slots=True)
class FileSurvey:
    """Counts of what a file holds; `extensions_required` must be understood, `extensions_used` may be.

    `morph_targets` counts those of all primitives, `vertices` the positions of all primitives.
    """

    generator: str
    bytes: int
    nodes: int
    meshes: int
    primitives: int
    vertices: int
    skins: int
    clips: int
    materials: int
    images: int
    morph_targets: int
    extensions_used: tuple[str, ...]
    extensions_required: tuple[str, ...]


def survey_file(path: Path | str) -> FileSurvey:
    """Count what is in a .glb or .gltf file. Raises FormatError where it is not one."""
    document = read_document(path)
    primitives = [
        (primitive, f"mesh {index}")
        for index, mesh in enumerate(document.items("meshes"))
        for primitive in document.members(mesh, "primitives", f"mesh {index}")
        if isinstance(primitive, dict)
    ]
    vertices = 0
    for primitive, place in primitives:
        attributes = primitive.get("attributes")
        if isinstance(attributes, dict) and "POSITION" in attributes:
            accessor = document.item("accessors", attributes["POSITION"], place)
            vertices += document.whole(accessor, "count", f"accessor {attributes['POSITION']}")
    return FileSurvey(
        generator=str(document.json["asset"].get("generator", "")),
        bytes=Path(path).stat().st_size,
        nodes=len(document.items("nodes")),
        meshes=len(document.items("meshes")),
        primitives=len(primitives),
        vertices=vertices,
        skins=len(document.items("skins")),
        clips=len(document.items("animations")),
        materials=len(document.items("materials")),
        images=len(document.items("images")),
        morph_targets=sum(len(document.members(p, "targets", place)) for p, place in primitives),
        extensions_used=_names(document.members(document.json, "extensionsUsed", "extensionsUsed")),
        extensions_required=_names(document.members(document.json, "extensionsRequired", "extensionsRequired")),
    )


def _names(entries: list[object]) -> tuple[str, ...]:
    return tuple(map(str, entries))


def guess_unit(character: Character) -> str:
    """The unit that a character's size speaks for, as a phrase; a guess, on which nothing is built."""
    points = character.skeleton.positions if character.mesh is None else character.mesh.positions
    size = float((points.max(axis=0) - points.min(axis=0)).max())
    if 0.25 <= size <= 6.0:
        return f"metres ({size:.2f} at its longest)"
    if 25.0 <= size <= 600.0:
        return f"centimetres ({size:.0f} at its longest)"
    if 250.0 <= size <= 6000.0:
        return f"millimetres ({size:.0f} at its longest)"
    return f"unknown ({size:.3g} at its longest)"
