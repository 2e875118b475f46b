"""What a rigger tries first on a new rig: short motions made by channels alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.rig import Rig

RATE: Final = 30.0
"""Frames a second where nothing else is asked for."""


@dataclass(frozen=True, slots=True, eq=False)
class Exercise:
    """A motion of all channels.

    Attributes
    ----------
    name, sentence : what it is called, and what to look at.
    times_s : (N,) seconds, from 0.
    values : (N, C) channel values.
    """

    name: str
    sentence: str
    times_s: FloatArray
    values: FloatArray


Curve = Callable[[FloatArray], FloatArray]
"""From phase (0 to 1 over the exercise) to a channel's value."""


def exercises(rig: Rig, rate: float = RATE) -> tuple[Exercise, ...]:
    """The exercises that a rig's channels allow, each starting and ending at rest, at `rate` frames a second."""
    legs = [leg.name for leg in rig.plan.legs]
    unit = rig.plan.unit
    made = [
        _make(rig, rate, 4.0, "roll", "Each foot rolls from its heel over flat and ball to its tip, and back.",
              _all(legs, "foot.roll", _keys((0, 0), (0.2, -25), (0.4, 0), (0.7, 80), (1, 0)))),
        _make(rig, rate, 3.0, "bank", "Each foot banks onto its outer edge, then onto its inner edge.",
              _all(legs, "foot.bank", _keys((0, 0), (0.25, 20), (0.5, 0), (0.75, -20), (1, 0)))),
        _make(rig, rate, 2.5, "toes", "The toes bend up and down; nothing else moves.",
              _all(legs, "toes.bend", _keys((0, 0), (0.3, -40), (0.5, 0), (0.75, 25), (1, 0)))),
        _rise(rig, rate, legs),
        _make(rig, rate, 2.5, "heel strike", "The feet reach ahead one after the other and land on the heel.",
              _heel_strike(legs, unit)),
        _make(rig, rate, 3.0, "deep bend", "The pelvis sinks and comes up; the feet stay where they are.",
              {"pelvis.up": _keys((0, 0), (0.5, -0.45 * unit), (1, 0)),
               "pelvis.along": _keys((0, 0), (0.5, -0.1 * unit), (1, 0))}),
        _make(rig, rate, 4.0, "long reach", "Each foot goes further than its leg: the knee straightens softly.",
              _long_reach(legs, unit)),
        _make(rig, rate, 3.0, "knee circle", "With the legs bent, each knee's mark goes round.",
              _knee_circle(legs, unit)),
        _make(rig, rate, 3.0, "left against right", "The feet do the opposite of one another.",
              _against(legs, unit)),
    ]  # fmt: skip
    return tuple(exercise for exercise in made if exercise is not None)


def _make(
    rig: Rig, rate: float, seconds: float, name: str, sentence: str, curves: Mapping[str, Curve]
) -> Exercise | None:
    """The exercise, or None where the rig has not got one of its channels; values kept inside the ranges."""
    known = {channel.name: number for number, channel in enumerate(rig.channels)}
    present = {channel: curve for channel, curve in curves.items() if channel in known}
    if not present:
        return None
    frames = round(seconds * rate) + 1
    phase = np.linspace(0.0, 1.0, frames)
    values = np.tile(rig.defaults, (frames, 1))
    for channel, curve in present.items():
        number = known[channel]
        low, high = rig.channels[number].low, rig.channels[number].high
        values[:, number] = np.clip(rig.defaults[number] + curve(phase), low, high)
    return Exercise(name, sentence, np.arange(frames) / rate, values)


def _keys(*keys: tuple[float, float]) -> Curve:
    """Through (phase, value) keys, at rest at each: the smooth step 3u^2 - 2u^3 between neighbours."""
    phases, values = np.array(keys, dtype=np.float64).T

    def curve(phase: FloatArray) -> FloatArray:
        k = np.clip(np.searchsorted(phases, phase, side="right") - 1, 0, len(phases) - 2)
        u = np.clip((phase - phases[k]) / (phases[k + 1] - phases[k]), 0.0, 1.0)
        return np.asarray(values[k] + (values[k + 1] - values[k]) * u * u * (3.0 - 2.0 * u))

    return curve


