"""A walk on a made rig, keyed by channels: feet that stand exactly, and ways to spoil it."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray
from instep.motion.model import Motion
from instep.rig import Rig

CYCLE_S = 1.1
STANCE = 0.62
"""Share of a cycle that a foot bears: 62 % (Perry & Burnfield 2010)."""


def walk_values(
    rig: Rig, rate: float, seconds: float, *, stride: float = 0.9, climb: float = 0.0, in_place: bool = False
) -> FloatArray:
    """(N, C) channels of a walk: flat feet that stand still, swing with a lift, a pelvis that goes along.

    `stride` is in legs' lengths, `climb` the rise of the floor per length. Each foot strikes with its heel, rolls
    flat, and leaves over ball and tip. `in_place`: the floor moves instead.
    """
    unit = rig.plan.unit
    t = np.arange(round(seconds * rate) + 1) / rate
    values = np.tile(rig.defaults, (len(t), 1))
    speed = stride * unit / CYCLE_S
    go = speed * t
    named = {channel.name: number for number, channel in enumerate(rig.channels)}
    for leg, shift in (("left", 0.0), ("right", 0.5)):
        phase = t / CYCLE_S + shift
        cycle = np.floor(phase)
        u = phase - cycle
        # Where the foot stands: under the hip in the middle of its stance.
        at = (cycle - shift + 0.5 * STANCE) * CYCLE_S * speed
        s = np.clip((u - STANCE) / (1.0 - STANCE), 0.0, 1.0)
        step = s * s * s * (10.0 - 15.0 * s + 6.0 * s * s)
        along = at + step * stride * unit
        lift = 0.12 * unit * (4.0 * s * (1.0 - s)) ** 2
        strike = _bump(u, 0.0, 0.12, falling=True) + _bump(s, 0.7, 1.0, falling=False)
        off = _bump(u, 0.42, STANCE, falling=False) * (u < STANCE) + _bump(s, 0.0, 0.5, falling=True) * (u >= STANCE)
        values[:, named[f"{leg}.foot.along"]] = along - (go if in_place else 0.0)
        values[:, named[f"{leg}.foot.up"]] = lift + climb * along
        values[:, named[f"{leg}.foot.roll"]] = -18.0 * strike + 38.0 * off
        if climb:
            values[:, named[f"{leg}.foot.pitch"]] = -np.degrees(np.arctan(climb))
    values[:, named["pelvis.up"]] = -0.09 * unit + climb * go + 0.01 * unit * np.cos(4 * np.pi * t / CYCLE_S)
    values[:, named["pelvis.along"]] = 0.0 if in_place else go
    return values


def _bump(u: FloatArray, start: float, end: float, *, falling: bool) -> FloatArray:
    """The smooth step between two phases; falling from 1 to 0, or rising."""
    s = np.clip((u - start) / (end - start), 0.0, 1.0)
    step = s * s * (3.0 - 2.0 * s)
    return np.asarray(1.0 - step if falling else step, dtype=np.float64)


def strikes_and_offs(seconds: float, leg: str) -> list[tuple[float, float]]:
    """Start and end of each stance that lies whole in the walk."""
    shift = 0.0 if leg == "left" else 0.5
    found = []
    for k in range(-1, int(seconds / CYCLE_S) + 2):
        start = (k - shift) * CYCLE_S
        end = start + STANCE * CYCLE_S
        if start > 0.1 and end < seconds - 0.1:
            found.append((start, end))
    return found


def as_motion(rig: Rig, values: FloatArray, rate: float) -> Motion:
    """Values as a motion without contacts."""
    return Motion("walk", rate, 0.0, tuple(channel.name for channel in rig.channels), values)
