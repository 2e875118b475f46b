"""The root carries everything by exactly what it does itself; a foot that follows the world stays."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import ArrayLike
from scipy.spatial.transform import Rotation

from tests.rig.made import (
    SIDES,
    in_body,
    joint_places,
    made_rig,
    number_of,
    random_values,
    rotations,
    with_values,
)

ROOT = [f"root.{quantity}" for quantity in ("across", "up", "along", "yaw", "pitch", "lean", "scale")]
NONE = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0)
FRAMES = 300


@pytest.mark.parametrize("plain", [True, False])
@pytest.mark.parametrize("biped", ["plain", "straight knee", "no toes", "all at once"])
def test_root_carries_every_joint(biped: str, plain: bool) -> None:
    """scale R (p - o) + o + shift, with R = R_yaw R_pitch R_lean about up, left and back; o on the floor under
    the pelvis. The feet follow the root or the pelvis, the knees the root or the leg."""
    rig = made_rig(biped, "full", plain)
    values = random_values(rig, FRAMES, 1)
    values = with_values(rig, values, {f"{side}.foot.follow_world": 0.0 for side in SIDES})
    still = with_values(rig, values, dict(zip(ROOT, NONE, strict=True)))
    before, after = rig.evaluate(still), rig.evaluate(values)

    across, up, along, yaw, pitch, lean, scale = (values[:, number_of(rig, name)] for name in ROOT)
    R = rig.plan.R_world_body
    basis = Rotation.from_matrix(R)
    turn = basis * Rotation.from_euler("YXZ", np.stack([yaw, pitch, -lean], axis=1), degrees=True) * basis.inv()
    pelvis = in_body(rig, rig.character.skeleton.positions[rig.measurement.pelvis])
    origin = R @ np.array([pelvis[0], rig.measurement.floor, pelvis[2]])
    joints = len(rig.character.skeleton)
    offset = before.position - origin
    turned = np.stack([turn.apply(offset[:, joint]) for joint in range(joints)], axis=1)
    shift = np.stack([across, up, along], axis=1) @ R.T
    wanted = turned * scale[:, None, None] + origin + shift[:, None]
    assert np.abs(after.position - wanted).max() / rig.plan.unit < 1e-9
    repeated = Rotation.from_quat(np.repeat(turn.as_quat(), joints, axis=0))
    apart = (rotations(after).inv() * (repeated * rotations(before))).magnitude()
    assert apart.max() < 1e-9
    np.testing.assert_array_equal(after.scale, scale)


@pytest.mark.parametrize("biped", ["plain", "toe-out", "all at once"])
def test_a_foot_that_follows_the_world_stays(biped: str) -> None:
    """Moving and turning the root, within what the legs reach, leaves feet and toes where they stand."""
    rig = made_rig(biped, "full")
    rng = np.random.default_rng(2)
    unit = rig.plan.unit
    settings: dict[str, ArrayLike] = {
        "root.across": rng.uniform(-0.05, 0.05, FRAMES) * unit,
        "root.up": rng.uniform(-0.25, -0.15, FRAMES) * unit,
        "root.along": rng.uniform(-0.1, 0.1, FRAMES) * unit,
        "root.yaw": rng.uniform(-20, 20, FRAMES),
        "root.pitch": rng.uniform(-8, 8, FRAMES),
        "root.lean": rng.uniform(-8, 8, FRAMES),
    }
    follow: dict[str, ArrayLike] = {f"{side}.foot.follow_world": 1.0 for side in SIDES}
    poses = rig.pose(settings | follow)
    skeleton = rig.character.skeleton
    for side in SIDES:
        for joint in (f"foot.{side}", f"toes.{side}"):
            number = skeleton.index(joint)
            assert np.abs(poses.position[:, number] - skeleton.positions[number]).max() / unit < 1e-9
            assert np.abs(np.abs(poses.rotation[:, number]) - [1, 0, 0, 0]).max() < 1e-9
    moved = joint_places(rig, poses, "pelvis") - skeleton.positions[skeleton.index("pelvis")]
    assert np.linalg.norm(moved, axis=1).min() > 0.1 * unit


def test_a_foot_that_follows_the_world_keeps_its_ankle_when_the_root_is_scaled() -> None:
    """The foot itself grows, about its ankle."""
    rig = made_rig("plain", "full")
    scale = np.array([0.8, 0.95, 1.0, 1.5, 3.0])
    poses = rig.pose({"root.scale": scale, "right.foot.follow_world": 1.0, "right.leg.stretch": 1.0})
    ankle = joint_places(rig, poses, "foot.right")
    reached = scale >= 0.95
    rest = rig.character.skeleton.positions[rig.character.skeleton.index("foot.right")]
    assert np.abs(ankle[reached] - rest).max() < 1e-9
