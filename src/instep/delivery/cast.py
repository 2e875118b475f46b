"""A whole cast: many characters rigged and proved with one recipe, on one page, and again only what has changed."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final, Literal

from instep import __version__
from instep.delivery.cast_member import RECORD_VERSION, CastTask, Outcome, make_place
from instep.delivery.cast_page import write_cast_page
from instep.delivery.cast_recipe import CastRecipe, content_key, find_members
from instep.delivery.cast_spread import on_cluster, on_processes
from instep.errors import FormatError
from instep.formats import write_whole

STATE: Final = "cast.run.json"
PAGE: Final = "cast.html"
DATA: Final = "cast.json"

Since = Literal["last"] | datetime | None
Progress = Callable[[int, int, str, str], None]
"""Told how many are done, of how many, whose turn it was, and how it came out."""


@dataclass(frozen=True, slots=True)
class CastResult:
    """What a run came to.

    Attributes
    ----------
    page, data : the files written.
    outcomes : of all characters, by name, those that were kept among them.
    built : names of those that were built in this run.
    """

    page: Path
    data: Path
    outcomes: tuple[Outcome, ...]
    built: tuple[str, ...]

    def named(self, outcome: str) -> tuple[str, ...]:
        """The names of those that came out so."""
        return tuple(entry.name for entry in self.outcomes if entry.outcome == outcome)


def run_cast(
    sources: Sequence[Path],
    folder: Path,
    recipe: CastRecipe | None = None,
    *,
    workers: int | None = None,
    since: Since = None,
    cluster: str | None = None,
    today: date | None = None,
    progress: Progress = lambda done, total, name, outcome: None,
) -> CastResult:
    """Rig and prove the characters in `sources`, and write a page on all of them into `folder`.

    Parameters
    ----------
    sources : folders (with all below them), models, and text files with one path a line.
    folder : made where it is not there; each character's results go into a folder of its own name within it, where a
        rig file that is there already is kept to.
    workers : processes of this machine; as many as it has cores where None.
    since : "last": only what has changed since the last run, by the contents of model and rig file, the recipe and
        Instep's version; a time: only those whose model or rig file was written since then; None: all. A run that was
        interrupted is always taken up where it ended.
    cluster : address of a Dask scheduler, in place of `workers`.

    Raises
    ------
    FormatError where there is no character; ClusterError; OutputError where results cannot be written. What goes wrong
    with one character is told in its row.
    """
    recipe = recipe or CastRecipe()
    folder = Path(folder).resolve()
    members = find_members(sources, folder)
    make_place(folder)
    day = today or date.today()
    tasks = [CastTask(member, folder, recipe, day) for member in _whole_paths(members)]
    if _unfinished(folder, recipe):
        since = "last"
    wanted = [task for task in tasks if not _kept(task, since)]
    _write_state(folder, recipe, finished=False)
    names = {task.member.name for task in wanted}
    spread = on_cluster(wanted, cluster) if cluster else on_processes(wanted, workers or _cores())
    for done, outcome in enumerate(spread, 1):
        progress(done, len(wanted), outcome.name, outcome.outcome)
    write_cast_page(folder / PAGE, folder / DATA, tasks, _recipe_data(recipe))
    _write_state(folder, recipe, finished=True)
    outcomes = tuple(Outcome(record["name"], record["outcome"]) for record in records(tasks))
    return CastResult(folder / PAGE, folder / DATA, outcomes, tuple(sorted(names)))


def records(tasks: Sequence[CastTask]) -> Iterator[dict[str, Any]]:
    """The records of characters, one after the other: never all at once."""
    for task in tasks:
        record = read_record(task)
        if record is not None:
            yield record


def read_record(task: CastTask) -> dict[str, Any] | None:
    """A character's record; None where there is none of this version."""
    try:
        record = json.loads(task.record.read_bytes())
    except (OSError, ValueError):
        return None  # it is made anew
    return record if isinstance(record, dict) and record.get("version") == RECORD_VERSION else None


def parse_since(text: str) -> Since:
    """What `--since` says: "last" or a time. Raises FormatError."""
    if text == "last":
        return "last"
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise FormatError(
            f'"{text}" is no time',
            where="--since",
            expected='"last", a date or a time such as 2026-03-01T18:00',
            cure="Correct it",
        ) from None


def _whole_paths(members: Sequence[Any]) -> Iterator[Any]:
    """Members with whole paths: another process may stand in another folder."""
    for member in members:
        yield type(member)(member.name, member.model.resolve())


def _kept(task: CastTask, since: Since) -> bool:
    """Whether what an earlier run made of a character still holds."""
    if since is None:
        return False
    record = read_record(task)
    if record is None or not all((task.folder / file).is_file() for file in record["files"]):
        return False
    if since == "last":
        return bool(record["key"]) and record["key"] == content_key(task.member.model, task.rig_file, task.recipe)
    written = max((path.stat().st_mtime for path in (task.member.model, task.rig_file) if path.is_file()), default=0.0)
    # The rig file is written by the run itself, so that what the run left is no change.
    made = task.record.stat().st_mtime
    return written < since.timestamp() or written <= made


def _cores() -> int:
    return max(len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1, 1)


def _recipe_data(recipe: CastRecipe) -> dict[str, Any]:
    data: dict[str, Any] = recipe.model_dump(mode="json")
    return data


def _state(recipe: CastRecipe, finished: bool) -> dict[str, Any]:
    return {"instep": __version__, "recipe": _recipe_data(recipe), "finished": finished}


def _write_state(folder: Path, recipe: CastRecipe, *, finished: bool) -> None:
    text = json.dumps(_state(recipe, finished), indent=1)
    write_whole(folder / STATE, text.encode("utf-8"))


def _unfinished(folder: Path, recipe: CastRecipe) -> bool:
    """Whether a run with this recipe was begun in a folder and not ended."""
    try:
        return bool(json.loads((folder / STATE).read_bytes()) == _state(recipe, False))
    except (OSError, ValueError):
        return False
