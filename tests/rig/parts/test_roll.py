"""How roll passes from pivot to pivot: nothing is lost on the way, and nothing jumps."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from instep.rig.parts.roll import hand_over, settle, share_roll

eases = st.floats(0.1, 20.0)
starts = st.floats(0.0, 89.0)
spans = st.floats(1.0, 60.0)
angles = st.floats(-180.0, 180.0, allow_subnormal=False).filter(lambda angle: angle == 0 or abs(angle) > 1e-200)


@given(angles, eases)
def test_settle_is_nothing_below_0_and_exact_beyond_its_zone(angle: float, ease: float) -> None:
    settled = float(settle(angle, ease))
    if angle <= 0.0:
        assert settled == 0.0
    elif angle >= ease:
        assert settled == angle
    else:
        assert -1e-15 * angle <= settled <= angle


@given(eases)
def test_settle_and_its_slope_are_continuous(ease: float) -> None:
    """At both ends of the zone; its slope lies between 0 and 4/3 (of 4u - 3u^2, at u = 2/3)."""
    h = 1e-5 * ease
    for at in (0.0, ease):
        before, here, after = (float(settle(at + step, ease)) for step in (-h, 0.0, h))
        assert abs((after - here) - (here - before)) / h < 1e-3
    y = np.linspace(-ease, 2 * ease, 3001)
    slope = np.diff(settle(y, ease)) / np.diff(y)
    assert slope.min() >= 0.0
    assert slope.max() < 4.0 / 3.0 + 1e-6


@given(angles, starts, spans)
def test_hand_over_loses_nothing(angle: float, start: float, span: float) -> None:
    first, second = hand_over(angle, start, start + span)
    assert abs(float(first + second) - angle) < 1e-12
    if angle <= start:
        assert float(second) == 0.0
    if angle >= start + span:
        assert abs(float(first) - (start + span / 2)) < 1e-11


@given(starts, spans)
def test_hand_over_is_continuous_in_value_slope_and_curvature(start: float, span: float) -> None:
    end = start + span
    h = 1e-4 * span
    for at in (start, end):
        y = np.array([float(hand_over(at + k * h, start, end)[1]) for k in (-2, -1, 0, 1, 2)])
        slopes = np.diff(y) / h
        assert np.abs(np.diff(slopes)).max() < 1e-3
        assert abs((slopes[3] - slopes[2]) - (slopes[1] - slopes[0])) / h * span < 1e-2
    y = np.linspace(start - span, end + span, 2001)
    first, second = hand_over(y, start, end)
    for each in (first, second):
        rate = np.diff(each) / np.diff(y)
        assert rate.min() > -1e-9
        assert rate.max() < 1.0 + 1e-9


@given(starts, spans, eases)
def test_shares_sum_to_the_roll_and_only_rise(start: float, span: float, ease: float) -> None:
    end = start + span
    roll = np.linspace(-60.0, end + ease + 20.0, 4001)
    heel, ball, tip = share_roll(roll, start, end, ease)
    np.testing.assert_allclose(
        heel + ball + tip, np.asarray(settle(roll, ease)) - np.asarray(settle(-roll, ease)), rtol=0, atol=1e-11
    )
    outside = np.abs(roll) >= ease
    np.testing.assert_allclose((heel + ball + tip)[outside], roll[outside], rtol=0, atol=1e-11)
    step = roll[1] - roll[0]
    for share in (heel, ball, tip):
        rate = np.diff(share) / step
        assert rate.min() > -1e-9
        assert rate.max() < 4.0 / 3.0 + 1e-6
        assert np.abs(np.diff(rate)).max() < 8.0 * step / min(ease, span)  # slope: no jump
    assert np.all(heel[roll >= 0] == 0.0)
    assert np.all(ball[roll <= 0] == 0.0)
    assert np.all(tip[roll <= start] == 0.0)


def test_nothing_rolls_at_0() -> None:
    assert [float(share) for share in share_roll(0.0, 35.0, 62.0, 4.0)] == [0.0, 0.0, 0.0]
