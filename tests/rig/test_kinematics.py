"""Joints against an independent kinematics library, given the same local transforms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pinocchio
import pytest
from scipy.spatial.transform import Rotation

from instep.character import Skeleton
from instep.character.arrays import FloatArray
from instep.character.pose import local_matrices
from tests.rig.made import extreme_values, made_rig, random_values, singular_values, with_values


def _free_chain(skeleton: Skeleton) -> Any:
    """A model with one free joint for each joint of the skeleton, all placements the identity."""
    model = pinocchio.Model()
    number: list[int] = []
    for joint, parent in enumerate(skeleton.parents):
        above = number[parent] if parent >= 0 else 0
        number.append(model.addJoint(above, pinocchio.JointModelFreeFlyer(), pinocchio.SE3.Identity(), str(joint)))
    return model


def _configurations(model: Any, local: FloatArray) -> FloatArray:
    """(N, nq) place and quaternion (x, y, z, w) of each joint from its local transform (N, J, 4, 4)."""
    frames, joints = local.shape[:2]
    turns = Rotation.from_matrix(local[..., :3, :3].reshape(-1, 3, 3)).as_quat().reshape(frames, joints, 4)
    configurations = np.concatenate([local[..., :3, 3], turns], axis=-1).reshape(frames, -1)
    assert configurations.shape[1] == model.nq
    return configurations


@pytest.mark.parametrize("plain", [True, False])
@pytest.mark.parametrize("biped", ["plain", "toe ends", "backward knee", "all at once"])
def test_joints_of_random_poses_are_where_an_independent_library_puts_them(biped: str, plain: bool) -> None:
    """1,000 poses and the singular ones, to 1e-9 of leg length. The root's scale stays 1: the library is rigid."""
    rig = made_rig(biped, "full", plain)
    skeleton = rig.character.skeleton
    values = np.concatenate([random_values(rig, 1000, 1), extreme_values(rig, 200, 2), singular_values(rig)])
    poses = rig.evaluate(with_values(rig, values, {"root.scale": 1.0}))
    world = poses.world(skeleton)
    model = _free_chain(skeleton)
    data = model.createData()
    # Positions grow to a hundred legs with the root's moves: rounding is held against what was computed with.
    size = rig.plan.unit + np.abs(world[..., :3, 3]).max(axis=(1, 2))
    configurations = _configurations(model, local_matrices(skeleton, world))
    for q, expected, allowed in zip(configurations, world, 1e-9 * size, strict=True):
        pinocchio.forwardKinematics(model, data, q)
        for joint in range(len(skeleton)):
            placement = data.oMi[joint + 1]
            assert np.abs(placement.translation - expected[joint, :3, 3]).max() < allowed
            assert np.abs(placement.rotation - expected[joint, :3, :3]).max() < 1e-9


def test_a_joint_that_no_driver_stands_at_follows_rigidly_also_when_scaled() -> None:
    """The toes' end hangs on the toes: its place is theirs, turned and scaled with them."""
    rig = made_rig("toe ends", "full")
    skeleton = rig.character.skeleton
    poses = rig.evaluate(random_values(rig, 500, 3))
    for side in ("left", "right"):
        end, toes = skeleton.index(f"toe_end.{side}"), skeleton.index(f"toes.{side}")
        np.testing.assert_array_equal(poses.rotation[:, end], poses.rotation[:, toes])
        turn = Rotation.from_quat(poses.rotation[:, toes], scalar_first=True)
        offset = turn.apply(skeleton.positions[end] - skeleton.positions[toes]) * poses.scale[:, None]
        np.testing.assert_allclose(poses.position[:, end] - poses.position[:, toes], offset, rtol=0, atol=1e-12)
