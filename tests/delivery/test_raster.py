"""The depth buffer against a plain loop over triangles and pixels."""

from __future__ import annotations

import numpy as np
import pytest

from instep.character.arrays import FloatArray, IntArray
from instep.delivery.raster import rasterise


def slowly(points: FloatArray, faces: IntArray, width: int, height: int) -> FloatArray:
    """The depth at each pixel's middle by solving for the shares of the corners, one triangle at a time."""
    depth = np.full((height, width), -np.inf)
    v, u = np.mgrid[0:height, 0:width] + 0.5
    for face in faces:
        p = points[face]
        system = np.concatenate([p[:, :2].T, np.ones((1, 3))])
        if abs(np.linalg.det(system)) < 1e-9:
            continue
        shares = np.linalg.solve(system, np.stack([u.ravel(), v.ravel(), np.ones(u.size)]))
        inside = (shares >= -1e-9).all(axis=0).reshape(depth.shape)
        z = (shares.T @ p[:, 2]).reshape(depth.shape)
        depth = np.where(inside, np.maximum(depth, z), depth)
    return depth


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("size", [0.7, 4.0, 40.0])
def test_depth_is_that_of_the_foremost_triangle(seed: int, size: float) -> None:
    random = np.random.default_rng(seed)
    middle = random.uniform(-5, 45, (30, 1, 3))
    points = (middle + random.normal(scale=size, size=(30, 3, 3))).reshape(-1, 3)
    faces = np.arange(90).reshape(-1, 3)
    raster = rasterise(points, faces, 40, 33)
    expected = slowly(points, faces, 40, 33)
    np.testing.assert_array_equal(raster.mask, np.isfinite(expected))
    np.testing.assert_allclose(raster.depth[raster.mask], expected[raster.mask], atol=1e-6)


def test_shares_of_the_corners_give_back_the_pixel() -> None:
    random = np.random.default_rng(3)
    points = random.uniform(0, 30, (60, 3))
    faces = np.arange(60).reshape(-1, 3)
    raster = rasterise(points, faces, 30, 30)
    row, column = np.nonzero(raster.mask)
    seen = np.einsum("nk,nka->na", raster.weights, points[faces[raster.face[raster.mask]]])
    np.testing.assert_allclose(seen[:, 0], column + 0.5, atol=1e-6)
    np.testing.assert_allclose(seen[:, 1], row + 0.5, atol=1e-6)
    np.testing.assert_allclose(seen[:, 2], raster.depth[raster.mask], atol=1e-6)


def test_neighbours_leave_no_gap() -> None:
    """A plane cut into many thin triangles about a common corner covers every pixel of its square."""
    turn = np.linspace(0, 2 * np.pi, 358)
    rim = np.stack([25 + 60 * np.cos(turn), 25 + 60 * np.sin(turn), np.zeros(358)], axis=1)
    points = np.concatenate([[[25.0, 25.0, 0.0]], rim])
    faces = np.stack([np.zeros(357, dtype=np.int64), np.arange(1, 358), np.arange(2, 359)], axis=1)
    assert rasterise(points, faces, 50, 50).mask.all()


def test_nothing_in_the_frame_is_bare_paper() -> None:
    points = np.array([[100.0, 100.0, 0.0], [120.0, 100.0, 0.0], [100.0, 120.0, 0.0]])
    raster = rasterise(points, np.array([[0, 1, 2]]), 20, 10)
    assert not raster.mask.any()
    assert raster.weights.shape == (0, 3)
