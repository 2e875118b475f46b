"""Small casts, and what stands in for the work where only its bookkeeping is under test. Other processes import it."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from instep.delivery.cast_member import CastTask, Outcome, rig_member
from instep.delivery.cast_recipe import CastRecipe
from instep.formats import write_character
from tests.biped import make_biped

QUICK = CastRecipe(tune=(), checks=("rest",))
"""Everything but the long checks."""


def write_folder(folder: Path) -> Path:
    """Two bipeds, one of them in a folder below, and a file that is no model."""
    (folder / "town").mkdir(parents=True)
    write_character(make_biped(), folder / "ana.glb")
    write_character(make_biped(knee_bend_deg=10.0, toe_out_deg=8.0), folder / "town" / "bo.glb")
    (folder / "wrong.glb").write_bytes(b"this is no model")
    return folder


def here(tasks: Sequence[CastTask], workers: int) -> Iterator[Outcome]:
    """In place of other processes: the same work in this one."""
    return map(rig_member, tasks)


def ends_with_bo(task: CastTask) -> Outcome:
    """Work that ends its process without a word for one character, as a system does that runs out of memory."""
    if task.member.name.endswith("bo"):
        os._exit(9)
    return rig_member(task)


def quick_work(task: CastTask) -> Outcome:
    """Work that takes no time."""
    assert threading.current_thread() is not None
    return Outcome(task.member.name, "holds")


def contents_of(folder: Path) -> dict[str, bytes]:
    """All files of a folder, but the account of the run itself."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "cast.run.json"
    }


def told(folder: Path) -> dict[str, Any]:
    """What cast.json says of each character, by name."""
    data = json.loads((folder / "cast.json").read_text(encoding="utf-8"))
    return {entry["name"]: entry for entry in data["characters"]}
