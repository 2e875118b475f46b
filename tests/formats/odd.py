"""Odd files, made byte by byte without the code under test: each shows the same character in the world."""

from __future__ import annotations

import base64
import json
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from instep.character import Character
from instep.character.arrays import FloatArray, IntArray

IDENTITY = np.eye(4)


@dataclass(frozen=True)
class Odd:
    """What is odd about a file. The plain file is `Odd()`.

    above : transforms of plain nodes above the skeleton, outermost first.
    mesh_node : transform of the nodes that hold the meshes.
    mesh_space : ``T_world_mesh``: what the vertices and the inverse bind matrices are written in.
    feet_space : the same for the part "feet", which then has a skin of its own (of its own joints alone).
    joint_scale : scale inside every joint, undone by its children.
    between : put a turned plain node above this joint.
    rest_turns : rotation vectors (degrees, about the joint's own axes) that joints have at rest beside the bind pose.
    foot_under_root : feet hang under the root joint, not under the shin.
    extra : joints of no weight: one under each hand, one between chest and neck.
    unlisted : joints without weight that no skin lists.
    rename : new names; an empty one takes the name away.
    twice : each joint of a vertex twice, in two sets (the standard forbids it).
    """

    above: tuple[FloatArray, ...] = ()
    mesh_node: FloatArray = field(default_factory=lambda: IDENTITY)
    mesh_space: FloatArray = field(default_factory=lambda: IDENTITY)
    feet_space: FloatArray | None = None
    joint_scale: float = 1.0
    between: str = ""
    rest_turns: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    foot_under_root: bool = False
    extra: bool = False
    unlisted: tuple[str, ...] = ()
    rename: Mapping[str, str] = field(default_factory=dict)
    influences: Literal[4, 8] = 4
    twice: bool = False
    weight_type: Literal["f4", "u1", "u2"] = "f4"
    joint_type: Literal["u1", "u2"] = "u1"
    weight_factor: float = 1.0
    sparse: bool = False
    interleaved: bool = False
    quantised: bool = False
    topology: Literal["triangles", "unindexed", "strip", "primitives"] = "triangles"
    container: Literal["glb", "files", "data"] = "glb"
    without_mesh: bool = False


class Maker:
    """Gathers JSON and bytes."""

    def __init__(self) -> None:
        self.json: dict[str, Any] = {"asset": {"version": "2.0"}, "accessors": [], "bufferViews": []}
        self.bytes = bytearray()

    def view(self, content: bytes, **more: object) -> int:
        self.bytes += b"\0" * (-len(self.bytes) % 4)
        view = {"buffer": 0, "byteOffset": len(self.bytes), "byteLength": len(content), **more}
        self.json["bufferViews"].append(view)
        self.bytes += content
        return len(self.json["bufferViews"]) - 1

    def accessor(self, array: NDArray[Any], kind: str, **more: object) -> int:
        """(n, width) or (n,) of little-endian components; `more` may give a view and an offset."""
        component = {"i1": 5120, "u1": 5121, "i2": 5122, "u2": 5123, "u4": 5125, "f4": 5126}[array.dtype.str[1:]]
        if "bufferView" not in more and "sparse" not in more:
            rows = array.reshape(len(array), -1)
            pad = -rows.dtype.itemsize * rows.shape[1] % 4 if kind != "SCALAR" else 0
            if pad:  # vertex data are aligned to 4 bytes
                wide = np.zeros((len(rows), rows.dtype.itemsize * rows.shape[1] + pad), np.uint8)
                wide[:, :-pad] = rows.view(np.uint8).reshape(len(rows), -1)
                more["bufferView"] = self.view(wide.tobytes(), byteStride=wide.shape[1])
            else:
                more["bufferView"] = self.view(array.tobytes())
        entry = {"componentType": component, "count": len(array), "type": kind, **more}
        self.json["accessors"].append(entry)
        return len(self.json["accessors"]) - 1

    def save(self, path: Path, container: str = "glb") -> Path:
        """Write .glb, or .gltf with a .bin beside it ("files"), or .gltf with a data URI."""
        tree = self.json
        tree["buffers"] = [{"byteLength": len(self.bytes)}]
        for kind in ("accessors", "bufferViews"):
            if not tree[kind]:
                del tree[kind]
        if not self.bytes:
            del tree["buffers"]
        if container == "glb":
            path = path.with_suffix(".glb")
            path.write_bytes(glb(json.dumps(tree).encode(), bytes(self.bytes)))
            return path
        path = path.with_suffix(".gltf")
        if container == "files":
            tree["buffers"][0]["uri"] = "the%20bytes/" + path.stem + ".bin"
            (path.parent / "the bytes").mkdir(exist_ok=True)
            (path.parent / "the bytes" / (path.stem + ".bin")).write_bytes(self.bytes)
        else:
            coded = base64.b64encode(self.bytes).decode()
            tree["buffers"][0]["uri"] = f"data:application/octet-stream;base64,{coded}"
        path.write_text(json.dumps(tree), encoding="utf-8")
        return path


