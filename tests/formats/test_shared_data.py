"""Real files: upright, on the floor, and unharmed by a round trip."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from instep.character import BakedClip, sample_clip, sample_poses, skin_vertices, world_from_local
from instep.formats import read_character, read_clips, survey_file, write_clips, write_pose
from instep.formats.reader import open_file
from tests.formats.test_writing import assert_poses, clip_of, tree_of, without
from tests.node import show, validate

FILES = {"figure": "figure", "fox": "fox", "stocky": "stocky_moves"}
"""Each character, and the file with its clips."""


@pytest.fixture(scope="session")
def characters(shared_data: Path) -> Path:
    return shared_data / "characters"


@pytest.mark.parametrize(
    ("name", "joints", "vertices", "height", "forward"),
    [("figure", 19, 370, 1.45, 0.195), ("stocky", 21, 6578, 2.207, 0.538), ("fox", 24, 1728, 78.9, 66.6)],
)
def test_upright_on_the_floor(
    name: str, joints: int, vertices: int, height: float, forward: float, characters: Path
) -> None:
    character = read_character(characters / f"{name}.glb")
    mesh = character.mesh
    assert mesh is not None
    assert (len(character.skeleton), len(mesh)) == (joints, vertices)
    low, high = mesh.positions.min(axis=0), mesh.positions.max(axis=0)
    assert abs(low[1]) < 0.002 * height
    assert high[1] == pytest.approx(height, rel=1e-3)
    assert high[2] == pytest.approx(forward, rel=3e-3), "noses and toes point along +Z"
    assert abs(low[0] + high[0]) < 1e-3 * height, "as wide on the left as on the right"
    assert np.array_equal(character.skeleton.bind, character.skeleton.rest)
    inside = (character.skeleton.positions >= low - 0.01 * height) & (
        character.skeleton.positions <= high + 0.01 * height
    )
    assert inside.all(), "joints lie within the body"


def test_notes(characters: Path) -> None:
    assert read_character(characters / "figure.glb").notes == ()
    assert read_character(characters / "fox.glb").notes == ()
    assert [note.means for note in read_character(characters / "stocky.glb").notes] == [
        "as glTF asks, that is ignored: the skin alone places them"
    ]


def test_clips_without_a_mesh(characters: Path) -> None:
    moves = read_character(characters / "stocky_moves.glb")
    assert moves.mesh is None
    assert len(moves.clips) == 11
    stocky = read_character(characters / "stocky.glb").skeleton
    assert set(moves.skeleton.names) - set(stocky.names) == {"handslot.l", "handslot.r"}
    assert all(len(clip.tracks) == 69 for clip in moves.clips)


@pytest.mark.parametrize("name", FILES)
def test_feet_stay_near_the_floor(name: str, characters: Path) -> None:
    character = read_character(characters / f"{name}.glb")
    mesh = character.mesh
    assert mesh is not None
    height = float(np.ptp(mesh.positions[:, 1]))
    for clip in read_clips(characters / f"{FILES[name]}.glb"):
        times = np.linspace(0, clip.duration_s, 30)
        lowest = skin_vertices(mesh, character.skeleton, sample_poses(clip, character.skeleton, times))[..., 1].min(
            axis=1
        )
        assert np.abs(lowest).max() < 0.1 * height, clip.name
        assert np.abs(lowest).min() < 0.02 * height, clip.name


def test_three_js_samples_the_same(characters: Path) -> None:
    path = characters / "fox.glb"
    opened = open_file(path)
    clip = read_clips(path)[0]
    times = [0.0, 0.137, clip.duration_s / 2, clip.duration_s]
    world = world_from_local(opened.found.skeleton, sample_clip(clip, opened.found.skeleton, times))
    shown = show(path, clip.name, times, 50)
    joints = np.array([[one.joints[node] for node in opened.found.nodes] for one in shown])
    assert np.abs(joints - world[..., :3, 3]).max() < 1e-5 * float(np.ptp(world[..., :3, 3]))


@pytest.mark.parametrize("name", FILES)
def test_round_trip(name: str, characters: Path, tmp_path: Path) -> None:
    source, target = characters / f"{name}.glb", tmp_path / f"{name}.glb"
    character = read_character(source)
    assert character.mesh is not None
    clip = read_clips(characters / f"{FILES[name]}.glb")[0]
    times = np.arange(0, clip.duration_s, 1 / 30)
    poses = sample_poses(clip, character.skeleton, times)
    write_clips(source, target, [BakedClip("baked", times, poses)])
    assert_poses(sample_poses(clip_of(target, "baked"), character.skeleton, times), poses, 1e-6)
    assert validate(source)[0].errors == validate(target)[0].errors == ()
    assert validate(source)[0].warnings == validate(target)[0].warnings
    grown = ("accessors", "bufferViews", "buffers", "animations")
    assert without(tree_of(target), *grown) == without(tree_of(source), *grown)
    found = read_character(target)
    assert found.mesh is not None
    assert np.array_equal(found.mesh.positions, character.mesh.positions)
    assert np.array_equal(found.skeleton.bind, character.skeleton.bind)
    opened = open_file(target)
    shown = show(target, "baked", times[[0, 3, 7]].tolist(), 11)
    joints = np.array([[one.joints[node] for node in opened.found.nodes] for one in shown])
    size = float(np.ptp(poses.position[0]))
    assert np.abs(joints - poses.position[[0, 3, 7]]).max() < 1e-6 * size


@pytest.mark.parametrize("name", FILES)
def test_a_frame_of_a_clip_as_rest_pose_leaves_the_bind_pose(name: str, characters: Path, tmp_path: Path) -> None:
    """The hard case on real files: the rest pose is then a frame of a clip, and mesh space has to be found."""
    character = read_character(characters / f"{name}.glb")
    assert character.mesh is not None
    size = float(np.ptp(character.skeleton.positions))
    for clip in read_clips(characters / f"{FILES[name]}.glb"):
        poses = sample_poses(clip, character.skeleton, [clip.duration_s * 0.4])
        write_pose(characters / f"{name}.glb", tmp_path / "posed.glb", poses)
        found = read_character(tmp_path / "posed.glb")
        assert found.mesh is not None
        assert np.abs(found.mesh.positions - character.mesh.positions).max() < 1e-6 * size, clip.name
        assert np.abs(found.skeleton.positions - character.skeleton.positions).max() < 2e-5 * size, clip.name


def test_survey(characters: Path) -> None:
    counts = survey_file(characters / "stocky.glb")
    assert (counts.nodes, counts.meshes, counts.skins, counts.materials, counts.images) == (30, 8, 1, 1, 1)