def _all(legs: list[str], channel: str, curve: Curve) -> dict[str, Curve]:
    return {f"{leg}.{channel}": curve for leg in legs}


def _rise(rig: Rig, rate: float, legs: list[str]) -> Exercise | None:
    """The pelvis rises by just as much as the ankles do, so the legs keep their bend."""
    made = _make(rig, rate, 2.5, "rise on the toes", "The heels lift and the body rises with them.",
                 _all(legs, "foot.roll", _keys((0, 0), (0.4, 35), (0.6, 35), (1, 0))))  # fmt: skip
    names = [channel.name for channel in rig.channels]
    if made is None or "pelvis.up" not in names:
        return made
    up = rig.measurement.R_world_body[:, 1]
    ankles = [leg.foot for leg in rig.measurement.legs]
    sunk = made.values.copy()  # with the legs bent, so that the ankles go where their feet take them
    sunk[:, names.index("pelvis.up")] = -0.1 * rig.plan.unit
    height = rig.evaluate(sunk).position[:, ankles] @ up
    values = made.values.copy()
    values[:, names.index("pelvis.up")] = (height - height[0]).mean(axis=1)
    return Exercise(made.name, made.sentence, made.times_s, values)


def _heel_strike(legs: list[str], unit: float) -> dict[str, Curve]:
    curves: dict[str, Curve] = {"pelvis.up": _keys((0, 0), (0.2, -0.12 * unit), (0.8, -0.12 * unit), (1, 0))}
    ahead = 0.35 * unit
    for leg in legs:
        a = 0.05 if leg.startswith("left") else 0.5
        b, c, d, e = a + 0.15, a + 0.25, a + 0.35, a + 0.45
        curves |= {
            f"{leg}.foot.along": _keys((0, 0), (a, 0), (b, ahead), (d, ahead), (e, 0), (1, 0)),
            f"{leg}.foot.up": _keys((0, 0), (a, 0), (b, 0.04 * unit), (c, 0), (1, 0)),
            f"{leg}.foot.roll": _keys((0, 0), (a, 0), (b, -20), (c, -20), (d, 0), (1, 0)),
        }
    return curves


def _long_reach(legs: list[str], unit: float) -> dict[str, Curve]:
    curves: dict[str, Curve] = {}
    for leg in legs:
        first, last = (0.0, 0.5) if leg.startswith("left") else (0.5, 1.0)
        middle = 0.5 * (first + last)
        ends = [(0.0, 0.0)] if first > 0 else []
        tail = [(1.0, 0.0)] if last < 1 else []
        curves[f"{leg}.foot.along"] = _keys(*ends, (first, 0), (middle, 1.1 * unit), (last, 0), *tail)
        curves[f"{leg}.foot.up"] = _keys(*ends, (first, 0), (middle, 0.35 * unit), (last, 0), *tail)
    return curves


def _knee_circle(legs: list[str], unit: float) -> dict[str, Curve]:
    fade = _keys((0, 0), (0.15, 1), (0.85, 1), (1, 0))
    curves: dict[str, Curve] = {"pelvis.up": _keys((0, 0), (0.15, -0.2 * unit), (0.85, -0.2 * unit), (1, 0))}
    for leg in legs:
        curves[f"{leg}.knee.across"] = lambda phase: 0.3 * unit * fade(phase) * np.sin(2 * np.pi * phase)
        curves[f"{leg}.knee.up"] = lambda phase: 0.3 * unit * fade(phase) * np.cos(2 * np.pi * phase)
    return curves


def _against(legs: list[str], unit: float) -> dict[str, Curve]:
    curves: dict[str, Curve] = {"pelvis.up": _keys((0, 0), (0.2, -0.1 * unit), (0.8, -0.1 * unit), (1, 0))}
    for leg in legs:
        sign = 1.0 if leg.startswith("left") else -1.0
        curves[f"{leg}.foot.along"] = _keys((0, 0), (0.25, 0.25 * unit * sign), (0.75, -0.25 * unit * sign), (1, 0))
        curves[f"{leg}.foot.roll"] = _keys(
            (0, 0), (0.25, -15 if sign > 0 else 30), (0.75, 30 if sign > 0 else -15), (1, 0)
        )
    return curves
