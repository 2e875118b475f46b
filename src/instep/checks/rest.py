"""Rest: at its defaults the rig is the bind pose, and what only says how to move moves nothing."""

from __future__ import annotations

import numpy as np

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Finding, Measure, bounded, conclude
from instep.checks.subject import Subject
from instep.tolerances import REST

NAME = "rest"
CLAIM = "With every channel at rest the character stands in its bind pose, and moves and turns rest at zero."

MOVING = frozenset({"scale", "slide"})
"""Shares that move something by themselves; all others only say how other channels act."""


def check_rest(subject: Subject) -> Finding:
    """Compare the pose of the defaults with the bind pose, then with each idle share at the ends of its range."""
    poses = subject.evaluate(subject.rest())
    off = departure(subject, poses)
    at = int(off[0].argmax())
    at_rest = Measure(
        "departure from the bind pose", bounded(off[0, at]), REST, "of leg length", length=subject.unit,
        place=subject.joint(at),
    )  # fmt: skip
    off_zero = [channel for channel in subject.rig.channels if channel.unit != "share" and channel.default != 0.0]
    zero = Measure("moves and turns that do not rest at zero", float(len(off_zero)), 0.0, "channels")
    measures = [at_rest, zero]
    rows, names = _idle_rows(subject)
    if len(rows):
        # Against the rig's own rest pose: a rig that rests elsewhere is told of once, above.
        found = subject.evaluate(rows)
        apart = _apart(found, poses, subject.unit)
        worst, joint = np.unravel_index(int(apart.argmax()), apart.shape)
        measures.append(
            Measure(
                "move made at rest by a channel that only says how to move",
                bounded(apart[worst, joint]),
                REST,
                "of leg length",
                length=subject.unit,
                pose=subject.pose(rows[worst]),
                place=subject.joint(int(joint)),
            )
        )
    cause = ""
    if off_zero:
        cause = f"{off_zero[0].name} rests at {off_zero[0].default:g} instead of 0."
    elif not at_rest.holds:
        cause = f"The rig places the joint {subject.joint(at).name} off its bind position before anything is touched."
    elif not all(measure.holds for measure in measures):
        cause = f"{names[int(worst)]} moves joints at rest: what it blends with does not rest in the bind pose."
    cures = (Cure("Build the rig anew from its rig file: no rig that Instep builds rests elsewhere"),)
    return conclude(NAME, CLAIM, measures, cause=cause, cures=cures)


def departure(subject: Subject, poses: Poses) -> FloatArray:
    """(N, J) distance from the bind position in leg lengths, or the turn from the bind pose in radians, if larger."""
    place = np.linalg.norm(poses.position - subject.rig.character.skeleton.positions, axis=2) / subject.unit
    turn = 2.0 * np.linalg.norm(poses.rotation[..., 1:], axis=2)
    scale = np.abs(poses.scale - 1.0)[:, None]
    return np.asarray(np.maximum(np.maximum(place, turn), scale), dtype=np.float64)


def _apart(one: Poses, other: Poses, unit: float) -> FloatArray:
    """(N, J) how far two sets of poses differ, as `departure`."""
    place = np.linalg.norm(one.position - other.position, axis=2) / unit
    return np.asarray(np.maximum(place, turn_between(one.rotation, other.rotation)), dtype=np.float64)


def turn_between(one: FloatArray, other: FloatArray) -> FloatArray:
    """(...) angles in radians between unit quaternions (..., 4), exact for small angles."""
    sign = np.where((one * other).sum(axis=-1, keepdims=True) < 0, -1.0, 1.0)
    half = 0.5 * np.linalg.norm(one - sign * other, axis=-1)
    return np.asarray(4.0 * np.arcsin(np.minimum(half, 1.0)), dtype=np.float64)


def _idle_rows(subject: Subject) -> tuple[FloatArray, list[str]]:
    rows, names = [], []
    for number, channel in enumerate(subject.rig.channels):
        if channel.unit == "share" and channel.quantity not in MOVING:
            for end in (channel.low, channel.high):
                if end != channel.default:
                    row = subject.rest()[0]
                    row[number] = end
                    rows.append(row)
                    names.append(channel.name)
    return np.array(rows).reshape(-1, len(subject.rig.channels)), names
