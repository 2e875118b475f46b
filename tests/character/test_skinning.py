"""Linear blend skinning against the plain sum."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.character import Character, Poses, skin_vertices
from instep.character.arrays import FloatArray, IntArray
from instep.character.skinning import FRAMES, VERTICES
from tests.biped import make_biped


def random_poses(character: Character, count: int, seed: int) -> Poses:
    joints = len(character.skeleton)
    random = np.random.default_rng(seed)
    rotation = Rotation.random(count * joints, random_state=seed).as_quat(scalar_first=True)
    position = character.skeleton.positions + random.normal(0, 0.3, (count, joints, 3))
    return Poses(rotation.reshape(count, joints, 4), position, random.uniform(0.5, 2.0, count))


def plainly(character: Character, poses: Poses, vertices: IntArray) -> FloatArray:
    """The sum over influences of weight x (T_world_joint inv(bind)) x position."""
    mesh, skeleton = character.mesh, character.skeleton
    assert mesh is not None
    changes = poses.world(skeleton) @ np.linalg.inv(skeleton.bind)
    points = np.concatenate([mesh.positions, np.ones((len(mesh), 1))], axis=1)[vertices]
    blended = np.einsum("vk,nvkab->nvab", mesh.weights[vertices], changes[:, mesh.joints[vertices]])
    return np.asarray(np.einsum("nvab,vb->nva", blended, points)[..., :3])


@given(st.integers(0, 2**31), st.integers(1, 3))
def test_it_is_the_plain_sum(seed: int, count: int) -> None:
    character = make_biped(scale=1.3)
    assert character.mesh is not None
    poses = random_poses(character, count, seed)
    vertices = np.random.default_rng(seed).integers(0, len(character.mesh), 100)
    found = skin_vertices(character.mesh, character.skeleton, poses, vertices)
    assert np.abs(found - plainly(character, poses, vertices)).max() < 1e-12


@pytest.mark.parametrize("count", [0, 1, FRAMES, FRAMES + 1, 3 * FRAMES - 1])
def test_blocks_meet(count: int) -> None:
    character = make_biped(around=16)
    mesh = character.mesh
    assert mesh is not None
    assert len(mesh) > VERTICES
    poses = random_poses(character, count, 0)
    found = skin_vertices(mesh, character.skeleton, poses)
    assert found.shape == (count, len(mesh), 3)
    few = np.arange(0, len(mesh), 37)
    assert np.abs(found[:, few] - plainly(character, poses, few)).max(initial=0.0) < 1e-12


def test_no_vertices() -> None:
    character = make_biped()
    assert character.mesh is not None
    poses = random_poses(character, 2, 0)
    assert skin_vertices(character.mesh, character.skeleton, poses, []).shape == (2, 0, 3)


def test_the_bind_pose_moves_nothing() -> None:
    character = make_biped(scale=100.0)
    mesh, joints = character.mesh, len(character.skeleton)
    assert mesh is not None
    poses = Poses(np.tile([1.0, 0, 0, 0], (2, joints, 1)), np.tile(character.skeleton.positions, (2, 1, 1)), np.ones(2))
    assert np.abs(skin_vertices(mesh, character.skeleton, poses) - mesh.positions).max() < 1e-11


def test_many_influences() -> None:
    character = make_biped()
    assert character.mesh is not None
    random = np.random.default_rng(4)
    joints = random.integers(0, len(character.skeleton), (len(character.mesh), 9))  # a joint may come twice
    weights = random.dirichlet(np.ones(9), len(character.mesh))
    mesh = dataclasses.replace(character.mesh, joints=joints, weights=weights)
    many = dataclasses.replace(character, mesh=mesh)
    poses = random_poses(many, 3, 4)
    rows = np.arange(0, len(mesh), 11)
    assert np.abs(skin_vertices(mesh, many.skeleton, poses, rows) - plainly(many, poses, rows)).max() < 1e-12
