"""Cubic segments between keys, as glTF's CUBICSPLINE (glTF 2.0, appendix C.5) with one slope a key."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray, IntArray
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
