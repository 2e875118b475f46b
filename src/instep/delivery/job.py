"""The whole job: a character in, its rig file, its exercises and its sheet out; all of them or nothing."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final, Literal

import numpy as np

from instep.character import BakedClip
from instep.checks.battery import run_checks
from instep.checks.model import Report
from instep.delivery.page import write_sheet
from instep.delivery.rig_content import sheet_content
from instep.errors import OutputError
from instep.formats import read_character, write_clips, write_whole
from instep.landmarks import Measurement
from instep.motion import Exercise, exercises
from instep.rig import Rig, RigDescription
from instep.rig.built import write_built
from instep.rig.description import LegOptions, TunedLeg
from instep.rig.file import (
    build_described_rig,
    character_path,
    measure_described,
    read_described_character,
    read_rig_file,
    rig_file_text,
)
from instep.rig.shapes import control_shapes
from instep.rig.tuning.edges import with_edges
from instep.rig.tuning.hold import HoldFit, solve_hold
from instep.rig.tuning.tune import solved_before, tune_rig, with_solved
from instep.tolerances import LANDMARK_MOVED, LANDMARK_ROUNDING

RIG_FILE: Final = ".rig.toml"

Progress = Callable[[str], None]
"""Told what is being done, in one word, when each step begins."""


@dataclass(frozen=True, slots=True)
class MovedLandmark:
    """A landmark that is not where it was measured when the rig file was last written; in the file's unit."""

    name: str
    distance: float


@dataclass(frozen=True, slots=True, eq=False)
class JobResult:
    """What was made.

    Attributes
    ----------
    rig : as built, with solved numbers.
    rig_file, model, sheet, built : the files written.
    kept : whether a rig file was there before, and what stood in it was kept.
    fits : the solved hold of each leg that has toes.
    exercises : the clips that `model` has besides its own.
    proof : what the checks found; None where they were not asked for.
    moved : landmarks that moved since the rig file was last written.
    """

    rig: Rig
    rig_file: Path
    model: Path
    sheet: Path
    built: Path
    kept: bool
    fits: dict[str, HoldFit]
    exercises: tuple[Exercise, ...]
    moved: tuple[MovedLandmark, ...]
    proof: Report | None = None


def is_rig_file(path: Path) -> bool:
    """Whether a path names a rig file, by its ending."""
    return path.suffix.lower() == ".toml"


def character_name(source: Path) -> str:
    """The name that the files of a job begin with: grub for grub.glb and for grub.rig.toml."""
    return source.name.removesuffix(RIG_FILE) if source.name.endswith(RIG_FILE) else source.stem


def rig_job(
    source: Path | str,
    folder: Path | str,
    *,
    controls: Literal["essential", "full"] | None = None,
    plain: bool | None = None,
    rate: float = 30.0,
    proof: bool = True,
    today: date | None = None,
    progress: Progress = lambda step: None,
) -> JobResult:
    """Measure a character, build its rig, solve it, and write rig file, built form, model with clips, and sheet.

    Parameters
    ----------
    source : a .glb or .gltf file, or a rig file whose character is read. Where `folder` has a rig file of this
        name already, what stands in it by hand and as options is kept.
    folder : made where it is not there.
    controls, plain : in place of what the rig file says.
    rate : frames a second of the exercise clips.
    proof : whether the checks are run, for the sheet and for the result.
    progress : told each step's name as it begins; for the checks, "proving" and the check's name.
    today : the date on the sheet.

    Raises
    ------
    InstepError : of any kind that reading, measuring and building raise; OutputError where a file cannot be
        written. Nothing has been written then.
    """
    source, folder = Path(source), Path(folder)
    name = character_name(source)
    rig_file, built, model, sheet = (folder / f"{name}{end}" for end in (RIG_FILE, ".rig.json", ".glb", ".html"))
    told_in = source if is_rig_file(source) else rig_file
    kept = told_in.exists() or is_rig_file(source)
    progress("reading")
    if is_rig_file(source):
        before = read_rig_file(source)
        origin = character_path(before, source)
        character = read_described_character(before, source)
    else:
        before = read_rig_file(rig_file) if kept else RigDescription(character=source.name)
        origin = source
        character = read_character(source)
    refuse_own_source(model, origin)
    same_place = (
        kept and told_in.parent.resolve() == folder.resolve() and _same(character_path(before, told_in), origin)
    )
    description = before.model_copy(
        update={
            "character": before.character if same_place else _seen_from(origin, folder),
            "controls": controls or before.controls,
            "plain": before.plain if plain is None else plain,
            "tuned": {},
            "reached": {},
        }
    )
    with _written_together(folder, (rig_file, built, model, sheet)) as (
        rig_draft,
        built_draft,
        model_draft,
        sheet_draft,
    ):
        progress("measuring")
        measurement = measure_described(character, description, told_in)
        description = completed_description(description, measurement)
        progress("building")
        rough = build_described_rig(character, measurement, description, told_in)
        progress("solving")
        fits = solve_hold(rough)
        tuned = {leg: TunedLeg(hold=fit.hold) for leg, fit in fits.items()}
        again = [number for number in solved_before(before) if number != "hold"]
        # where the hold that was solved is the one that it began with, the rig is the same rig
        same = not again and all(plan.hold == tuned[plan.name].hold for plan in rough.plan.legs if plan.name in tuned)
        description = description.model_copy(update={"tuned": tuned})
        rig = (
            replace(rough, description=description)
            if same
            else build_described_rig(character, measurement, description, told_in)
        )
        if again:  # what `instep tune` has solved is solved for this model anew
            description = with_solved(description, tune_rig(rig, again))
            measurement = with_edges(measurement, description)
            rig = build_described_rig(character, measurement, description, told_in)
        text = rig_file_text(description, told_in if kept else None)
        write_whole(rig_draft, text.encode("utf-8"))
        shapes = control_shapes(rig)
        write_built(rig, built_draft, shapes)
        progress("exercising")
        made = exercises(rig, rate)
        clips = [BakedClip(exercise.name, exercise.times_s, rig.evaluate(exercise.values)) for exercise in made]
        write_clips(origin, model_draft, clips)
        report = run_checks(rig, progress=lambda check: progress(f"proving {check}")) if proof else None
        progress("drawing")
        write_sheet(sheet_content(rig, rig_file.name, today or date.today(), report, shapes), sheet_draft)
    return JobResult(rig, rig_file, model, sheet, built, kept, fits, made, _moved(before, measurement), report)


