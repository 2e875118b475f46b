"""Weights, morph targets, scenes and meshes that are not as they should be: the right result, and a note of it."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.character import Character, Note
from instep.formats import read_character
from tests.biped import make_biped
from tests.formats.odd import Maker, Odd, glb, make_odd, turn
from tests.formats.test_bad_input import changed, message, start_of
from tests.formats.test_reading import assert_same, dense
from tests.node import show


@pytest.fixture(scope="session")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return make_odd(make_biped(), tmp_path_factory.mktemp("good") / "good", Odd()).read_bytes()


def weights_start(tree: dict[str, Any]) -> int:
    return start_of(tree, tree["meshes"][0]["primitives"][0]["attributes"]["WEIGHTS_0"])


def joint_weights(character: Character, vertex: int) -> dict[str, float]:
    assert character.mesh is not None
    row = dense(character.mesh, len(character.skeleton))[vertex]
    return {character.skeleton.names[j]: float(row[j]) for j in np.flatnonzero(row)}


def test_a_vertex_without_weight_hangs_on_the_topmost_joint(good: bytes, tmp_path: Path) -> None:
    path = changed(good, tmp_path, lambda t, b: struct.pack_into("<4f", b, weights_start(t) + 16 * 5, 0, 0, 0, 0))
    found = read_character(path)
    assert joint_weights(found, 5) == {"root": 1.0}
    assert found.notes == (
        Note("bad.glb", "1 vertices have no weight at all", "they are bound to the topmost joint of their skin"),
    )


def test_a_negative_weight_counts_as_none(good: bytes, tmp_path: Path) -> None:
    path = changed(good, tmp_path, lambda t, b: struct.pack_into("<4f", b, weights_start(t), 1, -1, 0, 0))
    found = read_character(path)
    assert joint_weights(found, 0) == {"pelvis": 1.0}
    assert found.notes == (Note("bad.glb", "1 vertices have a negative weight", "it is taken for 0"),)


def test_joints_without_weights_are_an_error(good: bytes, tmp_path: Path) -> None:
    path = changed(good, tmp_path, lambda t, _: t["meshes"][0]["primitives"][0]["attributes"].pop("WEIGHTS_0"))
    assert message(path) == "bad.glb: mesh 0: primitive 0: it has JOINTS_0; expected WEIGHTS_0 too."


def test_sets_of_unequal_length_are_an_error(good: bytes, tmp_path: Path) -> None:
    def change(tree: dict[str, Any], _: bytearray) -> None:
        tree["accessors"][tree["meshes"][0]["primitives"][0]["attributes"]["WEIGHTS_0"]]["count"] -= 1

    mesh = make_biped().mesh
    assert mesh is not None
    count = mesh.parts[0].vertices.stop
    seen = f"set 0 has {count - 1} vertices; expected {count}"
    assert message(changed(good, tmp_path, change)) == f"bad.glb: mesh 0: primitive 0: {seen}."


@pytest.mark.parametrize("shown", [0.0, 0.5])
def test_the_shape_at_rest_includes_the_morph_targets_that_are_shown(shown: float, good: bytes, tmp_path: Path) -> None:
    def change(tree: dict[str, Any], _: bytearray) -> None:
        primitive = tree["meshes"][0]["primitives"][0]
        primitive["targets"] = [{"POSITION": primitive["attributes"]["POSITION"]}]
        tree["meshes"][0]["weights"] = [shown]

    found, plain = read_character(changed(good, tmp_path, change)), make_biped()
    assert found.mesh is not None
    assert plain.mesh is not None
    body = found.mesh.parts[0].vertices
    assert np.abs(found.mesh.positions[body] - (1 + shown) * plain.mesh.positions[body]).max() < 1e-6
    means = "the targets are kept in the file; the shape at rest is measured"
    assert found.notes == (Note("bad.glb", f"{body.stop} vertices can be moved by morph targets", means),)


def test_meshes_without_skin_are_left_out(good: bytes, tmp_path: Path) -> None:
    def change(tree: dict[str, Any], _: bytearray) -> None:
        node = next(n for n in tree["nodes"] if n.get("name") == "feet")
        del node["skin"]
        hand = next(i for i, n in enumerate(tree["nodes"]) if n.get("name") == "hand.left")
        tree["nodes"][hand]["children"] = [len(tree["nodes"])]
        tree["nodes"].append({"name": "hook", "mesh": 0})

    found = read_character(changed(good, tmp_path, change))
    assert found.mesh is not None
    assert [part.name for part in found.mesh.parts] == ["body", "legs"]
    assert found.notes == (
        Note("bad.glb: mesh 2", '"feet" has no skin', "it takes no part in measuring"),
        Note("bad.glb: mesh 0", '"body" has no skin and hangs on joint "hand.left"', "it takes no part in measuring"),
    )


def test_meshes_in_no_shown_scene_are_left_out(good: bytes, tmp_path: Path) -> None:
    def change(tree: dict[str, Any], _: bytearray) -> None:
        tree["scenes"].append({"nodes": [tree["scenes"][0]["nodes"].pop()]})

    found = read_character(changed(good, tmp_path, change))
    assert found.mesh is not None
    assert [part.name for part in found.mesh.parts] == ["body", "legs"]
    assert found.notes == (Note("bad.glb: mesh 2", '"feet" is in no scene that is shown', "it is left out"),)


def test_skins_that_disagree_are_noted(tmp_path: Path) -> None:
    """The feet's skin was bound with a foot elsewhere: the first skin counts, and the feet stay where they are."""
    path = make_odd(
        make_biped(),
        tmp_path / "odd",
        Odd(feet_space=turn(-90), rest_turns={"spine": (9, 0, 0), "foot.left": (0, 0, 4)}),
    )
    raw = path.read_bytes()
    length = struct.unpack_from("<I", raw, 12)[0]
    tree, binary = json.loads(raw[20 : 20 + length]), bytearray(raw[28 + length :])
    skins = tree["skins"]
    name_of = [node.get("name") for node in tree["nodes"]]
    foot = [name_of[n] for n in skins[1]["joints"]].index("foot.left")
    at = start_of(tree, skins[1]["inverseBindMatrices"]) + 64 * foot + 48
    struct.pack_into("<f", binary, at, struct.unpack_from("<f", binary, at)[0] + 0.5)
    path.write_bytes(glb(json.dumps(tree).encode(), bytes(binary)))
    found = read_character(path)
    assert [note for note in found.notes if note.where == "odd.glb: skin 1"] == [
        Note(
            "odd.glb: skin 1",
            "it was bound in another pose than the skins before it; joints differ by up to 0.5",
            "joints that it shares stand where the earlier skin has them",
        )
    ]
    assert_same(found, make_biped(), 3e-6)


