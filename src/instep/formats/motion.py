"""Clips out of a file's animations. Source: glTF 2.0, 3.11."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, cast

import numpy as np

from instep.character import Clip, Note, Track
from instep.character.arrays import FloatArray
from instep.formats.accessors import read_floats
from instep.formats.container import Document, Json
from instep.formats.nodes import NodeTree, transform_parts

TransformPath: TypeAlias = Literal["translation", "rotation", "scale"]
PATHS: Final[tuple[TransformPath, ...]] = ("translation", "rotation", "scale")
INTERPOLATIONS: Final = ("LINEAR", "STEP", "CUBICSPLINE")
UNMOVED: Final = 1e-5
"""Plain number for rotations and scales, fraction of the file's size for positions: keys that stay this close to
a node's own transform do not move it."""


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """One channel of an animation: the node it moves (None: no node), which property, and where it stands."""

    node: int | None
    path: str
    sampler: Json
    place: str


def channels(document: Document, entry: Json, index: int) -> Iterator[Channel]:
    """The channels of an animation, with their samplers found."""
    place = f"animation {index}"
    samplers = document.members(entry, "samplers", place)
    for number, channel in enumerate(document.members(entry, "channels", place)):
        here = f"{place}: channel {number}"
        target = channel.get("target") if isinstance(channel, dict) else None
        if not isinstance(target, dict) or not isinstance(target.get("path"), str):
            document.fail(here, "it has no target", expected="a target with a node and a path")
        chosen = channel.get("sampler")
        if not isinstance(chosen, int) or not 0 <= chosen < len(samplers) or chosen is True:
            document.fail(here, f"it names sampler {chosen}", expected=f"0 to {len(samplers) - 1}")
        if not isinstance(samplers[chosen], dict):
            document.fail(here, f"sampler {chosen} is not an object", expected="an object")
        node = target.get("node")
        if node is not None:
            document.item("nodes", node, here)
        yield Channel(node, target["path"], samplers[chosen], here)


def _values(document: Document, channel: Channel, count: int) -> FloatArray:
    kind = "VEC4" if channel.path == "rotation" else "VEC3"
    values = read_floats(document, channel.sampler.get("output"), kind, channel.place)
    if len(values) != count:
        document.fail(
            channel.place,
            f"it has {len(values)} values",
            expected=f"{count}",
            cure="The file is damaged: export it again",
        )
    return values[:, [3, 0, 1, 2]] if channel.path == "rotation" else values


def _interpolation(document: Document, channel: Channel) -> Literal["LINEAR", "STEP", "CUBICSPLINE"]:
    name = channel.sampler.get("interpolation", "LINEAR")
    if name not in INTERPOLATIONS:
        document.fail(channel.place, f"its interpolation is {name!r}", expected=f"one of {', '.join(INTERPOLATIONS)}")
    return cast(Literal["LINEAR", "STEP", "CUBICSPLINE"], name)


def animated_nodes(document: Document) -> set[int]:
    """Nodes that clips have transform keys for."""
    return {
        channel.node
        for index, animation in enumerate(document.items("animations"))
        for channel in channels(document, animation, index)
        if channel.node is not None and channel.path in PATHS
    }


def moved_nodes(document: Document, tree: NodeTree, among: set[int]) -> set[int]:
    """Those of some nodes whose keys move them from where they stand: many exporters write keys that do not."""
    moved: set[int] = set()
    size = float(np.abs(tree.world[:, :3, 3]).max(initial=0.0))
    for index, animation in enumerate(document.items("animations")):
        for channel in channels(document, animation, index):
            node = channel.node
            if node is None or node not in among or node in moved or channel.path not in PATHS:
                continue
            entry = document.items("nodes")[node]
            if "matrix" in entry:  # glTF forbids to animate it, and says nothing of what its parts would be
                moved.add(node)
                continue
            own = transform_parts(document, entry, f"node {node}")[PATHS.index(channel.path)]
            track = _track(document, channel, "")
            keys = track.values[:, 1] if track.interpolation == "CUBICSPLINE" else track.values
            gap = np.abs(keys - own).max()
            if channel.path == "rotation":
                gap = np.minimum(np.abs(keys - own).max(axis=1), np.abs(keys + own).max(axis=1)).max()
            if gap > UNMOVED * (size if channel.path == "translation" else 1.0):
                moved.add(node)
    return moved


def _track(document: Document, channel: Channel, joint: str) -> Track:
    times = read_floats(document, channel.sampler.get("input"), "SCALAR", channel.place)
    interpolation = _interpolation(document, channel)
    per_key = 3 if interpolation == "CUBICSPLINE" else 1
    values = _values(document, channel, len(times) * per_key)
    if per_key == 3:
        values = values.reshape(len(times), 3, -1)
    if len(times) == 0 or np.any(np.diff(times) < 0):
        document.fail(
            channel.place,
            "the times of its keys go back" if len(times) else "it has no keys",
            expected="times that increase",
            cure="Export the clip again",
        )
    keep = np.append(np.diff(times) > 0, True)  # of keys at one time the last counts
    path = cast(TransformPath, channel.path)
    return Track(joint, path, times[keep], values[keep], interpolation)


def clip_names(document: Document) -> list[str]:
    """A unique name for each animation."""
    names: list[str] = []
    for index, animation in enumerate(document.items("animations")):
        given = animation.get("name")
        wanted = given if isinstance(given, str) and given else f"clip {index}"
        unique, number = wanted, 2
        while unique in names:
            unique, number = f"{wanted} ({number})", number + 1
        names.append(unique)
    return names


def read_tracks(
    document: Document, tree: NodeTree, joint_names: dict[int, str]
) -> tuple[tuple[Clip, ...], tuple[Note, ...]]:
    """All clips, with the tracks of joints alone; a note says what else they move.

    `joint_names` gives the joint's name for each node that is a joint.
    """
    clips: list[Clip] = []
    others: set[str] = set()
    plain: set[int] = set()
    notes: list[Note] = []
    for index, (animation, name) in enumerate(zip(document.items("animations"), clip_names(document), strict=True)):
        tracks: dict[tuple[int, str], Track] = {}
        for channel in channels(document, animation, index):
            if channel.node is None:
                others.add("what an extension names")
            elif channel.path == "weights":
                others.add("morph weights")
            elif channel.path not in PATHS:
                others.add(f'"{channel.path}"')
            elif channel.node not in joint_names:
                plain.add(channel.node)
            elif (channel.node, channel.path) in tracks:
                what = f'"{joint_names[channel.node]}" twice along {channel.path}'
                notes.append(Note(f"{document.path.name}: {channel.place}", f"it moves {what}", "the first counts"))
            else:
                joint = joint_names[channel.node]
                tracks[channel.node, channel.path] = _track(document, channel, joint)
        clips.append(Clip(name, tuple(tracks.values())))
    others |= {tree.label(node) for node in moved_nodes(document, tree, plain)}
    if others:
        seen = f"clips also move {', '.join(sorted(others))}"
        notes.append(Note(document.path.name, seen, "that is left as it is: no joint is moved by it"))
    return tuple(clips), tuple(notes)
