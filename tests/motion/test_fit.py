"""Fitting: a clip that the rig made comes back, noise comes out smaller, and what the rig cannot do is told."""

from __future__ import annotations

import numpy as np
import pytest

from instep.character import BakedClip, Poses
from instep.formats import read_character, write_clips
from instep.motion.bake import bake, bake_cubic, values_at
from instep.motion.clips import bring_clip, choose_clip
from instep.motion.faults import MotionError
from instep.motion.fit import fit_clip, fit_poses
from instep.motion.goals import goals_of
from instep.motion.inverse import solve_channels
from instep.rig.channels import ControlSet
from tests.motion.made_clips import noisy, place_rms, shared, smooth_values, stocky, turn_rms_deg
from tests.rig.made import BIPEDS, made_rig


@pytest.mark.parametrize("controls", ["essential", "full"])
@pytest.mark.parametrize("biped", list(BIPEDS))
def test_a_clip_that_the_rig_made_comes_back(biped: str, controls: ControlSet) -> None:
    rig = made_rig(biped, controls, plain=True)
    poses = rig.evaluate(smooth_values(rig, 120, 60.0, seed=7))
    fit = fit_poses(rig, poses, 60.0)
    back = bake(rig, fit.motion).poses
    assert np.linalg.norm(back.position - poses.position, axis=2).max() <= 1e-6 * rig.plan.unit
    assert turn_rms_deg(back, poses) < 1e-3
    assert max(left.distance_most for left in fit.leftovers) <= 1e-6 * rig.plan.unit


def test_whatever_the_pivots_are_the_joints_come_out_alike() -> None:
    rig = made_rig("heeled", "full", plain=True)
    poses = rig.evaluate(smooth_values(rig, 60, 60.0, seed=3, share=0.5))
    goals = goals_of(rig, poses)
    rng = np.random.default_rng(5)
    chosen = {
        f"left.{name}": rng.uniform(-15.0, 15.0, 60)
        for name in ("foot.roll", "foot.bank", "foot.twist", "ball.pitch", "heel.yaw", "tip.lean")
    }
    values = solve_channels(rig, goals, chosen)
    for name, column in chosen.items():
        np.testing.assert_array_equal(values[:, rig.channel(name)], column)
    made = rig.evaluate(values)
    assert np.linalg.norm(made.position - poses.position, axis=2).max() <= 1e-6 * rig.plan.unit


def test_noise_comes_out_smaller() -> None:
    """2 mm and 0.5 degrees on a leg of 0.9 m: the root mean square that is left is below the noise."""
    rig = made_rig("plain", "essential", plain=True)
    truth = rig.evaluate(smooth_values(rig, 300, 60.0, seed=1))
    unit = rig.plan.unit
    disturbed = noisy(truth, 0.002 * unit / 0.9, 0.5, seed=2)
    fit = fit_poses(rig, disturbed, 60.0, smooth_hz=8.0)
    made = rig.evaluate(fit.motion.values)
    assert place_rms(made, truth) < 0.75 * place_rms(disturbed, truth)
    assert turn_rms_deg(made, truth) < 0.6 * turn_rms_deg(disturbed, truth)


