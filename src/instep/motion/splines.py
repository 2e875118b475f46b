"""Cubic segments between keys, as glTF's CUBICSPLINE (glTF 2.0, appendix C.5) with one slope a key."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.motion.model import Keys


def hermite_rows(frames: IntArray, count: int, rate: float) -> FloatArray:
    """(count, 2 K) rows that give the value on each frame from K values, then K slopes per second.

    Held before the first and after the last key.
    """
    keys = len(frames)
    rows = np.zeros((count, 2 * keys))
    at = np.arange(count)
    if keys == 1:
        rows[:, 0] = 1.0
        return rows
    left = np.clip(np.searchsorted(frames, at, side="right") - 1, 0, keys - 2)
    span = (frames[left + 1] - frames[left]).astype(np.float64)
    t = np.clip((at - frames[left]) / span, 0.0, 1.0)
    t2, t3 = t * t, t * t * t
    seconds = span / rate
    rows[at, left] = 2 * t3 - 3 * t2 + 1
    rows[at, left + 1] += 3 * t2 - 2 * t3
    rows[at, keys + left] = seconds * (t3 - 2 * t2 + t)
    rows[at, keys + left + 1] += seconds * (t3 - t2)
    return rows


def evaluate_keys(keys: Keys, count: int, rate: float) -> FloatArray:
    """(count,) values on the frames 0, 1, ... of a motion."""
    rows = hermite_rows(keys.frames, count, rate)
    return np.asarray(rows @ np.concatenate([keys.values, keys.slopes]), dtype=np.float64)


def key_slopes(keys: Keys, count: int, rate: float) -> FloatArray:
    """(count,) slopes per second on the frames 0, 1, ... of a motion: the derivative of what `evaluate_keys` says."""
    frames = keys.frames.astype(np.float64)
    if len(frames) == 1:
        return np.zeros(count)
    at = np.arange(count, dtype=np.float64)
    left = np.clip(np.searchsorted(frames, at, side="right") - 1, 0, len(frames) - 2)
    span = frames[left + 1] - frames[left]
    t = (at - frames[left]) / span
    seconds = span / rate
    rise = (keys.values[left + 1] - keys.values[left]) / seconds
    slopes = (
        6 * (t - t * t) * rise
        + (3 * t * t - 4 * t + 1) * keys.slopes[left]
        + (3 * t * t - 2 * t) * keys.slopes[left + 1]
    )
    return np.asarray(np.where((t < 0.0) | (t > 1.0), 0.0, slopes), dtype=np.float64)


def keys_at(keys: Keys, times_s: FloatArray, rate: float) -> FloatArray:
    """(N,) values at any times in seconds from the motion's first frame; held outside the keys."""
    at = np.asarray(times_s, dtype=np.float64) * rate
    frames = keys.frames.astype(np.float64)
    if len(frames) == 1:
        return np.full(len(at), float(keys.values[0]))
    left = np.clip(np.searchsorted(frames, at, side="right") - 1, 0, len(frames) - 2)
    span = frames[left + 1] - frames[left]
    t = np.clip((at - frames[left]) / span, 0.0, 1.0)
    t2, t3 = t * t, t * t * t
    seconds = span / rate
    return np.asarray(
        (2 * t3 - 3 * t2 + 1) * keys.values[left]
        + (3 * t2 - 2 * t3) * keys.values[left + 1]
        + seconds * (t3 - 2 * t2 + t) * keys.slopes[left]
        + seconds * (t3 - t2) * keys.slopes[left + 1],
        dtype=np.float64,
    )


def fit_slopes(curve: FloatArray, frames: IntArray, rate: float, tied: BoolArray, slopes: FloatArray) -> Keys:
    """Keys on a curve (N,), with slopes that bring the segments nearest to it (least squares); at keys on `tied`
    frames the slope is that in `slopes`."""
    rows = hermite_rows(frames, len(curve), rate)
    count = len(frames)
    known = curve[frames]
    left = curve - rows[:, :count] @ known
    found = np.where(tied[frames], slopes[frames], 0.0)
    free = ~tied[frames]
    if free.any() and count > 1:
        columns = rows[:, count:]
        left = left - columns @ found
        part = columns[:, free]
        # A segment of two frames says nothing of its slopes: a small weight on them keeps the system regular.
        normal = part.T @ part
        normal[np.diag_indices_from(normal)] += 1e-9 * max(float(np.trace(normal)) / len(normal), 1e-30)
        found[free] = np.linalg.solve(normal, part.T @ left)
        lone = np.zeros(count, dtype=np.bool_)
        gaps = np.diff(frames)
        lone[1:-1] = (gaps[:-1] == 1) & (gaps[1:] == 1)
        natural = np.gradient(curve) * rate if len(curve) > 1 else np.zeros(1)
        found = np.where(lone & free, natural[frames], found)
        found = _not_beyond(known, found, frames / rate, tied[frames])
    return Keys(frames, known.copy(), found)


def _not_beyond(values: FloatArray, slopes: FloatArray, at_s: FloatArray, tied: BoolArray) -> FloatArray:
    """Slopes next to a resting stretch, held back so that the segment into it does not overshoot: at most three times
    its mean slope (Fritsch & Carlson 1980, SIAM J Numer Anal 17:238). A roll that overshot zero would lift the heel
    while the heel bears."""
    held = slopes.copy()
    for k in range(len(values) - 1):
        if tied[k] == tied[k + 1]:
            continue
        free, fixed = (k, k + 1) if tied[k + 1] else (k + 1, k)
        if slopes[fixed] == 0.0:
            mean = (values[k + 1] - values[k]) / (at_s[k + 1] - at_s[k])
            held[free] = np.clip(held[free], min(0.0, 3.0 * mean), max(0.0, 3.0 * mean))
    return held
