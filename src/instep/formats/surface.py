"""The skinned surface of a file, in the bind pose in the world. Source: glTF 2.0, 3.7.2 and 3.7.3."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from instep.character import Mesh, MeshPart, Note
from instep.character.arrays import FloatArray, IntArray
from instep.formats.accessors import read_floats, read_integers
from instep.formats.container import Document, Json
from instep.formats.joints import FileSkeleton
from instep.formats.nodes import NodeTree
from instep.tolerances import WEIGHT_SUM

TRIANGLES: Final = 4
STRIP: Final = 5
FAN: Final = 6


@dataclass(slots=True)
class _Gathered:
    """What has been read so far, primitive by primitive."""

    positions: list[FloatArray] = field(default_factory=list)
    faces: list[IntArray] = field(default_factory=list)
    joints: list[IntArray] = field(default_factory=list)
    weights: list[FloatArray] = field(default_factory=list)
    parts: list[MeshPart] = field(default_factory=list)
    vertex_rows: dict[str, slice] = field(default_factory=dict)
    vertices: int = 0
    triangles: int = 0
    uneven: dict[str, int] = field(default_factory=dict)
    """Counts of vertices that were put right, by what was wrong."""

    def count(self, what: str, how_many: int) -> None:
        if how_many:
            self.uneven[what] = self.uneven.get(what, 0) + how_many


def read_surface(document: Document, tree: NodeTree, found: FileSkeleton) -> tuple[Mesh | None, tuple[Note, ...]]:
    """All skinned triangles of the file's scene, or None where there are none."""
    notes: list[Note] = []
    gathered = _Gathered()
    ignored: list[str] = []
    shown = _scene_nodes(document, tree)
    listed = found.joint_of()
    for node in tree.order:
        entry = document.items("nodes")[node]
        if "mesh" not in entry:
            continue
        mesh = document.item("meshes", entry["mesh"], tree.label(node))
        place = f"mesh {entry['mesh']}"
        given = mesh.get("name")
        name = given if isinstance(given, str) and given else place
        if node not in shown:
            _note(notes, document, place, f'"{name}" is in no scene that is shown', "it is left out")
            continue
        if "skin" not in entry:
            below = next((n for n in [node, *tree.above(node)] if n in listed), None)
            hangs = "" if below is None else f' and hangs on joint "{tree.names[below]}"'
            _note(notes, document, place, f'"{name}" has no skin{hangs}', "it takes no part in measuring")
            continue
        document.item("skins", entry["skin"], tree.label(node))
        M = found.M[entry["skin"]]
        if M is not None and np.abs(tree.world[node] - M).max() > 1e-5 * max(1.0, np.abs(M).max()):
            ignored.append(name)
        primitives = document.members(mesh, "primitives", place)
        for number, primitive in enumerate(primitives):
            label = name if len(primitives) == 1 else f"{name} {number}"
            here = f"{place}: primitive {number}"
            if not isinstance(primitive, dict):
                document.fail(here, "it is not an object", expected="an object")
            _read_primitive(document, found, entry, mesh, primitive, label, here, gathered, notes)
    if ignored:
        seen = f"the nodes of skinned meshes are turned, scaled or moved: {', '.join(ignored)}"
        _note(notes, document, "", seen, "as glTF asks, that is ignored: the skin alone places them")
    meanings = {
        "have no weight at all": "they are bound to the topmost joint of their skin",
        "have weights that do not sum to 1": "their weights are scaled to sum to 1",
        "have a negative weight": "it is taken for 0",
        "can be moved by morph targets": "the targets are kept in the file; the shape at rest is measured",
    }
    for what, how_many in gathered.uneven.items():
        _note(notes, document, "", f"{how_many} vertices {what}", meanings[what])
    if not gathered.vertices:
        return None, tuple(notes)
    widest = max(array.shape[1] for array in gathered.weights)
    joints = np.zeros((gathered.vertices, widest), dtype=np.int64)
    weights = np.zeros((gathered.vertices, widest))
    row = 0
    for j, w in zip(gathered.joints, gathered.weights, strict=True):
        joints[row : row + len(j), : j.shape[1]] = j
        weights[row : row + len(w), : w.shape[1]] = w
        row += len(j)
    positions, faces = np.concatenate(gathered.positions), np.concatenate(gathered.faces)
    return Mesh(positions, faces, joints, weights, tuple(gathered.parts)), tuple(notes)


def _note(notes: list[Note], document: Document, place: str, seen: str, means: str) -> None:
    notes.append(Note(f"{document.path.name}: {place}" if place else document.path.name, seen, means))


