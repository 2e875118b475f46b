"""Influence: which channel moves which joint; channels that move nothing, or the same as another."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Finding, Measure, conclude
from instep.checks.search import span, spread
from instep.checks.subject import Subject

NAME = "influence"
CLAIM = "Every channel moves something, no two do the same over their range, and every joint is moved."

POSES: Final = 16
SILENT: Final = 1e-8
"""Of the leg, over a channel's whole range. What moves no driver by more moves none: differences leave 1e-10."""

STEP: Final = 1e-5
"""Share of a channel's range: of central differences. Rounding then leaves 1e-10 of a slope."""

ALIKE: Final = 1e-6
"""Share: of slopes that differ by less in direction two channels do the same; differences leave 1e-9."""


def check_influence(subject: Subject) -> Finding:
    """Read the table off the program's data flow, and hold slopes at rest and over the range against it."""
    rig = subject.rig
    names = [channel.name for channel in rig.channels]
    slopes = np.concatenate([_slopes(subject, _poses(subject)), _slopes(subject, _posed_forward(subject))])
    at_rest = _slopes(subject, subject.rest())
    size = np.linalg.norm(slopes.reshape(-1, len(names)), axis=0)
    told = np.asarray(rig.influence.any(axis=0), dtype=np.bool_)
    still_ones = [
        name for name, moves, seen in zip(names, told.tolist(), size, strict=True) if not moves or seen <= SILENT
    ]
    marks = {f"{leg.name}.knee.{move}": leg.name for leg, _ in subject.legs for move in ("across", "up", "along")}
    # A mark is put in its place by three numbers, but a knee is aimed by a direction: that some of the three do the
    # same, or nothing, is no fault as long as one of them turns the knee.
    dead = [name for name in still_ones if name not in marks]
    for leg, _ in subject.legs:
        own = [name for name in names if marks.get(name) == leg.name]
        dead += own if own and all(name in still_ones for name in own) else []
    same = _twins(slopes, size)
    twins = [(a, b) for a, b in same if names[a] not in marks or marks[names[a]] != marks.get(names[b])]
    followed = np.unique(rig.plan.followers)
    still = [driver for driver in followed if not rig.influence[driver].any()]
    still_joints = [
        subject.joint(int(joint)).name for driver in still for joint in np.flatnonzero(rig.plan.followers == driver)
    ]
    twin_names = [f"{names[a]} and {names[b]}" for a, b in twins]
    free = _rank(slopes)
    measures = [
        Measure("channels that move nothing", float(len(dead)), 0.0, "channels"),
        Measure("channels that do the same as another", float(len(twins)), 0.0, "pairs"),
        Measure("joints that nothing moves", float(len(still_joints)), 0.0, "joints"),
        Measure("channels that no combination of others replaces", float(free), None, f"of {len(names)} channels"),
    ]
    along = [name for name in still_ones if name not in dead]
    along += [f"{names[a]} beside {names[b]}" for a, b in same if (a, b) not in same]
    notes = [f"{free} of {len(names)} channels are free of one another over their range."]
    if along:
        notes.append(
            f"A knee is aimed by a direction, its mark is put in a place: {_listed(along)} moves nothing more."
        )
    rest_twins = _twins(at_rest, np.linalg.norm(at_rest.reshape(-1, len(names)), axis=0))
    alike = [f"{names[a]} and {names[b]}" for a, b in rest_twins if (a, b) not in twins]
    if alike:
        notes.append("At the rest pose alone these do the same: " + _listed(alike) + ".")
    rest_size = np.linalg.norm(at_rest.reshape(-1, len(names)), axis=0)
    idle = [
        name
        for name, size_there in zip(names, rest_size, strict=True)
        if size_there <= SILENT and name not in still_ones
    ]
    if idle:
        notes.append("At the rest pose alone these move nothing: " + _listed(idle) + ".")
    cause, cures = "", []
    if dead:
        cause = (
            f"{_listed(dead)} {'reaches' if len(dead) == 1 else 'reach'} no joint: what the channel feeds was left out."
        )
        cures.append(Cure(f"Fix {dead[0]} under by_hand.pinned, so that nobody is offered it"))
    elif twins:
        cause = f"{_listed(twin_names)} move all joints alike wherever they stand."
        cures.append(Cure(f"Fix {names[twins[0][1]]} under by_hand.pinned, so that one of the two is left"))
    elif still_joints:
        cause = f"{_listed(still_joints)} follow nothing that a channel moves, not even the root."
        cures.append(Cure("Build the rig anew from its rig file: every joint then follows the root at least"))
    return conclude(NAME, CLAIM, measures, notes=notes, cause=cause, cures=cures)


