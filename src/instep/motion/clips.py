"""Clips brought to a rig's character: sampled, and retargeted where the clip's skeleton has other proportions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from instep.character import Character, Clip, Poses, Skeleton
from instep.character.arrays import FloatArray
from instep.character.sampling import sample_poses
from instep.motion.faults import MotionError
from instep.rig import Rig

SAME_SKELETON: Final = 1e-3
"""Fraction of leg length. Bind positions that agree this well are those of one skeleton: files round to 1e-6."""

UPRIGHT_DEG: Final = 15.0
"""Degrees. A skeleton that seems turned by less against the rig's stands as it does: proportions alone tilt the best
fit by some degrees."""

CYCLE: Final = 5e-2
"""Fraction of leg length by which joints of a cyclic clip's last frame may miss those of its first."""

MOST_FRAMES: Final = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class BroughtClip:
    """A clip as poses of the rig's character.

    name, rate, start_s : the clip's; a cyclic clip's rate is so adjusted that its length is a whole number of frames.
    poses : N poses. Where the skeletons differ, ankles stand where they belong by the legs' proportion, and need not
        hang at the ends of the shins.
    cyclic : whether it ends as it begins. ratio : of leg lengths, rig's over clip's.
    """

    name: str
    rate: float
    start_s: float
    poses: Poses
    cyclic: bool
    ratio: float


def choose_clip(source: Character, name: str | None) -> Clip:
    """The clip of a name, or the only one. Raises MotionError that lists the file's clips."""
    names = [clip.name for clip in source.clips]
    if not names:
        raise MotionError("it has no clips", where=source.source.name, expected="a file with joint animation")
    if name is None:
        if len(names) > 1:
            raise MotionError(
                f"it has {len(names)} clips",
                where=source.source.name,
                expected="the name of one: " + ", ".join(names),
                cure="Say which with --clip",
            )
        return source.clips[0]
    for clip in source.clips:
        if clip.name == name:
            return clip
    raise MotionError(f'it has no clip "{name}"', where=source.source.name, expected="one of " + ", ".join(names))


def bring_clip(rig: Rig, source: Character, clip: Clip, rate: float = 60.0) -> BroughtClip:
    """Sample a clip at `rate` frames a second on the rig's character.

    A file with the rig's own joints (and perhaps more) is taken as it is. With other proportions turns are kept, and
    the pelvis and the ankles move by the ratio of leg lengths from where they stand at rest, so that steps scale with
    the leg and what stood on the floor does so again.

    A clip that was baked to straight segments at a lower rate is led through its frames by cubics, since its corners
    are no part of the motion; all other interpolation is taken as the file says it.

    Raises MotionError where the clip has no keys, is longer than a million frames, moves none of the joints of the
    rig's legs, or holds what is no number, or times that do not increase.
    """
    where = f'{source.source.name}: clip "{clip.name}"'
    keyed = [track for track in clip.tracks if len(track.times)]
    if not keyed:
        raise MotionError("it has no keys", where=where, expected="at least one joint that moves")
    start = min(float(track.times[0]) for track in keyed)
    end = max(float(track.times[-1]) for track in keyed)
    steps = round((end - start) * rate)
    if steps + 1 > MOST_FRAMES:
        raise MotionError(
            f"from {start:g} to {end:g} s there are {steps + 1:,} frames at {rate:g} a second",
            where=where,
            expected=f"at most {MOST_FRAMES:,}",
            cure="Choose a lower rate",
        )
    for track in keyed:
        if not (np.isfinite(track.values).all() and np.isfinite(track.times).all()):
            raise MotionError(
                f'joint "{track.joint}" has a {track.path} that is no number', where=where, expected="finite numbers"
            )
        if (np.diff(track.times) <= 0.0).any():
            raise MotionError(
                f'the times of joint "{track.joint}" do not increase', where=where, expected="times that increase"
            )
    skeleton = rig.character.skeleton
    own = _same_skeleton(rig, source.skeleton)
    _check_joints(rig, source.skeleton, clip, where)
    times = start + np.arange(steps + 1) / rate
    read = skeleton if own else source.skeleton
    poses = _sampled(clip, read, times)
    cyclic = steps > 4 and end > start and _ends_as_it_begins(poses, rig.plan.unit if own else _leg(rig, read))
    if cyclic and abs(steps / rate - (end - start)) > 1e-6 * (end - start):
        rate = steps / (end - start)
        poses = _sampled(clip, read, start + np.arange(steps + 1) / rate)
    ratio = 1.0
    if not own:
        poses, ratio = retarget(rig, read, poses)
    return BroughtClip(clip.name, rate, start, poses, cyclic, ratio)