def glb(text: bytes, binary: bytes = b"", *, version: int = 2, length: int | None = None) -> bytes:
    """The bytes of a .glb; `length` may lie."""
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text
    if binary:
        body += struct.pack("<II", len(binary), 0x004E4942) + binary
    return b"glTF" + struct.pack("<II", version, 12 + len(body) if length is None else length) + body


def turn(
    x: float = 0, y: float = 0, z: float = 0, scale: float = 1, offset: tuple[float, ...] = (0, 0, 0)
) -> FloatArray:
    """(4, 4) from a rotation vector in degrees, a scale and an offset."""
    T = np.eye(4)
    T[:3, :3] = scale * Rotation.from_rotvec([x, y, z], degrees=True).as_matrix()
    T[:3, 3] = offset
    return T


def column_major(matrix: FloatArray) -> list[float]:
    return [float(v) for v in matrix.T.ravel()]


def make_odd(character: Character, path: Path, odd: Odd) -> Path:
    """Write a character as a file with oddities; the suffix follows the container."""
    made = Maker()
    skeleton, mesh = character.skeleton, character.mesh
    assert mesh is not None
    names, parents = list(skeleton.names), list(map(int, skeleton.parents))
    inside = np.diag([odd.joint_scale] * 3 + [1.0])
    bind = [np.asarray(T @ inside) for T in skeleton.bind]
    if odd.foot_under_root:
        for name in ("foot.left", "foot.right"):
            parents[names.index(name)] = 0
    if odd.extra:
        for name, above in (("slot.left", "hand.left"), ("slot.right", "hand.right"), ("collar", "chest")):
            parents.append(names.index(above))
            names.append(name)
            bind.append(np.asarray(bind[parents[-1]] @ turn(40, 10, -70, offset=(0.02, 0.05, 0.0))))

    nodes: list[dict[str, Any]] = []
    made.json |= {"scene": 0, "scenes": [{"nodes": []}], "nodes": nodes, "skins": []}
    holder: list[int] = made.json["scenes"][0]["nodes"]
    under = np.eye(4)
    for T in odd.above:
        holder.append(len(nodes))
        holder = []
        nodes.append({"name": "holder", "matrix": column_major(T), "children": holder})
        under = under @ T
    node_of: dict[int, int] = {}
    for joint in sorted(range(len(names)), key=lambda j: len(_chain(parents, j))):
        parent = parents[joint]
        local = np.linalg.solve(under if parent < 0 else bind[parent], bind[joint])
        siblings = holder if parent < 0 else nodes[node_of[parent]].setdefault("children", [])
        if names[joint] == odd.between:
            plain = turn(20, -30, 50, offset=(0.1, 0.2, -0.1))
            siblings.append(len(nodes))
            siblings = []
            nodes.append({"name": "between", "matrix": column_major(plain), "children": siblings})
            local = np.linalg.solve(plain, local)
        local = local @ turn(*odd.rest_turns.get(names[joint], (0, 0, 0)))
        scale = np.cbrt(np.linalg.det(local[:3, :3]))
        rotation = Rotation.from_matrix(local[:3, :3] / scale).as_quat()
        siblings.append(len(nodes))
        node_of[joint] = len(nodes)
        entry = {
            "name": odd.rename.get(names[joint], names[joint]),
            "translation": local[:3, 3].tolist(),
            "rotation": rotation.tolist(),
            "scale": [float(scale)] * 3,
        }
        if not entry["name"]:
            del entry["name"]
        nodes.append(entry)

    listed = [joint for joint in reversed(range(len(names))) if names[joint] not in odd.unlisted]
    if odd.without_mesh:
        made.json["skins"].append({"joints": [node_of[j] for j in listed]})
        return made.save(path, odd.container)
    made.json["meshes"] = []
    groups = {"all": odd.mesh_space} if odd.feet_space is None else {"rest": odd.mesh_space, "feet": odd.feet_space}
    weights = np.zeros((len(mesh), len(names)))
    np.add.at(weights, (np.arange(len(mesh))[:, None], mesh.joints), mesh.weights)
    for group, space in groups.items():
        parts = [p for p in mesh.parts if group == "all" or (p.name == "feet") == (group == "feet")]
        own = listed
        if group != "all":
            rows = np.concatenate([np.arange(p.vertices.start, p.vertices.stop) for p in parts])
            used = weights[rows].any(axis=0)
            own = [joint for joint in listed if used[joint]]
        if odd.quantised:  # positions as 16-bit integers over the character's box, as KHR_mesh_quantization allows
            inside_space = (mesh.positions - space[:3, 3]) @ np.linalg.inv(space[:3, :3]).T
            low, high = inside_space.min(axis=0), inside_space.max(axis=0)
            grid = np.diag([*np.repeat((high - low).max() / 65535, 3), 1.0])
            grid[:3, 3] = low
            space = space @ grid
        inverse = np.array([np.linalg.solve(bind[j], space) for j in own])
        matrices = made.accessor(inverse.swapaxes(1, 2).reshape(-1, 16).astype("<f4"), "MAT4")
        skin = {"inverseBindMatrices": matrices, "joints": [node_of[j] for j in own]}
        made.json["skins"].append(skin)
        for part in parts:
            _add_mesh(made, mesh.positions[part.vertices], mesh.faces[part.faces] - part.vertices.start,
                      weights[part.vertices][:, own], part.name, space, odd)  # fmt: skip
            node = {"name": part.name, "mesh": len(made.json["meshes"]) - 1, "skin": len(made.json["skins"]) - 1}
            if np.any(odd.mesh_node != IDENTITY):
                node["matrix"] = column_major(odd.mesh_node)
            holder.append(len(nodes))
            nodes.append(node)
    if odd.quantised:
        made.json["extensionsUsed"] = made.json["extensionsRequired"] = ["KHR_mesh_quantization"]
    return made.save(path, odd.container)


