"""Meshing against shapes whose volume and distance are known."""

from __future__ import annotations

import numpy as np
import pytest

from examples.salt_ferry.fields import ball, cut, ellipsoid, half_space, union
from examples.salt_ferry.surface import Grid, Surface, gradient, in_batches, mesh_field
from instep.character.arrays import IntArray

EVEN = Grid((-0.6, -0.6, -0.6), (0.6, 0.6, 0.6), 0.06)
GRADED = Grid((-0.6, -0.6, -0.6), (0.6, 0.6, 0.6), 0.08, fine=0.4, fine_below=-0.3, coarse_above=0.3)


def _edges(faces: IntArray) -> IntArray:
    return np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])


def _volume(surface: Surface) -> float:
    a, b, c = (surface.positions[surface.faces[:, i]] for i in range(3))
    return float((a * np.cross(b, c)).sum()) / 6.0


@pytest.mark.parametrize("grid", [EVEN, GRADED])
def test_a_ball_is_round_closed_and_of_its_volume(grid: Grid) -> None:
    surface = mesh_field(ball((0.02, 0.01, -0.03), 0.5), grid)
    away = np.linalg.norm(surface.positions - (0.02, 0.01, -0.03), axis=1)
    # The mean of four values a hundredth of a cell away stands for the value: it is off by half its square.
    floor = surface.positions[:, 1] == 0.0  # what lies close to y = 0 is put there
    np.testing.assert_allclose(away[~floor], 0.5, rtol=0, atol=2e-6)
    directed = _edges(surface.faces)
    assert len(np.unique(directed, axis=0)) == len(directed)
    backward = {tuple(edge) for edge in directed[:, ::-1].tolist()}
    assert backward == {tuple(edge) for edge in directed.tolist()}
    # A triangle of side s misses a ball of radius r by about s^2 / (8 r): the volume by 3 times that over r.
    assert _volume(surface) == pytest.approx(4.0 / 3.0 * np.pi * 0.5**3, rel=0.01)


def test_the_lower_part_of_a_graded_grid_is_finer() -> None:
    surface = mesh_field(ball((0.0, 0.0, 0.0), 0.5), GRADED)
    edges = _edges(surface.faces)
    length = np.linalg.norm(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]], axis=1)
    height = surface.positions[edges[:, 0], 1]
    assert np.median(length[height < -0.3]) < 0.55 * np.median(length[height > 0.3])


def test_a_half_ends_in_the_middle_exactly() -> None:
    half = mesh_field(ball((0.0, 0.0, 0.0), 0.5), Grid((0.0, -0.6, -0.6), (0.6, 0.6, 0.6), 0.06))
    edges, count = np.unique(np.sort(_edges(half.faces), axis=1), axis=0, return_counts=True)
    rim = edges[count == 1]
    assert len(rim) > 20
    assert (half.positions[rim, 0] == 0.0).all()
    assert (half.positions[np.setdiff1d(np.arange(len(half.positions)), rim), 0] > 0.0).all()


def test_vertices_are_even() -> None:
    surface = mesh_field(union(ball((0.0, 0.2, 0.0), 0.3), ball((0.0, -0.2, 0.0), 0.3), blend=0.2), EVEN)
    edges = _edges(surface.faces)
    length = np.linalg.norm(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]], axis=1)
    assert length.min() > 0.15 * np.median(length)
    assert length.max() < 2.5 * np.median(length)


def test_a_flat_tread_is_flat_to_the_last_bit() -> None:
    field = cut(ball((0.0, 0.3, 0.0), 0.4), half_space((0.0, 0.0, 0.0), (0.0, 1.0, 0.0)), blend=0.02)
    surface = mesh_field(field, Grid((-0.5, 0.0, -0.5), (0.5, 0.8, 0.5), 0.04))
    flat = surface.positions[surface.positions[:, 1] < 1e-4]
    assert len(flat) > 50
    assert (flat[:, 1] == 0.0).all()


def test_batches_and_gradient_agree_with_the_field() -> None:
    field = ellipsoid((0.0, 0.0, 0.0), (0.3, 0.4, 0.5))
    points = np.random.default_rng(1).uniform(-1.0, 1.0, (300, 3))
    np.testing.assert_array_equal(in_batches(field, points, 0.2), field(points))
    value, slope = gradient(field, points, 1e-4, 0.5)
    np.testing.assert_allclose(value, field(points), atol=1e-6)
    for axis in range(3):
        step = np.eye(3)[axis] * 1e-5
        np.testing.assert_allclose(slope[:, axis], (field(points + step) - field(points - step)) / 2e-5, atol=5e-3)
