"""What cannot be honoured: each error's whole message."""

from __future__ import annotations

import json
import os
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.errors import FormatError
from instep.formats import read_character
from tests.biped import make_biped
from tests.formats.odd import Maker, Odd, glb, make_odd

DAMAGED = "The file is damaged: export it again."
CUT = "The file is cut short or damaged: copy or export it again."


@pytest.fixture(scope="session")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return make_odd(make_biped(), tmp_path_factory.mktemp("good") / "good", Odd()).read_bytes()


def parts(raw: bytes) -> tuple[dict[str, Any], bytearray]:
    """JSON and bytes of a .glb."""
    length = struct.unpack_from("<I", raw, 12)[0]
    return json.loads(raw[20 : 20 + length]), bytearray(raw[28 + length :])


def changed(good: bytes, path: Path, change: Callable[[dict[str, Any], bytearray], object]) -> Path:
    """The good file with a change to its JSON or bytes, as bad.glb."""
    tree, binary = parts(good)
    change(tree, binary)
    path = path / "bad.glb"
    path.write_bytes(glb(json.dumps(tree).encode(), bytes(binary)))
    return path


def message(path: Path) -> str:
    with pytest.raises(FormatError) as caught:
        read_character(path)
    return str(caught.value)


def written(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


def start_of(tree: dict[str, Any], accessor: int) -> int:
    return int(tree["bufferViews"][tree["accessors"][accessor]["bufferView"]]["byteOffset"])


def test_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "none.glb"
    assert message(path) == f"{path}: there is no such file. Check the name and the folder."


def test_folder(tmp_path: Path) -> None:
    assert message(tmp_path) == f"{tmp_path}: this is a folder; expected a .glb or .gltf file."


def test_empty(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", b"")
    expected = 'expected "glTF" or a JSON object at its start'
    assert message(path) == f"bad.glb: this is not a glTF file: it is empty; {expected}."


def test_not_gltf(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", b"PK\x03\x04 and so on")
    expected = 'expected "glTF" or a JSON object at its start'
    assert message(path) == f"bad.glb: this is not a glTF file: it begins with b'PK\\x03\\x04'; {expected}."


def test_json_of_something_else(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.gltf", b'{"name": "package"}')
    seen = "it has no version: this is not a glTF file"
    assert message(path) == f'bad.gltf: asset: {seen}; expected "version": "2.0".'


def test_json_that_is_no_object(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", glb(b"[1, 2, 3]"))
    assert message(path) == "bad.glb: JSON: its outermost value is [1, 2, 3]; expected an object."


def test_json_that_is_broken(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", glb(b'{"asset": }'))
    expected = "expected valid JSON in UTF-8. Export it again."
    seen = "it cannot be read (Expecting value: line 1 column 11 (char 10))"
    assert message(path) == f"bad.glb: JSON: {seen}; {expected}"
    path = written(tmp_path / "bad.glb", glb(b'{"asset": NaN}'))
    assert message(path) == f"bad.glb: JSON: it cannot be read (NaN is not a number in JSON); {expected}"


def test_json_nested_without_end(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.gltf", b'{"a":' * 100_000)
    assert message(path).startswith("bad.gltf: JSON: it cannot be read (maximum recursion depth exceeded")


def test_shorter_than_a_header(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", b"glTF\2\0\0\0")
    assert message(path) == f"bad.glb: header: the file has 8 bytes; expected at least 20. {CUT}"


def test_truncated(good: bytes, tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", good[:-1000])
    assert message(path) == f"bad.glb: header: the file has {len(good) - 1000} bytes; expected {len(good)}. {CUT}"


def test_length_in_header_lies(good: bytes, tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", good[:8] + struct.pack("<I", 2**32 - 1) + good[12:])
    assert message(path) == f"bad.glb: header: the file has {len(good)} bytes; expected 4294967295. {CUT}"


def test_length_of_chunk_lies(tmp_path: Path) -> None:
    raw = glb(b'{"asset": {"version": "2.0"}}')
    path = written(tmp_path / "bad.glb", raw[:12] + struct.pack("<I", 2**31) + raw[16:])
    assert message(path) == f"bad.glb: chunk 0: 32 bytes are left for it; expected 2147483648. {CUT}"


def test_first_chunk_is_not_json(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", b"glTF" + struct.pack("<IIII", 2, 24, 4, 0x004E4942) + b"abcd")
    assert message(path) == f"bad.glb: chunk 0: it is not JSON; expected JSON first. {CUT}"


def test_versions(tmp_path: Path) -> None:
    path = written(tmp_path / "bad.glb", glb(b"{}" + b" " * 20, version=1))
    assert message(path) == "bad.glb: header: this is glTF 1; expected glTF 2. Export it as glTF 2.0."
    path = written(tmp_path / "bad.gltf", b'{"asset": {"version": "1.0"}}')
    assert message(path) == "bad.gltf: asset: this is glTF 1.0; expected glTF 2.0. Export it as glTF 2.0."
    path = written(tmp_path / "bad.gltf", b'{"asset": {"version": "2.1", "minVersion": "2.2"}}')
    assert message(path) == "bad.gltf: asset: this is glTF 2.2; expected glTF 2.0. Export it as glTF 2.0."


def test_over_two_gigabytes(tmp_path: Path) -> None:
    path = tmp_path / "bad.glb"
    with open(path, "wb") as file:
        file.write(b"glTF")
        file.truncate(3 * 2**30)  # without using the room on the disk
    cure = "Leave large textures or other characters out and export again."
    assert message(path) == f"{path}: the file has 3.0 GB; expected at most 2 GB. {cure}"


def test_an_array_of_terabytes(good: bytes, tmp_path: Path) -> None:
    def change(tree: dict[str, Any], _: bytearray) -> None:
        accessor = tree["accessors"][tree["meshes"][0]["primitives"][0]["attributes"]["POSITION"]]
        del accessor["bufferView"]
        accessor["count"] = 10**12

    index = parts(good)[0]["meshes"][0]["primitives"][0]["attributes"]["POSITION"]
    seen = "it declares 1000000000000 elements"
    assert (
        message(changed(good, tmp_path, change))
        == f"bad.glb: accessor {index}: {seen}; expected an array of at most 2 GB."
    )


def test_no_skin(good: bytes, tmp_path: Path) -> None:
    def change(tree: dict[str, Any], _: bytearray) -> None:
        del tree["skins"]
        for node in tree["nodes"]:
            node.pop("skin", None)

    expected = "expected a mesh that is bound to joints"
    cure = "Bind the mesh to its joints and export it with skinning."
    assert message(changed(good, tmp_path, change)) == f"bad.glb: it has no skin; {expected}. {cure}"


def test_accessor_out_of_bounds(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    index = tree["meshes"][0]["primitives"][0]["attributes"]["POSITION"]
    accessor = tree["accessors"][index]
    view, length = accessor["bufferView"], accessor["count"] * 12
    path = changed(good, tmp_path, lambda t, _: t["accessors"][index].update(count=accessor["count"] + 1))
    seen = f"it ends at byte {length + 12} of buffer view {view}"
    assert message(path) == f"bad.glb: accessor {index}: {seen}; expected at most {length}. {DAMAGED}"


def test_buffer_view_out_of_bounds(good: bytes, tmp_path: Path) -> None:
    tree, binary = parts(good)
    size = tree["buffers"][0]["byteLength"]
    start = tree["bufferViews"][0]["byteOffset"]
    path = changed(good, tmp_path, lambda t, _: t["bufferViews"][0].update(byteLength=10**9))
    seen = f"it ends at byte {start + 10**9} of buffer 0"
    assert message(path) == f"bad.glb: buffer view 0: {seen}; expected at most {size}. {DAMAGED}"
    path = changed(good, tmp_path, lambda t, _: t["buffers"][0].update(byteLength=10**9))
    assert message(path) == f"bad.glb: buffer 0: it has {len(binary)} bytes; expected 1000000000. {CUT}"


def test_index_that_names_nothing(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    path = changed(good, tmp_path, lambda t, _: t["skins"][0].update(inverseBindMatrices=99))
    last = len(tree["accessors"]) - 1
    assert message(path) == f"bad.glb: skin 0: it names accessor 99; expected 0 to {last}."
    path = changed(good, tmp_path, lambda t, _: t["skins"][0].update(inverseBindMatrices="0"))
    assert message(path) == f"bad.glb: skin 0: it names accessor 0; expected 0 to {last}."
    path = changed(good, tmp_path, lambda t, _: t["nodes"][0].update(children=[-1]))
    assert message(path) == f"bad.glb: node 0: it names node -1; expected 0 to {len(tree['nodes']) - 1}."


def test_missing_buffer_file(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "bad", Odd(container="files"))
    (tmp_path / "the bytes" / "bad.bin").unlink()
    seen = 'its file "the bytes/bad.bin" is missing'
    assert message(path) == f"bad.gltf: buffer 0: {seen}. Check the name and the folder."


@pytest.mark.parametrize(
    "uri",
    ["../secret.bin", "/etc/passwd", "%2e%2e/secret.bin", "a/../../secret.bin", "file:///etc/passwd", "..\\secret.bin"],
)
def test_path_that_leaves_the_folder(uri: str, tmp_path: Path) -> None:
    (tmp_path / "secret.bin").write_bytes(bytes(1000))
    folder = tmp_path / "folder"
    folder.mkdir()
    path = make_odd(make_biped(), folder / "bad", Odd(container="data"))
    tree = json.loads(path.read_text())
    tree["buffers"][0]["uri"] = uri
    path.write_text(json.dumps(tree))
    shown = uri.replace("%2e", ".")
    expected = "expected a file beside this one or below it. Move the file there and put its address right."
    assert message(path) == f'bad.gltf: buffer 0: its address "{shown}" leads out of the folder; {expected}'


def test_link_that_leaves_the_folder(tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    path = make_odd(make_biped(), folder / "bad", Odd(container="files"))
    (folder / "the bytes" / "bad.bin").rename(tmp_path / "bad.bin")
    os.symlink(tmp_path / "bad.bin", folder / "the bytes" / "bad.bin")
    assert message(path).startswith('bad.gltf: buffer 0: its address "the bytes/bad.bin" leads out of the folder;')


def test_data_uri_that_is_none(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "bad", Odd(container="data"))
    tree = json.loads(path.read_text())
    tree["buffers"][0]["uri"] = "data:application/octet-stream;base64,not*base64"
    path.write_text(json.dumps(tree))
    seen = "its data URI holds what is not base64"
    assert message(path) == f"bad.gltf: buffer 0: {seen}; expected letters, digits, +, / and =."
    tree["buffers"][0]["uri"] = "data:text/plain,abc"
    path.write_text(json.dumps(tree))
    seen = "its data URI is not in base64"
    assert message(path) == f"bad.gltf: buffer 0: {seen}; expected data:...;base64,...."


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_vertex_that_is_not_a_number(value: float, good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    index = tree["meshes"][1]["primitives"][0]["attributes"]["POSITION"]
    at = start_of(tree, index) + 12 * 7 + 4
    path = changed(good, tmp_path, lambda _, b: struct.pack_into("<f", b, at, value))
    seen = "row 7 holds a value that is not a finite number (mesh 1: primitive 0)"
    expected = "expected finite numbers. Repair the model and export it again."
    assert message(path) == f"bad.glb: accessor {index}: {seen}; {expected}"


def test_inverse_bind_matrix_that_is_not_a_number(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    at = start_of(tree, tree["skins"][0]["inverseBindMatrices"]) + 64 * 3
    path = changed(good, tmp_path, lambda _, b: struct.pack_into("<f", b, at, np.nan))
    index = tree["skins"][0]["inverseBindMatrices"]
    seen = "row 3 holds a value that is not a finite number (skin 0)"
    expected = "expected finite numbers. Repair the model and export it again."
    assert message(path) == f"bad.glb: accessor {index}: {seen}; {expected}"


@pytest.mark.parametrize(
    ("matrix", "seen"),
    [
        (np.zeros((4, 4)), "its last row is not 0, 0, 0, 1"),
        (np.diag([1.0, 0, 1, 1]), "it has no inverse"),
        (np.diag([1.0, -1, 1, 1]), "it mirrors"),
    ],
)
def test_inverse_bind_matrix_that_cannot_be(matrix: FloatArray, seen: str, good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    at = start_of(tree, tree["skins"][0]["inverseBindMatrices"]) + 64 * 3
    path = changed(good, tmp_path, lambda _, b: struct.pack_into("<16f", b, at, *matrix.T.ravel()))
    node = tree["skins"][0]["joints"][3]
    label = f'bad.glb: skin 0: inverse bind matrix of node {node} "{tree["nodes"][node]["name"]}"'
    cure = "Apply all scales in the modelling program, bind the skin anew and export again."
    assert message(path) == f"{label}: {seen}; expected a matrix of turns, positive scales and an offset. {cure}"


def test_too_few_inverse_bind_matrices(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    index, count = tree["skins"][0]["inverseBindMatrices"], len(tree["skins"][0]["joints"])
    path = changed(good, tmp_path, lambda t, _: t["accessors"][index].update(count=2))
    seen = f"it has 2 inverse bind matrices; expected {count}, one for each joint"
    assert message(path) == f"bad.glb: skin 0: {seen}. Export the model again."


@pytest.mark.parametrize(("scale", "what"), [([1, -1, 1], "mirrors"), ([1, 0, 1], "flattens")])
def test_scale_that_mirrors_or_flattens(scale: list[int], what: str, good: bytes, tmp_path: Path) -> None:
    path = changed(good, tmp_path, lambda t, _: t["nodes"][0].update(scale=scale))
    shown = ", ".join(map(str, scale))
    expected = "expected a positive scale above and in the skeleton"
    cure = "Apply the scale in the modelling program and export again."
    assert message(path) == f'bad.glb: node 0 "root": its scale {shown} {what} what hangs below it; {expected}. {cure}'


def test_node_with_two_parents(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    child = tree["nodes"][1]["children"][0]
    path = changed(good, tmp_path, lambda t, _: t["nodes"][0]["children"].append(child))
    seen = "it hangs under node 0 and under node 1; expected one parent"
    assert message(path) == f"bad.glb: node {child}: {seen}. Export the model again."


def test_loop_of_joints(tmp_path: Path) -> None:
    made = Maker()
    made.json |= {
        "nodes": [{"name": "top"}, {"children": [2]}, {"children": [3]}, {"children": [1]}],
        "skins": [{"joints": [1, 2, 3]}],
    }
    path = made.save(tmp_path / "bad")
    seen = "it hangs under itself: 1 under 3 under 2 under 1"
    assert message(path) == f"bad.glb: node 1: {seen}; expected a tree. Export the model again."


def test_joint_index_out_of_range(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    at = start_of(tree, tree["meshes"][0]["primitives"][0]["attributes"]["JOINTS_0"]) + 4 * 9
    path = changed(good, tmp_path, lambda _, b: struct.pack_into("<B", b, at, 200))
    count = len(tree["skins"][0]["joints"])
    seen = f"vertex 9 names joint 200 of skin 0; expected 0 to {count - 1}"
    assert message(path) == f"bad.glb: mesh 0: primitive 0: {seen}. {DAMAGED}"


def test_vertex_index_out_of_range(good: bytes, tmp_path: Path) -> None:
    tree, _ = parts(good)
    primitive = tree["meshes"][2]["primitives"][0]
    count = tree["accessors"][primitive["attributes"]["POSITION"]]["count"]
    path = changed(good, tmp_path, lambda _, b: struct.pack_into("<H", b, start_of(tree, primitive["indices"]), 65000))
    seen = f"a triangle names vertex 65000; expected 0 to {count - 1}"
    assert message(path) == f"bad.glb: mesh 2: primitive 0: {seen}. {DAMAGED}"


def test_required_compression(good: bytes, tmp_path: Path) -> None:
    for name in ("KHR_draco_mesh_compression", "EXT_meshopt_compression"):
        path = changed(good, tmp_path, lambda t, _, n=name: t.update(extensionsRequired=[n]))  # type: ignore[misc]
        seen = f"the file needs {name}, which Instep does not decode"
        expected = "expected meshes that are not compressed. Export again without compression."
        assert message(path) == f"bad.glb: extensionsRequired: {seen}; {expected}"


def test_required_extension_that_is_not_known(good: bytes, tmp_path: Path) -> None:
    path = changed(good, tmp_path, lambda t, _: t.update(extensionsRequired=["VENDOR_bent_space"]))
    seen = "the file needs VENDOR_bent_space, which Instep does not know"
    expected = "expected no required extension that may change shape or motion. Export again without it."
    assert message(path) == f"bad.glb: extensionsRequired: {seen}; {expected}"


def test_required_extension_of_the_look_alone(good: bytes, tmp_path: Path) -> None:
    path = changed(good, tmp_path, lambda t, _: t.update(extensionsRequired=["KHR_materials_unlit"]))
    assert len(read_character(path).skeleton) == len(make_biped().skeleton)


def test_times_that_go_back(tmp_path: Path) -> None:
    made = Maker()
    times = made.accessor(np.array([0, 2, 1], "<f4"), "SCALAR")
    values = made.accessor(np.zeros((3, 3), "<f4"), "VEC3")
    channel = {"sampler": 0, "target": {"node": 0, "path": "translation"}}
    made.json |= {
        "nodes": [{"name": "a"}],
        "animations": [{"channels": [channel], "samplers": [{"input": times, "output": values}]}],
    }
    path = made.save(tmp_path / "bad")
    seen = "the times of its keys go back; expected times that increase"
    assert message(path) == f"bad.glb: animation 0: channel 0: {seen}. Export the clip again."
    made.json["accessors"][values]["count"] = 2
    path = made.save(tmp_path / "bad")
    assert message(path) == f"bad.glb: animation 0: channel 0: it has 2 values; expected 3. {DAMAGED}"
