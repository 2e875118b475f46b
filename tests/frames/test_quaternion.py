"""Rotations against scipy, over batches, and close to where a direction loses its meaning."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.frames.quaternion import (
    Quat,
    mix_turns,
    normalised,
    swing,
    turn_about,
    turn_yaw_pitch_lean,
    twist_between,
)
from instep.frames.vector import Vec
from tests.frames.samples import (
    across_of,
    apart,
    components,
    quat,
    random_turns,
    random_units,
    rows,
    small_angles,
    turn,
    units,
    vec,
)

EXACT = 1e-14
"""A few roundings of numbers about 1."""


def test_composition_is_that_of_scipy() -> None:
    a, b = random_turns(1, 500), random_turns(2, 500)
    assert apart(turn(quat(a) @ quat(b)), a * b).max() < EXACT


def test_a_vector_turns_as_in_scipy() -> None:
    rotation = random_turns(3, 500)
    points = np.random.default_rng(4).normal(size=(len(rotation), 3))
    np.testing.assert_allclose(rows(quat(rotation) @ vec(points)), rotation.apply(points), rtol=0, atol=EXACT)


def test_the_inverse_undoes() -> None:
    rotation = random_turns(5, 500)
    q = quat(rotation)
    for undone in (q @ q.inverse, q.inverse @ q):
        np.testing.assert_allclose(components(undone), [[1, 0, 0, 0]] * len(rotation), rtol=0, atol=EXACT)


def test_composition_is_associative_and_has_an_identity() -> None:
    a, b, c = (quat(random_turns(seed, 300)) for seed in (6, 7, 8))
    np.testing.assert_allclose(components((a @ b) @ c), components(a @ (b @ c)), rtol=0, atol=EXACT)
    for same in (a @ Quat.identity(), Quat.identity() @ a):
        np.testing.assert_array_equal(components(same), components(a))


def test_batches_of_any_shape_broadcast() -> None:
    rng = np.random.default_rng(9)
    q = quat(Rotation.random(5, rng=rng))
    grid = Quat(*(component[:, None] for component in q))
    points = rng.normal(size=(4, 3))
    turned = rows(grid @ vec(points))
    assert turned.shape == (5, 4, 3)
    for k, rotation in enumerate(turn(q)):
        np.testing.assert_allclose(turned[k], rotation.apply(points), rtol=0, atol=EXACT)


def test_turn_about_is_the_right_hand_rule() -> None:
    axes = random_units(10, 400)
    angles = np.random.default_rng(11).uniform(-720, 720, 400)
    expected = Rotation.from_rotvec(axes * np.radians(angles)[:, None])
    assert apart(turn(turn_about(vec(axes), angles)), expected).max() < EXACT


def test_yaw_pitch_lean_are_intrinsic_turns_in_that_order() -> None:
    basis = random_turns(12, 300)
    yaw, pitch, lean = np.random.default_rng(13).uniform(-360, 360, (3, len(basis)))
    left, up, forward = (vec(basis.apply(axis)) for axis in np.eye(3))
    local = Rotation.from_euler("YXZ", np.stack([yaw, pitch, lean], axis=1), degrees=True)
    found = turn(turn_yaw_pitch_lean((left, up, forward), yaw, pitch, lean))
    assert apart(found, basis * local * basis.inv()).max() < 3 * EXACT


def test_normalised_has_length_one_and_the_same_direction() -> None:
    raw = np.random.default_rng(14).normal(size=(300, 4)) * np.logspace(-12, 12, 300)[:, None]
    found = components(normalised(Quat(*raw.T)))
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, rtol=0, atol=EXACT)
    np.testing.assert_allclose(found, raw / np.linalg.norm(raw, axis=1)[:, None], rtol=0, atol=EXACT)


def _swing_errors(start: FloatArray, end: FloatArray) -> tuple[FloatArray, Rotation]:
    """How far the swing misses the end, and the swing."""
    found = turn(swing(vec(start), vec(end), vec(across_of(start))))
    return np.linalg.norm(found.apply(start) - end, axis=1), found


def test_swing_takes_start_to_end_by_the_least_turn() -> None:
    start, end = random_units(15, 2000), random_units(16, 2000)
    missed, found = _swing_errors(start, end)
    assert missed.max() < EXACT
    least = np.arctan2(np.linalg.norm(np.cross(start, end), axis=1), (start * end).sum(axis=1))
    np.testing.assert_allclose(found.magnitude(), least, rtol=0, atol=1e-13)


@given(units(), small_angles, st.floats(0, 2 * np.pi))
@example(np.array([0.0, 1.0, 0.0]), 1e-10, 0.0)
@example(np.array([0.0, 1.0, 0.0]), -1e-10, 0.0)
@example(np.array([0.0, 1.0, 0.0]), 0.0, 0.0)
def test_swing_is_right_close_to_the_opposite(start: FloatArray, away: float, way: float) -> None:
    """Within 1e-10 of the opposite the spare axis is taken: the end is then missed by that much at most."""
    side = across_of(start[None])[0]
    other = np.cross(start, side)
    end = -start * np.cos(away) + (side * np.cos(way) + other * np.sin(way)) * np.sin(away)
    missed, _ = _swing_errors(start[None], end[None])
    assert missed[0] < 3e-10


def test_swing_is_right_at_every_distance_from_the_opposite() -> None:
    """Axes that fade into one another cancel at one place: this walks all round at all distances."""
    way = np.linspace(0, 2 * np.pi, 73)[:, None]
    away = np.logspace(-17, 0, 400)[None, :]
    start = random_units(23, 1)[0]
    side, other = across_of(start[None])[0], np.cross(start, across_of(start[None])[0])
    end = -start * np.cos(away)[..., None] * np.ones_like(way)[..., None]
    end = end + (side * np.cos(way)[..., None] + other * np.sin(way)[..., None]) * np.sin(away)[..., None]
    end = end.reshape(-1, 3)
    missed, _ = _swing_errors(np.tile(start, (len(end), 1)), end)
    assert missed.max() < 3e-10
    far = np.broadcast_to(away > 1e-9, (73, 400)).ravel()
    assert missed[far].max() < EXACT


@given(units(), small_angles)
def test_swing_between_nearly_equal_directions_is_nearly_nothing(start: FloatArray, away: float) -> None:
    side = across_of(start[None])[0]
    end = start * np.cos(away) + side * np.sin(away)
    missed, found = _swing_errors(start[None], end[None])
    assert missed[0] < EXACT
    assert abs(np.atleast_1d(found.magnitude())[0] - abs(away)) < EXACT


def test_swing_between_equal_directions_is_exactly_nothing() -> None:
    start = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0]])
    found = components(swing(vec(start), vec(start), vec(across_of(start))))
    np.testing.assert_array_equal(found, [[1, 0, 0, 0]] * 2)


@given(units(), st.one_of(st.floats(-np.pi, np.pi), small_angles, small_angles.map(lambda a: np.pi - a)))
@example(np.array([0.0, 1.0, 0.0]), np.pi)
@example(np.array([0.0, 1.0, 0.0]), np.pi / 2)
@example(np.array([0.0, 1.0, 0.0]), -np.pi / 2)
def test_twist_between_turns_about_the_axis_by_any_angle(axis: FloatArray, angle: float) -> None:
    start = across_of(axis[None])
    wanted = Rotation.from_rotvec(axis * angle)
    found = turn(twist_between(vec(start), vec(wanted.apply(start)), vec(axis[None])))
    assert apart(found, wanted).max() < 3e-15 + EXACT


def test_twist_between_vectors_that_vanish_is_nothing() -> None:
    zero = Vec(0.0, 0.0, 0.0)
    found = components(twist_between(zero, zero, Vec(0.0, 1.0, 0.0)))
    np.testing.assert_array_equal(found, [1, 0, 0, 0])


def test_mixed_turns_end_at_both() -> None:
    a, b = random_turns(17, 500), random_turns(18, 500)
    assert apart(turn(mix_turns(quat(a), quat(b), 0.0)), a).max() < EXACT
    assert apart(turn(mix_turns(quat(a), quat(b), 1.0)), b).max() < EXACT


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_mixed_turns_go_the_short_way(share: float) -> None:
    """On the arc between the two, so that the angles to both sum to the whole; at the middle both are equal."""
    a, b = random_turns(19, 500), random_turns(20, 500)
    mixed = turn(mix_turns(quat(a), quat(b), share))
    whole, first, second = apart(a, b), apart(a, mixed), apart(mixed, b)
    np.testing.assert_allclose(first + second, whole, rtol=0, atol=1e-7)  # acos-like at half turns
    if share == 0.5:
        np.testing.assert_allclose(first, second, rtol=0, atol=1e-12)


def test_mixed_turns_do_not_care_for_the_sign_of_a_quaternion() -> None:
    a, b = random_turns(21, 300), random_turns(22, 300)
    q = quat(b)
    other = Quat(-q.w, -q.x, -q.y, -q.z)
    for share in (0.0, 0.3, 1.0):
        assert apart(turn(mix_turns(quat(a), q, share)), turn(mix_turns(quat(a), other, share))).max() < 1e-12