def test_windows_of_a_long_clip_join_without_a_seam() -> None:
    from instep.motion import smoothing

    rig = made_rig("plain", "essential", plain=False)
    truth = rig.evaluate(smooth_values(rig, 400, 60.0, seed=4))
    goals = goals_of(rig, noisy(truth, 0.002, 0.5, seed=6))
    whole = smoothing.smooth_goals(rig, goals, 60.0, 8.0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(smoothing, "WINDOW", 150)
        parts = smoothing.smooth_goals(rig, goals, 60.0, 8.0)
    for leg in ("left", "right"):
        gap = np.abs(whole.legs[leg].ankle - parts.legs[leg].ankle).max()
        assert gap < 1e-6 * rig.plan.unit


def test_second_differences_are_those_of_the_matrix() -> None:
    from instep.motion.smoothing import _second_difference_bands

    for frames in (3, 4, 5, 6, 9, 12, 30):
        difference = np.diff(np.eye(frames), 2, axis=0)
        product = difference.T @ difference
        bands = _second_difference_bands(frames)
        for offset in range(3):
            np.testing.assert_allclose(bands[offset, : frames - offset], np.diag(product, -offset), atol=1e-12)


def test_what_the_rig_cannot_do_is_told_joint_by_joint() -> None:
    rig = made_rig("plain", "essential", plain=True)
    poses = rig.evaluate(np.tile(rig.defaults, (30, 1)))
    joint = rig.measurement.legs[0].shin
    position = poses.position.copy()
    position[:, joint] += np.array([0.0, 0.0, 0.01])  # a thigh that is longer than the character's
    fit = fit_poses(rig, Poses(poses.rotation, position, poses.scale), 30.0)
    told = {left.joint: left for left in fit.leftovers}
    name = rig.character.skeleton.names[joint]
    assert told[name].distance_most == pytest.approx(0.01, rel=0.05)
    assert told[name].distance_rms == pytest.approx(0.01, rel=0.05)
    others = [left.distance_most for left in fit.leftovers if left.joint != name]
    assert max(others) < 1e-6


def test_a_clip_goes_to_a_file_and_back() -> None:
    rig = stocky()
    values = smooth_values(rig, 60, 30.0, seed=8, share=0.5)
    times = np.arange(60) / 30.0
    poses = rig.evaluate(values)
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "clip.glb"
        write_clips(rig.character.source, target, [BakedClip("made", times, poses)])
        source = read_character(target)
        brought = bring_clip(rig, source, choose_clip(source, "made"), 30.0)
        fit = fit_clip(rig, brought)
        assert brought.ratio == 1.0
        assert len(fit.motion) == 60
        back = bake(rig, fit.motion).poses
        # The file holds single precision.
        assert np.linalg.norm(back.position - poses.position, axis=2).max() <= 2e-6 * rig.plan.unit
        cubic, worst = bake_cubic(rig, fit.motion, 1e-3)
        assert worst <= 1e-3
        assert sum(len(t.times) for t in cubic.tracks) < 0.8 * sum(60 for _ in cubic.tracks)
        write_clips(rig.character.source, target, [cubic])
        again = read_character(target)
        read = bring_clip(rig, again, choose_clip(again, "made"), 30.0)
        assert np.linalg.norm(read.poses.position - poses.position, axis=2).max() <= 1.01e-3


@pytest.mark.parametrize("rate", [24.0, 48.0, 120.0, 240.0])
def test_baked_at_another_rate_it_is_the_same_motion(rate: float) -> None:
    rig = made_rig("plain", "essential", plain=False)
    fit = fit_poses(rig, rig.evaluate(smooth_values(rig, 121, 60.0, seed=9)), 60.0)
    baked = bake(rig, fit.motion, rate)
    assert baked.times[-1] >= 2.0 - 1e-9
    wanted = rig.evaluate(values_at(rig, fit.motion, baked.times))
    np.testing.assert_array_equal(baked.poses.position, wanted.position)
    together = np.isin(np.round(baked.times * 60.0, 6), np.arange(121))
    frames = np.round(baked.times[together] * 60.0).astype(int)
    at_frames = rig.evaluate(fit.motion.values[frames])
    np.testing.assert_allclose(baked.poses.position[together], at_frames.position, atol=1e-9)


def test_no_frames_and_no_number_are_errors() -> None:
    rig = made_rig("plain", "essential", plain=True)
    poses = rig.evaluate(np.tile(rig.defaults, (3, 1)))
    empty = Poses(poses.rotation[:0], poses.position[:0], poses.scale[:0])
    with pytest.raises(MotionError) as none:
        fit_poses(rig, empty, 30.0)
    assert str(none.value) == "the clip has no frames; expected at least one."
    broken = poses.position.copy()
    broken[1, 2, 0] = np.nan
    with pytest.raises(MotionError) as nan:
        fit_poses(rig, Poses(poses.rotation, broken, poses.scale), 30.0)
    assert str(nan.value) == "a joint does not stay finite; expected finite places and turns."


def test_a_clip_of_another_skeleton_is_refused() -> None:
    rig = stocky()
    fox = read_character(shared("characters/fox.glb"))
    with pytest.raises(MotionError) as refused:
        bring_clip(rig, fox, fox.clips[0])
    assert str(refused.value) == (
        f'fox.glb: clip "{fox.clips[0].name}": its skeleton has no joint "hips", the rig\'s pelvis; expected the '
        "joints of stocky.glb by name; 7 of 7 are missing. Give a clip of this character, or of one with the same "
        "joint names."
    )


def test_a_clip_is_chosen_by_name() -> None:
    source = read_character(shared("characters/figure.glb"))
    assert choose_clip(source, None) is source.clips[0]
    with pytest.raises(MotionError) as unknown:
        choose_clip(source, "walk")
    assert str(unknown.value) == 'figure.glb: it has no clip "walk"; expected one of clip 0.'
    bare = read_character(shared("characters/stocky.glb"))
    with pytest.raises(MotionError) as none:
        choose_clip(bare, None)
    assert str(none.value) == "stocky.glb: it has no clips; expected a file with joint animation."
