"""A score as numbers: channel values over time, and where the soles bear."""

from __future__ import annotations

from itertools import pairwise
from typing import Final, Literal

import numpy as np

from instep.bench.messages import Bearing, Footfall, Key, Score
from instep.character import BakedClip, skin_vertices
from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.landmarks import LegLandmarks
from instep.motion import Exercise
from instep.rig import Rig

FOLLOWS: Final = 0.01
"""Of a channel's travel in an exercise: keys are added until the score follows it this closely."""

BEARS: Final = 0.01
"""Of the foot's length: a part of the sole this near to the floor bears. As `tolerances.SOLE_FLOATS`."""

PATCH: Final = 0.12
"""Of the foot's length: what of the sole is this near to heel, ball or tip is that part of it."""

MOST_KEYS: Final = 60
"""Keys that one control of an exercise gets at most."""

Part = Literal["heel", "ball", "tip"]
PARTS: Final[tuple[Part, ...]] = ("heel", "ball", "tip")


def score_times(score: Score) -> FloatArray:
    """(N,) the times of a score's frames, from 0 to its end."""
    return np.arange(round(score.duration_s * score.rate) + 1) / score.rate


def score_values(rig: Rig, score: Score, times: FloatArray) -> FloatArray:
    """(N, C) channel values at `times`. Between two keys of a control a channel goes by 3u² - 2u³ of the way; before
    the first and after the last it stays; keys of channels that the rig has not got are passed over."""
    numbers = {channel.name: number for number, channel in enumerate(rig.channels)}
    values = np.tile(rig.defaults, (len(times), 1))
    for control, keys in score.keys.items():
        for quantity in sorted({quantity for key in keys for quantity in key.values}):
            name = f"{control}.{quantity}"
            if name in numbers:
                stops = [(key.time_s, key.values[quantity]) for key in keys if quantity in key.values]
                channel = rig.channels[numbers[name]]
                values[:, numbers[name]] = np.clip(_eased(stops, times), channel.low, channel.high)
    return values


def _eased(stops: list[tuple[float, float]], times: FloatArray) -> FloatArray:
    at, value = (np.array(column) for column in zip(*stops, strict=True))
    if len(at) == 1:
        return np.full(len(times), value[0])
    k = np.clip(np.searchsorted(at, times, side="right") - 1, 0, len(at) - 2)
    u = np.clip((times - at[k]) / (at[k + 1] - at[k]), 0.0, 1.0)
    return np.asarray(value[k] + (value[k + 1] - value[k]) * u * u * (3.0 - 2.0 * u), dtype=np.float64)


def score_of_exercise(rig: Rig, exercise: Exercise) -> Score:
    """A score that follows an exercise: keys where a channel turns, and more where the way between is not followed."""
    moved = np.ptp(exercise.values, axis=0) > 1e-12
    controls = dict.fromkeys(channel.control for channel, moves in zip(rig.channels, moved, strict=True) if moves)
    keys: dict[str, tuple[Key, ...]] = {}
    for control in controls:
        columns = [
            number for number, channel in enumerate(rig.channels) if channel.control == control and moved[number]
        ]
        table = exercise.values[:, columns]
        frames = _key_frames(exercise.times_s, table)
        keys[control] = tuple(
            Key(
                time_s=float(exercise.times_s[frame]),
                values={
                    rig.channels[column].quantity: float(f"{table[frame, place]:.7g}")
                    for place, column in enumerate(columns)
                },
            )
            for frame in frames
        )
    rate = 1.0 / float(exercise.times_s[1] - exercise.times_s[0])
    return Score(name=exercise.name, rate=round(rate, 6), duration_s=float(exercise.times_s[-1]), keys=keys)


def _key_frames(times: FloatArray, table: FloatArray) -> list[int]:
    """Frames at which `table` (N, C) needs keys."""
    last = len(times) - 1
    steps = np.sign(np.round(np.diff(table, axis=0), 12))
    turns = np.flatnonzero((steps[1:] != steps[:-1]).any(axis=1)) + 1
    # Where an exercise rests for a moment in the middle of its way, its keys are easier to read there.
    speed = np.abs(table[2:] - table[:-2]).max(axis=1)  # of frames 1 to N - 2
    slow = (speed[1:-1] < speed[:-2]) & (speed[1:-1] <= speed[2:]) & (speed[1:-1] < 0.2 * speed.max())
    turns = np.concatenate([turns, np.flatnonzero(slow) + 2])
    frames = sorted({0, last, *turns.tolist()})
    travel = np.ptp(table, axis=0)
    while len(frames) < MOST_KEYS:
        followed = np.stack(
            [_eased([(times[f], table[f, c]) for f in frames], times) for c in range(table.shape[1])], axis=1
        )
        error = (np.abs(followed - table) / travel).max(axis=1)
        worst = int(error.argmax())
        if error[worst] <= FOLLOWS:
            break
        frames = sorted({*frames, worst})
    return frames


def score_clip(rig: Rig, score: Score) -> BakedClip:
    """The score as one pose a frame."""
    times = score_times(score)
    return BakedClip(score.name, times, rig.evaluate(score_values(rig, score, times)))


def footfalls(rig: Rig, score: Score) -> tuple[Footfall, ...]:
    """By leg, when heel, ball and tip bear on the floor, and how far each slides meanwhile."""
    times = score_times(score)
    mesh = rig.character.mesh
    assert mesh is not None
    poses = rig.evaluate(score_values(rig, score, times))
    R = rig.measurement.R_world_body
    staves = []
    for leg in rig.measurement.legs:
        bearings: list[Bearing] = []
        for part in PARTS:
            vertices = _patch(leg, mesh.positions, part)
            if not len(vertices):
                continue
            places = skin_vertices(mesh, rig.character.skeleton, poses, vertices) @ R
            lowest = places[..., 1].min(axis=1) - rig.measurement.floor
            level = places[..., [0, 2]].mean(axis=1)
            for first, end in _stretches(lowest < BEARS * leg.foot_length):
                slides = np.linalg.norm(level[first:end] - level[first], axis=1).max()
                start, stop = float(times[first]), float(times[end - 1])
                bearings.append(Bearing(part=part, start_s=start, end_s=stop, slides=float(slides)))
        staves.append(Footfall(leg=leg.name, bearings=tuple(bearings)))
    return tuple(staves)


def _patch(leg: LegLandmarks, positions: FloatArray, part: Part) -> IntArray:
    """The tread's vertices near a part of the sole; the nearest alone where none is near."""
    place = leg.landmarks[part].position
    place = place - leg.sole_normal * float((place - leg.heel.position) @ leg.sole_normal)
    if not len(leg.sole):
        return leg.sole
    away = np.linalg.norm(positions[leg.sole] - place, axis=1)
    near = leg.sole[away < PATCH * leg.foot_length]
    return near if len(near) else leg.sole[[int(away.argmin())]]


def _stretches(bears: BoolArray) -> list[tuple[int, int]]:
    """First frame and frame after the last of each stretch that is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], bears.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in list(pairwise(edges))[::2]]
