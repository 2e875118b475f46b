"""A character out of a .glb or .gltf file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from instep.character import Character, Clip
from instep.formats.container import Document, read_document
from instep.formats.joints import FileSkeleton, read_skeleton
from instep.formats.motion import read_tracks
from instep.formats.nodes import NodeTree, read_nodes
from instep.formats.surface import read_surface


@dataclass(frozen=True, slots=True, eq=False)
class OpenFile:
    """A file with its nodes and its skeleton read: what reading and editing share."""

    document: Document
    tree: NodeTree
    found: FileSkeleton


def open_file(path: Path | str) -> OpenFile:
    """Read a file's shell, nodes and skeleton; FormatError as `read_character`."""
    document = read_document(path)
    tree = read_nodes(document)
    return OpenFile(document, tree, read_skeleton(document, tree))


def read_character(path: Path | str) -> Character:
    """Read a skinned character, or a skeleton with clips and no mesh (then `mesh` is None).

    The character stands in its bind pose in the file's world and unit; what was odd about the file is in its
    notes. Raises FormatError with the place in the file where it is not valid or cannot be honoured.
    """
    opened = open_file(path)
    mesh, odd_mesh = read_surface(opened.document, opened.tree, opened.found)
    clips, odd_clips = read_tracks(opened.document, opened.tree, opened.found.names_of())
    notes = (*opened.found.notes, *odd_mesh, *odd_clips)
    path = Path(path)
    return Character(path.stem, opened.found.skeleton, mesh, clips, notes, path)


def read_clips(path: Path | str) -> tuple[Clip, ...]:
    """The clips of a file, by joint name; also of a file with a skeleton and no mesh.

    Raises FormatError as `read_character`.
    """
    opened = open_file(path)
    return read_tracks(opened.document, opened.tree, opened.found.names_of())[0]
