"""The rocker's rule, and which poses stand on it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from instep.delivery.plates.rocker import TILT, Rocker, choose, rocker_of_width


@given(st.floats(-60, -1), st.floats(1, 120), st.floats(20, 150), st.floats(500, 1200))
def test_a_rocker_is_as_wide_as_asked(low: float, high: float, flat: float, width: float) -> None:
    assert rocker_of_width(low, high, flat, width).width == pytest.approx(width, rel=1e-6)


def test_its_length_is_even_in_degrees_and_its_slope_follows_the_roll() -> None:
    rocker = Rocker(-25.0, 80.0, 9.0, 110.0)
    degrees = np.linspace(0.001, 80, 4000)
    x, y, slope = rocker.at(degrees)
    steps = np.hypot(np.diff(x), np.diff(y)) / np.diff(degrees)
    np.testing.assert_allclose(steps, 9.0, rtol=1e-6)
    np.testing.assert_allclose(np.rad2deg(slope), TILT * degrees, atol=1e-12)
    np.testing.assert_allclose(np.diff(y) / np.diff(x), np.tan(0.5 * (slope[1:] + slope[:-1])), atol=1e-6)


@given(st.data())
def test_feet_never_touch(data: st.DataObject) -> None:
    degrees = np.arange(-25.0, 80.1, 5.0)
    reach = st.lists(st.floats(5, 120), min_size=len(degrees), max_size=len(degrees))
    left, right = np.array(data.draw(reach)), np.array(data.draw(reach))
    rocker = rocker_of_width(-25, 80, 100, 1000)
    chosen = choose(rocker, degrees, left, right, 9.0, 9)
    assert 5 in chosen  # the foot at rest
    assert len(chosen) <= 10
    x, _, _ = rocker.at(degrees)
    for a, b in itertools.pairwise(chosen):
        assert x[a] + right[a] + 9.0 <= x[b] - left[b] + 1e-9


def test_narrow_feet_fill_the_rocker_evenly() -> None:
    degrees = np.arange(-25.0, 80.1, 2.5)
    rocker = rocker_of_width(-25, 80, 60, 1000)
    reach = np.full(len(degrees), 20.0)
    chosen = choose(rocker, degrees, reach, reach, 9.0, 9)
    assert len(chosen) == 10
    assert chosen[0] == 0
    assert chosen[-1] == len(degrees) - 1
    x, _, _ = rocker.at(degrees)
    gaps = np.diff(x[chosen])
    assert gaps.max() / gaps.min() < 1.7