def baked_rate(clip: Clip) -> float | None:
    """The rate at which a clip was baked: all its keys lie on one even grid of 12 to 120 frames a second, joined by
    straight lines, and one track at least has a key on most of it. None for a clip that was keyed otherwise."""
    if any(track.interpolation != "LINEAR" for track in clip.tracks):
        return None
    fullest = max((track.times for track in clip.tracks), key=len, default=np.zeros(0))
    if len(fullest) < 5:
        return None
    rate = 1.0 / float(np.diff(fullest).min())
    if not 11.9 < rate < 120.1:
        return None
    rate = round(rate) if abs(rate - round(rate)) < 1e-2 * rate else rate
    start = float(fullest[0])
    for track in clip.tracks:
        frames = (track.times - start) * rate
        if np.abs(frames - np.round(frames)).max(initial=0.0) > 0.02:
            return None
    return rate if len(fullest) > 0.8 * (fullest[-1] - start) * rate else None


def _sampled(clip: Clip, skeleton: Skeleton, times: FloatArray) -> Poses:
    """Poses at even times; through the frames of a clip that was baked at a lower rate by cubics."""
    own = baked_rate(clip)
    asked = (len(times) - 1) / (times[-1] - times[0]) if len(times) > 1 else 0.0
    if own is None or own > 0.95 * asked:
        return sample_poses(clip, skeleton, times)
    grid = times[0] + np.arange(int(np.ceil((times[-1] - times[0]) * own - 1e-6)) + 1) / own
    coarse = sample_poses(clip, skeleton, grid)
    turns = coarse.rotation.copy()
    flips = np.cumprod(np.where(np.sum(turns[1:] * turns[:-1], axis=2) < 0.0, -1.0, 1.0), axis=0)
    turns[1:] *= flips[..., None]
    # A cyclic clip's curve goes on over its seam.
    gap = np.abs(coarse.position[-1] - coarse.position[0]).max()
    closed = bool(
        gap <= 1e-6 * np.ptp(skeleton.positions, axis=0).max() and np.allclose(turns[0], turns[-1], atol=1e-6)
    )
    ends: Literal["periodic", "not-a-knot"] = "periodic" if closed else "not-a-knot"
    if closed:
        turns[-1] = turns[0]
        coarse.position[-1] = coarse.position[0]
    rotation = CubicSpline(grid, turns, bc_type=ends)(times)
    rotation /= np.linalg.norm(rotation, axis=2, keepdims=True)
    return Poses(rotation, CubicSpline(grid, coarse.position, bc_type=ends)(times), np.ones(len(times)))


def _same_skeleton(rig: Rig, source: Skeleton) -> bool:
    """Whether a file's joints hold all of the rig's, bound in the same places and under the same joints."""
    skeleton = rig.character.skeleton
    index = {name: joint for joint, name in enumerate(source.names)}
    if any(name not in index for name in skeleton.names):
        return False
    order = [index[name] for name in skeleton.names]
    gap = np.linalg.norm(source.bind[order][:, :3, 3] - skeleton.bind[:, :3, 3], axis=1).max()
    rest = np.linalg.norm(source.rest[order][:, :3, 3] - skeleton.rest[:, :3, 3], axis=1).max()
    turned = np.abs(source.bind[order][:, :3, :3] - skeleton.bind[:, :3, :3]).max()
    size = float(np.abs(skeleton.bind[:, :3, :3]).max())
    return bool(max(gap, rest) <= SAME_SKELETON * rig.plan.unit and turned <= 1e-2 * size)


def needed_joints(rig: Rig) -> dict[str, str]:
    """The joints that a clip has to know, with what they are on the rig."""
    names = rig.character.skeleton.names
    needed = {names[rig.measurement.pelvis]: "pelvis"}
    for leg in rig.measurement.legs:
        for part in ("thigh", "shin", "foot"):
            needed[names[getattr(leg, part)]] = f"{leg.name} {part}"
    return needed


