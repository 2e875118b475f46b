"""However oddly a file is written, the character in the world is the same."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from instep.character import Character, Mesh, Note
from instep.character.arrays import FloatArray
from instep.formats import read_character
from tests.biped import make_biped
from tests.formats.odd import Odd, make_odd, turn
from tests.node import validate

Z_UP = turn(-90)
"""T_world_mesh of a mesh that is written with Z up: its Z becomes the world's Y."""
FACING_X = turn(0, -90)
ODD_ANGLE = turn(20, 35, -50, scale=1.7, offset=(0.3, -0.2, 0.9))

SITTING = {"thigh.left": (0.0, 0.0, 25.0), "shin.right": (-30.0, 0.0, 0.0), "upper_arm.left": (60.0, 20.0, 0.0),
           "head": (0.0, 30.0, 0.0), "spine": (5.0, 0.0, 0.0)}  # fmt: skip
STRIDE = {name: (8.0, -5.0, 6.0) for name in make_biped().skeleton.names if name != "root"}
"""A frame of a clip in which every joint but the root is turned."""

WAYS = {
    "plain": Odd(),
    "turned node above": Odd(above=(turn(0, 120), turn(-90, offset=(1, 2, 3)))),
    "scaled nodes above": Odd(above=(turn(90, scale=0.01), turn(scale=3.0))),
    "turned mesh nodes": Odd(mesh_node=turn(90, scale=2.0, offset=(5, 5, 5))),
    "mesh space Z up": Odd(mesh_space=Z_UP),
    "mesh space facing X": Odd(mesh_space=FACING_X),
    "mesh space in centimetres": Odd(mesh_space=turn(-90, scale=0.01)),
    "mesh space at an odd angle": Odd(mesh_space=ODD_ANGLE),
    "joints scaled by 100": Odd(joint_scale=100.0),
    "joints scaled by 100 under 1/100": Odd(joint_scale=100.0, above=(turn(-90, scale=0.01),), mesh_space=Z_UP),
    "plain node between joints": Odd(between="shin.left"),
    "foot under the root": Odd(foot_under_root=True),
    "feet with a skin and a space of their own": Odd(feet_space=ODD_ANGLE, mesh_space=Z_UP),
    "joints without weight": Odd(extra=True),
    "toes' ends in no skin": Odd(unlisted=("toe_end.left", "toe_end.right")),
    "joints twice at a vertex": Odd(twice=True),
    "weights that sum to 2": Odd(weight_factor=2.0),
    "16-bit joints": Odd(joint_type="u2"),
    "sparse positions": Odd(sparse=True),
    "interleaved positions": Odd(interleaved=True),
    "triangle strips": Odd(topology="strip"),
    "two primitives on the same vertices": Odd(topology="primitives"),
    "files beside it": Odd(container="files"),
    "data URI": Odd(container="data"),
    "rest is not bind": Odd(rest_turns=SITTING),
    "rest is not bind, mesh space Z up": Odd(rest_turns=SITTING, mesh_space=Z_UP),
    "rest is a stride": Odd(rest_turns=STRIDE),
    "rest is a stride, turned node above": Odd(rest_turns=STRIDE, above=(Z_UP,), mesh_space=Z_UP),
    "rest is a stride, mesh space Z up": Odd(rest_turns=STRIDE, mesh_space=Z_UP),
    "rest is a stride, centimetres": Odd(rest_turns=STRIDE, above=(turn(scale=0.01),), mesh_space=turn(scale=0.01)),
    "rest is a stride, feet with a skin of their own": Odd(rest_turns=STRIDE, feet_space=Z_UP),
}  # fmt: skip


def dense(mesh: Mesh, count: int) -> FloatArray:
    """(V, J) weights."""
    weights = np.zeros((len(mesh), count))
    np.add.at(weights, (np.arange(len(mesh))[:, None], mesh.joints), mesh.weights)
    return weights


