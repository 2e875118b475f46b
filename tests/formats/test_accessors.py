"""Arrays as the standard's own tables say (glTF 2.0, 3.6.2 and 3.7.2.1)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from instep.character.arrays import FloatArray
from instep.formats import read_character
from instep.formats.accessors import read_floats, read_integers
from instep.formats.container import Document
from tests.formats.odd import Maker, glb


def document(made: Maker) -> Document:
    made.json["buffers"] = [{"byteLength": len(made.bytes)}]
    return Document(Path("test.glb"), made.json, bytes(made.bytes))


@pytest.mark.parametrize(
    ("kind", "stored", "meant"),
    [
        ("i1", [-128, -127, 0, 127], [-1.0, -1.0, 0.0, 1.0]),
        ("u1", [0, 51, 204, 255], [0.0, 0.2, 0.8, 1.0]),
        ("i2", [-32768, -32767, 0, 32767], [-1.0, -1.0, 0.0, 1.0]),
        ("u2", [0, 13107, 52428, 65535], [0.0, 0.2, 0.8, 1.0]),
    ],
)
def test_normalised_integers(kind: str, stored: list[int], meant: list[float]) -> None:
    made = Maker()
    made.accessor(np.array([stored], "<" + kind), "VEC4", normalized=True)
    made.accessor(np.array([stored], "<" + kind), "VEC4")
    assert read_floats(document(made), 0, "VEC4", "test").tolist() == [meant]
    assert read_floats(document(made), 1, "VEC4", "test").tolist() == [[float(v) for v in stored]]


@pytest.mark.parametrize("kind", ["u1", "u2", "u4"])
def test_unsigned_integers(kind: str) -> None:
    stored = np.array([0, 1, np.iinfo(kind).max], "<" + kind)
    made = Maker()
    made.accessor(stored, "SCALAR")
    assert read_integers(document(made), 0, "SCALAR", "test").tolist() == stored.tolist()


def test_elements_may_be_apart_and_start_late() -> None:
    values = np.arange(12, dtype="<f4").reshape(4, 3)
    raw = np.full((4, 20), 0xFF, np.uint8)
    raw[:, 4:16] = values.view(np.uint8).reshape(4, 12)
    made = Maker()
    made.view(b"other bytes")
    view = made.view(raw.tobytes()[:-4], byteStride=20)  # the last element need not be followed by its gap
    made.accessor(values, "VEC3", bufferView=view, byteOffset=4)
    assert np.array_equal(read_floats(document(made), 0, "VEC3", "test"), values)


def test_sparse_over_nothing_is_zero_elsewhere() -> None:
    made = Maker()
    indices, values = made.view(np.array([1, 3], "<u1").tobytes()), made.view(np.array([5, 7], "<f4").tobytes())
    sparse = {
        "count": 2,
        "indices": {"bufferView": indices, "componentType": 5121},
        "values": {"bufferView": values},
    }
    made.accessor(np.zeros(5, "<f4"), "SCALAR", sparse=sparse)
    assert read_floats(document(made), 0, "SCALAR", "test").tolist() == [0, 5, 0, 7, 0]


def quad(path: Path, mode: int | None, indices: list[int] | None, positions: FloatArray) -> Path:
    """One joint, and a few vertices that hang on it."""
    made = Maker()
    count = len(positions)
    weights: NDArray[Any] = np.tile(np.array([1, 0, 0, 0], "<f4"), (count, 1))
    attributes = {
        "POSITION": made.accessor(positions.astype("<f4"), "VEC3"),
        "JOINTS_0": made.accessor(np.zeros((count, 4), "<u1"), "VEC4"),
        "WEIGHTS_0": made.accessor(weights, "VEC4"),
    }
    primitive: dict[str, Any] = {"attributes": attributes}
    if mode is not None:
        primitive["mode"] = mode
    if indices is not None:
        primitive["indices"] = made.accessor(np.array(indices, "<u1"), "SCALAR")
    made.json |= {
        "nodes": [{"name": "joint"}, {"mesh": 0, "skin": 0}],
        "skins": [{"joints": [0]}],
        "meshes": [{"primitives": [primitive]}],
    }
    return made.save(path)


FIVE = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [0, 2, 0]])


@pytest.mark.parametrize(
    ("mode", "indices", "faces"),
    [
        (None, [0, 1, 2, 2, 1, 3], [[0, 1, 2], [2, 1, 3]]),
        (4, [0, 1, 2], [[0, 1, 2]]),
        (5, None, [[0, 1, 2], [1, 3, 2], [2, 3, 4]]),
        (5, [0, 1, 2, 3], [[0, 1, 2], [1, 3, 2]]),
        (6, [0, 1, 3, 2], [[1, 3, 0], [3, 2, 0]]),
    ],
)
def test_strips_and_fans(mode: int | None, indices: list[int] | None, faces: list[list[int]], tmp_path: Path) -> None:
    """Corners in the standard's order; all of these face the same way."""
    mesh = read_character(quad(tmp_path / "quad", mode, indices, FIVE)).mesh
    assert mesh is not None
    assert mesh.faces.tolist() == faces
    corners = mesh.positions[mesh.faces]
    assert np.all(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] > 0)


def test_points_are_left_out_with_a_note(tmp_path: Path) -> None:
    character = read_character(quad(tmp_path / "quad", 0, None, FIVE))
    assert character.mesh is None
    assert [note.seen for note in character.notes] == ['"mesh 0" is made of points or lines']


def test_chunks_that_nobody_knows_are_passed_over(tmp_path: Path) -> None:
    path = quad(tmp_path / "quad", 4, [0, 1, 2], FIVE)
    raw = path.read_bytes()
    extra = b"\x04\0\0\0WHO?abcd"
    path.write_bytes(raw[:8] + (len(raw) + len(extra)).to_bytes(4, "little") + raw[12:] + extra)
    assert len(read_character(path).mesh or ()) == 5


def test_byte_order_mark_before_json(tmp_path: Path) -> None:
    made = Maker()
    made.json |= {"nodes": [{"name": "a"}], "skins": [{"joints": [0]}]}
    del made.json["accessors"], made.json["bufferViews"]
    path = tmp_path / "marked.gltf"
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps(made.json).encode())
    assert read_character(path).skeleton.names == ("a",)
    assert glb(b"{}")[:4] == b"glTF"