def _check_joints(rig: Rig, source: Skeleton, clip: Clip, where: str) -> None:
    needed = needed_joints(rig)
    missing = [name for name in needed if name not in source.names]
    if missing:
        raise MotionError(
            f'its skeleton has no joint "{missing[0]}", the rig\'s {needed[missing[0]]}',
            where=where,
            expected=f"the joints of {rig.character.source.name} by name; {len(missing)} of {len(needed)} are missing",
            cure="Give a clip of this character, or of one with the same joint names",
        )
    moved = {track.joint for track in clip.tracks}
    if not moved & set(rig.character.skeleton.names):
        raise MotionError("it moves none of the rig's joints", where=where, expected="a clip of this character")


def _leg(rig: Rig, source: Skeleton) -> float:
    """The mean length of the rig's legs in another skeleton, in its unit."""
    names = rig.character.skeleton.names
    lengths = []
    for leg in rig.measurement.legs:
        hip, knee, ankle = (source.positions[source.index(names[j])] for j in (leg.thigh, leg.shin, leg.foot))
        lengths.append(np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee))
    return float(np.mean(lengths))


def _ends_as_it_begins(poses: Poses, unit: float) -> bool:
    gap = np.linalg.norm(poses.position[-1] - poses.position[0], axis=1).max()
    moved = np.ptp(poses.position, axis=0).max()
    return bool(gap <= CYCLE * unit and moved > 4.0 * gap and moved > CYCLE * unit)


def retarget(rig: Rig, source: Skeleton, poses: Poses) -> tuple[Poses, float]:
    """Poses of the rig's character from poses of another skeleton with the same joint names, and the legs' ratio.

    Turns are changes from each skeleton's bind pose, brought into the rig's world by the rotation that fits the bind
    positions of the shared joints best (Kabsch). A joint that the source has not got follows its parent.
    """
    skeleton = rig.character.skeleton
    index = {name: joint for joint, name in enumerate(source.names)}
    names = skeleton.names
    shared = [(joint, index[name]) for joint, name in enumerate(names) if name in index]
    mine, theirs = (np.array(list(side)) for side in zip(*shared, strict=True))
    turn = _turn_between(source.positions[theirs], skeleton.positions[mine])
    ratio = _leg(rig, skeleton) / _leg(rig, source)
    frames = len(poses)
    q_turn = Rotation.from_matrix(turn)
    rotation = np.tile([1.0, 0.0, 0.0, 0.0], (frames, len(skeleton), 1))
    position = np.zeros((frames, len(skeleton), 3))

    def moved(joint: int) -> FloatArray:
        """Where a joint goes by the ratio of leg lengths, from where it stands in the bind pose."""
        other = index[names[joint]]
        path = (poses.position[:, other] - source.positions[other]) @ turn.T
        return np.asarray(skeleton.positions[joint] + ratio * path, dtype=np.float64)

    pelvis = rig.measurement.pelvis
    for joint, parent in enumerate(skeleton.parents):
        if names[joint] in index:
            q = Rotation.from_quat(poses.rotation[:, index[names[joint]]], scalar_first=True)
            rotation[:, joint] = (q_turn * q * q_turn.inv()).as_quat(scalar_first=True)
        elif parent >= 0:
            rotation[:, joint] = rotation[:, parent]
        if joint == pelvis or parent < 0:
            position[:, joint] = moved(joint) if names[joint] in index else skeleton.positions[joint]
            continue
        offset = skeleton.positions[joint] - skeleton.positions[parent]
        carried = Rotation.from_quat(rotation[:, parent], scalar_first=True).apply(offset)
        position[:, joint] = position[:, parent] + carried
    for leg in rig.measurement.legs:
        shift = moved(leg.foot) - position[:, leg.foot]
        for joint in skeleton.below(leg.foot):
            position[:, joint] += shift
    return Poses(rotation, position, np.ones(frames)), ratio


def _turn_between(source: FloatArray, target: FloatArray) -> FloatArray:
    """(3, 3) the rotation from a source's world to a target's; none where it is small (see `UPRIGHT_DEG`)."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    if len(a) < 3:
        return np.eye(3)
    found, _ = Rotation.align_vectors(b, a) if np.linalg.matrix_rank(a, tol=1e-9) > 1 else (Rotation.identity(), 0.0)
    if np.degrees(found.magnitude()) < UPRIGHT_DEG:
        return np.eye(3)
    return np.asarray(found.as_matrix(), dtype=np.float64)
