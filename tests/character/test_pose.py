"""Poses as changes from the bind pose, and transforms taken apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.character import Poses
from instep.character.pose import rotation_matrices, split_transforms
from instep.errors import CharacterError
from tests.biped import make_biped
from tests.character.test_skinning import random_poses


@given(st.integers(0, 2**31))
def test_rotation_matrices_are_those_of_scipy(seed: int) -> None:
    R = Rotation.random(5, random_state=seed)
    assert np.abs(rotation_matrices(R.as_quat(scalar_first=True)) - R.as_matrix()).max() < 1e-14


@given(st.integers(0, 2**31), st.floats(1e-3, 1e3))
def test_transforms_are_taken_apart_and_put_together(seed: int, size: float) -> None:
    random = np.random.default_rng(seed)
    R = Rotation.random(4, random_state=seed).as_matrix()
    matrices = np.tile(np.eye(4), (4, 1, 1))
    scale = size * random.uniform(0.2, 3.0, (4, 3))
    matrices[:, :3, :3] = R * scale[:, None]
    matrices[:, :3, 3] = random.normal(size=(4, 3))
    translation, rotation, found = split_transforms(matrices, "test")
    assert np.array_equal(translation, matrices[:, :3, 3])
    assert np.abs(rotation_matrices(rotation) - R).max() < 1e-12
    assert np.abs(found / scale - 1).max() < 1e-12


@pytest.mark.parametrize("linear", [np.diag([-1.0, 1, 1]), np.array([[1, 0.3, 0], [0, 1, 0], [0, 0, 1]])])
def test_shear_and_mirror_are_refused(linear: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> None:
    T = np.eye(4)
    T[:3, :3] = linear
    with pytest.raises(CharacterError) as caught:
        split_transforms(T, "file.glb: node 3")
    assert str(caught.value) == (
        "file.glb: node 3: a joint would have to be sheared or mirrored to hold this pose; "
        "expected joints whose scale is the same along all three axes. "
        "Apply the scale in the modelling program and export again."
    )


@given(st.integers(0, 2**31))
def test_changes_take_bind_to_world(seed: int) -> None:
    character = make_biped()
    skeleton = character.skeleton
    poses = random_poses(character, 2, seed)
    changes, world = poses.changes(skeleton), poses.world(skeleton)
    moved = np.einsum("njab,jb->nja", changes[..., :3], skeleton.positions) + changes[..., 3]
    assert np.abs(moved - poses.position).max() < 1e-12
    assert np.abs(changes[..., :3] @ skeleton.bind[:, :3, :3] - world[..., :3, :3]).max() < 1e-12
    assert isinstance(poses, Poses)