def assert_same(found: Character, plain: Character, tolerance: float, weights: float = 1e-6) -> None:
    """The same mesh and joints in the world; joints are compared by name, vertices in order."""
    scale = float(np.ptp(plain.skeleton.positions))
    assert found.mesh is not None
    assert plain.mesh is not None
    assert len(found.mesh) == len(plain.mesh)
    assert np.abs(found.mesh.positions - plain.mesh.positions).max() < tolerance * scale
    assert np.array_equal(found.mesh.faces, plain.mesh.faces)
    assert np.abs(found.mesh.weights.sum(axis=1) - 1).max() < 1e-12
    order = [found.skeleton.index(name) for name in plain.skeleton.names if name in found.skeleton.names]
    kept = [joint for joint, name in enumerate(plain.skeleton.names) if name in found.skeleton.names]
    gap = found.skeleton.positions[order] - plain.skeleton.positions[kept]
    assert np.abs(gap).max() < tolerance * scale
    turns = np.stack([found.skeleton.bind[order][:, :3, :3], plain.skeleton.bind[kept][:, :3, :3]])
    turns /= np.linalg.norm(turns, axis=2, keepdims=True)
    assert np.abs(turns[0] - turns[1]).max() < 1e-5
    found_weights = dense(found.mesh, len(found.skeleton))
    plain_weights = dense(plain.mesh, len(plain.skeleton))
    assert np.abs(found_weights[:, order] - plain_weights[:, kept]).max() < weights
    assert np.abs(found_weights[:, order].sum(axis=1) - 1).max() < 1e-6


@pytest.mark.parametrize("way", WAYS)
def test_the_character_is_the_same(way: str, tmp_path: Path) -> None:
    plain = make_biped(toe_end=True)
    path = make_odd(plain, tmp_path / "odd", WAYS[way])
    assert_same(read_character(path), plain, 3e-6)


@pytest.mark.parametrize(("kind", "tolerance"), [("u1", 1 / 255), ("u2", 1 / 65535)])
def test_normalised_weights(kind: str, tolerance: float, tmp_path: Path) -> None:
    plain = make_biped()
    odd = Odd(weight_type="u1" if kind == "u1" else "u2")
    assert_same(read_character(make_odd(plain, tmp_path / "odd", odd)), plain, 3e-6, weights=2 * tolerance)


def test_quantised_positions(tmp_path: Path) -> None:
    plain = make_biped()
    found = read_character(make_odd(plain, tmp_path / "odd", Odd(quantised=True, mesh_space=Z_UP)))
    assert_same(found, plain, 2 / 65535)


def test_eight_influences(tmp_path: Path) -> None:
    plain = make_biped()
    assert plain.mesh is not None
    random = np.random.default_rng(8)
    joints = np.argsort(random.random((len(plain.mesh), len(plain.skeleton))), axis=1)[:, :8]
    weights = random.dirichlet(np.ones(8), len(plain.mesh))
    many = dataclasses.replace(plain, mesh=dataclasses.replace(plain.mesh, joints=joints, weights=weights))
    found = read_character(make_odd(many, tmp_path / "odd", Odd(influences=8)))
    assert_same(found, many, 3e-6)
    assert found.mesh is not None
    assert found.mesh.joints.shape == (len(found.mesh), 8)
    assert np.all(np.diff(found.mesh.weights, axis=1) <= 0), "heaviest first"


def test_unindexed_triangles(tmp_path: Path) -> None:
    plain = make_biped()
    found = read_character(make_odd(plain, tmp_path / "odd", Odd(topology="unindexed")))
    assert found.mesh is not None
    assert plain.mesh is not None
    corners = found.mesh.positions[found.mesh.faces]
    assert np.abs(corners - plain.mesh.positions[plain.mesh.faces]).max() < 1e-6


def test_centimetres_and_a_turned_world_are_used_as_they_are(tmp_path: Path) -> None:
    plain = make_biped(scale=100.0, R_world=turn(90)[:3, :3])
    assert_same(read_character(make_odd(plain, tmp_path / "odd", Odd(above=(turn(30),)))), plain, 3e-6)


def test_odd_files_are_valid(tmp_path: Path) -> None:
    """The builders make files that the standard allows: otherwise they would prove nothing."""
    plain = make_biped(toe_end=True)
    more = {"u1": Odd(weight_type="u1"), "quantised": Odd(quantised=True), "unindexed": Odd(topology="unindexed")}
    forbidden = ("weights that sum to 2", "joints twice at a vertex")
    odds = [odd for way, odd in (WAYS | more).items() if way not in forbidden]
    paths = [make_odd(plain, tmp_path / f"odd{i}", odd) for i, odd in enumerate(odds)]
    assert [verdict.errors for verdict in validate(*paths)] == [()] * len(paths)