def test_clips_on_bare_nodes_make_a_skeleton(tmp_path: Path) -> None:
    """No skin and no mesh: the joints are what moves and what hangs below it, but no cameras."""
    made = Maker()
    times = made.accessor(np.array([0, 1], "<f4"), "SCALAR", min=[0.0], max=[1.0])
    turned = made.accessor(np.array([[0, 0, 0, 1], [0, 1, 0, 0]], "<f4"), "VEC4")
    made.json |= {
        "nodes": [
            {"name": "scene", "translation": [0, 0, 5], "children": [1, 3]},
            {"name": "hips", "translation": [0, 1, 0], "children": [2, 4]},
            {"name": "leg", "translation": [0, -0.5, 0]},
            {"name": "lamp"},
            {"name": "eye", "camera": 0},
        ],
        "cameras": [{"type": "perspective", "perspective": {"yfov": 1, "znear": 1}}],
        "animations": [
            {
                "name": "spin",
                "samplers": [{"input": times, "output": turned}],
                "channels": [
                    {"sampler": 0, "target": {"node": 1, "path": "rotation"}},
                    {"sampler": 0, "target": {"path": "rotation"}},
                ],
            }
        ],
    }
    found = read_character(made.save(tmp_path / "moves"))
    assert found.mesh is None
    assert found.skeleton.names == ("hips", "leg")
    assert found.skeleton.positions.tolist() == [[0, 1, 5], [0, 0.5, 5]]
    assert [(t.joint, t.path) for t in found.clips[0].tracks] == [("hips", "rotation")]
    assert found.clips[0].tracks[0].values.tolist() == [[1, 0, 0, 0], [0, 0, 1, 0]], "w, x, y, z"
    assert found.notes == (
        Note("moves.glb", "clips also move what an extension names", "that is left as it is: no joint is moved by it"),
    )


def test_a_skin_without_inverse_bind_matrices(tmp_path: Path) -> None:
    """Its vertices are written in their joints' own frames: the rest pose puts them in the world, as glTF does."""
    made = Maker()
    positions = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], "<f4")
    attributes = {
        "POSITION": made.accessor(positions, "VEC3", min=[0.0, 0, 0], max=[1.0, 1, 0]),
        "JOINTS_0": made.accessor(np.array([[0, 0, 0, 0], [1, 0, 0, 0], [0, 1, 0, 0]], "<u1"), "VEC4"),
        "WEIGHTS_0": made.accessor(np.array([[1, 0, 0, 0], [1, 0, 0, 0], [0.5, 0.5, 0, 0]], "<f4"), "VEC4"),
    }
    made.json |= {
        "scene": 0,
        "scenes": [{"nodes": [0, 2]}],
        "nodes": [
            {"name": "hip", "translation": [0, 5, 0], "children": [1]},
            {"name": "knee", "translation": [0, -3, 0], "rotation": [0, 0, 0.5**0.5, 0.5**0.5]},
            {"mesh": 0, "skin": 0},
        ],
        "skins": [{"joints": [0, 1]}],
        "meshes": [{"primitives": [{"attributes": attributes}]}],
    }
    path = made.save(tmp_path / "own")
    found = read_character(path)
    assert found.mesh is not None
    # vertex 1 lies at x = 1 of the knee, whose X is the world's Y; vertex 2 halfway between both joints' views
    assert np.abs(found.mesh.positions - [[0, 5, 0], [0, 3, 0], [-0.5, 4, 0]]).max() < 1e-6
    assert np.array_equal(found.skeleton.bind, found.skeleton.rest)
    assert [note.seen for note in found.notes] == ["it has no inverse bind matrices"]
    shown = np.array(show(path, "", [0.0])[0].vertices)
    assert np.abs(found.mesh.positions - shown).max() < 1e-6