def write_proof_page(
    rig: Rig, report: Report, path: Path, rig_file_name: str | None = None, today: date | None = None
) -> None:
    """Write a rig's sheet with what the checks found on it, whole or not at all.

    `rig_file_name` is what stands on the page: without it, the name that belongs to the page's own.

    Raises CharacterError where there is no mesh to draw, and OutputError where `path` cannot be written.
    """
    name = f"{path.stem}{RIG_FILE}" if rig_file_name is None else rig_file_name
    write_sheet(sheet_content(rig, name, today or date.today(), report), path)


def completed_description(description: RigDescription, measurement: Measurement) -> RigDescription:
    """With every leg's options to see, and the landmarks as they were measured now."""
    options = {leg.name: description.options.get(leg.name, LegOptions()) for leg in measurement.legs}
    decimals = max(-math.floor(math.log10(LANDMARK_ROUNDING * measurement.leg_length)), 0)
    measured = {
        f"{leg.name}.{place}": tuple(round(float(value), decimals) + 0.0 for value in landmark.position)
        for leg in measurement.legs
        for place, landmark in leg.landmarks.items()
        if not landmark.by_hand
    }
    return description.model_copy(update={"options": description.options | options, "measured": measured})


def _moved(before: RigDescription, measurement: Measurement) -> tuple[MovedLandmark, ...]:
    """Landmarks further from where the rig file had them than LANDMARK_MOVED, the furthest first."""
    found = []
    for leg in measurement.legs:
        for place, landmark in leg.landmarks.items():
            name = f"{leg.name}.{place}"
            if name in before.measured and not landmark.by_hand:
                distance = float(np.linalg.norm(landmark.position - np.array(before.measured[name])))
                if distance > LANDMARK_MOVED * measurement.leg_length:
                    found.append(MovedLandmark(name, distance))
    return tuple(sorted(found, key=lambda landmark: -landmark.distance))


def _same(one: Path, other: Path) -> bool:
    return one.exists() and other.exists() and one.samefile(other)


def _seen_from(path: Path, folder: Path) -> str:
    """The way to a file from a folder, with slashes; its whole path where they are on different drives."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def refuse_own_source(target: Path, origin: Path) -> None:
    """Raise OutputError where a result would be written over the character's own file."""
    if _same(target, origin):
        raise OutputError(
            "the result would take the place of the character's own file",
            where=str(target),
            expected="another name or another folder",
            cure="Choose another place with -o",
        )


@contextmanager
def _written_together(folder: Path, targets: Sequence[Path]) -> Iterator[tuple[Path, ...]]:
    """Yields a draft beside each target; moves all into place at the end, or leaves nothing at all.

    Drafts lie in the same folder as their targets, so that addresses inside them are right and moving is one step.
    """
    made = _make_folder(folder)
    drafts = tuple(folder / f".{os.getpid()}.draft.{target.name}" for target in targets)
    try:
        for target in targets:
            if target.is_dir():
                raise _cannot_write(target, "a folder has this name")
        try:
            drafts[0].touch()  # before the long work, not after it
        except OSError as error:
            raise _cannot_write(targets[0], error.strerror) from error
        yield drafts
        for draft, target in zip(drafts, targets, strict=True):
            try:
                draft.replace(target)
            except OSError as error:
                raise _cannot_write(target, error.strerror) from error
    except BaseException as error:
        for draft in drafts:
            with suppress(OSError):  # most were never made; the error that is under way is the one to tell
                draft.unlink()
        for new in made:
            with suppress(OSError):
                new.rmdir()
        if isinstance(error, OutputError):
            raise _of_target(error, drafts, targets) from error
        raise


def _of_target(error: OutputError, drafts: Sequence[Path], targets: Sequence[Path]) -> OutputError:
    """The same error, of the file that was asked for in place of its draft."""
    names = {str(draft): str(target) for draft, target in zip(drafts, targets, strict=True)}
    return OutputError(error.seen, where=names.get(error.where, error.where), expected=error.expected, cure=error.cure)


def _make_folder(folder: Path) -> list[Path]:
    """Make a folder and those above it; returns those that are new, innermost first. OutputError where it cannot be."""
    new: list[Path] = []
    above = folder
    while not above.exists() and above != above.parent:
        new.append(above)
        above = above.parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        for path in new:
            with suppress(OSError):
                path.rmdir()
        raise OutputError(
            f"this folder cannot be made ({error.strerror})",
            where=str(folder),
            expected="a place that may be written to",
            cure="Choose another place with -o",
        ) from error
    return new


def _cannot_write(target: Path, why: str | None) -> OutputError:
    return OutputError(
        f"it cannot be written ({why})",
        where=str(target),
        expected="a folder that may be written to",
        cure="Choose another place with -o",
    )
