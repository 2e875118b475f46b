"""Drawings of solids whose outline, shade and hidden lines are known."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from instep.delivery.hatching import PITCH, hatch_lines
from instep.delivery.ink import draw_ink
from instep.delivery.paths import regions
from instep.delivery.raster import rasterise
from instep.delivery.shading import HATCHES, LIGHT, TONES, shade_field
from tests.delivery.shapes import area, ball, box, read_path, square_frame, surface_of


@pytest.mark.parametrize("around", [64, 400])
def test_the_outline_of_a_ball_is_a_circle(around: int) -> None:
    """Within 1 % of its radius, for a coarse ball and for one whose faces are as small as pixels."""
    frame = square_frame(1.2, 200.0)
    ink = draw_ink(surface_of(ball(around=around)), frame)
    (ring,) = read_path(ink.outline)
    radius = np.linalg.norm(ring + np.array(ink.shift) - 240.0, axis=1) / 200.0
    assert np.abs(radius - 1.0).max() < 0.01
    assert area([ring]) == pytest.approx(np.pi * 200.0**2, rel=0.01)
    assert ink.breaks == ""
    assert ink.creases == ""


@pytest.mark.parametrize("level", [*TONES, *HATCHES])
def test_tones_of_a_ball_cover_what_lambert_says(level: float) -> None:
    """Area of the disc where normal times light lies below a level, counted on a fine grid of true normals."""
    pixels, radius = 2.5, 150.0
    surface = surface_of(ball(around=200))
    placed = square_frame(1.2, radius).place(surface.points) * pixels
    side = int(2.4 * radius * pixels)
    raster = rasterise(placed, surface.faces, side, side)
    shade = shade_field(surface, raster, np.eye(3), pixels, hollow=0.0)
    drawn = area(regions(shade, level, pixels, 1.0)) / radius**2
    x, y = np.meshgrid(np.linspace(-1, 1, 1501), np.linspace(-1, 1, 1501))
    inside = x * x + y * y < 1
    normal = np.stack([x, y, np.sqrt(np.maximum(1 - x * x - y * y, 0))], axis=-1)
    dark = inside & (normal @ (np.array(LIGHT) / np.linalg.norm(LIGHT)) < level)
    assert drawn == pytest.approx(dark.sum() * (2 / 1500) ** 2, abs=0.01 * np.pi)


def test_tones_lie_on_one_another() -> None:
    ink = draw_ink(surface_of(ball()), square_frame(1.2, 150.0))
    areas = [area(read_path(d)) for d in (ink.figure, *ink.tones)]
    assert areas == sorted(areas, reverse=True)
    assert areas[-1] > 0


def test_what_lies_behind_a_ball_is_not_drawn() -> None:
    """A box behind a ball: none of its lines shows within the ball's outline, and all of them beside it."""
    points, faces = box(1.6)
    turned = points @ np.array([[0.8, 0, 0.6], [0, 1, 0], [-0.6, 0, 0.8]]).T
    behind = turned + np.array([0.3, 0.2, -3.0])
    scale, radius = 150.0, 0.7
    alone = draw_ink(surface_of((behind, faces)), square_frame(1.6, scale))
    both = draw_ink(surface_of((behind, faces), ball(radius)), square_frame(1.6, scale))
    middle = 1.6 * scale

    def inside(data: str, shift: tuple[float, float], within: float) -> int:
        lines = read_path(data)
        spots = [a + (b - a) * t for line in lines for a, b in itertools.pairwise(line) for t in np.linspace(0, 1, 20)]
        away = np.linalg.norm(np.array(spots).reshape(-1, 2) + np.array(shift) - middle, axis=1)
        return int((away < within * radius * scale).sum())

    assert inside(alone.creases, alone.shift, 0.97) > 0
    assert inside(both.creases, both.shift, 0.97) == 0
    # the ball's own rim, where it stands before the box, is drawn as a line in front
    rim = np.concatenate(read_path(both.breaks)) + np.array(both.shift) - middle
    away = np.linalg.norm(rim, axis=1) / (radius * scale)
    assert (np.abs(away - 1.0) < 0.01).mean() > 0.95
    assert area(read_path(both.outline)) > area(read_path(alone.outline))


def test_straight_edges_are_drawn_straight() -> None:
    """A turned box is drawn by few long lines, not by the staircase of its pixels."""
    points, faces = box(1.0)
    angle = 0.05
    R = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    ink = draw_ink(surface_of((points @ R.T, faces)), square_frame(0.8, 300.0))
    (ring,) = read_path(ink.outline)
    corners = np.array([[-0.5, -0.5], [-0.5, 0.5], [0.5, 0.5], [0.5, -0.5]]) @ R[:2, :2].T
    corners = (np.array([-0.8, 0.8]) - corners) * np.array([-300.0, 300.0])
    edges = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    for spot in ring + np.array(ink.shift):
        distance = min(
            abs(float((b - a)[0] * (spot - a)[1] - (b - a)[1] * (spot - a)[0])) / float(np.linalg.norm(b - a))
            for a, b in edges
        )
        assert distance < 0.5
    assert len(ring) < 24


def test_hatching_stays_on_what_is_dark_and_keeps_its_distance() -> None:
    shade = np.full((300, 400), 1.0)
    shade[100:200, 100:300] = -1.0
    strokes = hatch_lines(shade, 0.0, 38.0, pixels=2.0)
    assert len(strokes) > 10
    assert strokes[..., 0].min() >= 50 - 0.5
    assert strokes[..., 0].max() <= 150 + 0.5
    assert strokes[..., 1].min() >= 50 - 0.5
    assert strokes[..., 1].max() <= 100 + 0.5
    across = np.array([np.sin(np.deg2rad(38.0)), np.cos(np.deg2rad(38.0))])
    offsets = np.unique(np.round(strokes[:, 0] @ across, 6))
    np.testing.assert_allclose(np.diff(offsets), PITCH, atol=1e-5)


def test_an_open_shell_is_drawn_from_its_inside_too() -> None:
    points, faces = ball(around=48)
    front = points[faces].mean(axis=1)[:, 2] < 0.2
    ink = draw_ink(surface_of((points, faces[front])), square_frame(1.2, 100.0))
    assert area(read_path(ink.figure)) == pytest.approx(np.pi * 100.0**2, rel=0.02)
    assert "nan" not in ink.svg()


def test_the_same_drawing_twice() -> None:
    surface = surface_of(ball(), box(1.2))
    assert draw_ink(surface, square_frame(1.2, 150.0)).svg() == draw_ink(surface, square_frame(1.2, 150.0)).svg()
