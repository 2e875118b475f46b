"""Sampling as glTF 2.0 asks (3.11, appendix C), held against scipy's interpolation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation, Slerp

from instep.character import Clip, Poses, Track, poses_from_world, sample_clip, sample_poses, world_from_local
from instep.character.pose import local_matrices
from instep.character.sampling import nearest_rotation, sample_track, slerp
from tests.biped import make_biped

TIMES = np.array([0.0, 0.5, 0.75, 2.0])
AT = np.array([-1.0, 0.0, 0.1, 0.5, 0.6, 0.75, 1.3, 2.0, 9.0])


def quaternions(seed: int, count: int) -> Any:
    values = np.random.default_rng(seed).normal(size=(count, 4))
    return values / np.linalg.norm(values, axis=1, keepdims=True)


def test_linear_positions() -> None:
    values = np.random.default_rng(0).normal(size=(4, 3))
    found = sample_track(Track("a", "translation", TIMES, values), AT)
    expected = np.stack([np.interp(AT, TIMES, values[:, i]) for i in range(3)], axis=1)
    assert np.abs(found - expected).max() < 1e-15


def test_step_holds_until_the_next_key() -> None:
    values = np.arange(12.0).reshape(4, 3)
    found = sample_track(Track("a", "scale", TIMES, values, "STEP"), AT)
    assert np.array_equal(found, values[[0, 0, 0, 1, 1, 2, 2, 3, 3]])


def test_cubic_spline_is_hermite() -> None:
    values = np.random.default_rng(1).normal(size=(4, 3, 3))
    found = sample_track(Track("a", "translation", TIMES, values, "CUBICSPLINE"), AT)
    for piece in range(3):  # each piece has its own tangents: out of its first key, into its second
        inside = (TIMES[piece] <= AT) & (TIMES[piece + 1] > AT)
        slopes = np.stack([values[piece, 2], values[piece + 1, 0]])
        spline = CubicHermiteSpline(TIMES[piece : piece + 2], values[piece : piece + 2, 1], slopes)
        assert np.abs(found[inside] - spline(AT[inside])).max() < 1e-14
    assert np.array_equal(found[[0, -1]], values[[0, -1], 1])


def test_cubic_spline_of_rotations_is_a_unit_quaternion() -> None:
    values = np.random.default_rng(2).normal(size=(4, 3, 4))
    found = sample_track(Track("a", "rotation", TIMES, values, "CUBICSPLINE"), np.linspace(0, 2, 50))
    assert np.abs(np.linalg.norm(found, axis=1) - 1).max() < 1e-15


@pytest.mark.parametrize("seed", range(5))
def test_linear_rotations_are_slerp_along_the_shorter_arc(seed: int) -> None:
    values = quaternions(seed, 4)
    found = sample_track(Track("a", "rotation", TIMES, values * [[1], [-1], [1], [-1]]), AT)
    expected = Slerp(TIMES, Rotation.from_quat(values, scalar_first=True))(np.clip(AT, 0, 2))
    apart = Rotation.from_quat(found, scalar_first=True).inv() * expected
    assert np.abs(apart.magnitude()).max() < 1e-7


@given(
    st.integers(0, 2**31), st.floats(0, 1), st.sampled_from([0.0, 1e-300, 1e-16, 1e-9, 1e-6, 1e-3, 1.0, np.pi - 1e-9])
)
def test_slerp_turns_at_an_even_rate(seed: int, t: float, angle: float) -> None:
    """Also between nearly equal and nearly opposite rotations."""
    a = Rotation.random(random_state=seed)
    axis = np.random.default_rng(seed).normal(size=3)
    axis /= np.linalg.norm(axis)
    b = a * Rotation.from_rotvec(angle * axis)
    first, second = a.as_quat(scalar_first=True), b.as_quat(scalar_first=True)
    found = Rotation.from_quat(slerp(first, -second, np.array([t])), scalar_first=True)
    expected = a * Rotation.from_rotvec(t * angle * axis)
    assert (found.inv() * expected).magnitude() < 3e-8


def test_one_key_holds_for_ever() -> None:
    track = Track("a", "translation", np.array([0.5]), np.array([[1.0, 2, 3]]))
    assert np.array_equal(sample_track(track, AT), np.tile([1.0, 2, 3], (len(AT), 1)))


def test_what_has_no_track_stays_at_rest() -> None:
    skeleton = make_biped().skeleton
    joint = skeleton.index("head")
    turned = quaternions(3, 1)
    tracks = (
        Track("head", "rotation", np.array([0.0]), turned),
        Track("no such joint", "rotation", np.array([0.0]), turned),
    )
    local = sample_clip(Clip("clip", tracks), skeleton, [0.0, 1.0])
    rest = local_matrices(skeleton, skeleton.rest[None])[0]
    others = [j for j in range(len(skeleton)) if j != joint]
    assert np.array_equal(local[:, others], np.broadcast_to(rest[others], (2, len(others), 4, 4)))
    assert np.array_equal(local[:, joint, :3, 3], np.tile(rest[joint, :3, 3], (2, 1)))
    expected = Rotation.from_quat(turned[0], scalar_first=True).as_matrix()
    assert np.abs(local[:, joint, :3, :3] - expected).max() < 1e-15


@given(st.integers(0, 2**31))
def test_world_and_local_undo_each_other(seed: int) -> None:
    skeleton = make_biped(scale=3.0).skeleton
    random = np.random.default_rng(seed)
    local = np.tile(np.eye(4), (2, len(skeleton), 1, 1))
    turned = Rotation.random(2 * len(skeleton), random_state=seed).as_matrix()
    local[..., :3, :3] = turned.reshape(2, len(skeleton), 3, 3) * random.uniform(0.5, 2, (2, len(skeleton), 1, 1))
    local[..., :3, 3] = random.normal(size=(2, len(skeleton), 3))
    world = world_from_local(skeleton, local)
    assert np.abs(local_matrices(skeleton, world) - local).max() < 1e-9


@given(st.integers(0, 2**31))
def test_poses_from_world_undo_world(seed: int) -> None:
    skeleton = make_biped(scale=0.02).skeleton
    count = len(skeleton)
    rotation = Rotation.random(3 * count, random_state=seed).as_quat(scalar_first=True).reshape(3, count, 4)
    position = np.random.default_rng(seed).normal(size=(3, count, 3))
    found = poses_from_world(skeleton, Poses(rotation, position, np.ones(3)).world(skeleton))
    assert np.abs(np.abs(np.sum(found.rotation * rotation, axis=-1)) - 1).max() < 1e-12
    assert np.abs(found.position - position).max() < 1e-12
    assert np.array_equal(found.scale, np.ones(3))


@given(arrays(np.float64, (3, 3), elements=st.floats(-10, 10)))
def test_nearest_rotation_is_one(matrix: Any) -> None:
    if abs(np.linalg.det(matrix)) < 1e-6:
        matrix = matrix + 20 * np.eye(3)
    R = nearest_rotation(matrix)
    assert np.abs(R @ R.T - np.eye(3)).max() < 1e-12
    assert np.linalg.det(R) == pytest.approx(1)
    if np.linalg.det(matrix) > 1e-6:
        assert np.abs(R - Rotation.from_matrix(matrix).as_matrix()).max() < 1e-6


def test_the_rest_pose_is_no_change_where_rest_is_bind() -> None:
    skeleton = make_biped().skeleton
    poses = sample_poses(Clip("empty", ()), skeleton, [0.0, 2.0])
    assert np.abs(np.abs(poses.rotation[..., 0]) - 1).max() < 1e-15
    assert np.abs(poses.position - skeleton.positions).max() < 1e-15