def _scene_nodes(document: Document, tree: NodeTree) -> set[int]:
    """Nodes of the scene that is shown; all, where the file has no scenes, or none with a skinned mesh."""
    everything = set(range(len(tree.names)))
    scenes = document.items("scenes")
    if not scenes:
        return everything
    scene = document.item("scenes", document.json.get("scene", 0), '"scene"')
    roots = set()
    for node in document.members(scene, "nodes", "the scene"):
        document.item("nodes", node, "the scene")
        roots.add(node)
    shown = {node for node in everything if roots.intersection([node, *tree.above(node)])}
    entries = document.items("nodes")
    return shown if any("mesh" in entries[node] and "skin" in entries[node] for node in shown) else everything


def _read_primitive(
    document: Document,
    found: FileSkeleton,
    node: Json,
    mesh: Json,
    primitive: Json,
    name: str,
    place: str,
    gathered: _Gathered,
    notes: list[Note],
) -> None:
    mode = document.whole(primitive, "mode", place, TRIANGLES)
    attributes = primitive.get("attributes")
    if not isinstance(attributes, dict):
        document.fail(place, "it has no attributes", expected='"attributes" with POSITION, JOINTS_0, WEIGHTS_0')
    if mode not in (TRIANGLES, STRIP, FAN):
        _note(notes, document, place, f'"{name}" is made of points or lines', "it takes no part in measuring")
        return
    if "POSITION" not in attributes or "JOINTS_0" not in attributes:
        lacks = "positions" if "POSITION" not in attributes else "joints"
        _note(notes, document, place, f'"{name}" lacks {lacks}', "it takes no part in measuring")
        return
    sets = sorted(key for key in attributes if key.startswith(("JOINTS_", "WEIGHTS_")))
    key = str((node["skin"], attributes["POSITION"], [attributes[s] for s in sets], _morphs(mesh, node)))
    if key not in gathered.vertex_rows:
        _read_vertices(document, found, node, mesh, primitive, place, gathered, notes)
        count = len(gathered.positions[-1])
        gathered.vertex_rows[key] = slice(gathered.vertices, gathered.vertices + count)
        gathered.vertices += count
    rows = gathered.vertex_rows[key]
    faces = _read_faces(document, primitive, mode, rows.stop - rows.start, place)
    gathered.faces.append(faces + rows.start)
    gathered.parts.append(MeshPart(name, rows, slice(gathered.triangles, gathered.triangles + len(faces))))
    gathered.triangles += len(faces)


def _morphs(mesh: Json, node: Json) -> object:
    """The weights at which morph targets are shown at rest."""
    return node.get("weights", mesh.get("weights"))


def _read_vertices(
    document: Document,
    found: FileSkeleton,
    node: Json,
    mesh: Json,
    primitive: Json,
    place: str,
    gathered: _Gathered,
    notes: list[Note],
) -> None:
    attributes: Json = primitive["attributes"]
    positions = read_floats(document, attributes["POSITION"], "VEC3", place)
    targets = document.members(primitive, "targets", place)
    if targets:
        gathered.count("can be moved by morph targets", len(positions))
        holder = node if "weights" in node else mesh
        shown = document.numbers(holder, "weights", place, len(targets))
        for weight, target in zip(shown if shown is not None else (), targets, strict=False):
            if weight and isinstance(target, dict) and "POSITION" in target:
                moved = read_floats(document, target["POSITION"], "VEC3", place)
                if len(moved) != len(positions):
                    document.fail(place, f"a morph target has {len(moved)} vertices", expected=f"{len(positions)}")
                positions = positions + weight * moved
    joints, weights = _read_influences(document, found, node["skin"], attributes, len(positions), place, gathered)
    M = found.M[node["skin"]]
    if M is not None:
        positions = positions @ M[:3, :3].T + M[:3, 3]
    else:  # vertices in their joints' own frames: the rest pose puts them in the world
        bind = found.skeleton.rest
        placed = np.einsum("vkab,vb->vka", bind[joints][..., :3, :3], positions) + bind[joints][..., :3, 3]
        positions = np.einsum("vk,vka->va", weights, placed)
    gathered.positions.append(positions)
    gathered.joints.append(joints)
    gathered.weights.append(weights)


