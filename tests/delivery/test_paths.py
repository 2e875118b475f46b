"""Path data read back, and smoothing."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from instep.delivery.paths import FIT, path_data, regions, smoothed
from tests.delivery.shapes import area, read_path


@given(st.lists(st.tuples(st.integers(-900_000, 900_000), st.integers(-900_000, 900_000)), min_size=2, max_size=40))
def test_paths_keep_to_their_line(points: list[tuple[int, int]]) -> None:
    line = np.array(points) / 1000.0
    read = read_path(path_data([line]))
    if not read:  # everything rounds to one place
        assert np.abs(np.round(line * 10) - np.round(line[0] * 10)).max() <= 2 + 10 * FIT
        return
    there = shapely.hausdorff_distance(shapely.linestrings(line), shapely.linestrings(read[0]))
    assert there <= FIT + 0.08  # and half a tenth in each direction for rounding


def test_rings_close_and_keep_their_area() -> None:
    turn = np.linspace(0, 2 * np.pi, 500)
    ring = 100 + 80 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    data = path_data([ring], closed=True)
    assert data.endswith("z")
    assert abs(area(read_path(data)) / (np.pi * 80**2) - 1) < 0.005
    assert len(data) < 500


def test_regions_have_their_holes() -> None:
    y, x = np.mgrid[0:200, 0:200] + 0.5
    away = np.hypot(x - 100, y - 100)
    rings = regions(np.abs(away - 60), 20.0, 2.0, 1.0)
    assert len(rings) == 2
    assert abs(area(rings) / (np.pi * (40**2 - 20**2)) - 1) < 0.005


@given(st.integers(2, 60), st.floats(0.5, 6.0))
def test_smoothing_keeps_ends_and_straight_lines(count: int, sigma: float) -> None:
    line = np.linspace([3.0, -2.0], [40.0, 25.0], count)
    np.testing.assert_allclose(smoothed(line, sigma), line, atol=1e-9)
    bent = line + np.random.default_rng(0).normal(size=line.shape)
    calm = smoothed(bent, sigma)
    np.testing.assert_allclose(calm[[0, -1]], bent[[0, -1]], atol=1e-9)
