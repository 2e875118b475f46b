"""Clips and poses written into a copy of a character's own file. Source: glTF 2.0, 3.11."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from instep.character import BakedClip, Character, Clip, Poses, Skeleton, Track
from instep.character.arrays import FloatArray
from instep.character.pose import local_matrices, split_transforms
from instep.errors import CharacterError, OutputError
from instep.formats.edit import Edit, written
from instep.formats.keys import add_animation
from instep.formats.motion import PATHS, clip_names
from instep.formats.nodes import transform_parts
from instep.formats.reader import OpenFile, open_file
from instep.tolerances import TRACK_STILL


def write_clips(
    source: Path | str, target: Path | str, clips: Sequence[BakedClip | Clip], *, replace: bool = False
) -> None:
    """Write `source` with clips added to `target` (.glb or .gltf; may be the same file).

    A clip takes the place of one of the same name. With `replace` all clips that were there go. A baked clip
    gets keys only for what it moves, and one constant track for what stands other than in the file's rest
    pose. Everything else in the file stays as it is.

    Raises FormatError (source), CharacterError (a joint or a pose does not fit the file), OutputError (target).
    """
    opened = open_file(source)
    edit = Edit(opened.document, target)
    tracks = [(clip.name, _tracks(opened, clip)) for clip in clips]
    names = [name for name, _ in tracks]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise OutputError(f'two clips are named "{twice}"', where=str(target), expected="a name for each")
    existing = clip_names(opened.document)
    places = {name: existing.index(name) for name in names if name in existing}
    edit.drop_animations(set(range(len(existing))) if replace else set(places.values()))
    animations = edit.all("animations")
    node_of = {name: node for node, name in opened.found.names_of().items()}
    made = {name: add_animation(edit, node_of, name, own) for name, own in tracks}
    for name, place in sorted(places.items(), key=lambda item: item[1]):
        animations.insert(len(animations) if replace else place, made.pop(name))
    animations.extend(made.values())
    edit.save()


def write_pose(source: Path | str, target: Path | str, poses: Poses, index: int = 0) -> None:
    """Write `source` to `target` (.glb or .gltf; may be the same file) with its joints standing in one of `poses`.

    Only the nodes of joints that move are changed. The bind pose stays what it is. Raises as `write_clips`.
    """
    opened = open_file(source)
    edit = Edit(opened.document, target)
    one = Poses(*(a[[index]] for a in (poses.rotation, poses.position, poses.scale)))
    parts = _local_parts(opened, one, "the pose")
    for joint, node in enumerate(opened.found.nodes):
        rest = _rest_parts(opened, joint)
        least = _least(opened.found.skeleton, joint)
        for path, values in zip(PATHS, (part[0, joint] for part in parts), strict=True):
            if _gap(path, values[None], rest[path])[0] > least[path]:
                edit.matrix_to_parts(node)
                edit.all("nodes")[node][path] = written(path, values)
    edit.save()


def write_poses_as_clip(character: Character, poses: Poses, times: FloatArray, name: str, target: Path | str) -> None:
    """Write the file that `character` was read from with `poses` at `times` (seconds) as a clip: `write_clips`."""
    write_clips(character.source, target, [BakedClip(name, times, poses)])


def baked_tracks(opened: OpenFile, baked: BakedClip) -> tuple[Track, ...]:
    """The tracks of a baked clip: those that move, and those that stand other than in the file's rest pose.

    A constant track has keys at the clip's first and last time, so that the clip keeps its length. A clip
    that is the rest pose throughout gets one such track of the first joint.
    """
    skeleton = opened.found.skeleton
    times = np.asarray(baked.times, dtype=np.float64)
    parts = _local_parts(opened, baked.poses, f'clip "{baked.name}"')
    ends = [0, -1] if len(times) > 1 else [0]
    tracks: list[Track] = []
    for joint, name in enumerate(skeleton.names):
        rest, least = _rest_parts(opened, joint), _least(skeleton, joint)
        for path, values in zip(PATHS, (part[:, joint] for part in parts), strict=True):
            if path == "rotation":
                values = _aligned(values, rest[path])
            if _gap(path, values, rest[path]).max() <= least[path]:
                continue
            if _gap(path, values, values[0]).max() <= least[path]:
                tracks.append(Track(name, path, times[ends], values[ends]))
            else:
                tracks.append(Track(name, path, times, values))
    if not tracks:
        values = np.repeat(_rest_parts(opened, 0)["rotation"][None], len(ends), axis=0)
        tracks.append(Track(skeleton.names[0], "rotation", times[ends], values))
    return tuple(tracks)


def _aligned(quaternions: FloatArray, first: FloatArray) -> FloatArray:
    """The same rotations, each quaternion on the same side as the one before: no interpolation goes astray."""
    before = np.concatenate([first[None], quaternions[:-1]])
    signs = np.cumprod(np.where(np.sum(quaternions * before, axis=1) < 0, -1.0, 1.0))
    return quaternions * signs[:, None]


def _gap(path: str, values: FloatArray, reference: FloatArray) -> FloatArray:
    """(n,) largest difference to a reference in any coordinate; a quaternion and its negative are the same."""
    gap: FloatArray = np.abs(values - reference).max(axis=1)
    if path == "rotation":
        np.minimum(gap, np.abs(values + reference).max(axis=1), out=gap)
    return gap


def _least(skeleton: Skeleton, joint: int) -> dict[str, float]:
    """What counts as no movement at all, for each property, in the joint's own units."""
    size = float(np.linalg.norm(np.ptp(skeleton.positions, axis=0)))
    parent = int(skeleton.parents[joint])
    under = skeleton.link[joint] if parent < 0 else skeleton.rest[parent] @ skeleton.link[joint]
    unit = float(np.cbrt(np.abs(np.linalg.det(under[:3, :3]))))
    scale = float(np.abs(np.linalg.norm(skeleton.rest[joint][:3, :3], axis=0)).max()) / unit
    return {"translation": TRACK_STILL * size / unit, "rotation": TRACK_STILL, "scale": TRACK_STILL * scale}


def _rest_parts(opened: OpenFile, joint: int) -> dict[str, FloatArray]:
    """The joint's own node at rest; a node with a matrix is taken apart."""
    node = opened.found.nodes[joint]
    entry = opened.document.items("nodes")[node]
    if "matrix" in entry:
        parts = split_transforms(opened.tree.local[node], f"{opened.document.path.name}: node {node}")
    else:
        parts = transform_parts(opened.document, entry, f"node {node}")
    return dict(zip(PATHS, parts, strict=True))


def _local_parts(opened: OpenFile, poses: Poses, what: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Translation, rotation, scale (N, J, ...) of joints as the file writes them."""
    skeleton, name = opened.found.skeleton, opened.document.path.name
    if poses.rotation.shape[1] != len(skeleton):
        raise CharacterError(
            f"{what} has {poses.rotation.shape[1]} joints",
            where=name,
            expected=f"{len(skeleton)}, as many as the file",
            cure="Read the character again: its file has changed",
        )
    return split_transforms(local_matrices(skeleton, poses.world(skeleton)), f"{name}: {what}")


def _tracks(opened: OpenFile, clip: BakedClip | Clip) -> tuple[Track, ...]:
    if isinstance(clip, BakedClip):
        return baked_tracks(opened, clip)
    unknown = [track.joint for track in clip.tracks if track.joint not in opened.found.skeleton.names]
    if unknown:
        raise CharacterError(
            f'clip "{clip.name}" moves "{unknown[0]}"',
            where=opened.document.path.name,
            expected="a joint of this file",
            cure="Leave that track out",
        )
    return clip.tracks
