"""Test vectors: channels and the joints that they must give, so that a team can prove its port of a rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import BoolArray, FloatArray
from instep.rig import Rig
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.emitters.runtime_form import PER_JOINT
from instep.rig.plan import LegPlan

SHIFT_REACH: Final = 0.4
"""Fraction of leg length: how far random vectors move a control. Past the leg's reach now and then, not always."""

STEEP: Final = 5e-6
"""Fraction of leg length, or plain for turns. A pose is steep where a change of its channels by one unit in the last
place of single precision moves a joint by more."""

LAST_PLACE: Final = 2.0**-23
"""Relative: what a channel is changed by. Rounding it to single precision is half of that; the other half stands for
rounding inside."""


@dataclass(frozen=True, slots=True, eq=False)
class Vectors:
    """(N, C) channels, (N, O) outputs of the rig's joint program, and (N,) whether a pose is steep.

    A steep pose stands at a place where the rig's function turns over within the rounding of a single-precision
    channel (a goal straight behind the hip to 1e-9, a knee's mark on the leg's own line). It is a test of double
    precision only.
    """

    channels: FloatArray
    joints: FloatArray
    steep: BoolArray


def make_vectors(rig: Rig, count: int, seed: int = 0) -> Vectors:
    """At least `count` vectors: rest, each channel at its ends, singular legs, and random poses for the rest."""
    rng = np.random.default_rng(seed)
    fixed = np.concatenate([rig.defaults[None], _ends(rig), _singular(rig)])
    channels = np.concatenate([fixed, _random(rig, max(count - len(fixed), 0), rng)])
    evaluate = compile_numpy(rig.joints_program)
    joints = evaluate(channels.T).T
    return Vectors(channels, joints, _steep(rig, channels, joints, rng))


def write_vectors(vectors: Vectors) -> str:
    """Plain text: a line ``poses channels outputs``, then for each pose whether it is steep (1 or 0), its channels and
    its outputs, each number to the last bit."""
    lines = [f"{len(vectors.channels)} {vectors.channels.shape[1]} {vectors.joints.shape[1]}"]
    for steep, *rows in zip(vectors.steep, vectors.channels, vectors.joints, strict=True):
        lines += [str(int(steep)), *(" ".join(repr(float(each)) for each in row) for row in rows)]
    return "\n".join(lines) + "\n"


def _random(rig: Rig, count: int, rng: np.random.Generator) -> FloatArray:
    low, high = (np.array([getattr(channel, end) for channel in rig.channels]) for end in ("low", "high"))
    lengths = np.array([channel.unit == "length" for channel in rig.channels])
    reach = SHIFT_REACH * rig.plan.unit
    low, high = np.where(lengths, np.maximum(low, -reach), low), np.where(lengths, np.minimum(high, reach), high)
    values = rng.uniform(low, high, (count, len(low)))
    # In every second pose most channels rest, as on an animator's desk.
    rests = rng.random(values.shape) < np.where(np.arange(count) % 2, 0.8, 0.0)[:, None]
    return np.where(rests, rig.defaults, values)


def _ends(rig: Rig) -> FloatArray:
    rows = np.tile(rig.defaults, (2 * len(rig.channels), 1))
    for number, channel in enumerate(rig.channels):
        rows[2 * number, number] = channel.low
        rows[2 * number + 1, number] = channel.high
    return rows


def _singular(rig: Rig) -> FloatArray:
    """Legs straight, at the end of their reach and beyond, folded, with the goal on the hip and behind it."""
    rows = [rig.defaults]
    for leg in rig.plan.legs:
        hip, knee, ankle = (np.array(list(point), dtype=np.float64) for point in (leg.hip, leg.knee, leg.ankle))
        line = (ankle - hip) / np.linalg.norm(ankle - hip)
        whole = float(np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee))
        bend = np.array(list(leg.bend), dtype=np.float64)
        goals = [hip + line * (whole * share) for share in (1.0, 1 - 1e-9, 1 + 1e-9, 1.3, 3.0, 0.5, 0.05, 1e-3, 0.0)]
        goals += [hip - line * (whole * share) for share in (1e-9, 1e-3, 0.5)]
        goals += [hip + bend * (whole * share) for share in (1e-6, 1e-3, 0.7, 1.0)]
        rows += [_moved(rig, leg, "foot", goal - ankle) for goal in goals]
        ahead = knee + 0.5 * rig.plan.unit * bend
        rows += [_moved(rig, leg, "knee", mark - ahead) for mark in (hip, ankle, hip - bend * whole)]
    return np.array(rows)


def _moved(rig: Rig, leg: LegPlan, control: str, shift: FloatArray) -> FloatArray:
    values = rig.defaults.copy()
    for number, channel in enumerate(rig.channels):
        for axis, quantity in enumerate(("across", "up", "along")):
            if channel.name == f"{leg.name}.{control}.{quantity}":
                values[number] = shift[axis] * (leg.side if axis == 0 else 1.0)
    return values


def _steep(rig: Rig, channels: FloatArray, joints: FloatArray, rng: np.random.Generator) -> BoolArray:
    """Whether any of eight changes of the channels in their last place moves an output by more than STEEP."""
    evaluate = compile_numpy(rig.joints_program)
    unit = output_units(rig, joints)
    widest = np.array([max(abs(channel.low), abs(channel.high)) for channel in rig.channels])
    lengths = np.array([channel.unit == "length" for channel in rig.channels])
    size = np.maximum(np.abs(channels), np.where(lengths, rig.plan.unit, np.minimum(widest, 90.0)))
    worst = np.zeros(len(channels))
    for _ in range(8):
        near = channels + size * LAST_PLACE * rng.uniform(-1.0, 1.0, channels.shape)
        worst = np.maximum(worst, (np.abs(evaluate(near.T).T - joints) / unit).max(axis=1))
    return worst > STEEP


def output_units(rig: Rig, joints: FloatArray) -> FloatArray:
    """(N, O) what a difference of each output is measured by: the leg's length in that pose for places, 1 for turns,
    the scale for itself."""
    scale = np.abs(joints[:, :1])
    units = np.where((np.arange(joints.shape[1]) - 1) % PER_JOINT > 3, scale * rig.plan.unit, 1.0)
    units[:, 0] = scale[:, 0]
    return units
