"""Joint animation again, on the original skeleton: at any rate, or as cubic segments where few keys allow it."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from instep.character import BakedClip, Clip, Poses, Track
from instep.character.arrays import FloatArray, IntArray
from instep.character.sampling import sample_poses
from instep.formats.clips import baked_tracks
from instep.formats.reader import open_file
from instep.motion.faults import MotionError
from instep.motion.model import Motion
from instep.motion.splines import hermite_rows, keys_at
from instep.rig import Rig

MOST_FRAMES: Final = 1_000_000

TIGHTER: Final = 8
"""Times that the tolerance of single tracks is halved where joints down a chain come out too far off."""


def values_at(rig: Rig, motion: Motion, times_s: FloatArray) -> FloatArray:
    """(N, C) channel values at times in seconds: what the keys say, or dense frames led through by cubics; held before
    the first frame and after the last."""
    local = np.asarray(times_s, dtype=np.float64) - motion.start_s
    if motion.keys is not None:
        values = np.tile(rig.defaults, (len(local), 1))
        for number, channel in enumerate(rig.channels):
            if channel.name in motion.keys:
                values[:, number] = keys_at(motion.keys[channel.name], local, motion.rate)
        return values
    frames = np.clip(local * motion.rate, 0.0, len(motion) - 1)
    near = np.round(frames)
    if np.abs(frames - near).max(initial=0.0) < 1e-9 or len(motion) < 3:
        return np.asarray(motion.values[near.astype(np.int64)], dtype=np.float64)
    return np.asarray(CubicSpline(np.arange(len(motion)), motion.values)(frames), dtype=np.float64)


def bake(rig: Rig, motion: Motion, rate: float | None = None) -> BakedClip:
    """A motion as one pose a frame, at its own rate or another, from its first frame to the first at which its last
    is reached. Raises MotionError where that would be more than a million frames."""
    rate = rate or motion.rate
    length_s = (len(motion) - 1) / motion.rate
    frames = int(np.ceil(length_s * rate - 1e-6)) + 1
    if frames > MOST_FRAMES:
        raise MotionError(
            f"{length_s:g} s at {rate:g} a second are {frames:,} frames",
            where=f'clip "{motion.name}"',
            expected=f"at most {MOST_FRAMES:,}",
            cure="Choose a lower rate",
        )
    times = motion.start_s + np.arange(frames) / rate
    return BakedClip(motion.name, times, rig.evaluate(values_at(rig, motion, times)))


def bake_cubic(rig: Rig, motion: Motion, within: float) -> tuple[Clip, float]:
    """A motion as CUBICSPLINE tracks of joints with few keys, and the greatest distance by which a joint is then off
    on any frame, at most `within` (file's unit).

    Each track starts with the keys of the channels and gets more where it is farthest off. Raises MotionError where
    `within` is finer than single precision and a key a frame allow.
    """
    dense = bake(rig, motion)
    opened = open_file(rig.character.source)
    tracks = baked_tracks(opened, dense)
    count = len(dense.times)
    common = _common_frames(motion, count)
    size = float(np.ptp(rig.character.skeleton.positions, axis=0).max())
    share = 0.5
    worst = np.inf
    for _ in range(TIGHTER):
        made = tuple(_cubic_track(track, dense.times, common, share * within, size, motion.rate) for track in tracks)
        clip = Clip(motion.name, made)
        worst = _worst(rig, clip, dense.times, dense.poses)
        if worst <= within:
            return clip, worst
        share *= 0.5
    raise MotionError(
        f"cubic segments miss joints by {worst:g}",
        where=f'clip "{motion.name}"',
        expected=f"at most {within:g}",
        cure="Bake it at a rate instead, or allow more",
    )


def _common_frames(motion: Motion, count: int) -> IntArray:
    """The key frames that most channels share: the first, the last, and where feet strike and leave."""
    frames = {0, count - 1}
    for contact in motion.contacts:
        for time in (contact.start_s, contact.end_s):
            frames.add(int(np.clip(round((time - motion.start_s) * motion.rate), 0, count - 1)))
    return np.array(sorted(frames), dtype=np.int64)


def _cubic_track(track: Track, times: FloatArray, common: IntArray, within: float, size: float, rate: float) -> Track:
    """A dense track as cubic segments: keys on it, slopes by least squares, more keys where it is farthest off."""
    if len(track.times) < len(times):  # constant: its two keys say all
        return track
    # A radian at one end of the character is its size at the other; a quaternion's part is half of that.
    allowed = within if track.path == "translation" else within / size * (0.5 if track.path == "rotation" else 1.0)
    if track.path == "translation":
        allowed = within * max(float(np.ptp(track.values, axis=0).max()), 1e-9) / max(size, 1e-9)
        allowed = max(allowed, 1e-3 * within)
    frames = set(common.tolist())
    while True:
        at = np.array(sorted(frames), dtype=np.int64)
        rows = hermite_rows(at, len(times), rate)
        keys = len(at)
        left = track.values - rows[:, :keys] @ track.values[at]
        part = rows[:, keys:]
        normal = part.T @ part
        normal[np.diag_indices_from(normal)] += 1e-9 * max(float(np.trace(normal)) / keys, 1e-30)
        slopes = np.linalg.solve(normal, part.T @ left)
        away = np.abs(left - part @ slopes).max(axis=1)
        if away.max() <= allowed or keys == len(times):
            values = np.stack([slopes, track.values[at], slopes], axis=1)
            return Track(track.joint, track.path, times[at], values, "CUBICSPLINE")
        for first, end in pairwise(at):
            inside = away[first + 1 : end]
            if len(inside) and inside.max() > allowed:
                frames.add(int(first + 1 + inside.argmax()))


def _worst(rig: Rig, clip: Clip, times: FloatArray, poses: Poses) -> float:
    read = sample_poses(clip, rig.character.skeleton, times)
    return float(np.linalg.norm(read.position - poses.position, axis=2).max())
