"""The pieces of a character that plates show: what belongs to them, and that they are closed."""

from __future__ import annotations

import numpy as np
import pytest

from instep.character import Character, Mesh
from instep.delivery.anatomy import SHIN_SHOWN, foot_piece, leg_piece, pairs, sole_piece
from instep.delivery.surface import CAP, weld
from instep.landmarks import Measurement
from tests.delivery.shapes import volume
from tests.measured import make_measured_biped

Biped = tuple[Character, Measurement]


def mesh_of(biped: Biped) -> Mesh:
    mesh = biped[0].mesh
    assert mesh is not None
    return mesh


@pytest.fixture(scope="module", params=[{}, {"scale": 100.0, "offset": (50.0, 0.0, 0.0)}, {"toes": False}])
def biped(request: pytest.FixtureRequest) -> Biped:
    return make_measured_biped(**request.param)


def test_a_leg_is_its_own_side_from_the_floor_to_the_hip(biped: Biped) -> None:
    _, measurement = biped
    left, right = measurement.legs
    points = leg_piece(mesh_of(biped), (left,)).surface(mesh_of(biped).positions).used_points()
    middle = 0.5 * (left.hip.position + right.hip.position)
    out = (points - middle) @ (left.hip.position - middle)
    assert (out > 0).all()
    assert points[:, 1].min() == pytest.approx(measurement.floor, abs=1e-3 * measurement.leg_length)
    assert points[:, 1].max() > left.hip.position[1] - 0.25 * measurement.leg_length
    both = leg_piece(mesh_of(biped), (left, right)).surface(mesh_of(biped).positions)
    assert len(both.faces) == 2 * len(leg_piece(mesh_of(biped), (left,)).faces)


def test_a_foot_is_cut_square_to_its_shin_and_closed(biped: Biped) -> None:
    _, measurement = biped
    leg = measurement.legs[0]
    piece = foot_piece(mesh_of(biped), leg)
    points = np.asarray(piece.blend @ mesh_of(biped).positions)
    shin = leg.knee.position - leg.ankle.position
    length = float(np.linalg.norm(shin))
    up = (points - leg.ankle.position) @ (shin / length)
    assert up.max() == pytest.approx(SHIN_SHOWN * length, rel=1e-9)
    cap = points[piece.faces[piece.part == CAP]]
    assert len(cap)
    assert np.ptp((cap - leg.ankle.position) @ (shin / length)) < 1e-9 * length
    place = weld(points)[piece.faces]
    ends = np.sort(place[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    assert (np.unique(ends, axis=0, return_counts=True)[1] % 2 == 0).all()
    assert volume(points - leg.ankle.position, piece.faces) > 0


def test_a_posed_piece_follows_the_mesh(biped: Biped) -> None:
    _, measurement = biped
    piece = sole_piece(mesh_of(biped), measurement.legs[0])
    rest = piece.surface(mesh_of(biped).positions)
    moved = piece.surface(2.0 * mesh_of(biped).positions + 1.0)
    np.testing.assert_allclose(moved.points, 2.0 * rest.points + 1.0, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(moved.corner_normals, rest.corner_normals, atol=1e-6)


def test_legs_come_in_pairs_left_first(biped: Biped) -> None:
    _, measurement = biped
    assert [[leg.name for leg in pair] for pair in pairs(measurement)] == [["left", "right"]]
