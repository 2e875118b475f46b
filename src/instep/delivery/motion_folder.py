"""Fitting a folder of clips, several at a time, taken up where an interrupted run ended."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import re
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from instep import __version__
from instep.errors import InstepError, OutputError
from instep.formats import read_clips, write_whole
from instep.motion.file import MOVE_FILE, write_motion
from instep.motion.sources import MARKERS, fit_source
from instep.rig.file import character_path, load_rig, read_rig_file

ENDINGS: Final = (".glb", ".gltf", *MARKERS)


@dataclass(frozen=True, slots=True)
class ClipTask:
    """One clip to fit. `key` is what its result hangs on: the rig, the source, the settings, by their content."""

    rig_file: Path
    source: Path
    clip: str | None
    target: Path
    rate: float
    smooth_hz: float | None
    key: str


@dataclass(frozen=True, slots=True)
class ClipResult:
    """What became of a clip."""

    source: Path
    clip: str
    target: Path
    state: Literal["fitted", "kept", "failed"]
    message: str = ""


def fit_folder(
    rig_file: Path,
    folder: Path,
    target: Path,
    *,
    rate: float = 60.0,
    smooth_hz: float | None = None,
    workers: int | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> tuple[ClipResult, ...]:
    """Fit every clip of every file in a folder to a rig, each into SOURCE.CLIP.move.toml in `target`.

    A clip whose result is there, of the same rig, source and settings, is kept. One that fails stops no other.
    Raises RigFileError and OutputError where nothing could be done at all.
    """
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder cannot be made ({error.strerror})", where=str(target)) from error
    base = _base_key(rig_file, rate, smooth_hz)
    results: list[ClipResult] = []
    waiting: list[ClipTask] = []
    for source in sorted(path for path in folder.iterdir() if path.suffix.lower() in ENDINGS and path.is_file()):
        try:
            tasks = list(_tasks(rig_file, source, target, rate, smooth_hz, base))
        except InstepError as error:
            results.append(ClipResult(source, source.stem, target / source.name, "failed", str(error)))
            continue
        for task in tasks:
            if _is_there(task):
                results.append(ClipResult(source, task.clip or source.stem, task.target, "kept"))
            else:
                waiting.append(task)
    count = min(workers or len(os.sched_getaffinity(0)), max(len(waiting), 1))
    done = 0
    if count == 1:
        for task in waiting:
            results.append(fit_task(task))
            done += 1
            progress(f"{done} of {len(waiting)} clips")
    else:
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(count, mp_context=context) as pool:
            futures = {pool.submit(fit_task, task): task for task in waiting}
            for future in as_completed(futures):
                results.append(future.result())
                done += 1
                progress(f"{done} of {len(waiting)} clips")
    return tuple(sorted(results, key=lambda result: (str(result.source), result.clip)))


def fit_task(task: ClipTask) -> ClipResult:
    """Fit one clip and write it; an InstepError becomes a result."""
    name = task.clip or task.source.stem
    try:
        fit = fit_source(load_rig(task.rig_file), task.source, task.clip, task.rate, task.smooth_hz)
        rig_path = Path(os.path.relpath(task.rig_file.resolve(), task.target.parent.resolve())).as_posix()
        write_motion(fit.motion, rig_path, task.target)
        write_whole(_note(task), json.dumps({"key": task.key}).encode("utf-8"))
    except InstepError as error:
        return ClipResult(task.source, name, task.target, "failed", str(error))
    return ClipResult(task.source, name, task.target, "fitted")


def _tasks(
    rig_file: Path, source: Path, target: Path, rate: float, smooth_hz: float | None, base: str
) -> Iterator[ClipTask]:
    key = hashlib.sha256(base.encode() + source.read_bytes()).hexdigest()
    if source.suffix.lower() in MARKERS:
        yield ClipTask(rig_file, source, None, target / f"{source.stem}{MOVE_FILE}", rate, smooth_hz, key)
        return
    for clip in read_clips(source):
        safe = re.sub(r"[^A-Za-z0-9._-]+", "_", clip.name)
        yield ClipTask(rig_file, source, clip.name, target / f"{source.stem}.{safe}{MOVE_FILE}", rate, smooth_hz, key)


def _base_key(rig_file: Path, rate: float, smooth_hz: float | None) -> str:
    described = read_rig_file(rig_file)
    character = character_path(described, rig_file)
    content = character.read_bytes() if character.is_file() else b""
    digest = hashlib.sha256(rig_file.read_bytes() + content).hexdigest()
    return f"{__version__} {digest} {rate} {smooth_hz}"


def _note(task: ClipTask) -> Path:
    return task.target.with_name(f".{task.target.name.removesuffix(MOVE_FILE)}.fit.json")


def _is_there(task: ClipTask) -> bool:
    try:
        told = json.loads(_note(task).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return bool(isinstance(told, dict) and told.get("key") == task.key and task.target.is_file())
