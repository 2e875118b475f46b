"""A character made by code, written and read again."""

from __future__ import annotations

import dataclasses
import json
import struct
from pathlib import Path

import numpy as np
import pytest

from instep.character import Clip, Poses, Track, skin_vertices
from instep.formats import read_character, survey_file, write_character
from instep.formats.fresh import smooth_normals
from instep.formats.survey import guess_unit
from tests.biped import make_biped
from tests.formats.odd import Odd, make_odd, turn
from tests.formats.test_reading import assert_same
from tests.formats.test_writing import random_poses
from tests.node import validate


@pytest.mark.parametrize("ending", [".glb", ".gltf"])
def test_it_comes_back(ending: str, tmp_path: Path) -> None:
    clip = Clip("nod", (Track("head", "rotation", np.array([0.0, 1.0]), np.array([[1.0, 0, 0, 0], [0.6, 0.8, 0, 0]])),))
    plain = dataclasses.replace(make_biped(heel_height=0.05), clips=(clip,))
    path = tmp_path / f"biped{ending}"
    write_character(plain, path, extras={"ferry": ["salt", 1]}, colours={"feet": (0.1, 0.2, 0.3)})
    found = read_character(path)
    assert found.skeleton.names == plain.skeleton.names
    assert found.notes == ()
    assert_same(found, plain, 1e-7)
    assert found.mesh is not None
    assert plain.mesh is not None
    assert found.mesh.parts == plain.mesh.parts
    assert [c.name for c in found.clips] == ["nod"]
    assert np.abs(found.clips[0].tracks[0].values - clip.tracks[0].values).max() < 1e-7
    verdict = validate(path)[0]
    assert verdict.errors == verdict.warnings == ()
    if ending == ".gltf":
        tree = json.loads(path.read_text())
        assert tree["extras"] == {"ferry": ["salt", 1]}
        assert tree["materials"][2]["pbrMetallicRoughness"]["baseColorFactor"] == [0.1, 0.2, 0.3, 1.0]


def test_same_bytes_every_time(tmp_path: Path) -> None:
    write_character(make_biped(), tmp_path / "a.glb", extras={"z": 1, "a": 2})
    write_character(make_biped(), tmp_path / "b.glb", extras={"z": 1, "a": 2})
    assert (tmp_path / "a.glb").read_bytes() == (tmp_path / "b.glb").read_bytes()


@pytest.mark.parametrize(
    "odd",
    [
        Odd(above=(turn(-90, scale=0.01),), joint_scale=100.0, between="shin.left"),
        Odd(rest_turns={"spine": (20, 0, 0)}, foot_under_root=True),
        Odd(extra=True, rename={"neck": ""}),
    ],
)
def test_an_odd_character_written_anew_is_the_same(odd: Odd, tmp_path: Path) -> None:
    """Scaled joints, plain nodes in between and a rest pose of its own survive."""
    first = read_character(make_odd(make_biped(), tmp_path / "odd", odd))
    write_character(first, tmp_path / "new.glb")
    again = read_character(tmp_path / "new.glb")
    assert_same(again, first, 1e-6)
    order = [again.skeleton.index(name) for name in first.skeleton.names]
    for name in ("rest", "link"):
        assert np.abs(getattr(again.skeleton, name)[order] - getattr(first.skeleton, name)).max() < 1e-4
    poses = random_poses(first, 3, 0)
    back = np.argsort(order)
    poses_again = Poses(poses.rotation[:, back], poses.position[:, back], poses.scale)
    assert first.mesh is not None
    assert again.mesh is not None
    moved = skin_vertices(first.mesh, first.skeleton, poses)
    assert np.abs(skin_vertices(again.mesh, again.skeleton, poses_again) - moved).max() < 1e-5
    assert validate(tmp_path / "new.glb")[0].errors == ()


def test_many_influences_sum_to_one_in_single_precision(tmp_path: Path) -> None:
    plain = make_biped()
    assert plain.mesh is not None
    random = np.random.default_rng(3)
    joints = np.argsort(random.random((len(plain.mesh), len(plain.skeleton))), axis=1)[:, :7]
    weights = -np.sort(-random.dirichlet(np.ones(7), len(plain.mesh)), axis=1)
    many = dataclasses.replace(plain, mesh=dataclasses.replace(plain.mesh, joints=joints, weights=weights))
    write_character(many, tmp_path / "many.glb")
    found = read_character(tmp_path / "many.glb")
    assert_same(found, many, 1e-7, weights=2e-7)
    raw = (tmp_path / "many.glb").read_bytes()
    length = struct.unpack_from("<I", raw, 12)[0]
    tree, binary = json.loads(raw[20 : 20 + length]), raw[28 + length :]
    sets = []
    for name in ("WEIGHTS_0", "WEIGHTS_1"):
        view = tree["bufferViews"][
            tree["accessors"][tree["meshes"][0]["primitives"][0]["attributes"][name]]["bufferView"]
        ]
        sets.append(np.frombuffer(binary, "<f4", view["byteLength"] // 4, view["byteOffset"]).reshape(-1, 4))
    assert np.abs(np.concatenate(sets, axis=1).sum(axis=1, dtype=np.float64) - 1).max() < 2e-7


def test_a_skeleton_alone(tmp_path: Path) -> None:
    alone = dataclasses.replace(make_biped(), mesh=None)
    write_character(alone, tmp_path / "alone.glb")
    found = read_character(tmp_path / "alone.glb")
    assert found.mesh is None
    assert np.abs(found.skeleton.bind - alone.skeleton.bind).max() < 1e-12
    assert validate(tmp_path / "alone.glb")[0].errors == ()


@pytest.mark.parametrize("scale", [0.01, 1.0, 500.0])
def test_normals_point_outwards(scale: float) -> None:
    mesh = make_biped(scale=scale).mesh
    assert mesh is not None
    normals = smooth_normals(mesh)
    assert np.abs(np.linalg.norm(normals, axis=1) - 1).max() < 1e-9
    corners = mesh.positions[mesh.faces]
    area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    toward = np.einsum("fca,fa->fc", normals[mesh.faces], area) / np.linalg.norm(area, axis=1)[:, None]
    assert (toward > 0).mean() > 0.99


def test_survey(tmp_path: Path) -> None:
    path = tmp_path / "biped.glb"
    write_character(make_biped(), path)
    counts = survey_file(path)
    mesh = make_biped().mesh
    assert mesh is not None
    assert (counts.nodes, counts.meshes, counts.primitives, counts.vertices) == (23, 3, 3, len(mesh))
    assert (counts.skins, counts.clips, counts.materials, counts.images, counts.morph_targets) == (1, 0, 3, 0, 0)
    assert (counts.generator, counts.bytes) == ("Instep", path.stat().st_size)
    assert counts.extensions_used == counts.extensions_required == ()


@pytest.mark.parametrize(
    ("scale", "unit"),
    [(1.0, "metres (1.74 at its longest)"), (100.0, "centimetres (174 at its longest)"),
     (1000.0, "millimetres (1739 at its longest)"), (1e6, "unknown (1.74e+06 at its longest)")],
)  # fmt: skip
def test_unit(scale: float, unit: str) -> None:
    assert guess_unit(make_biped(scale=scale)) == unit