def _chain(parents: list[int], joint: int) -> list[int]:
    chain = [joint]
    while parents[chain[-1]] >= 0:
        chain.append(parents[chain[-1]])
    return chain


def _add_mesh(
    made: Maker, positions: FloatArray, faces: IntArray, weights: FloatArray, name: str, space: FloatArray, odd: Odd
) -> None:
    written = (positions - space[:3, 3]) @ np.linalg.inv(space[:3, :3]).T
    primitives = [faces]
    if odd.topology == "unindexed":
        written, weights = written[faces.ravel()], weights[faces.ravel()]
    elif odd.topology == "strip":
        a, b, c = faces.T
        following = np.append(a[1:], c[-1])
        primitives = [np.stack([a, b, c, c, c, following], axis=1)]
    elif odd.topology == "primitives":
        primitives = [faces[: len(faces) // 3], faces[len(faces) // 3 :]]
    attributes = _attributes(made, written, weights, odd)
    entries = []
    for indices in primitives:
        primitive: dict[str, Any] = {"attributes": attributes}
        if odd.topology == "strip":
            primitive["mode"] = 5
        if odd.topology != "unindexed":
            primitive["indices"] = made.accessor(indices.ravel().astype("<u2"), "SCALAR")
        entries.append(primitive)
    made.json["meshes"].append({"name": name, "primitives": entries})


def _attributes(made: Maker, positions: FloatArray, weights: FloatArray, odd: Odd) -> dict[str, int]:
    stored = np.rint(positions).astype("<u2") if odd.quantised else positions.astype("<f4")
    bounds = {"min": stored.min(axis=0).tolist(), "max": stored.max(axis=0).tolist()}
    order = np.argsort(-weights, axis=1, kind="stable")[:, : 4 if odd.twice else odd.influences]
    heavy = np.take_along_axis(weights, order, axis=1)
    if odd.twice:  # the second time in another order
        order, heavy = (
            np.concatenate([order, order[:, ::-1]], 1),
            np.concatenate([heavy * 0.25, heavy[:, ::-1] * 0.75], 1),
        )
    heavy = heavy * odd.weight_factor
    joints = np.where(heavy > 0, order, 0).astype("<" + odd.joint_type)
    more: dict[str, object] = {}
    if odd.weight_type == "f4":
        packed: NDArray[Any] = heavy.astype("<f4")
    else:
        packed = _normalised(heavy, odd.weight_type)
        more["normalized"] = True
    made_sets = {}
    for i in range(order.shape[1] // 4):
        columns = slice(4 * i, 4 * i + 4)
        made_sets[f"JOINTS_{i}"] = made.accessor(np.ascontiguousarray(joints[:, columns]), "VEC4")
        made_sets[f"WEIGHTS_{i}"] = made.accessor(np.ascontiguousarray(packed[:, columns]), "VEC4", **more)
    if odd.sparse:
        rows = np.arange(0, len(stored), 3)
        spoilt = stored.copy()
        spoilt[rows] = 77
        sparse = {
            "count": len(rows),
            "indices": {"bufferView": made.view(rows.astype("<u2").tobytes()), "componentType": 5123},
            "values": {"bufferView": made.view(stored[rows].tobytes())},
        }
        at = made.accessor(stored, "VEC3", bufferView=made.view(spoilt.tobytes()), sparse=sparse, **bounds)
    elif odd.interleaved:
        rows_of_bytes = np.full((len(stored), 32), 0xAB, np.uint8)
        rows_of_bytes[:, 8:20] = stored.view(np.uint8).reshape(len(stored), 12)
        view = made.view(rows_of_bytes.tobytes(), byteStride=32)
        at = made.accessor(stored, "VEC3", bufferView=view, byteOffset=8, **bounds)
    else:
        at = made.accessor(stored, "VEC3", **bounds)
    return {"POSITION": at, **made_sets}


def _normalised(weights: FloatArray, kind: str) -> NDArray[Any]:
    """Rounded so that each row sums to the largest integer, as a careful exporter does."""
    top = int(np.iinfo(kind).max)
    whole = np.floor(weights * top).astype(np.int64)
    whole[np.arange(len(whole)), weights.argmax(axis=1)] += np.rint(weights.sum(axis=1) * top).astype(
        np.int64
    ) - whole.sum(1)
    return whole.astype("<" + kind)
