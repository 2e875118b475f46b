"""The floor that a clip stands on: found from where its feet rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter1d

from instep.character.arrays import BoolArray, FloatArray
from instep.motion.model import Floor, Part

SAME_HEIGHT: Final = 0.10
"""Fraction of foot length within which resting places lie on one level or one slope: noise and a sole's lumps."""

EXPECTED: Final = 0.15
"""Fraction of foot length by which the lowest points of resting feet may miss the character's own floor and still
stand on it: clips keyed by hand sink their toes by a tenth of the foot."""

STEEP: Final = 0.01
"""Rise per length below which a floor counts as level."""

UNEVEN: Final = 0.6
"""Share of a floor's speed by which a foot's may differ from it and still count as standing on it: in walks keyed on
the spot the standing foot's speed varies by half."""

SHARED: Final = 0.5
"""Share of the lower foot's samples that have the floor's velocity where it runs evenly; on a treadmill 0.7."""

MOVES: Final = 0.5
"""Foot lengths a second: a floor slower than this stands still."""


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """A foot at rest from frame `first` to before `end`, at `place` (3,), in the axes that move with the floor.

    `lie` (3,) is the way from its heel to its front; zero where only one of them is known.
    """

    leg: str
    first: int
    end: int
    place: FloatArray
    lie: FloatArray


def find_velocity(
    feet: Mapping[str, tuple[FloatArray, FloatArray]], foot_length: Mapping[str, float], within: float
) -> tuple[tuple[float, float], float]:
    """The floor's velocity along left and forward, and how widely the bearing feet's own spread about it.

    `feet` has by leg (N, 3) places and velocities of the lowest point. The velocity is that which the lower foot
    shares most often (a mode): samples within half of `within` foot lengths a second count together, and the densest
    place is then centred by its mean (mean shift) over a radius of 0.6 of its own size at least, since the floor of a
    walk keyed on the spot runs unevenly. Zero where that is slower than half a foot length a second: feet that rest
    on a floor that rests.
    """
    size = float(np.mean(list(foot_length.values())))
    heights = np.stack([spot[:, 1] for spot, _ in feet.values()])
    speeds = np.stack([speed for _, speed in feet.values()])
    rise = np.abs(speeds[:, :, 1])
    # The foot that stands lower, unless it rises or falls fast: what bears does neither.
    lower = heights <= heights.min(axis=0) + 0.02 * size
    level = lower & (rise < within * size)
    samples = speeds[level][:, [0, 2]]
    if not len(samples):
        return (0.0, 0.0), 0.0
    radius = 0.5 * within * size
    centres = samples[np.unique(np.linspace(0, len(samples) - 1, min(len(samples), 400)).astype(np.int64))]
    counts = np.array([(np.linalg.norm(samples - centre, axis=1) < radius).sum() for centre in centres])
    at_rest = np.linalg.norm(samples, axis=1) < radius
    if at_rest.sum() >= 0.8 * counts.max():
        return (0.0, 0.0), 0.0
    # Where no velocity is shared by half of the samples the floor runs unevenly, and the median says more.
    shared = counts.max() >= SHARED * len(samples)
    centre = centres[int(counts.argmax())] if shared else np.median(samples, axis=0)
    for _ in range(20):
        near = samples[np.linalg.norm(samples - centre, axis=1) < max(radius, UNEVEN * float(np.linalg.norm(centre)))]
        moved = near.mean(axis=0)
        if np.linalg.norm(moved - centre) < 1e-3 * radius:
            break
        centre = moved
    if np.linalg.norm(centre) < MOVES * size:
        return (0.0, 0.0), 0.0
    spread = float(np.median(np.linalg.norm(near - centre, axis=1)))
    return (float(centre[0]), float(centre[1])), spread


