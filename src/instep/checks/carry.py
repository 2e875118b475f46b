"""Carry: the root's move, turn and scale carry every joint by exactly that. Finds double transforms."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Finding, Measure, bounded, conclude
from instep.checks.rest import turn_between
from instep.checks.search import find_worst, span
from instep.checks.subject import Subject
from instep.tolerances import CARRY

NAME = "carry"
CLAIM = "Moving, turning and scaling the root carries every joint by exactly that, whatever the pose."


def check_carry(subject: Subject) -> Finding:
    """Compare poses under a moved root with the same poses carried by a transform worked out apart from the rig.

    The transform is x -> s R (x - p) + p + t with R = R_yaw R_pitch R_lean about the body's axes (scipy) and p on
    the floor under the pelvis. Feet that stay in the world (`follow_world`) are not carried, so that stays 0.
    """
    spans = _spans(subject)
    worst = find_worst(
        subject, lambda rows: _error(subject, rows).max(axis=1), spans, words=(NAME,), settled=1e-2 * CARRY
    )
    by_joint = _error(subject, worst.row[None])[0]
    joint = int(by_joint.argmax())
    measure = Measure(
        "departure from where the root carries it", bounded(worst.figure), CARRY, "of leg length",
        length=subject.unit, pose=subject.pose(worst.row), place=subject.joint(joint),
    )  # fmt: skip
    rest = subject.put(subject.rest(), {"root.scale": 2.0})
    twice = _error(subject, rest)[0, joint] > CARRY
    cause = (
        f"The joint {subject.joint(joint).name} takes the root's {'scale' if twice else 'move or turn'} twice, or "
        "not at "
        "all: it follows something that the root does not carry, or carries twice."
    )
    cures = (Cure("Let the joint follow one driver only, under the root; build the rig anew from its rig file"),)
    return conclude(NAME, CLAIM, [measure], cause=cause, cures=cures)


def _spans(subject: Subject) -> dict[str, tuple[float, float]]:
    names = [channel.name for channel in subject.rig.channels if channel.quantity != "follow_world"]
    spans = span(subject, names)
    for name in ("root.across", "root.up", "root.along"):
        if name in spans:
            channel = subject.channel(name)
            spans[name] = (max(channel.low, -3.0 * subject.unit), min(channel.high, 3.0 * subject.unit))
    return spans


def _error(subject: Subject, rows: FloatArray) -> FloatArray:
    """(N, J) by how much of the leg, or by what turn in radians, each joint misses where the root should carry it."""
    roots = [name for name in subject.numbers if name.rpartition(".")[0] == "root"]
    still = subject.put(rows, {name: subject.channel(name).default for name in roots})
    here, there = subject.evaluate(still), subject.evaluate(rows)
    turn_before, shift_before, scale_before = _root(subject, still)
    turn_after, shift_after, scale_after = _root(subject, rows)
    # From the one to the other, so that a root that is pinned elsewhere than at rest is not asked for twice.
    turn = turn_after @ np.swapaxes(turn_before, 1, 2)
    scale = scale_after / scale_before
    wanted = np.einsum("nab,njb->nja", turn, here.position - shift_before[:, None]) * scale[:, None, None]
    wanted += shift_after[:, None]
    place = np.linalg.norm(there.position - wanted, axis=2) / (subject.unit * scale_after[:, None])
    q_turn = Rotation.from_matrix(turn)
    count, joints = here.rotation.shape[:2]
    flat = Rotation.from_quat(here.rotation.reshape(-1, 4), scalar_first=True)
    carried = (q_turn[np.repeat(np.arange(count), joints)] * flat).as_quat(scalar_first=True)
    angle = turn_between(carried.reshape(count, joints, 4), there.rotation)
    grown = np.abs(there.scale / (here.scale * scale) - 1.0)[:, None]
    return np.asarray(np.maximum(np.maximum(place, angle), grown), dtype=np.float64)


def _root(subject: Subject, rows: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """By row (N,): what the root's channels say, as a turn (N, 3, 3), where the world's origin goes (N, 3), a scale."""
    pinned = subject.rig.description.by_hand.pinned

    def column(quantity: str, default: float = 0.0) -> FloatArray:
        name = f"root.{quantity}"
        if subject.has(name):
            return np.asarray(rows[:, subject.numbers[name]], dtype=np.float64)
        return np.full(len(rows), pinned.get(name, default))

    R = subject.axes
    # A positive lean brings the left side down: against the right-hand rule about the forward direction.
    angles = np.stack([column("yaw"), column("pitch"), -column("lean")], axis=1)
    turn = R @ Rotation.from_euler("YXZ", angles, degrees=True).as_matrix() @ R.T
    move = np.stack([column("across"), column("up"), column("along")], axis=1) @ R.T
    scale = column("scale", 1.0)
    p_body = R.T @ subject.rig.character.skeleton.positions[subject.rig.measurement.pelvis]
    p_body[1] = subject.rig.measurement.floor
    pivot = R @ p_body
    return turn, pivot + move - (turn @ pivot) * scale[:, None], scale
