"""The node tree of a file: who hangs under whom, and where each node stands. Source: glTF 2.0, 3.5.2 and 3.6."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.character.model import Note
from instep.character.pose import rotation_matrices
from instep.formats.container import Document, Json

FLAT: Final = 1e-12
"""Unitless. A 3 x 3 part whose determinant, over the product of its columns' lengths, is below this is flat."""


@dataclass(frozen=True, slots=True, eq=False)
class NodeTree:
    """All n nodes of a file.

    Attributes
    ----------
    names : as in the file, not always unique; for messages.
    parents : index of the node above, -1 where there is none.
    order : all indices, parents before children, otherwise in the order of the file.
    local : (n, 4, 4) ``T_parent_node``.
    world : (n, 4, 4) ``T_world_node``.
    """

    names: tuple[str, ...]
    parents: tuple[int, ...]
    order: tuple[int, ...]
    local: FloatArray
    world: FloatArray

    def above(self, node: int) -> list[int]:
        """The nodes above, nearest first."""
        chain: list[int] = []
        while (node := self.parents[node]) >= 0:
            chain.append(node)
        return chain

    def label(self, node: int) -> str:
        """A node in a message: its number and its name."""
        return f'node {node} "{self.names[node]}"'


def read_nodes(document: Document) -> NodeTree:
    """Read the node tree; FormatError for loops, nodes with two parents, and transforms that are no numbers."""
    nodes = document.items("nodes")
    parents = [-1] * len(nodes)
    children: list[list[int]] = []
    for index, node in enumerate(nodes):
        below: list[int] = []
        for child in document.members(node, "children", f"node {index}"):
            document.item("nodes", child, f"node {index}")
            if parents[child] >= 0:
                document.fail(
                    f"node {child}",
                    f"it hangs under node {parents[child]} and under node {index}",
                    expected="one parent",
                    cure="Export the model again",
                )
            parents[child] = index
            below.append(child)
        children.append(below)
    ready = [index for index, parent in enumerate(parents) if parent < 0]
    visited: list[int] = []
    while ready:
        visited.append(heapq.heappop(ready))
        for child in children[visited[-1]]:
            heapq.heappush(ready, child)
    if len(visited) < len(nodes):
        _fail_for_loop(document, parents, set(range(len(nodes))) - set(visited))
    names = tuple(_written_name(node) or "no name" for node in nodes)
    local = np.array([local_matrix(document, node, f"node {i}") for i, node in enumerate(nodes)])
    local = local.reshape(-1, 4, 4)
    world = local.copy()
    for index in visited:
        if parents[index] >= 0:
            world[index] = world[parents[index]] @ local[index]
    return NodeTree(names, tuple(parents), tuple(visited), local, world)


def _fail_for_loop(document: Document, parents: list[int], inside: set[int]) -> None:
    node = min(inside)
    path = [node]
    while (node := parents[node]) not in path:
        path.append(node)
    circle = [*path[path.index(node) :], node]
    document.fail(
        f"node {node}",
        f"it hangs under itself: {' under '.join(map(str, circle))}",
        expected="a tree",
        cure="Export the model again",
    )


def _written_name(node: Json) -> str:
    name = node.get("name")
    return name if isinstance(name, str) else ""


def joint_names(document: Document, joints: Sequence[int]) -> tuple[tuple[str, ...], tuple[Note, ...]]:
    """A unique name for each node among `joints`: the file's to the letter, numbered where it comes again."""
    nodes = document.items("nodes")
    written = [_written_name(nodes[node]) for node in joints]
    used = set(written)
    names: list[str] = []
    for node, name in zip(joints, written, strict=True):
        first = bool(name) and name not in names
        wanted, number = name or f"joint {node}", 1 if not name else 2
        unique = name if first else wanted if not name else f"{wanted} ({number})"
        while not first and (unique in used or unique in names):
            number += 1
            unique = f"{wanted} ({number})"
        names.append(unique)
    notes: list[Note] = []
    unnamed = [name for name, own in zip(names, written, strict=True) if not own]
    if unnamed:
        seen = f"{len(unnamed)} joints have no name"
        means = f'they are called by their numbers in the file, such as "{unnamed[0]}"; adding nodes changes that'
        notes.append(Note(document.path.name, seen, means))
    for name, count in Counter(filter(None, written)).items():
        if count > 1:
            seen = f'{count} joints are named "{name}"'
            means = f'from the second on they are called "{name} (2)" and so on'
            notes.append(Note(document.path.name, seen, means))
    return tuple(names), tuple(notes)


def transform_parts(document: Document, node: Json, place: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Translation, rotation (w, x, y, z, unit) and scale of a node that is not written as a matrix."""
    translation = document.numbers(node, "translation", place, 3)
    rotation = document.numbers(node, "rotation", place, 4)
    scale = document.numbers(node, "scale", place, 3)
    quaternion = np.array([1.0, 0, 0, 0]) if rotation is None else rotation[[3, 0, 1, 2]]
    length = float(np.linalg.norm(quaternion))
    if not np.isfinite(length) or length < 0.5:
        document.fail(place, f"its rotation has length {length:g}", expected="a quaternion of length 1")
    return (
        np.zeros(3) if translation is None else translation,
        quaternion / length,
        np.ones(3) if scale is None else scale,
    )


def local_matrix(document: Document, node: Json, place: str) -> FloatArray:
    """(4, 4) ``T_parent_node``."""
    T = np.eye(4)
    matrix = document.numbers(node, "matrix", place, 16)
    if matrix is not None:
        T = matrix.reshape(4, 4).T.copy()
        if np.abs(T[3] - [0, 0, 0, 1]).max() > 1e-6:
            document.fail(place, "the last row of its matrix is not 0, 0, 0, 1", expected="an affine matrix")
        T[3] = [0, 0, 0, 1]
    else:
        translation, rotation, scale = transform_parts(document, node, place)
        T[:3, :3] = rotation_matrices(rotation) * scale
        T[:3, 3] = translation
    if not np.isfinite(T).all():
        document.fail(place, "its transform is not finite", expected="finite numbers")
    return T


def handedness(matrix: FloatArray) -> float:
    """Determinant of the 3 x 3 part over the product of its columns' lengths: 1 for turns and scales, below 0
    for a mirror, 0 where it flattens."""
    linear = matrix[:3, :3]
    lengths = np.linalg.norm(linear, axis=0)
    return float(np.linalg.det(linear / lengths)) if lengths.min() > 1e-30 else 0.0


def check_no_mirror(document: Document, tree: NodeTree, joints: list[int]) -> None:
    """Raise FormatError where a joint, or a node above one, mirrors or flattens what hangs below it."""
    for node in dict.fromkeys(n for joint in joints for n in [joint, *tree.above(joint)]):
        turn = handedness(tree.local[node])
        if turn < FLAT:
            scale = document.items("nodes")[node].get("scale")
            how = f"scale {', '.join(f'{s:g}' for s in scale)}" if scale else "matrix"
            what = "flattens" if turn > -FLAT else "mirrors"
            document.fail(
                tree.label(node),
                f"its {how} {what} what hangs below it",
                expected="a positive scale above and in the skeleton",
                cure="Apply the scale in the modelling program and export again",
            )
