"""Clips at chosen times, and poses from joint transforms. Source: glTF 2.0, 3.11 and appendix C."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.character.clip import Clip, Track
from instep.character.pose import Poses, local_matrices, rotation_matrices, split_transforms
from instep.character.skeleton import Skeleton


def sample_track(track: Track, times: FloatArray) -> FloatArray:
    """(N, 3) or (N, 4) values of a track at `times` (N,) in seconds; held before its first and after its last key.

    LINEAR turns along the shorter arc at an even rate (appendix C.4), STEP holds, CUBICSPLINE is a Hermite
    spline whose tangents are per second (C.5); rotations come out as unit quaternions.
    """
    keys = track.times
    cubic = track.interpolation == "CUBICSPLINE"
    values = track.values[:, 1] if cubic else track.values
    if track.path == "rotation" and not cubic:
        values = _unit(values)
    before = np.clip(np.searchsorted(keys, times, side="right") - 1, 0, len(keys) - 1)
    after = np.minimum(before + 1, len(keys) - 1)
    span = keys[after] - keys[before]
    inside = span > 0
    t = np.where(inside, np.clip(times - keys[before], 0.0, span) / np.where(inside, span, 1.0), 0.0)[:, None]
    a, b = values[before], values[after]
    if track.interpolation == "STEP":
        sampled = a
    elif cubic:
        t2, t3 = t * t, t * t * t
        out_tangent, in_tangent = track.values[before, 2], track.values[after, 0]
        sampled = (
            (2 * t3 - 3 * t2 + 1) * a
            + span[:, None] * (t3 - 2 * t2 + t) * out_tangent
            + (-2 * t3 + 3 * t2) * b
            + span[:, None] * (t3 - t2) * in_tangent
        )
    elif track.path == "rotation":
        sampled = slerp(a, b, t)
    else:
        sampled = a + t * (b - a)
    return _unit(sampled) if track.path == "rotation" else np.asarray(sampled, dtype=np.float64)


def _unit(quaternions: FloatArray) -> FloatArray:
    length = np.linalg.norm(quaternions, axis=-1, keepdims=True)
    return np.asarray(quaternions / np.where(length > 0, length, 1.0), dtype=np.float64)


def slerp(a: FloatArray, b: FloatArray, t: FloatArray) -> FloatArray:
    """Unit quaternions (..., 4) between `a` and `b` at t (..., 1) in 0 to 1, along the shorter arc (C.4)."""
    dot = np.sum(a * b, axis=-1, keepdims=True)
    b = np.where(dot < 0, -b, b)
    # Half of the chord over half of the sum: exact for nearly equal rotations, where acos loses half its digits.
    angle = 2 * np.arctan2(np.linalg.norm(a - b, axis=-1, keepdims=True), np.linalg.norm(a + b, axis=-1, keepdims=True))
    sine = np.sin(angle)
    small = sine < 1e-12
    safe = np.where(small, 1.0, sine)
    weight_a = np.where(small, 1 - t, np.sin((1 - t) * angle) / safe)
    weight_b = np.where(small, t, np.sin(t * angle) / safe)
    return _unit(weight_a * a + weight_b * b)


def sample_clip(clip: Clip, skeleton: Skeleton, times: Sequence[float] | FloatArray) -> FloatArray:
    """(N, J, 4, 4) transforms of joints as their file writes them (under `Skeleton.link`), at `times` in seconds.

    A property without a track stays as in the skeleton's rest pose. Tracks of joints that the skeleton does
    not have are passed over, so that a clip made for more joints fits. Raises CharacterError where a joint
    with some but not all tracks is sheared at rest.
    """
    at = np.asarray(times, dtype=np.float64)
    local = local_matrices(skeleton, skeleton.rest[None])
    sampled = np.repeat(local, len(at), axis=0)
    index = {name: joint for joint, name in enumerate(skeleton.names)}
    tracks: dict[int, dict[str, Track]] = {}
    for track in clip.tracks:
        if track.joint in index:
            tracks.setdefault(index[track.joint], {})[track.path] = track
    for joint, own in tracks.items():
        parts: dict[str, FloatArray] = {}
        if len(own) < 3:
            rest = split_transforms(local[0, joint], f'joint "{skeleton.names[joint]}"')
            parts = dict(zip(("translation", "rotation", "scale"), rest, strict=True))
        for path, track in own.items():
            parts[path] = sample_track(track, at)
        sampled[:, joint, :3, :3] = rotation_matrices(parts["rotation"]) * parts["scale"][..., None, :]
        sampled[:, joint, :3, 3] = parts["translation"]
    return sampled


def world_from_local(skeleton: Skeleton, local: FloatArray) -> FloatArray:
    """(N, J, 4, 4) ``T_world_joint`` from the transforms of joints as their file writes them."""
    world = np.empty_like(local)
    for joint, parent in enumerate(skeleton.parents):
        under = skeleton.link[joint] if parent < 0 else world[:, parent] @ skeleton.link[joint]
        world[:, joint] = under @ local[:, joint]
    return world


def poses_from_world(skeleton: Skeleton, world: FloatArray) -> Poses:
    """Poses from (N, J, 4, 4) ``T_world_joint``: the turn of each joint from the bind pose, and its place.

    Scale that a joint gained since the bind pose is left out, and so is shear: the nearest rotation is taken.
    `Poses.scale` is 1.
    """
    change = world[..., :3, :3] @ np.linalg.inv(skeleton.bind[:, :3, :3])
    rotation = Rotation.from_matrix(nearest_rotation(change).reshape(-1, 3, 3)).as_quat(scalar_first=True)
    return Poses(
        rotation.reshape(*change.shape[:2], 4), world[..., :3, 3].copy(), np.ones(len(world), dtype=np.float64)
    )


def nearest_rotation(matrices: FloatArray) -> FloatArray:
    """(..., 3, 3) the rotation nearest to each matrix (polar decomposition by singular values)."""
    u, _, vt = np.linalg.svd(matrices)
    u[..., :, 2] *= np.sign(np.linalg.det(u @ vt))[..., None]
    return np.asarray(u @ vt, dtype=np.float64)


def sample_poses(clip: Clip, skeleton: Skeleton, times: Sequence[float] | FloatArray) -> Poses:
    """Poses of a clip at `times` in seconds: `sample_clip`, then `world_from_local` and `poses_from_world`."""
    return poses_from_world(skeleton, world_from_local(skeleton, sample_clip(clip, skeleton, times)))
