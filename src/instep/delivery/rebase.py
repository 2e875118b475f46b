"""The model has changed: its rig file is carried over to it, and told is what that means, landmark by landmark."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from instep.character import Character
from instep.character.arrays import FloatArray
from instep.checks import Report, run_checks
from instep.delivery.job import _seen_from as seen_from
from instep.delivery.job import completed_description as completed
from instep.errors import InstepError, RigFileError
from instep.formats import read_character, write_whole
from instep.landmarks import Measurement
from instep.rig import Rig, RigDescription
from instep.rig.file import (
    build_described_rig,
    character_path,
    measure_described,
    read_rig_file,
    rig_file_text,
)
from instep.rig.tuning.edges import with_edges
from instep.rig.tuning.tune import solved_before, tune_rig, with_solved
from instep.tolerances import FAR_FROM_MESH, LANDMARK_MOVED

ON_SOLE: Final = ("heel", "tip", "inner", "outer")


@dataclass(frozen=True, slots=True)
class LandmarkMove:
    """A landmark on the old model and on the new one; lengths in the file's unit.

    Attributes
    ----------
    name : "left.heel".
    by_hand : set by a person, so that it stays wherever the model goes.
    distance : how far it is from where it was; None where one of the two models has not got it.
    state : "stays", "moved", "came" or "went".
    """

    name: str
    by_hand: bool
    distance: float | None
    state: str


@dataclass(frozen=True, slots=True)
class StrayMark:
    """A place set by hand that lies far from the new mesh: how far, and how far it lay from the old one (None where
    that is not known); in the file's unit."""

    name: str
    distance: float
    before: float | None


@dataclass(frozen=True, slots=True)
class VerdictChange:
    """A check whose verdict is not what it was."""

    check: str
    before: str
    after: str
    figure: float
    allowance: float | None
    unit: str
    cause: str


@dataclass(frozen=True, eq=False)
class Rebased:
    """What a rebase came to.

    Attributes
    ----------
    rig : on the new model.
    rig_file : as written.
    old_missing : why the old model could not be looked at; "" where it could. Landmarks are then compared with what
        the rig file says was measured, joints and verdicts with nothing.
    landmarks : all of them, those that moved furthest first.
    joints_came, joints_went : names.
    joints_moved : joints of both models that stand elsewhere in the bind pose, with the distance, furthest first.
    strays : places set by hand that lie far from the new mesh.
    verdicts : checks that changed their verdict; `report` is that of the new rig, None where checks were not asked for.
    """

    rig: Rig
    rig_file: Path
    old_missing: str
    landmarks: tuple[LandmarkMove, ...]
    joints_came: tuple[str, ...]
    joints_went: tuple[str, ...]
    joints_moved: tuple[tuple[str, float], ...]
    strays: tuple[StrayMark, ...]
    verdicts: tuple[VerdictChange, ...]
    report: Report | None


@dataclass(frozen=True, eq=False)
class _Old:
    character: Character | None
    rig: Rig | None
    missing: str


def rebase(path: Path | str, model: Path | str, *, checks: bool = True, seed: int = 0, write: bool = True) -> Rebased:
    """Carry the rig file at `path` over to the changed `model`, and write it, whole or not at all.

    What was set by hand is kept as it is; the rest is measured anew, and what had been solved is solved anew.

    Raises InstepError of the kinds that reading, measuring and building raise: RigFileError where the file names a
    joint, a leg or a space that the new model has not got. Nothing has been written then.
    """
    path, model = Path(path), Path(model)
    before = read_rig_file(path)
    character = read_character(model)
    old = _look_at_old(before, path, model)
    moved_to = before.model_copy(update={"character": seen_from(model, path.parent), "tuned": {}, "reached": {}})
    measurement = measure_described(character, moved_to, path)
    description = completed(moved_to, measurement)
    rig = _solved(character, measurement, description, before, path)
    report = run_checks(rig, seed=seed) if checks else None
    verdicts: tuple[VerdictChange, ...] = ()
    if report is not None and old.rig is not None:
        verdicts = _changed(run_checks(old.rig, seed=seed), report)
    result = Rebased(
        rig=rig,
        rig_file=path,
        old_missing=old.missing,
        landmarks=_landmarks(before, old.rig, measurement),
        joints_came=_apart(character, old.character),
        joints_went=() if old.character is None else _apart(old.character, character),
        joints_moved=_joints_moved(old.character, character, measurement.leg_length),
        strays=_strays(before, old.character, character, measurement.leg_length),
        verdicts=verdicts,
        report=report,
    )
    text = rig_file_text(rig.description, path)
    if write:
        write_whole(path, text.encode("utf-8"))
    return result


