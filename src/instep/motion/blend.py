"""Corrections that fade: known on some frames, continued over the others with continuous value and slope."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import BoolArray, FloatArray, IntArray


def runs(mask: BoolArray) -> IntArray:
    """(R, 2) first frame and frame past the last of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return edges.reshape(-1, 2).astype(np.int64)


def fade(values: FloatArray, known: BoolArray, window: int) -> FloatArray:
    """Continue (N, k) `values` from the frames where they are `known` (N,) over the others.

    From the end of a known run the values follow a cubic that starts with the run's value and slope and comes to
    zero with slope zero `window` frames later; between two runs that stand no further apart than twice that, one
    cubic leads from the one to the other. So what is added to a smooth curve keeps it smooth: value and slope are
    continuous everywhere. Frames before the first and after the last known run are treated alike.
    """
    filled = np.where(known[:, None], values, 0.0)
    inside = runs(known)
    if not len(inside):
        return filled
    count = len(values)
    slopes_in = [_slope(values, first, end, at_end=False) for first, end in inside]
    slopes_out = [_slope(values, first, end, at_end=True) for first, end in inside]
    zero = np.zeros(values.shape[1])
    first = int(inside[0, 0])
    if first:
        _cubic(filled, first - window, first, zero, zero, values[first], slopes_in[0])
    for k in range(len(inside) - 1):
        start, stop = int(inside[k, 1]) - 1, int(inside[k + 1, 0])
        if stop - start <= 2 * window:
            _cubic(filled, start, stop, values[start], slopes_out[k], values[stop], slopes_in[k + 1])
        else:
            _cubic(filled, start, start + window, values[start], slopes_out[k], zero, zero)
            _cubic(filled, stop - window, stop, zero, zero, values[stop], slopes_in[k + 1])
    last = int(inside[-1, 1]) - 1
    if last < count - 1:
        _cubic(filled, last, last + window, values[last], slopes_out[-1], zero, zero)
    return filled


def _slope(values: FloatArray, first: int, end: int, at_end: bool) -> FloatArray:
    """Slope per frame at one end of a known run, from inside it; zero for a run of one frame."""
    if end - first < 2:
        return np.zeros(values.shape[1])
    slope: FloatArray = values[end - 1] - values[end - 2] if at_end else values[first + 1] - values[first]
    return slope


def _cubic(
    filled: FloatArray, start: int, stop: int, v0: FloatArray, s0: FloatArray, v1: FloatArray, s1: FloatArray
) -> None:
    """Hermite's cubic from frame `start` to frame `stop`, written strictly between them (and inside the array)."""
    frames = np.arange(max(start + 1, 0), min(stop, len(filled)))
    if not len(frames):
        return
    span = float(stop - start)
    t = ((frames - start) / span)[:, None]
    t2, t3 = t * t, t * t * t
    filled[frames] = (
        (2 * t3 - 3 * t2 + 1) * v0 + span * (t3 - 2 * t2 + t) * s0 + (3 * t2 - 2 * t3) * v1 + span * (t3 - t2) * s1
    )


def envelope(needed: FloatArray, half_width: int) -> FloatArray:
    """(N,) a smooth curve that is nowhere below `needed` (N,) >= 0: its greatest value over a window, then a mean
    over the same window, twice (so that value and slope are continuous)."""
    if half_width < 1 or not needed.any():
        return needed.copy()
    from scipy.ndimage import maximum_filter1d, uniform_filter1d

    size = 2 * half_width + 1
    raised = maximum_filter1d(needed, 2 * size - 1, mode="nearest")
    return np.asarray(uniform_filter1d(uniform_filter1d(raised, size, mode="nearest"), size, mode="nearest"))
