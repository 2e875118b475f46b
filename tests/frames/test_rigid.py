"""Rigid changes form a group, and act as scipy's rigid transforms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import RigidTransform

from instep.character.arrays import FloatArray
from instep.frames.rigid import Rigid, mix_frames
from instep.frames.vector import Vec
from tests.frames.samples import components, quat, random_turns, rows, vec

EXACT = 1e-13


def _pair(seed: int) -> tuple[Rigid, RigidTransform]:
    rotation = random_turns(seed, 300)
    shift = np.random.default_rng(seed).uniform(-3, 3, (len(rotation), 3))
    return Rigid(quat(rotation), vec(shift)), RigidTransform.from_components(shift, rotation)


def _matrix(change: Rigid) -> FloatArray:
    """(n, 4, 4) by moving four points."""
    origin = rows(change @ Vec(0.0, 0.0, 0.0))
    columns = [rows(change @ Vec.of(axis)) - origin for axis in np.eye(3)]
    matrix = np.zeros((len(origin), 4, 4))
    matrix[:, :3, :3] = np.stack(columns, axis=-1)
    matrix[:, :3, 3] = origin
    matrix[:, 3, 3] = 1.0
    return matrix


def test_composition_inverse_and_action_are_those_of_scipy() -> None:
    (a, A), (b, B) = _pair(1), _pair(2)
    np.testing.assert_allclose(_matrix(a), A.as_matrix(), rtol=0, atol=EXACT)
    np.testing.assert_allclose(_matrix(a @ b), (A * B).as_matrix(), rtol=0, atol=EXACT)
    np.testing.assert_allclose(_matrix(a.inverse), A.inv().as_matrix(), rtol=0, atol=EXACT)


def test_group_laws() -> None:
    a, b, c = (_pair(seed)[0] for seed in (3, 4, 5))
    np.testing.assert_allclose(_matrix((a @ b) @ c), _matrix(a @ (b @ c)), rtol=0, atol=EXACT)
    np.testing.assert_allclose(_matrix((a @ b).inverse), _matrix(b.inverse @ a.inverse), rtol=0, atol=EXACT)
    identity = np.broadcast_to(np.eye(4), (306, 4, 4))
    for same in (a @ a.inverse, a.inverse @ a):
        np.testing.assert_allclose(_matrix(same), identity, rtol=0, atol=EXACT)
    for same in (a @ Rigid.identity(), Rigid.identity() @ a):
        np.testing.assert_array_equal(_matrix(same), _matrix(a))


def test_a_turn_about_a_point_leaves_it() -> None:
    rotation = random_turns(6, 300)
    point = np.random.default_rng(7).normal(size=(len(rotation), 3))
    change = Rigid.about(vec(point), quat(rotation))
    np.testing.assert_allclose(rows(change @ vec(point)), point, rtol=0, atol=EXACT)
    np.testing.assert_array_equal(components(change.turn), components(quat(rotation)))


def test_carrying_takes_start_to_end() -> None:
    rotation = random_turns(8, 300)
    start, end = np.random.default_rng(9).normal(size=(2, len(rotation), 3))
    change = Rigid.carrying(quat(rotation), vec(start), vec(end))
    np.testing.assert_allclose(rows(change @ vec(start)), end, rtol=0, atol=EXACT)
    np.testing.assert_array_equal(components(change.turn), components(quat(rotation)))


@pytest.mark.parametrize("share", [0.0, 0.25, 1.0])
def test_mixed_frames_end_at_both_and_hold_a_point_on_a_line(share: float) -> None:
    a, b = _pair(10)[0], _pair(11)[0]
    held = vec(np.random.default_rng(12).normal(size=(306, 3)))
    mixed = mix_frames(a, b, share, held)
    line = rows(a @ held) * (1 - share) + rows(b @ held) * share
    np.testing.assert_allclose(rows(mixed @ held), line, rtol=0, atol=EXACT)
    if share in (0.0, 1.0):
        np.testing.assert_allclose(_matrix(mixed), _matrix(b if share else a), rtol=0, atol=EXACT)
