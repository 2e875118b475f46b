"""Clips that move more than joints."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from instep.character import sample_poses
from instep.character.arrays import FloatArray
from instep.formats import read_character
from tests.biped import make_biped
from tests.formats.odd import Odd, glb, make_odd, turn
from tests.formats.test_writing import binary_of, tree_of


def test_a_plain_node_that_a_clip_moves_is_a_joint(tmp_path: Path) -> None:
    """Motion of the node above the skeleton is not lost, and poses go back through it."""
    odd = Odd(above=(turn(-90),), mesh_space=turn(-90))
    source = make_odd(make_biped(), tmp_path / "source", odd)
    tree, binary = tree_of(source), bytearray(binary_of(source))
    binary += b"\0" * (-len(binary) % 4)
    start = len(binary)
    values: FloatArray = np.array([0.0, 1, 0, 0, 0, 0, 2, 3])
    binary += values.astype("<f4").tobytes()
    view, accessor = len(tree["bufferViews"]), len(tree["accessors"])
    tree["bufferViews"].append({"buffer": 0, "byteOffset": start, "byteLength": 32})
    tree["accessors"] += [
        {"bufferView": view, "componentType": 5126, "count": 2, "type": "SCALAR", "min": [0.0], "max": [1.0]},
        {"bufferView": view, "byteOffset": 8, "componentType": 5126, "count": 2, "type": "VEC3"},
    ]
    node = next(i for i, n in enumerate(tree["nodes"]) if n["name"] == "holder")
    tree["nodes"][node] = {
        "name": "holder",
        "rotation": [-(0.5**0.5), 0, 0, 0.5**0.5],
        "children": tree["nodes"][node]["children"],
    }
    channel = {"sampler": 0, "target": {"node": node, "path": "translation"}}
    tree["animations"] = [
        {"name": "go", "samplers": [{"input": accessor, "output": accessor + 1}], "channels": [channel]}
    ]
    tree["buffers"][0]["byteLength"] = len(binary)
    source.write_bytes(glb(json.dumps(tree).encode(), bytes(binary)))
    character = read_character(source)
    assert [note.seen for note in character.notes] == ["clips move plain nodes above or between the joints: holder"]
    assert character.skeleton.names[0] == "holder"
    assert np.abs(character.skeleton.bind - character.skeleton.rest).max() < 1e-6
    poses = sample_poses(character.clips[0], character.skeleton, [0.0, 0.5, 1.0])
    moved = poses.position - character.skeleton.positions
    expected = np.array([[0, 0, 0], [0, 1, 1.5], [0, 2, 3]])
    assert np.abs(moved - expected[:, None]).max() < 1e-6