def test_two_primitives_share_their_vertices(tmp_path: Path) -> None:
    plain = make_biped()
    mesh = read_character(make_odd(plain, tmp_path / "odd", Odd(topology="primitives"))).mesh
    assert mesh is not None
    assert [part.name for part in mesh.parts] == ["body 0", "body 1", "legs 0", "legs 1", "feet 0", "feet 1"]
    assert mesh.parts[0].vertices == mesh.parts[1].vertices
    assert mesh.parts[1].faces == slice(mesh.parts[0].faces.stop, mesh.parts[2].faces.start)


def test_rest_pose_is_kept_beside_the_bind_pose(tmp_path: Path) -> None:
    plain = make_biped()
    found = read_character(make_odd(plain, tmp_path / "odd", Odd(rest_turns=SITTING))).skeleton
    moved = np.abs(found.rest - found.bind).max(axis=(1, 2)) > 1e-9
    expected = {j for name in SITTING for j in plain.skeleton.below(plain.skeleton.index(name))}
    assert {found.names[j] for j in np.flatnonzero(moved)} == {plain.skeleton.names[j] for j in expected}


def test_a_joint_at_rest_in_its_bind_pose_has_exactly_that(tmp_path: Path) -> None:
    """Single-precision inverse bind matrices leave no trace."""
    skeleton = read_character(make_odd(make_biped(), tmp_path / "odd", Odd(mesh_space=Z_UP))).skeleton
    assert np.array_equal(skeleton.bind, skeleton.rest)


def test_a_skeleton_without_mesh(tmp_path: Path) -> None:
    plain = make_biped()
    found = read_character(make_odd(plain, tmp_path / "odd", Odd(without_mesh=True, extra=True)))
    assert found.mesh is None
    order = [found.skeleton.index(name) for name in plain.skeleton.names]
    assert np.abs(found.skeleton.positions[order] - plain.skeleton.positions).max() < 1e-12
    assert found.notes[0].means == "the rest pose is taken for the bind pose"


def test_link_holds_the_plain_nodes(tmp_path: Path) -> None:
    above = (turn(0, 120), turn(-90, offset=(1, 2, 3)))
    skeleton = read_character(make_odd(make_biped(), tmp_path / "odd", Odd(above=above, between="shin.left"))).skeleton
    assert np.abs(skeleton.link[0] - above[0] @ above[1]).max() < 1e-12
    plain = turn(20, -30, 50, offset=(0.1, 0.2, -0.1))
    assert np.abs(skeleton.link[skeleton.index("shin.left")] - plain).max() < 1e-12
    others = [joint for joint, name in enumerate(skeleton.names) if name not in ("root", "shin.left")]
    assert np.array_equal(skeleton.link[others], np.broadcast_to(np.eye(4), (len(others), 4, 4)))


def notes_of(path: Path) -> tuple[Note, ...]:
    return read_character(path).notes


def test_a_plain_file_has_no_notes(tmp_path: Path) -> None:
    assert notes_of(make_odd(make_biped(), tmp_path / "odd", Odd())) == ()


def test_notes_say_what_was_odd(tmp_path: Path) -> None:
    plain = make_biped()
    odd = Odd(
        mesh_node=turn(90),
        weight_factor=2.0,
        rest_turns=STRIDE,
        rename={"neck": "", "toes.left": "toes", "toes.right": "toes"},
    )
    found = read_character(make_odd(plain, tmp_path / "odd", odd))
    count = len(found.mesh or ())
    number = next(int(name.split()[1]) for name in found.skeleton.names if name.startswith("joint "))
    assert {"toes", "toes (2)"} <= set(found.skeleton.names)
    assert found.notes == (
        Note(
            "odd.glb",
            "1 joints have no name",
            f'they are called by their numbers in the file, such as "joint {number}"; adding nodes changes that',
        ),
        Note("odd.glb", '2 joints are named "toes"', 'from the second on they are called "toes (2)" and so on'),
        Note(
            "odd.glb: skin 0",
            "19 of 20 joints do not stand at rest where the skin was bound",
            "the rig is built on the bind pose, which is placed in the world by the nodes above the skeleton",
        ),
        Note(
            "odd.glb",
            "the nodes of skinned meshes are turned, scaled or moved: body, legs, feet",
            "as glTF asks, that is ignored: the skin alone places them",
        ),
        Note(
            "odd.glb",
            f"{count} vertices have weights that do not sum to 1",
            "their weights are scaled to sum to 1",
        ),
    )
