"""Rebuild: the description written and read again gives the same rig, and what was set by hand is in it."""

from __future__ import annotations

import tempfile
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from instep.checks.model import Cure, Finding, Measure, bounded, conclude
from instep.checks.subject import Subject
from instep.errors import InstepError
from instep.rig.description import RigDescription
from instep.rig.file import read_rig_file, write_rig_file
from instep.rig.plan import LegPlan, RigPlan
from instep.rig.planning import plan_rig
from instep.tolerances import REST

NAME = "rebuild"
CLAIM = "Written to its file and read again, the description gives the same rig, with all that was set by hand."


def check_rebuild(subject: Subject) -> Finding:
    """Write the description, read it, plan from both; then look for each hand-made value in the rig.

    A rig is a pure function of its plan, controls, ranges and pins, so that equal ones give equal rigs.
    """
    rig = subject.rig
    description = rig.description
    again, fault = _round_trip(description)
    lost = [] if again is None else _differences(description, again)
    apart, where = 0.0, ""
    if again is not None:
        one = plan_rig(rig.character, rig.measurement, description)
        other = plan_rig(rig.character, rig.measurement, again)
        apart, where = plan_distance(one, other, subject.unit)
    ignored = _ignored(subject)
    measures = [
        Measure("entries lost on the way through the file", float(len(lost) + (again is None)), 0.0, "entries"),
        Measure("difference of the rig built from it", bounded(apart), REST, "of leg length", length=subject.unit),
        Measure("values set by hand that the rig does not have", float(len(ignored)), 0.0, "values"),
    ]
    hand = description.by_hand
    kept = len(hand.landmarks) + len(hand.ranges) + len(hand.pinned)
    kept += sum(value is not None for tuned in hand.tuned.values() for value in tuned.model_dump().values())
    cause = ""
    if fault:
        cause = f"The description cannot be read back: {fault}"
    elif lost:
        cause = f"{lost[0]} is not what it was after it was written and read."
    elif where:
        cause = f"{where} differs in the rig that is built from the file."
    if ignored:
        cause = f"{ignored[0]} is set by hand, but the rig was built without it: it is older than its rig file."
    cures = [Cure("Build the rig anew from its rig file: instep rig NAME.rig.toml")]
    return conclude(NAME, CLAIM, measures, notes=[f"{kept} values are set by hand."], cause=cause, cures=cures)


def _round_trip(description: RigDescription) -> tuple[RigDescription | None, str]:
    with tempfile.TemporaryDirectory(prefix="instep-") as folder:
        path = Path(folder) / "again.rig.toml"
        try:
            write_rig_file(description, path)
            return read_rig_file(path), ""
        except InstepError as error:
            return None, str(error)


def _differences(one: RigDescription, other: RigDescription) -> list[str]:
    a, b = _flat(one.model_dump(exclude_none=True)), _flat(other.model_dump(exclude_none=True))
    return [name for name in sorted({*a, *b}) if a.get(name) != b.get(name)]


def _flat(value: Any, at: str = "") -> dict[str, Any]:
    if not isinstance(value, dict):
        return {at: value}
    return {
        name: entry for key, inner in value.items() for name, entry in _flat(inner, f"{at}.{key}".strip(".")).items()
    }


def plan_distance(one: RigPlan, other: RigPlan, unit: float) -> tuple[float, str]:
    """The greatest difference of two plans, lengths in leg lengths, and where it is; infinite for one in kind."""
    worst, where = 0.0, ""

    def compare(a: Any, b: Any, at: str) -> None:
        nonlocal worst, where
        if isinstance(a, (str, bool)) or a is None:
            off = 0.0 if a == b else np.inf
        elif isinstance(a, (LegPlan, RigPlan)) or hasattr(a, "__dataclass_fields__"):
            for field in fields(a):
                compare(getattr(a, field.name), getattr(b, field.name), f"{at}.{field.name}".strip("."))
            return
        elif isinstance(a, tuple):
            if len(a) != len(b):
                off = np.inf
            else:
                for number, (inner, its) in enumerate(zip(a, b, strict=True)):
                    compare(inner, its, getattr(inner, "name", f"{at}.{number}"))
                return
        else:
            x, y = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
            off = np.inf if x.shape != y.shape else float(np.abs(x - y).max(initial=0.0)) / max(unit, 1e-300)
        if off > worst:
            worst, where = off, at

    compare(one, other, "")
    return worst, where


def _ignored(subject: Subject) -> list[str]:
    """Hand-made values that are in the description but not in the rig."""
    rig = subject.rig
    hand = rig.description.by_hand
    missing: list[str] = []
    legs = {leg.name: leg for leg in rig.measurement.legs}
    plans = {plan.name: plan for plan in rig.plan.legs}
    for name, wanted in hand.landmarks.items():
        leg, _, mark = name.rpartition(".")
        landmark = legs[leg].landmarks.get(mark) if leg in legs else None
        if landmark is None or np.linalg.norm(landmark.position - np.array(wanted)) > 1e-6 * subject.unit:
            missing.append(name)
    for leg, tuned in hand.tuned.items():
        for key, value in tuned.model_dump(exclude_none=True).items():
            if leg not in plans or abs(getattr(plans[leg], key) - value) > 1e-12 * max(abs(value), 1.0):
                missing.append(f"{leg}.{key}")
    for name, ends in hand.ranges.items():
        if name in subject.numbers and (subject.channel(name).low, subject.channel(name).high) != tuple(ends):
            missing.append(f"the range of {name}")
    missing += [f"the pin of {name}" for name in hand.pinned if name in subject.numbers]
    return missing
