"""A new .glb of a character that was made by code."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from instep.character import Character, Mesh, MeshPart, Skeleton
from instep.character.arrays import FloatArray, IntArray
from instep.character.pose import local_matrices, split_transforms
from instep.formats.container import Document, Json
from instep.formats.edit import Edit, written
from instep.formats.keys import add_animation

VERTEX_DATA: Final = 34962
INDEX_DATA: Final = 34963
UNSIGNED_BYTE, UNSIGNED_SHORT, UNSIGNED_INT = 5121, 5123, 5125
PLAIN_COLOUR: Final = (0.6, 0.57, 0.52)


def write_character(
    character: Character,
    path: Path | str,
    *,
    extras: Mapping[str, object] | None = None,
    colours: Mapping[str, Sequence[float]] | None = None,
) -> None:
    """Write a character as a new file (.glb, or .gltf with its bytes inside): the same bytes every time.

    Parameters
    ----------
    extras : application data, at the file's outermost level.
    colours : base colour (linear red, green, blue, 0 to 1) of a mesh part, by the part's name.

    Each mesh part becomes a mesh of its own with one plain material; normals are smooth. Raises OutputError,
    and CharacterError where a joint is sheared.
    """
    document = Document(Path(path), {"asset": {"version": "2.0", "generator": "Instep"}})
    edit = Edit(document, path)
    tree = edit.tree
    tree["scene"], tree["scenes"] = 0, [{"nodes": []}]
    joint_nodes = _add_joints(tree, character.skeleton, character.name)
    inverse = np.linalg.inv(character.skeleton.bind)
    inverse[:, 3] = [0, 0, 0, 1]
    by_column = inverse.swapaxes(1, 2).reshape(-1, 16).astype("<f4")
    view = edit.add_view(by_column.tobytes())
    matrices = edit.add_accessor(view, by_column, "MAT4", bounds=False)
    tree["skins"] = [{"name": character.name, "inverseBindMatrices": matrices, "joints": joint_nodes}]
    if character.mesh is not None:
        normals = smooth_normals(character.mesh)
        for part in character.mesh.parts:
            _add_part(edit, character.mesh, part, normals, (colours or {}).get(part.name, PLAIN_COLOUR))
    node_of = dict(zip(character.skeleton.names, joint_nodes, strict=True))
    for clip in character.clips:
        edit.all("animations").append(add_animation(edit, node_of, clip.name, clip.tracks))
    if extras:
        tree["extras"] = dict(extras)
    edit.save()


def _add_joints(tree: Json, skeleton: Skeleton, name: str) -> list[int]:
    """Nodes for all joints as they stand at rest, and for the links between; returns the joints' nodes."""
    nodes: list[Json] = tree.setdefault("nodes", [])
    local = local_matrices(skeleton, skeleton.rest[None])[0]
    parts = split_transforms(local, name)
    found: list[int] = []
    for joint, label in enumerate(skeleton.names):
        parent = int(skeleton.parents[joint])
        siblings = tree["scenes"][0]["nodes"] if parent < 0 else nodes[found[parent]].setdefault("children", [])
        if np.abs(skeleton.link[joint] - np.eye(4)).max() > 0:
            siblings.append(len(nodes))
            siblings = []
            nodes.append({"matrix": skeleton.link[joint].T.ravel().tolist(), "children": siblings})
        siblings.append(len(nodes))
        node: Json = {"name": label}
        for path, plain, values in zip(
            ("translation", "rotation", "scale"),
            (np.zeros(3), np.array([1.0, 0, 0, 0]), np.ones(3)),
            (part[joint] for part in parts),
            strict=True,
        ):
            if np.abs(values - plain).max() > 1e-15:
                node[path] = written(path, values)
        found.append(len(nodes))
        nodes.append(node)
    return found


def smooth_normals(mesh: Mesh) -> FloatArray:
    """(V, 3) unit normals: the sum of the areas of the triangles around each place. Vertices that lie at the
    same place share it, so that seams do not show."""
    _, place = np.unique(mesh.positions.astype("<f4"), axis=0, return_inverse=True)
    place = place.reshape(-1)
    corners = mesh.positions[mesh.faces]
    area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = np.zeros((int(place.max(initial=-1)) + 1, 3))
    for corner in range(3):
        np.add.at(total, place[mesh.faces[:, corner]], area)
    length = np.linalg.norm(total, axis=1, keepdims=True)
    normals = np.where(length > 0, total / np.where(length > 0, length, 1.0), [0.0, 1.0, 0.0])
    return np.asarray(normals[place], dtype=np.float64)


def _add_part(edit: Edit, mesh: Mesh, part: MeshPart, normals: FloatArray, colour: Sequence[float]) -> None:
    """One mesh with its material and its node."""
    rows = part.vertices
    positions = mesh.positions[rows].astype("<f4")
    attributes = {
        "POSITION": _vertex_data(edit, positions, "VEC3", bounds=True),
        "NORMAL": _vertex_data(edit, normals[rows].astype("<f4"), "VEC3"),
    }
    for number, (joints, weights) in enumerate(_influence_sets(mesh.joints[rows], mesh.weights[rows])):
        attributes[f"JOINTS_{number}"] = _vertex_data(edit, joints, "VEC4", UNSIGNED_SHORT)
        attributes[f"WEIGHTS_{number}"] = _vertex_data(edit, weights, "VEC4")
    indices = (mesh.faces[part.faces] - rows.start).ravel().astype("<u4")
    view = edit.add_view(indices.tobytes(), target=INDEX_DATA)
    corner = edit.add_accessor(view, indices, "SCALAR", component=UNSIGNED_INT, bounds=False)
    materials = edit.all("materials")
    finish = {"baseColorFactor": [*map(float, colour), 1.0], "metallicFactor": 0.0, "roughnessFactor": 0.9}
    materials.append({"name": part.name, "pbrMetallicRoughness": finish})
    primitive = {"attributes": attributes, "indices": corner, "material": len(materials) - 1}
    edit.all("meshes").append({"name": part.name, "primitives": [primitive]})
    nodes = edit.all("nodes")
    edit.tree["scenes"][0]["nodes"].append(len(nodes))
    nodes.append({"name": part.name, "mesh": len(edit.all("meshes")) - 1, "skin": 0})


def _vertex_data(edit: Edit, values: NDArray[Any], kind: str, component: int = 5126, *, bounds: bool = False) -> int:
    view = edit.add_view(values.tobytes(), target=VERTEX_DATA)
    return edit.add_accessor(view, values, kind, component=component, bounds=bounds)


def _influence_sets(joints: IntArray, weights: FloatArray) -> list[tuple[NDArray[Any], NDArray[Any]]]:
    """Sets of four joints and weights; in single precision the weights of a vertex still sum to 1."""
    width = -(-joints.shape[1] // 4) * 4
    wide_joints = np.zeros((len(joints), width), dtype="<u2")
    wide_weights = np.zeros((len(joints), width), dtype="<f4")
    wide_joints[:, : joints.shape[1]] = joints
    wide_weights[:, : joints.shape[1]] = weights
    heaviest = weights.argmax(axis=1)
    lines = np.arange(len(weights))
    wide_weights[lines, heaviest] += (1.0 - wide_weights.sum(axis=1, dtype=np.float64)).astype("<f4")
    wide_joints[wide_weights == 0] = 0
    return [(wide_joints[:, i : i + 4].copy(), wide_weights[:, i : i + 4].copy()) for i in range(0, width, 4)]
