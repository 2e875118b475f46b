"""Reach: soft, in one piece with its slope, and never beyond what bones and stretch allow."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from instep.rig.parts.reach import limit_reach, soften
from instep.tolerances import LEAST_REACH

zones = st.floats(1e-4, 0.5)
starts = st.floats(0.1, 2.0)
shares = st.floats(0.0, 1.0)
bones = st.floats(0.2, 1.0)
limits = st.floats(1.001, 4.0)


@given(starts, zones, st.floats(0.0, 100.0))
def test_soften_is_exact_before_and_bounded_beyond(start: float, zone: float, past: float) -> None:
    guard = 1e-12
    assert float(soften(start * 0.999, start, zone, guard)) == start * 0.999
    softened = float(soften(start + past, start, zone, guard))
    assert start <= softened + 1e-15
    assert softened <= start + min(past, zone) + 1e-15
    assert softened < start + zone


@given(starts, zones)
def test_soften_has_a_continuous_slope(start: float, zone: float) -> None:
    h = 1e-6 * zone
    before, here, after = (float(soften(start + k * h, start, zone, 1e-12)) for k in (-1, 0, 1))
    assert abs((here - before) / h - 1.0) < 1e-5
    assert abs((after - here) / h - 1.0) < 1e-5
    x = np.linspace(start - zone, start + 20 * zone, 5001)
    slope = np.diff(soften(x, start, zone, 1e-12)) / np.diff(x)
    assert slope.min() > 0.0
    assert slope.max() < 1.0 + 1e-9
    assert np.abs(np.diff(slope)).max() < 3.0 * (x[1] - x[0]) / zone


@given(starts, st.floats(0.0, 3.0))
def test_a_zone_of_nothing_is_a_hard_limit(start: float, wanted: float) -> None:
    assert float(soften(wanted, start, 0.0, 1e-12)) == min(wanted, start)


@given(bones, bones, st.floats(0.0, 0.2), shares, limits, st.floats(0.0, 20.0))
def test_reach_stays_within_bones_and_stretch(
    thigh: float, shin: float, zone: float, stretch: float, limit: float, wanted: float
) -> None:
    reach = limit_reach(wanted, thigh, shin, zone * (thigh + shin), stretch, limit, 1.0)
    distance, factor = float(reach.distance), float(reach.factor)
    assert abs(thigh - shin) + LEAST_REACH <= distance + 1e-15
    assert distance <= max(thigh + shin, abs(thigh - shin) + LEAST_REACH) + 1e-15
    assert 1.0 <= factor <= 1.0 + stretch * (limit - 1.0)
    if wanted >= abs(thigh - shin) + LEAST_REACH:
        assert distance * factor <= wanted * (1 + 1e-14)


@given(bones, bones, st.floats(0.0, 0.2), st.floats(0.0, 20.0))
def test_slack_is_what_the_distance_leaves_of_the_bones(thigh: float, shin: float, zone: float, wanted: float) -> None:
    reach = limit_reach(wanted, thigh, shin, zone * (thigh + shin), 0.0, 1.3, 1.0)
    assert abs(float(reach.slack) - (thigh + shin - float(reach.distance))) < 1e-15 * (thigh + shin) * 4
    assert float(reach.slack) >= 0.0


@given(bones, bones, st.floats(0.0, 0.2), limits, shares)
def test_a_whole_stretch_reaches_its_goal_over_half_of_its_limit(
    thigh: float, shin: float, zone: float, limit: float, share: float
) -> None:
    """The last half of the growth is softened, so that the limit is met with a continuous slope."""
    whole = thigh + shin
    start = whole * (1 - zone)
    wanted = start + share * (start * (1 + 0.5 * (limit - 1.0)) - start)
    reach = limit_reach(wanted, thigh, shin, zone * whole, 1.0, limit, 1.0)
    if wanted >= abs(thigh - shin) + LEAST_REACH:
        assert abs(float(reach.distance * reach.factor) - wanted) < 1e-12


@given(bones, bones, st.floats(0.0, 0.2), shares)
def test_without_stretch_bones_do_not_grow(thigh: float, shin: float, zone: float, far: float) -> None:
    reach = limit_reach(far * 100.0, thigh, shin, zone * (thigh + shin), 0.0, 1.3, 1.0)
    assert float(reach.factor) == 1.0