def _look_at_old(description: RigDescription, path: Path, model: Path) -> _Old:
    """The rig on the model that the file names, as far as that is still there and can be rigged."""
    source = character_path(description, path)
    if not source.is_file():
        return _Old(None, None, f"{description.character} is not there any more")
    if source.samefile(model):
        return _Old(None, None, f"{description.character} was changed in its place")
    character = None
    try:
        character = read_character(source)
        return _Old(
            character,
            build_described_rig(character, measure_described(character, description, path), description, path),
            "",
        )
    except InstepError as error:  # told in the report: that the old model is at fault shall not keep it in use
        return _Old(character, None, str(error).rstrip("."))


def _solved(
    character: Character, measurement: Measurement, description: RigDescription, before: RigDescription, path: Path
) -> Rig:
    """The rig on the new model, with what had been solved solved anew."""
    rig = build_described_rig(character, measurement, description, path)
    numbers = solved_before(before)
    if not numbers or character.mesh is None:
        return rig
    description = with_solved(description, tune_rig(rig, numbers))
    return build_described_rig(character, with_edges(measurement, description), description, path)


def _landmarks(before: RigDescription, old: Rig | None, new: Measurement) -> tuple[LandmarkMove, ...]:
    """Each landmark's move. On the old side what is on the old model, else what the rig file says of it."""
    was: dict[str, FloatArray] = {name: np.array(point) for name, point in before.measured.items()}
    was |= {name: np.array(point) for name, point in before.by_hand.landmarks.items()}
    if old is not None:
        untuned = _places(old.measurement)
        # Edges are compared as measured; where tuning has put their pivots follows from that.
        was |= {name: point for name, point in untuned.items() if name not in was}
    now = _places(new)
    by_hand = {f"{leg.name}.{name}" for leg in new.legs for name, mark in leg.landmarks.items() if mark.by_hand}
    found = []
    for name in {**now, **was}:
        if name not in was or name not in now:
            found.append(LandmarkMove(name, name in by_hand, None, "came" if name in now else "went"))
            continue
        distance = float(np.linalg.norm(now[name] - was[name]))
        moved = distance > LANDMARK_MOVED * new.leg_length
        found.append(LandmarkMove(name, name in by_hand, distance, "moved" if moved else "stays"))
    return tuple(sorted(found, key=lambda mark: -np.inf if mark.distance is None else -mark.distance))


def _places(measurement: Measurement) -> dict[str, FloatArray]:
    return {
        f"{leg.name}.{name}": np.asarray(mark.position, dtype=np.float64)
        for leg in measurement.legs
        for name, mark in leg.landmarks.items()
    }


def _apart(one: Character, other: Character | None) -> tuple[str, ...]:
    """Joints of one model that the other has not got."""
    if other is None:
        return ()
    there = set(other.skeleton.names)
    return tuple(name for name in one.skeleton.names if name not in there)


def _joints_moved(old: Character | None, new: Character, leg_length: float) -> tuple[tuple[str, float], ...]:
    if old is None:
        return ()
    was = dict(zip(old.skeleton.names, old.skeleton.positions, strict=True))
    moves = [
        (name, float(np.linalg.norm(place - was[name])))
        for name, place in zip(new.skeleton.names, new.skeleton.positions, strict=True)
        if name in was
    ]
    return tuple(sorted((m for m in moves if m[1] > LANDMARK_MOVED * leg_length), key=lambda move: -move[1]))


def _strays(
    description: RigDescription, old: Character | None, new: Character, leg_length: float
) -> tuple[StrayMark, ...]:
    """Places set by hand that lie further from the new mesh than they may: a place on the sole lies on the mesh, a
    joint within it, about as far from its skin as it did before."""
    hand = description.by_hand.landmarks
    if not hand or new.mesh is None:
        return ()
    now = cKDTree(new.mesh.positions)
    was = None if old is None or old.mesh is None else cKDTree(old.mesh.positions)
    found = []
    for name, point in hand.items():
        distance = float(now.query(point)[0])
        before = None if was is None else float(was.query(point)[0])
        # A joint's distance from its skin is no fault; without the old model only a whole thigh's radius tells.
        usual = 0.0 if name.rpartition(".")[2] in ON_SOLE else 0.15 * leg_length
        if distance - (usual if before is None else before) > FAR_FROM_MESH * leg_length:
            found.append(StrayMark(name, distance, before))
    return tuple(found)


def _changed(before: Report, after: Report) -> tuple[VerdictChange, ...]:
    was = {finding.check: finding.verdict for finding in before.findings}
    return tuple(
        VerdictChange(
            finding.check,
            was[finding.check],
            finding.verdict,
            finding.figure,
            finding.allowance,
            finding.unit,
            finding.cause,
        )
        for finding in after.findings
        if was[finding.check] != finding.verdict
    )


def refuse_unlike(path: Path, model: Path) -> None:
    """Raise RigFileError where the two arguments are in the wrong order."""
    if path.suffix.lower() in (".glb", ".gltf") and model.suffix.lower() == ".toml":
        raise RigFileError(
            "this is a model, not a rig file",
            where=str(path),
            expected="first the rig file, then the changed model",
            cure=f"Write: instep rebase {model} {path}",
        )
