"""A character: what the rest of Instep works on."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from instep.character.clip import Clip
from instep.character.mesh import Mesh
from instep.character.skeleton import Skeleton


@dataclass(frozen=True, slots=True)
class Note:
    """Something odd in a file that was met with the right result, and what it means for a rig.

    `where` is the place in the file, `seen` what is odd, `means` what follows for the rig; sentences
    without their full stops.
    """

    where: str
    seen: str
    means: str


@dataclass(frozen=True, slots=True, eq=False)
class Character:
    """A skeleton with its skinned mesh and its clips.

    `mesh` is None for a file that holds only a skeleton and clips.
    """

    name: str
    skeleton: Skeleton
    mesh: Mesh | None
    clips: tuple[Clip, ...] = ()
    notes: tuple[Note, ...] = ()
    source: Path = field(default_factory=Path)
