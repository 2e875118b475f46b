"""Vectors against NumPy."""

from __future__ import annotations

import numpy as np

from instep.frames.vector import Vec, across, cross, dot, length, mix_vectors, unit
from tests.frames.samples import random_units, rows, vec


def test_arithmetic_is_that_of_arrays() -> None:
    a, b = np.random.default_rng(1).normal(size=(2, 200, 3))
    np.testing.assert_array_equal(rows(vec(a) + vec(b)), a + b)
    np.testing.assert_array_equal(rows(vec(a) - vec(b)), a - b)
    np.testing.assert_array_equal(rows(-vec(a)), -a)
    np.testing.assert_array_equal(rows(vec(a) * 2.5), a * 2.5)
    np.testing.assert_array_equal(rows(2.5 * vec(a)), a * 2.5)
    np.testing.assert_allclose(dot(vec(a), vec(b)), (a * b).sum(axis=1), rtol=1e-14, atol=1e-14)
    np.testing.assert_allclose(rows(cross(vec(a), vec(b))), np.cross(a, b), rtol=1e-14, atol=1e-14)
    np.testing.assert_allclose(length(vec(a)), np.linalg.norm(a, axis=1), rtol=1e-15)


def test_a_guarded_vector_that_vanishes_is_zero_and_not_nan() -> None:
    assert tuple(unit(Vec(0.0, 0.0, 0.0), 1e-12)) == (0.0, 0.0, 0.0)
    assert length(Vec(0.0, 0.0, 0.0), 1e-12) == 1e-12


def test_a_guard_changes_nothing_where_there_is_a_direction() -> None:
    directions = random_units(2, 200)
    np.testing.assert_allclose(rows(unit(vec(directions * 0.9), 1e-12)), directions, rtol=0, atol=1e-15)


def test_across_is_perpendicular_and_leaves_the_rest() -> None:
    a, directions = np.random.default_rng(3).normal(size=(200, 3)), random_units(4, 200)
    part = rows(across(vec(a), vec(directions)))
    np.testing.assert_allclose((part * directions).sum(axis=1), 0.0, rtol=0, atol=1e-14)
    np.testing.assert_allclose(np.cross(a - part, directions), 0.0, rtol=0, atol=1e-14)


def test_mixed_vectors_end_at_both() -> None:
    a, b = np.random.default_rng(5).normal(size=(2, 200, 3))
    np.testing.assert_array_equal(rows(mix_vectors(vec(a), vec(b), 0.0)), a)
    np.testing.assert_allclose(rows(mix_vectors(vec(a), vec(b), 1.0)), b, rtol=0, atol=1e-15)
