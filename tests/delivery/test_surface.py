"""Welding, creases and cuts, held against solids whose volume is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.delivery.surface import CAP, CREASE_RAD, cut, weld
from tests.delivery.shapes import ball, box, surface_of, volume


@pytest.mark.parametrize("seams", [False, True])
def test_a_box_has_twelve_creases_whether_or_not_its_seams_are_doubled(seams: bool) -> None:
    surface = surface_of(box(seams=seams))
    ends = np.sort(weld(surface.points)[surface.creases], axis=1)
    assert len(np.unique(ends, axis=0)) == 12
    flat = surface.points[surface.faces]
    normal = np.cross(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    np.testing.assert_allclose(surface.corner_normals, np.repeat(normal[:, None], 3, axis=1), atol=1e-12)


def test_a_ball_has_no_crease_and_normals_from_its_middle() -> None:
    points, faces = ball(around=64)
    surface = surface_of((points, faces))
    assert len(surface.creases) == 0
    np.testing.assert_allclose(
        surface.corner_normals, points[surface.faces], atol=0.02
    )  # by area: least even at the poles


def test_pieces_that_share_no_edge_are_told_apart() -> None:
    joined = ball(), ball(centre=(0.437, 0.1, 0))
    assert len(np.unique(surface_of(*joined).part)) == 2
    points = np.concatenate([joined[0][0], joined[1][0]])
    faces = np.concatenate([joined[0][1], joined[1][1] + len(joined[0][0])])
    assert len(np.unique(surface_of((points, faces)).part)) == 2


@pytest.mark.parametrize("seams", [False, True])
@given(
    direction=st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1),
    height=st.floats(-0.3, 0.3),
)
def test_both_halves_of_a_cut_box_are_closed_and_make_up_the_whole(
    seams: bool, direction: tuple[float, float, float], height: float
) -> None:
    points, faces = box(seams=seams)
    side = points @ (np.array(direction) / np.linalg.norm(direction)) - height
    # a vertex exactly on the plane belongs to the upper half of both cuts
    side = np.where(np.abs(side) < 1e-9, 1e-9, side)
    place = weld(points)
    total = 0.0
    for sign in (1.0, -1.0):
        done = cut(faces, sign * side, place)
        total += volume(np.asarray(done.blend @ points), done.faces)
    assert total == pytest.approx(1.0, abs=1e-9)


def test_a_cut_ball_has_the_volume_of_its_segment() -> None:
    points, faces = ball(around=200)
    done = cut(faces, points[:, 1] - 0.3, weld(points))
    left_out = np.pi * 0.7**2 * (3 - 0.7) / 3  # the segment above the plane
    assert volume(np.asarray(done.blend @ points), done.faces) == pytest.approx(4 / 3 * np.pi - left_out, rel=2e-3)
    assert (done.origin == CAP).sum() == 2 * 200  # two triangles to each of the quads that are cut


def test_a_cut_moves_with_the_pose() -> None:
    points, faces = ball(around=24)
    done = cut(faces, points[:, 1] - 0.3, weld(points))
    R = Rotation.from_rotvec([0.3, -1.0, 0.4]).as_matrix()
    np.testing.assert_allclose(done.blend @ (points @ R.T + 5.0), (done.blend @ points) @ R.T + 5.0, atol=1e-12)


def test_a_cut_that_misses_keeps_everything_or_nothing() -> None:
    points, faces = box()
    assert len(cut(faces, points[:, 1] - 2.0, weld(points)).faces) == 12
    assert len(cut(faces, points[:, 1] + 2.0, weld(points)).faces) == 0


def test_corner_normals_are_means_over_faces_within_the_crease_angle() -> None:
    """Against a plain loop, on a ball with one side dented so that smooth and sharp places lie side by side."""
    points, faces = ball(around=24)
    points = np.where(points[:, :1] > 0.4, points * np.array([0.4, 1.0, 1.0]), points)
    surface = surface_of((points, faces))
    corner = points[faces]
    area = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    unit = area / np.linalg.norm(area, axis=1, keepdims=True)
    assert 0 < len(surface.creases) < len(surface.edges)
    for face in range(len(faces)):
        for k, vertex in enumerate(faces[face]):
            around = np.flatnonzero((faces == vertex).any(axis=1))
            alike = around[unit[around] @ unit[face] > np.cos(CREASE_RAD)]
            expected = area[alike].sum(axis=0)
            np.testing.assert_allclose(surface.corner_normals[face, k], expected / np.linalg.norm(expected), atol=1e-9)
