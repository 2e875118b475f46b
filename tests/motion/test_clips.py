"""Clips of other skeletons: other sizes and proportions, other rates and interpolation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character import Character, Clip, Poses, Skeleton, Track
from instep.character.arrays import FloatArray
from instep.character.sampling import sample_poses
from instep.motion.clips import baked_rate, bring_clip, retarget
from instep.motion.faults import MotionError
from instep.motion.figures import slides
from instep.motion.fit import fit_clip, fit_poses
from instep.motion.plant import plant
from tests.motion.made_clips import stocky, stocky_clip
from tests.motion.walker import strikes_and_offs, walk_values
from tests.rig.made import made_rig


def _scaled(skeleton: Skeleton, factor: float, legs: float = 1.0) -> Skeleton:
    """The same joints, all `factor` times as large, and the legs `legs` times as long besides (the body rises)."""
    positions = skeleton.positions * factor
    names = skeleton.names
    moved = positions.copy()
    for side in ("left", "right"):
        hip, knee, ankle = (names.index(f"{part}.{side}") for part in ("thigh", "shin", "foot"))
        for start, end in ((hip, knee), (knee, ankle)):
            bone = positions[end] - positions[start]
            for joint in skeleton.below(end):
                moved[joint] += (legs - 1.0) * bone
    lift = np.array([0.0, float(positions[:, 1].min() - moved[:, 1].min()), 0.0])
    bind = np.tile(np.eye(4), (len(names), 1, 1))
    bind[:, :3, 3] = moved + lift
    link = np.tile(np.eye(4), (len(names), 1, 1))
    return Skeleton(names, skeleton.parents.copy(), bind, bind.copy(), link)


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("legs", [0.7, 1.0, 1.3])
def test_a_walk_of_another_size_and_other_legs(factor: float, legs: float) -> None:
    """Step length scales with the leg, contacts stay contacts, and planted feet stand."""
    rig = made_rig("plain")
    values = walk_values(rig, 60.0, 3.0)
    own = rig.evaluate(values)
    skeleton = rig.character.skeleton
    other = _scaled(skeleton, factor, legs)
    # The other walks by the same turns; its pelvis goes by its own leg's length.
    mine = fit_poses(rig, own, 60.0).motion
    poses = _walked(other, skeleton, own.rotation, own.position, factor * legs)
    brought, ratio = retarget(rig, other, poses)
    assert ratio == pytest.approx(1.0 / (factor * legs), rel=1e-6)
    fit = fit_poses(rig, brought, 60.0)
    for leg in ("left", "right"):
        for start, _ in strikes_and_offs(3.0, leg):
            near = min(
                (c.start_s for c in fit.motion.contacts if c.leg == leg and c.part == "heel"),
                key=lambda t: abs(t - start),
            )
            assert abs(near - start) < 0.09
    column = rig.channel("left.foot.along")
    assert np.ptp(fit.motion.values[:, column]) == pytest.approx(np.ptp(mine.values[:, column]), rel=0.05)
    planted = plant(rig, fit.motion)
    foot = rig.measurement.legs[0].foot_length
    assert max(each.slide for each in slides(rig, planted.motion)) <= 1e-9 * foot


def _walked(other: Skeleton, skeleton: Skeleton, rotation: FloatArray, position: FloatArray, scale: float) -> Poses:
    """Poses of another skeleton that does the same turns."""
    frames = len(rotation)
    places = np.zeros_like(position)
    for joint, parent in enumerate(other.parents):
        if parent < 0 or other.names[joint] == "pelvis":
            places[:, joint] = other.positions[joint] + scale * (position[:, joint] - skeleton.positions[joint])
            continue
        offset = other.positions[joint] - other.positions[parent]
        places[:, joint] = places[:, parent] + Rotation.from_quat(rotation[:, parent], scalar_first=True).apply(offset)
    return Poses(rotation, places, np.ones(frames))


def test_a_skeleton_with_more_joints_is_taken_as_it_is() -> None:
    """The clips of stocky have two joints more than the character: hand slots."""
    brought = stocky_clip("walking_a")
    assert brought.ratio == 1.0
    assert brought.cyclic
    assert len(brought.poses) == 65


@pytest.mark.parametrize("rate", [24.0, 60.0, 120.0, 240.0])
def test_any_rate_gives_the_same_contacts(rate: float) -> None:
    rig = stocky()
    fit = fit_clip(rig, stocky_clip("walking_a", rate))
    reference = fit_clip(rig, stocky_clip("walking_a", 60.0))
    heels = [c.start_s for c in fit.motion.contacts if c.part == "heel" and c.leg == "right"]
    wanted = [c.start_s for c in reference.motion.contacts if c.part == "heel" and c.leg == "right"]
    assert min(abs(heels[-1] - w) for w in wanted) < 0.05
    planted = plant(rig, fit.motion)
    assert max(e.slide for e in slides(rig, planted.motion)) <= 1e-3 * rig.measurement.legs[0].foot_length


def _made_clip(times: list[float], interpolation: str) -> tuple[Character, Clip]:
    rig = made_rig("plain")
    keys = np.array(times)
    rng = np.random.default_rng(2)
    swings = np.radians(rng.uniform(-20, 20, len(keys)))
    rotations = np.stack([np.cos(swings / 2), np.sin(swings / 2), 0 * swings, 0 * swings], axis=1)
    if interpolation == "CUBICSPLINE":
        values = np.stack([0.1 * rotations, rotations, 0.1 * rotations], axis=1)
    else:
        values = rotations
    track = Track("thigh.left", "rotation", keys, values, interpolation)  # type: ignore[arg-type]
    clip = Clip("swing", (track,))
    return replace(rig.character, clips=(clip,)), clip


@pytest.mark.parametrize("interpolation", ["LINEAR", "STEP", "CUBICSPLINE"])
def test_what_is_keyed_is_taken_as_gltf_says(interpolation: str) -> None:
    rig = made_rig("plain")
    source, clip = _made_clip([0.0, 0.21, 0.5, 0.83, 1.0], interpolation)
    assert baked_rate(clip) is None
    brought = bring_clip(rig, source, clip, 60.0)
    times = brought.start_s + np.arange(len(brought.poses)) / brought.rate
    np.testing.assert_array_equal(brought.poses.rotation, sample_poses(clip, rig.character.skeleton, times).rotation)


def test_what_was_baked_is_led_through_by_cubics() -> None:
    rig = made_rig("plain")
    source, clip = _made_clip([k / 30.0 for k in range(31)], "LINEAR")
    assert baked_rate(clip) == pytest.approx(30.0)
    brought = bring_clip(rig, source, clip, 60.0)
    coarse = sample_poses(clip, rig.character.skeleton, np.arange(31) / 30.0)
    np.testing.assert_allclose(brought.poses.position[::2], coarse.position, atol=1e-9)


def test_clips_without_keys_or_for_others_are_refused() -> None:
    rig = made_rig("plain")
    with pytest.raises(MotionError) as empty:
        bring_clip(rig, rig.character, Clip("none", ()))
    assert str(empty.value).endswith('clip "none": it has no keys; expected at least one joint that moves.')
    far = Track("pelvis", "translation", np.array([0.0, 1e6]), np.zeros((2, 3)))
    with pytest.raises(MotionError) as long:
        bring_clip(rig, rig.character, Clip("long", (far,)))
    assert str(long.value).endswith(
        'clip "long": from 0 to 1e+06 s there are 60,000,001 frames at 60 a second; expected at most 1,000,000. '
        "Choose a lower rate."
    )
    broken = Track("pelvis", "translation", np.array([0.0, 1.0]), np.array([[0, 0, 0], [np.nan, 0, 0]], dtype=float))
    with pytest.raises(MotionError) as nan:
        bring_clip(rig, rig.character, Clip("nan", (broken,)))
    assert str(nan.value).endswith(
        'clip "nan": joint "pelvis" has a translation that is no number; expected finite numbers.'
    )
    back = Track("pelvis", "translation", np.array([0.0, 1.0, 0.5]), np.zeros((3, 3)))
    with pytest.raises(MotionError) as times:
        bring_clip(rig, rig.character, Clip("back", (back,)))
    assert str(times.value).endswith(
        'clip "back": the times of joint "pelvis" do not increase; expected times that increase.'
    )