def _read_influences(
    document: Document,
    found: FileSkeleton,
    skin_index: int,
    attributes: Json,
    count: int,
    place: str,
    gathered: _Gathered,
) -> tuple[IntArray, FloatArray]:
    """(n, K) skeleton joints and weights of all sets, each joint once at a vertex, heaviest first."""
    skin = found.skins[skin_index]
    joint_sets, weight_sets = [], []
    number = 0
    while f"JOINTS_{number}" in attributes:
        if f"WEIGHTS_{number}" not in attributes:
            document.fail(place, f"it has JOINTS_{number}", expected=f"WEIGHTS_{number} too")
        joint_sets.append(read_integers(document, attributes[f"JOINTS_{number}"], "VEC4", place))
        weight_sets.append(read_floats(document, attributes[f"WEIGHTS_{number}"], "VEC4", place))
        for rows in (joint_sets[-1], weight_sets[-1]):
            if len(rows) != count:
                document.fail(place, f"set {number} has {len(rows)} vertices", expected=f"{count}")
        number += 1
    local, weights = np.concatenate(joint_sets, axis=1), np.concatenate(weight_sets, axis=1)
    negative = weights < 0
    gathered.count("have a negative weight", int(negative.any(axis=1).sum()))
    weights = np.where(negative, 0.0, weights)
    local = np.where(weights > 0, local, 0)
    if count and local.max() >= len(skin.nodes):
        vertex = int(np.flatnonzero((local >= len(skin.nodes)).any(axis=1))[0])
        document.fail(
            place,
            f"vertex {vertex} names joint {local[vertex].max()} of skin {skin_index}",
            expected=f"0 to {len(skin.nodes) - 1}",
            cure="The file is damaged: export it again",
        )
    position = found.joint_of()
    joints = np.array([position[node] for node in skin.nodes], dtype=np.int64)[local]
    return merged_influences(joints, weights, int(min(position[node] for node in skin.nodes)), gathered)


def merged_influences(
    joints: IntArray, weights: FloatArray, top: int, gathered: _Gathered
) -> tuple[IntArray, FloatArray]:
    """Each joint once at a vertex, heaviest first, rows sum to 1; rows without weight go to joint `top`."""
    order = np.argsort(np.where(weights > 0, joints, np.iinfo(np.int64).max), axis=1, kind="stable")
    joints, weights = np.take_along_axis(joints, order, axis=1), np.take_along_axis(weights, order, axis=1)
    for column in range(joints.shape[1] - 1, 0, -1):  # add an influence to its equal on the left
        same = (joints[:, column] == joints[:, column - 1]) & (weights[:, column] > 0)
        weights[:, column - 1] += np.where(same, weights[:, column], 0.0)
        weights[:, column] = np.where(same, 0.0, weights[:, column])
    total = weights.sum(axis=1)
    empty = total <= 0
    gathered.count("have no weight at all", int(empty.sum()))
    gathered.count("have weights that do not sum to 1", int((np.abs(total[~empty] - 1) > WEIGHT_SUM).sum()))
    joints[empty, 0], weights[empty, 0] = top, 1.0
    weights = weights / np.where(empty, 1.0, total)[:, None]
    order = np.argsort(-weights, axis=1, kind="stable")
    width = max(1, int((weights > 0).sum(axis=1).max(initial=0)))
    joints = np.take_along_axis(joints, order, axis=1)[:, :width]
    weights = np.take_along_axis(weights, order, axis=1)[:, :width]
    return np.where(weights > 0, joints, 0), weights


def _read_faces(document: Document, primitive: Json, mode: int, vertices: int, place: str) -> IntArray:
    """(F, 3) triangles of a list, strip or fan, counter-clockwise."""
    if "indices" in primitive:
        indices = read_integers(document, primitive["indices"], "SCALAR", place)
    else:
        indices = np.arange(vertices, dtype=np.int64)
    if len(indices) and indices.max() >= vertices:
        document.fail(
            place,
            f"a triangle names vertex {indices.max()}",
            expected=f"0 to {vertices - 1}",
            cure="The file is damaged: export it again",
        )
    if mode == TRIANGLES:
        if len(indices) % 3:
            document.fail(place, f"it has {len(indices)} corners", expected="three for each triangle")
        return indices.reshape(-1, 3)
    i = np.arange(max(0, len(indices) - 2))
    if mode == STRIP:
        corners = np.stack([i, i + 1 + i % 2, i + 2 - i % 2], axis=1)
    else:
        corners = np.stack([i + 1, i + 2, np.zeros_like(i)], axis=1)
    faces = indices[corners]
    # Strips are joined by triangles without area.
    flat = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    return np.asarray(faces[~flat], dtype=np.int64)