def uneven_velocity(
    speeds: Mapping[str, Mapping[Part, FloatArray]],
    bears: Mapping[str, Mapping[Part, BoolArray]],
    heights: Mapping[str, Mapping[Part, FloatArray]],
    even: FloatArray,
    rate: float,
) -> FloatArray:
    """(N, 3) the floor's velocity on each frame: what the bearing parts share, the lower ones more.

    `heights` are fractions of foot length. Where nothing bears the velocity runs straight from what it was to what it
    will be; then it is smoothed over 20 ms.
    """
    total, weight = np.zeros_like(even), np.zeros(len(even))
    for leg, parts in speeds.items():
        for part, speed in parts.items():
            share = bears[leg][part] / (1.0 + (np.maximum(heights[leg][part], 0.0) / 0.03) ** 2)
            total += share[:, None] * speed
            weight += share
    known = np.flatnonzero(weight > 0.05)
    if not len(known):
        return even
    frames = np.arange(len(even))
    found = np.zeros_like(even)
    for axis in (0, 2):
        found[:, axis] = np.interp(frames, known, total[known, axis] / weight[known])
    return np.asarray(gaussian_filter1d(found, max(0.02 * rate, 0.3), axis=0, mode="nearest"), dtype=np.float64)


def find_floor(
    rests: Sequence[Rest], foot_length: Mapping[str, float], expected: float | None, *, moves: bool = False
) -> tuple[Floor, list[Rest]]:
    """The floor under resting feet, and those of the rests that are on it.

    `expected` is the height of the character's own floor: where the rests agree with it, it is the floor. Else one
    level where heights agree; else a slope where a plane fits; else steps, with a height for each rest. A foot
    that rests higher than the other, and only while that one rests too, is held in the air: it is dropped.
    """
    kept = _without_held(rests, foot_length)
    if moves and expected is not None:
        # A walk on the spot is made for the character's own floor: feet that go round high above it bear nothing.
        kept = [rest for rest in kept if abs(rest.place[1] - expected) <= foot_length[rest.leg]]
    if not kept:
        return Floor(height=expected or 0.0), []
    size = float(np.mean(list(foot_length.values())))
    places = np.array([rest.place for rest in kept])
    weights = np.array([rest.end - rest.first for rest in kept], dtype=np.float64)
    height = _weighted_median(places[:, 1], weights)
    if expected is not None and np.abs(places[:, 1] - expected).max() <= EXPECTED * size:
        return Floor("level", expected), kept
    off = np.abs(places[:, 1] - height)
    if off.max() <= SAME_HEIGHT * size:
        return Floor("level", height), kept
    spread = np.ptp(places[:, [0, 2]], axis=0).max()
    if len(kept) >= 3 and spread > size:
        # Along the way only: the feet's small distance across would make any noise a tilt.
        centre = np.average(places, axis=0, weights=weights)
        flat = (places - centre)[:, [0, 2]]
        _, _, axes = np.linalg.svd(flat * np.sqrt(weights)[:, None], full_matrices=False)
        way = axes[0]
        along = flat @ way
        rise = float(np.average(along * (places[:, 1] - centre[1]), weights=weights)) / float(
            np.average(along * along, weights=weights)
        )
        left = places[:, 1] - centre[1] - rise * along
        slope = (float(rise * way[0]), float(rise * way[1]))
        if np.abs(left).max() <= SAME_HEIGHT * size and abs(rise) > STEEP and _lie_on(kept, slope):
            base = float(centre[1] - slope[0] * centre[0] - slope[1] * centre[2])
            return Floor("slope", base, slope), kept
    return Floor("steps", height), kept


def _lie_on(rests: Sequence[Rest], slope: tuple[float, float]) -> bool:
    """Whether feet lie along a slope, rather than level on steps that rise like it: nearer to it than to level, on the
    mean."""
    on_slope, on_level = [], []
    for rest in rests:
        size = float(np.hypot(rest.lie[0], rest.lie[2]))
        if size > 0.0:
            tilt = float(rest.lie[1]) / size
            wanted = float(slope[0] * rest.lie[0] + slope[1] * rest.lie[2]) / size
            on_slope.append(abs(tilt - wanted))
            on_level.append(abs(tilt))
    return not on_slope or float(np.mean(on_slope)) <= float(np.mean(on_level))


def _without_held(rests: Sequence[Rest], foot_length: Mapping[str, float]) -> list[Rest]:
    kept: list[Rest] = []
    for rest in rests:
        size = foot_length[rest.leg]
        covered = np.zeros(rest.end - rest.first, dtype=np.bool_)
        for other in rests:
            if other.leg != rest.leg and other.place[1] < rest.place[1] - 0.3 * size:
                covered[max(other.first - rest.first, 0) : max(other.end - rest.first, 0)] = True
        if not covered.all():
            kept.append(rest)
    return kept


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, 0.5 * total[-1])])
