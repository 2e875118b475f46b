"""Fading: what is known stays, and value and slope are continuous where it ends."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from instep.motion.blend import envelope, fade, runs


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 20))
def test_known_frames_stay_and_slopes_meet(seed: int, window: int) -> None:
    rng = np.random.default_rng(seed)
    # Fine steps of a smooth curve, so that a jump in value or slope stands out against its curvature.
    fine = 40
    count = 60 * fine
    t = np.arange(count) / (10.0 * fine)
    curve = np.sin(2.0 * t + rng.uniform(0, 6))[:, None] * rng.normal(1.0, 0.2)
    known = np.zeros(count, dtype=np.bool_)
    for start in sorted(rng.integers(0, count - 200, 3)):
        known[start : start + int(rng.integers(20, 200))] = True
    filled = fade(curve, known, window * fine)
    np.testing.assert_array_equal(filled[known], curve[known])
    steps = np.diff(filled[:, 0])
    # No step is larger than what slopes of 2 and Hermite's cubics between such values can have.
    shortest = min(window * fine, min((b - a for a, b in runs(~known)), default=count))
    assert np.abs(steps).max() <= 3.0 * 2.6 / shortest + 4.0 / (10.0 * fine)
    for first, end in runs(known):
        if end - first < 3:
            continue
        for edge in (int(first), int(end) - 1):
            if 1 < edge < count - 2:
                bend = abs(filled[edge + 1, 0] - 2 * filled[edge, 0] + filled[edge - 1, 0])
                gap = min((b - a for a, b in runs(~known) if edge in (a - 1, b)), default=count)
                assert bend <= 40.0 / min(window * fine, gap) ** 2 + 8.0 / (10.0 * fine) ** 2


def test_nothing_known_is_nothing_added() -> None:
    np.testing.assert_array_equal(fade(np.ones((5, 2)), np.zeros(5, dtype=np.bool_), 3), np.zeros((5, 2)))


def test_far_from_what_is_known_nothing_is_added() -> None:
    known = np.zeros(100, dtype=np.bool_)
    known[45:55] = True
    filled = fade(np.ones((100, 1)), known, 10)
    np.testing.assert_array_equal(filled[:35, 0], 0.0)
    np.testing.assert_array_equal(filled[65:, 0], 0.0)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 9))
def test_an_envelope_is_nowhere_below(seed: int, width: int) -> None:
    rng = np.random.default_rng(seed)
    need = np.where(rng.random(80) < 0.1, rng.random(80), 0.0)
    raised = envelope(need, width)
    assert (raised >= need - 1e-12).all()
    assert raised.max() <= need.max() + 1e-12


def test_runs() -> None:
    np.testing.assert_array_equal(runs(np.array([True, True, False, True])), [[0, 2], [3, 4]])
    assert len(runs(np.zeros(3, dtype=np.bool_))) == 0
