"""The worst place is found, not met by luck; a jump is told from what is only steep."""

from __future__ import annotations

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.checks.search import find_jump, find_worst, sobol, span
from instep.checks.subject import Subject
from tests.checks.broken import sound

NAMES = ("left.foot.roll", "left.foot.bank", "left.foot.twist")


@pytest.fixture(scope="module")
def subject() -> Subject:
    return Subject(sound())


def _columns(subject: Subject, rows: FloatArray) -> FloatArray:
    return rows[:, [subject.numbers[name] for name in NAMES]]


@pytest.mark.parametrize("peak", [(12.3, -7.7, 31.9), (-40.0, 40.0, 60.0), (89.9, 0.0, -59.0)])
def test_a_narrow_peak_between_samples_is_climbed(subject: Subject, peak: tuple[float, ...]) -> None:
    def figure(rows: FloatArray) -> FloatArray:
        away = (_columns(subject, rows) - np.array(peak)) / np.array([130.0, 80.0, 120.0])
        return np.asarray(1.0 / (1.0 + 100.0 * (away**2).sum(axis=1)))

    worst = find_worst(subject, figure, span(subject, NAMES), count=64, words=("test",))
    assert worst.figure > 1.0 - 1e-4
    assert worst.figure >= worst.sampled
    np.testing.assert_allclose(_columns(subject, worst.row[None])[0], peak, atol=0.3)


def test_a_kink_is_climbed_as_well(subject: Subject) -> None:
    peak = np.array([33.0, 5.0, -20.0])

    def figure(rows: FloatArray) -> FloatArray:
        return np.asarray(-np.abs(_columns(subject, rows) - peak).max(axis=1))

    worst = find_worst(subject, figure, span(subject, NAMES), count=64, words=("test",))
    assert worst.figure > -0.5
    assert worst.sampled < -1.0


def test_the_search_is_the_same_each_time_and_another_with_another_seed(subject: Subject) -> None:
    def figure(rows: FloatArray) -> FloatArray:
        return np.asarray(np.sin(_columns(subject, rows)).sum(axis=1))

    spans = span(subject, NAMES)
    one, again = (find_worst(subject, figure, spans, count=64, words=("test",)) for _ in range(2))
    other = find_worst(Subject(subject.rig, 1), figure, spans, count=64, words=("test",))
    np.testing.assert_array_equal(one.row, again.row)
    assert not np.array_equal(one.row, other.row)


def test_no_number_is_the_worst_of_all(subject: Subject) -> None:
    def figure(rows: FloatArray) -> FloatArray:
        roll = _columns(subject, rows)[:, 0]
        return np.where(roll > 60.0, np.nan, roll)

    assert find_worst(subject, figure, span(subject, NAMES), count=64, words=("test",)).figure == np.inf


def test_samples_fill_the_cube_evenly() -> None:
    points = sobol(256, 3, 5)
    counts = np.histogramdd(points, bins=4, range=[(0, 1)] * 3)[0]
    np.testing.assert_array_equal(counts, 4)  # a net: 256 points put 4 into each of 64 equal boxes


@pytest.mark.parametrize("steep", [1.0, 1e3, 1e6])
def test_what_is_steep_is_no_jump(subject: Subject, steep: float) -> None:
    def value(rows: FloatArray) -> FloatArray:
        return np.asarray(np.tanh(steep * (_columns(subject, rows)[:, :1] - 3.0)))

    start, end = subject.rest(), subject.put(subject.rest(), {NAMES[0]: 60.0})
    jump, _ = find_jump(subject, value, start, end)
    assert jump < 1e-2


@pytest.mark.parametrize("height", [1e-3, 0.5, 2.0])
def test_a_jump_is_found_with_its_height_and_place(subject: Subject, height: float) -> None:
    def value(rows: FloatArray) -> FloatArray:
        roll = _columns(subject, rows)[:, :1]
        return np.asarray(np.where(roll > 17.0, height, 0.0) + 1e-6 * roll)

    start, end = subject.rest(), subject.put(subject.rest(), {NAMES[0]: 60.0})
    jump, row = find_jump(subject, value, start, end)
    assert jump == pytest.approx(height, rel=1e-3)
    assert _columns(subject, row[None])[0, 0] == pytest.approx(17.0, abs=1e-5)
