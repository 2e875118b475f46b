"""One character of a cast: rigged, proved, drawn, and told in one small record that any process can read."""

from __future__ import annotations

import json
import math
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import numpy as np

from instep.character import BakedClip, Character
from instep.checks import run_checks
from instep.checks.model import Finding, Measure, Report
from instep.delivery.cast_recipe import CastRecipe, Member, content_key
from instep.delivery.cast_view import draw_feet
from instep.delivery.job import RIG_FILE, refuse_own_source
from instep.delivery.job import _seen_from as seen_from
from instep.delivery.job import completed_description as completed
from instep.delivery.lengths import Lengths, lengths_for, number
from instep.delivery.page import write_sheet
from instep.delivery.rig_content import sheet_content
from instep.errors import InstepError, OutputError
from instep.formats import read_character, write_clips, write_whole
from instep.landmarks import Measurement
from instep.motion import exercises
from instep.rig import Rig, RigDescription
from instep.rig.built import write_built
from instep.rig.file import build_described_rig, measure_described, read_rig_file, rig_file_text
from instep.rig.tuning.edges import with_edges
from instep.rig.tuning.tune import solved_before, tune_rig, with_solved

RECORD: Final = ".cast.json"
RECORD_VERSION: Final = 1

SHOWN: Final[Mapping[str, str]] = {
    "plant": "contacts drift",
    "floor": "sole off the floor",
    "reach": "knee's rate",
    "mirror": "sides differ",
}
"""Checks whose figure stands in a character's row, with its word there."""

_ONE_AT_A_TIME = threading.Lock()
"""The symbolic algebra that a rig is built with is not made for several threads."""


@dataclass(frozen=True, slots=True)
class CastTask:
    """What a process is told: a character, where its results go, the recipe, and the date on its sheet."""

    member: Member
    folder: Path
    recipe: CastRecipe
    today: date

    @property
    def place(self) -> Path:
        """The folder of this character's results."""
        return self.folder / self.member.name

    @property
    def stem(self) -> str:
        """The name that its files begin with."""
        return self.member.name.rpartition("/")[2]

    @property
    def rig_file(self) -> Path:
        """Its rig file."""
        return self.place / f"{self.stem}{RIG_FILE}"

    @property
    def record(self) -> Path:
        """Its record."""
        return self.place / f"{self.stem}{RECORD}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one character came out, in few bytes: "holds", "falls short" or "failed"."""

    name: str
    outcome: str


def rig_member(task: CastTask) -> Outcome:
    """Rig and prove one character and write its files and its record. Whatever goes wrong with it is told in the
    record, so that it stops no other; only where the record itself cannot be written is OutputError raised.
    """
    with _ONE_AT_A_TIME:
        try:
            record = _work(task)
        except InstepError as error:
            lasting = not isinstance(error, OutputError)
            record = failed(task, type(error).__name__, str(error), lasting=lasting)
        except Exception as error:  # one character's fault, or one of ours, is told in its row
            record = failed(task, type(error).__name__, f"a fault within Instep: {error}", lasting=False)
        write_record(task, record)
        return Outcome(task.member.name, record["outcome"])


def failed(task: CastTask, kind: str, message: str, *, lasting: bool) -> dict[str, Any]:
    """The record of a character that could not be rigged. Where the fault does not lie in its files (`lasting` is
    False) it has no key, so that it is tried again by the next run."""
    key = content_key(task.member.model, task.rig_file, task.recipe) if lasting else ""
    return _record(task, key, "failed", error={"kind": kind, "message": message})


def write_record(task: CastTask, record: dict[str, Any]) -> None:
    """Write a character's record. Raises OutputError."""
    make_place(task.place)
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1)
    write_whole(task.record, text.encode("utf-8"))


