"""A pose written into a file as its rest pose, and nodes that are written as matrices."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import numpy as np
import pytest

from instep.character import BakedClip, sample_poses
from instep.formats import read_character, write_clips, write_pose
from instep.formats.reader import open_file
from tests.biped import make_biped
from tests.formats.odd import Odd, glb, make_odd, turn
from tests.formats.test_writing import (
    ODDS,
    TIMES,
    assert_poses,
    binary_of,
    clip_of,
    decorated,
    random_poses,
    tree_of,
)
from tests.node import validate


def with_matrices(path: Path) -> Path:
    """All nodes written as matrices, which glTF does not let clips move."""
    tree, binary = tree_of(path), binary_of(path)
    opened = open_file(path)
    for index, node in enumerate(tree["nodes"]):
        if "mesh" not in node:
            for key in ("translation", "rotation", "scale"):
                node.pop(key, None)
            node["matrix"] = [float(v) for v in opened.tree.local[index].T.ravel()]
            node["extras"] = {"after": 1}
    path.write_bytes(glb(json.dumps(tree).encode(), binary))
    return path


def test_a_node_with_a_matrix_gets_parts_when_it_moves(tmp_path: Path) -> None:
    path = with_matrices(make_odd(make_biped(), tmp_path / "source", Odd(joint_scale=100.0, above=(turn(scale=0.01),))))
    before = tree_of(path)
    character = read_character(path)
    poses = random_poses(character, 7, 6, joints=("shin.left",))
    target = tmp_path / "target.glb"
    write_clips(path, target, [BakedClip("wild", TIMES, poses)])
    after = tree_of(target)
    changed = [i for i, (a, b) in enumerate(zip(before["nodes"], after["nodes"], strict=True)) if a != b]
    assert [after["nodes"][i]["name"] for i in changed] == ["shin.left"]
    keys = ["name", "translation", "rotation", "scale", "children", "extras"]
    assert sorted(after["nodes"][changed[0]]) == sorted(keys)
    assert list(after["nodes"][changed[0]]).index("translation") == list(before["nodes"][changed[0]]).index("matrix")
    assert np.abs(open_file(target).tree.local[changed[0]] - open_file(path).tree.local[changed[0]]).max() < 1e-12
    assert_poses(sample_poses(clip_of(target, "wild"), character.skeleton, TIMES), poses, 1e-6)
    assert validate(target)[0].errors == ()


@pytest.mark.parametrize("odd", ODDS)
def test_a_pose_becomes_the_rest_pose(odd: str, tmp_path: Path) -> None:
    source = make_odd(make_biped(), tmp_path / "source", ODDS[odd])
    character = read_character(source)
    poses = random_poses(character, 3, 7, joints=("spine", "shin.left", "foot.right"))
    target = tmp_path / "target.glb"
    write_pose(source, target, poses, 1)
    found = read_character(target)
    size = float(np.ptp(character.skeleton.positions))
    assert np.abs(found.skeleton.rest - poses.world(character.skeleton)[1])[:, :3, 3].max() < 1e-6 * size
    assert np.abs(found.skeleton.bind - character.skeleton.bind)[:, :3, 3].max() < 2e-5 * size
    assert validate(target)[0].errors == ()


def test_a_pose_changes_only_the_joints_that_move(tmp_path: Path) -> None:
    source = decorated(make_odd(make_biped(), tmp_path / "source", Odd()))
    poses = random_poses(read_character(source), 1, 8, joints=("shin.left",))
    target = tmp_path / "target.glb"
    write_pose(source, target, poses)
    before, after = tree_of(source), tree_of(target)
    expected = copy.deepcopy(before)
    index = next(i for i, node in enumerate(before["nodes"]) if node["name"] == "shin.left")
    expected["nodes"][index]["rotation"] = after["nodes"][index]["rotation"]
    assert json.dumps(after) == json.dumps(expected)
    assert after != before