def _listed(words: list[str], most: int = 8) -> str:
    shown = words[:most]
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(shown) + more


def _poses(subject: Subject) -> FloatArray:
    spans = span(subject, list(subject.numbers))
    for name, (low, high) in spans.items():
        channel = subject.channel(name)
        if channel.quantity == "scale":
            spans[name] = (max(low, 0.5), min(high, 2.0))
        elif channel.control == "root" and channel.unit == "length":
            spans[name] = (-subject.unit, subject.unit)
    return spread(subject, spans, POSES, subject.salt(NAME))


def _posed_forward(subject: Subject) -> FloatArray:
    """Rows in which every leg is bent within reach: what acts on a bent leg only is then seen to act."""
    settings = {f"{leg.name}.foot.up": 0.25 * subject.unit for leg, _ in subject.legs}
    rows = subject.put(subject.rest(4), settings)
    for leg, _ in subject.legs:
        rows = subject.put(
            rows,
            {f"{leg.name}.foot.roll": [-20.0, 20.0, 50.0, 80.0], f"{leg.name}.foot.bank": [20.0, -20.0, 10.0, -10.0]},
        )
    return rows


def _slopes(subject: Subject, rows: FloatArray) -> FloatArray:
    """(N, O, C) change of all outputs over the range of each channel: turns as they are, places in leg lengths."""
    channels = subject.rig.channels
    width = np.array([channel.high - channel.low for channel in channels])
    # Lengths are offered over many legs: a step of one leg's range keeps differences local.
    width = np.where([channel.unit == "length" for channel in channels], np.minimum(width, subject.unit), width)
    step = STEP * width
    probes = rows[:, None, None, :] + np.array([1.0, -1.0])[:, None, None] * np.diag(step)
    outputs = subject.rig.evaluate_outputs(probes.reshape(-1, len(channels)))
    table = outputs.T.reshape(len(rows), 2, len(channels), -1)
    slopes = (table[:, 0] - table[:, 1]) / (2.0 * STEP)
    drivers = slopes[..., 1:].reshape(len(rows), len(channels), -1, 7)
    drivers[..., 4:] /= subject.unit
    slopes[..., 1:] = drivers.reshape(len(rows), len(channels), -1)
    return np.asarray(np.swapaxes(slopes, 1, 2), dtype=np.float64)


def _twins(slopes: FloatArray, size: FloatArray) -> list[tuple[int, int]]:
    """Pairs of channels whose slopes are one another's multiple in every pose together."""
    flat = slopes.reshape(-1, slopes.shape[2])
    moving = np.flatnonzero(size > SILENT)
    unit = flat[:, moving] / size[moving]
    cosine = np.abs(unit.T @ unit)
    ones, others = np.nonzero(np.triu(1.0 - cosine < 0.5 * ALIKE**2 + 1e-12, 1))
    return [(int(moving[a]), int(moving[b])) for a, b in zip(ones, others, strict=True)]


def _rank(slopes: FloatArray) -> int:
    """Rank of all slopes together, each channel's brought to one size."""
    flat = slopes.reshape(-1, slopes.shape[2])
    size = np.linalg.norm(flat, axis=0)
    even = flat / np.where(size > SILENT, size, np.inf)
    values = np.linalg.eigvalsh(even.T @ even)
    return int((values > 1e-9).sum())
