"""Forward kinematics: joints are where a plain chain of turns puts them; the blend keeps its bones."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.rig import Rig
from tests.rig.made import SIDES, Side, in_body, joint_places, made_rig, number_of, random_values, with_values

FRAMES = 500


def _own_turn(rig: Rig, values: FloatArray, control: str, axes: FloatArray, side: float) -> Rotation:
    """A control's turn in the body's axes, by scipy: `axes` (3, 3) are rows left, up, forward."""
    yaw, pitch, lean = (values[:, number_of(rig, f"{control}.{name}")] for name in ("yaw", "pitch", "lean"))
    basis = Rotation.from_matrix(axes.T)
    local = Rotation.from_euler("YXZ", np.stack([yaw * side, pitch, -lean * side], axis=1), degrees=True)
    return basis * local * basis.inv()


def _of_joint(rig: Rig, rotation: FloatArray, joint: str) -> Rotation:
    """A joint's turn, in the body's axes."""
    q = rotation[:, rig.character.skeleton.index(joint)]
    return Rotation.from_quat(np.concatenate([q[:, :1], in_body(rig, q[:, 1:])], axis=1), scalar_first=True)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", ["plain", "straight knee", "backward knee", "toe-out", "all at once"])
def test_at_forward_1_the_leg_is_a_plain_chain(biped: str, side: Side) -> None:
    rig = made_rig(biped, "full")
    values = random_values(rig, FRAMES, 1)
    still = {channel.name: channel.default for channel in rig.channels if channel.control == "root"}
    values = with_values(rig, values, {**still, f"{side}.leg.forward": 1.0})
    poses = rig.evaluate(values)
    leg = next(leg for leg in rig.plan.legs if leg.name == side)
    pelvis, hip, knee, ankle, ball = (
        np.array(list(point), dtype=np.float64) for point in (rig.plan.pelvis, leg.hip, leg.knee, leg.ankle, leg.ball)
    )
    up = (hip - ankle) / np.linalg.norm(hip - ankle)
    forward = np.array(list(leg.bend)) * (1.0 if leg.bend.z >= 0 else -1.0)
    leg_axes = np.stack([np.cross(up, forward), up, forward])
    foot_axes = np.array([list(axis) for axis in leg.foot_axes])

    q_pelvis = _own_turn(rig, values, "pelvis", np.eye(3), 1.0)
    move = np.stack([values[:, number_of(rig, f"pelvis.{name}")] for name in ("across", "up", "along")], axis=1)
    q_thigh = q_pelvis * _own_turn(rig, values, f"{side}.thigh", leg_axes, leg.side)
    q_shin = q_thigh * _own_turn(rig, values, f"{side}.shin", leg_axes, leg.side)
    q_foot = q_shin * _own_turn(rig, values, f"{side}.ankle", foot_axes, leg.side)
    p_hip = pelvis + move + q_pelvis.apply(hip - pelvis)
    p_knee = p_hip + q_thigh.apply(knee - hip)
    p_ankle = p_knee + q_shin.apply(ankle - knee)
    p_ball = p_ankle + q_foot.apply(ball - ankle)

    unit = rig.plan.unit
    for joint, place, turn in (
        ("thigh", p_hip, q_thigh),
        ("shin", p_knee, q_shin),
        ("foot", p_ankle, q_foot),
    ):
        found = in_body(rig, joint_places(rig, poses, f"{joint}.{side}"))
        assert np.abs(found - place).max() / unit < 1e-9
        assert (_of_joint(rig, poses.rotation, f"{joint}.{side}").inv() * turn).magnitude().max() < 1e-9
    assert np.abs(in_body(rig, joint_places(rig, poses, f"toes.{side}")) - p_ball).max() / unit < 1e-9


@pytest.mark.parametrize("side", SIDES)
def test_the_toes_turn_relative_to_the_foot_alike_in_both(side: Side) -> None:
    rig = made_rig("toe-out", "full")
    values = random_values(rig, FRAMES, 2)
    relative = []
    for share in (0.0, 1.0):
        rotation = rig.evaluate(with_values(rig, values, {f"{side}.leg.forward": share})).rotation
        relative.append(_of_joint(rig, rotation, f"foot.{side}").inv() * _of_joint(rig, rotation, f"toes.{side}"))
    assert (relative[0].inv() * relative[1]).magnitude().max() < 1e-9


def test_no_bone_shortens_on_the_way_from_one_to_the_other() -> None:
    rig = made_rig("bent knee", "full")
    values = random_values(rig, FRAMES, 3)
    still = {"root.scale": 1.0, "left.knee.pin": 0.0, "left.knee.slide": 0.0, "left.leg.stretch": 0.0}
    values = with_values(rig, values, still)
    poses = rig.evaluate(values)
    joints = [f"{part}.left" for part in ("thigh", "shin", "foot", "toes")]
    places = [joint_places(rig, poses, joint) for joint in joints]
    rest = [rig.character.skeleton.positions[rig.character.skeleton.index(joint)] for joint in joints]
    for k in range(3):
        length = np.linalg.norm(places[k + 1] - places[k], axis=1)
        np.testing.assert_allclose(length, np.linalg.norm(rest[k + 1] - rest[k]), rtol=0, atol=1e-9 * rig.plan.unit)


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_the_blend_meets_both_ends_with_a_continuous_pose(share: float) -> None:
    rig = made_rig("bent knee", "full")
    values = random_values(rig, FRAMES, 4, share=0.3)
    here = rig.evaluate(with_values(rig, values, {"left.leg.forward": share}))
    beside = rig.evaluate(with_values(rig, values, {"left.leg.forward": abs(share - 1e-6)}))
    assert np.abs(here.position - beside.position).max() / rig.plan.unit < 2e-4
    sign = np.where((here.rotation * beside.rotation).sum(axis=-1, keepdims=True) < 0, -1.0, 1.0)
    assert np.abs(here.rotation - beside.rotation * sign).max() < 1e-5