def make_place(folder: Path) -> None:
    """Make a folder for results; OutputError where that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"this folder cannot be made ({error.strerror})",
            where=str(folder),
            expected="a place that may be written to",
            cure="Choose another place with -o",
        ) from error


def _record(task: CastTask, key: str, outcome: str, **more: Any) -> dict[str, Any]:
    base: dict[str, Any] = {
        "version": RECORD_VERSION,
        "name": task.member.name,
        "model": seen_from(task.member.model, task.folder),
        "key": key,
        "outcome": outcome,
        "error": None,
        "facts": {},
        "legs": [],
        "figures": [],
        "verdicts": {},
        "short": [],
        "remarks": [],
        "files": [],
        "drawing": "",
    }
    return base | more


def _work(task: CastTask) -> dict[str, Any]:
    character = read_character(task.member.model)
    before = _description(task)
    measurement = measure_described(character, before.model_copy(update={"tuned": {}}), task.rig_file)
    rig, measurement = _rigged(task, character, measurement, before)
    report = run_checks(rig, seed=task.recipe.seed, only=task.recipe.checks)
    make_place(task.place)
    existing = task.rig_file if task.rig_file.is_file() else None
    text = rig_file_text(rig.description, existing)
    built = task.place / f"{task.stem}.rig.json"
    write_built(rig, built)
    files = [task.rig_file, built]
    if task.recipe.models:
        model = task.place / f"{task.stem}.glb"
        refuse_own_source(model, task.member.model)
        clips = [
            BakedClip(exercise.name, exercise.times_s, rig.evaluate(exercise.values))
            for exercise in exercises(rig, task.recipe.rate)
        ]
        write_clips(task.member.model, model, clips)
        files.append(model)
    if task.recipe.sheets:
        sheet = task.place / f"{task.stem}.html"
        write_sheet(sheet_content(rig, task.rig_file.name, task.today), sheet)
        files.append(sheet)
    drawing = draw_feet(rig) if character.mesh is not None else ""
    write_whole(task.rig_file, text.encode("utf-8"))
    return _told(task, rig, report, files, drawing)


def _description(task: CastTask) -> RigDescription:
    """What the character's own rig file says, or a new one, with the recipe's choices."""
    if task.rig_file.is_file():
        before = read_rig_file(task.rig_file)
    else:
        before = RigDescription(character=task.member.model.name)
    recipe = task.recipe
    return before.model_copy(
        update={
            "character": seen_from(task.member.model, task.place),
            "controls": recipe.controls or before.controls,
            "plain": before.plain if recipe.plain is None else recipe.plain,
        }
    )


def _rigged(
    task: CastTask, character: Character, measurement: Measurement, before: RigDescription
) -> tuple[Rig, Measurement]:
    """The rig, with its numbers solved: those of the recipe, and those that its rig file has had solved."""
    description = before.model_copy(update={"tuned": {}, "reached": {}})
    if task.recipe.options is not None:
        options = {leg.name: task.recipe.options for leg in measurement.legs}
        description = description.model_copy(update={"options": options | description.options})
    description = completed(description, measurement)
    rig = build_described_rig(character, measurement, description, task.rig_file)
    numbers = {*task.recipe.tune, *solved_before(before)}
    if not numbers or character.mesh is None:
        return rig, measurement
    description = with_solved(description, tune_rig(rig, numbers))
    measurement = with_edges(measurement, description)
    return build_described_rig(character, measurement, description, task.rig_file), measurement


def _told(task: CastTask, rig: Rig, report: Report, files: list[Path], drawing: str) -> dict[str, Any]:
    character, measurement = rig.character, rig.measurement
    points = character.skeleton.positions if character.mesh is None else character.mesh.positions
    height = float(np.ptp(points @ measurement.R_world_body[:, 1]))
    lengths = lengths_for(height)
    return _record(
        task,
        content_key(task.member.model, task.rig_file, task.recipe),
        "holds" if report.holds else "falls short",
        facts={
            "vertices": 0 if character.mesh is None else len(character.mesh),
            "joints": len(character.skeleton),
            "channels": len(rig.channels),
            "height": short(height),
            "height_text": f"{number(height, 2)} m" if lengths.unit == "mm" else lengths.text(height),
        },
        legs=[
            {
                "name": leg.name,
                "foot_length": short(leg.foot_length),
                "foot_text": lengths.text(leg.foot_length),
                "hold": short(plan.hold) if plan.has_toes else None,
            }
            for leg, plan in zip(measurement.legs, rig.plan.legs, strict=True)
        ],
        figures=[
            {"check": finding.check, "word": SHOWN[finding.check]} | _figure(finding, lengths)
            for finding in report.findings
            if finding.check in SHOWN and finding.verdict != "does not apply"
        ],
        verdicts={finding.check: finding.verdict for finding in report.findings},
        short=[_short_of(finding, lengths) for finding in report.findings if finding.verdict == "falls short"],
        remarks=[remark.rstrip(".") for remark in measurement.remarks],
        files=[seen_from(path, task.folder) for path in files],
        drawing=drawing,
    )


def _short_of(finding: Finding, lengths: Lengths) -> dict[str, Any]:
    return {
        "check": finding.check,
        "what": finding.what,
        "leg": finding.leg,
        "cause": finding.cause.rstrip("."),
        "cures": [cure.sentence.rstrip(".") for cure in finding.cures],
    } | _figure(finding, lengths)


def _figure(finding: Finding | Measure, lengths: Lengths) -> dict[str, Any]:
    return {
        "figure": short(finding.figure),
        "allowance": None if finding.allowance is None else short(finding.allowance),
        "unit": finding.unit,
        "text": figure_text(finding, lengths),
    }


def figure_text(finding: Finding | Measure, lengths: Lengths) -> str:
    """A figure against its allowance, as a person reads it: lengths of a foot or a leg in the file's own lengths."""
    if finding.length is not None:
        figure = _plain(finding.figure * finding.length * lengths.factor)
        unit = lengths.unit
        allowed = None if finding.allowance is None else finding.allowance * finding.length * lengths.factor
    else:
        figure, unit, allowed = _plain(finding.figure), finding.unit, finding.allowance
    unit = unit.replace("degrees per 1 % of leg length", "° for 1 % of the leg")
    if allowed is None:
        return f"{figure} {unit}"
    least = "at least " if finding.sense == "at least" else ""
    return f"{figure} of {least}{_plain(allowed)} {unit}"


def _plain(value: float) -> str:
    """Two figures, never by powers of ten: what is less than a hundred-thousandth is 0."""
    if abs(value) < 5e-5:
        return "0"
    decimals = int(np.clip(1 - math.floor(math.log10(abs(value))), 0, 5))
    return number(value, decimals)


def short(value: float) -> float:
    """Four figures: what lies below hangs on the machine, and results are the same whichever way they ran. What is
    rounding counts as 0."""
    return float(f"{value:.4g}") if abs(value) > 1e-8 else 0.0
