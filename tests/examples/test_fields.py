"""Fields against exact distances, brute force and an independent geometry library."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon

from examples.salt_ferry.fields import (
    Values,
    ball,
    cone,
    cut,
    ellipsoid,
    half_space,
    limb,
    meet,
    mirrored,
    on_surface,
    outline,
    smooth_min,
    union,
)
from instep.character.arrays import FloatArray

SEEDS = st.integers(0, 2**32 - 1)
BLENDS = st.one_of(st.just(0.0), st.floats(1e-4, 0.3))


@cache
def _ellipse() -> Values:
    turns = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    return outline(np.stack([np.cos(turns), 0.6 * np.sin(turns)], axis=1), 0.02)


def _points(seed: int, count: int = 200, spread: float = 1.0) -> FloatArray:
    return np.random.default_rng(seed).uniform(-spread, spread, (count, 3))


@given(SEEDS)
def test_a_stick_of_even_radius_is_the_distance_to_its_segment(seed: int) -> None:
    noise = np.random.default_rng(seed)
    start, end = noise.uniform(-1, 1, (2, 3))
    points = _points(seed, 60)
    along = np.linspace(start, end, 1001)
    sampled = np.linalg.norm(points[:, None] - along, axis=2).min(axis=1) - 0.2
    np.testing.assert_allclose(cone(start, end, 0.2, 0.2)(points), sampled, atol=1e-3)


@given(SEEDS)
def test_an_ellipsoid_is_negative_inside_and_a_distance_at_its_surface(seed: int) -> None:
    noise = np.random.default_rng(seed)
    radii = noise.uniform(0.2, 1.0, 3)
    turn, _ = np.linalg.qr(noise.normal(size=(3, 3)))
    way = noise.normal(size=(50, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    normal = way / radii
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    field = ellipsoid((0.1, 0.2, 0.3), radii, turn)
    for offset in (-1e-4, 0.0, 1e-4):
        points = (way * radii + offset * normal) @ turn.T + (0.1, 0.2, 0.3)
        np.testing.assert_allclose(field(points), offset, atol=1e-6)


@given(SEEDS, BLENDS)
def test_a_smooth_minimum_is_never_above_the_minimum_and_equals_it_further_off_than_the_blend(
    seed: int, blend: float
) -> None:
    a, b = np.random.default_rng(seed).uniform(-1, 1, (2, 500))
    value = smooth_min(a, b, blend)
    assert (value <= np.minimum(a, b)).all()
    assert (value >= np.minimum(a, b) - blend / 6.0 - 1e-15).all()
    far = np.abs(a - b) >= blend
    np.testing.assert_array_equal(value[far], np.minimum(a, b)[far])
    np.testing.assert_array_equal(value, smooth_min(b, a, blend))


@given(SEEDS, BLENDS, st.floats(0.02, 2.0))
def test_leaving_out_far_solids_changes_no_value(seed: int, blend: float, spread: float) -> None:
    noise = np.random.default_rng(seed)
    solids = [ball(noise.uniform(-2, 2, 3), noise.uniform(0.05, 0.3)) for _ in range(20)]
    points = noise.uniform(-1, 1, 3) + _points(seed, spread=spread)
    whole = solids[0](points)
    for solid in solids[1:]:
        whole = smooth_min(whole, solid(points), blend)
    np.testing.assert_array_equal(union(*solids, blend=blend)(points), whole)


@given(SEEDS)
def test_a_limb_of_two_places_is_a_stick(seed: int) -> None:
    noise = np.random.default_rng(seed)
    start, end = noise.uniform(-1, 1, (2, 3))
    points = _points(seed)
    np.testing.assert_allclose(
        limb([start, end], [0.1, 0.3])(points), cone(start, end, 0.1, 0.3)(points), rtol=0, atol=1e-7
    )


def test_a_limb_passes_through_its_places_with_its_radii() -> None:
    places = np.array([[0.0, 0.0, 0.0], [0.0, 1.0, 0.2], [0.3, 2.0, 0.0], [0.3, 3.0, 0.0]])
    radii = np.array([0.10, 0.20, 0.15, 0.05])
    # Radii are tabled, 40 to a place, and read linearly in between.
    np.testing.assert_allclose(limb(places, radii)(places), -radii, rtol=1e-4)


@given(SEEDS)
def test_an_outline_agrees_with_a_geometry_library(seed: int) -> None:
    """Against shapely's distance to an ellipse, in the table's reach and, as a lower bound, beyond it."""
    close = np.linspace(0.0, 2.0 * np.pi, 2000, endpoint=False)
    polygon = Polygon(np.stack([np.cos(close), 0.6 * np.sin(close)], axis=1))
    points = np.random.default_rng(seed).uniform(-2.0, 2.0, (60, 2))
    points[:40] *= (0.58, 0.38)
    away = np.array([polygon.exterior.distance(Point(p)) for p in points])
    inside = np.array([polygon.contains(Point(p)) for p in points])
    found = _ellipse()(points)
    near = (np.abs(points) < (1.18, 0.78)).all(axis=1)
    ridge = inside & (np.abs(points[:, 1]) < 0.05)  # two sides are equally near: a table rounds that off
    np.testing.assert_allclose(found[near & ~ridge], np.where(inside, -away, away)[near & ~ridge], atol=2e-3)
    assert (found[~near] > away[~near] - 2e-3).all()


@given(SEEDS)
def test_a_mirrored_solid_is_the_same_on_both_sides(seed: int) -> None:
    field = mirrored(ball((0.3, 0.0, 0.1), 0.4), 0.1)
    points = _points(seed)
    np.testing.assert_allclose(field(points), field(points * (-1.0, 1.0, 1.0)), atol=1e-15)


@given(SEEDS)
def test_telling_how_far_a_solid_crosses_the_middle_changes_no_value(seed: int) -> None:
    solid = ball((0.3, 0.0, 0.1), 0.32)
    points = np.abs(_points(seed))
    np.testing.assert_array_equal(mirrored(solid, 0.1, 0.02)(points), mirrored(solid, 0.1)(points))


def test_cutting_and_meeting_with_a_half_space_leave_the_two_halves() -> None:
    whole, plane = ball((0.0, 0.0, 0.0), 1.0), half_space((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    points = np.array([[0.0, 0.5, 0.0], [0.0, -0.5, 0.0]])
    assert np.sign(cut(whole, plane, blend=0.0)(points)).tolist() == [-1.0, 1.0]
    assert np.sign(meet(whole, plane, blend=0.0)(points)).tolist() == [1.0, -1.0]


@pytest.mark.parametrize("way", [(1.0, 0.0, 0.0), (0.3, -0.4, 2.0)])
def test_a_ray_leaves_a_ball_at_its_radius(way: tuple[float, float, float]) -> None:
    place = on_surface(ball((0.1, 0.2, 0.3), 0.25), np.array([0.1, 0.2, 0.3]), np.array(way), 2.0)
    assert np.linalg.norm(place - (0.1, 0.2, 0.3)) == pytest.approx(0.25, abs=1e-9)
