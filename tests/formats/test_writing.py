"""Writing edits the file: clips and poses come back as given, and all else is as it was."""

from __future__ import annotations

import dataclasses
import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character import (
    BakedClip,
    Character,
    Clip,
    Poses,
    Track,
    sample_clip,
    sample_poses,
    skin_vertices,
    world_from_local,
)
from instep.errors import CharacterError, FormatError, OutputError
from instep.formats import read_character, read_clips, write_clips, write_poses_as_clip
from instep.formats.reader import open_file
from tests.biped import make_biped
from tests.formats.odd import Odd, glb, make_odd, turn
from tests.node import show, validate

STRIDE = {name: (8.0, -5.0, 6.0) for name in make_biped().skeleton.names if name != "root"}
PNG = b"\x89PNG\r\n\x1a\n and the rest of a picture"


def random_poses(character: Character, count: int, seed: int, joints: tuple[str, ...] | None = None) -> Poses:
    """Poses in which each joint (or just some) is turned to its parent; the joints stay connected."""
    skeleton = character.skeleton
    random = np.random.default_rng(seed)
    world = np.empty((count, len(skeleton), 4, 4))
    for joint, parent in enumerate(skeleton.parents):
        T = skeleton.bind[joint]
        if parent >= 0:
            T = world[:, parent] @ np.linalg.solve(skeleton.bind[parent], T)
        turned = np.tile(np.eye(4), (count, 1, 1))
        if joints is None or skeleton.names[joint] in joints:
            turned[:, :3, :3] = Rotation.from_rotvec(random.normal(0, 0.5, (count, 3))).as_matrix()
        world[:, joint] = T @ turned
    change = world[..., :3, :3] @ np.linalg.inv(skeleton.bind[:, :3, :3])
    quaternions = Rotation.from_matrix(change.reshape(-1, 3, 3)).as_quat(scalar_first=True)
    return Poses(quaternions.reshape(count, -1, 4), world[..., :3, 3].copy(), np.ones(count))


def tree_of(path: Path) -> dict[str, Any]:
    raw = path.read_bytes()
    if raw[:4] != b"glTF":
        return dict(json.loads(raw))
    return dict(json.loads(raw[20 : 20 + struct.unpack_from("<I", raw, 12)[0]]))


def binary_of(path: Path) -> bytes:
    raw = path.read_bytes()
    return raw[28 + struct.unpack_from("<I", raw, 12)[0] :]


def clip_of(path: Path, name: str) -> Clip:
    return next(clip for clip in read_clips(path) if clip.name == name)


def assert_poses(found: Poses, expected: Poses, tolerance: float) -> None:
    size = float(np.ptp(expected.position[0]))
    assert np.abs(found.position - expected.position).max() < tolerance * size
    assert np.abs(np.abs(np.sum(found.rotation * expected.rotation, axis=-1)) - 1).max() < tolerance


TIMES = np.arange(7) / 30

ODDS = {
    "plain": Odd(),
    "turned and scaled nodes above": Odd(above=(turn(-90, scale=0.01), turn(0, 50, offset=(10, 0, 3)))),
    "joints scaled by 100": Odd(joint_scale=100.0, above=(turn(scale=0.01),)),
    "plain node between joints": Odd(between="shin.left"),
    "foot under the root": Odd(foot_under_root=True, extra=True),
    "two mesh spaces": Odd(feet_space=turn(30, 20, 10, scale=2.0), mesh_space=turn(-90)),
    "rest is not bind": Odd(rest_turns=STRIDE),
    "files beside it": Odd(container="files"),
    "data URI": Odd(container="data"),
}


@pytest.mark.parametrize("ending", [".glb", ".gltf"])
@pytest.mark.parametrize("odd", ODDS)
def test_baked_poses_come_back(odd: str, ending: str, tmp_path: Path) -> None:
    source = make_odd(make_biped(), tmp_path / "source", ODDS[odd])
    target = tmp_path / "elsewhere" / f"target{ending}"
    target.parent.mkdir()
    character = read_character(source)
    poses = random_poses(character, 7, 1)
    write_poses_as_clip(character, poses, TIMES, "wild", target)
    (tmp_path / "elsewhere" / "moved").mkdir()
    target = target.rename(tmp_path / "elsewhere" / "moved" / target.name)  # it works wherever it is
    found = read_character(target)
    assert_poses(sample_poses(clip_of(target, "wild"), found.skeleton, TIMES), poses, 1e-6)
    assert validate(target)[0].errors == ()


def test_scale_of_the_whole_character_goes_to_the_topmost_joint(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd(above=(turn(-90, scale=0.01),)))
    character = read_character(path)
    poses = bind_poses(character, 2)
    poses = Poses(poses.rotation, poses.position * np.array([1.0, 1.5])[:, None, None], np.array([1.0, 1.5]))
    write_clips(path, path, [BakedClip("grow", np.array([0.0, 1.0]), poses)])
    clip = clip_of(path, "grow")
    assert {(track.joint, track.path) for track in clip.tracks} == {("root", "scale")}
    world = world_from_local(character.skeleton, sample_clip(clip, character.skeleton, [0.0, 1.0]))
    assert np.abs(world - poses.world(character.skeleton)).max() < 1e-6


def test_three_js_shows_the_baked_poses(tmp_path: Path) -> None:
    """An independent reader, on an odd file: joints and skinned vertices, at the keys and between."""
    odd = Odd(above=(turn(-90, scale=0.01),), joint_scale=100.0, rest_turns=STRIDE, between="shin.left")
    source, target = make_odd(make_biped(), tmp_path / "source", odd), tmp_path / "target.glb"
    character = read_character(source)
    poses = random_poses(character, 7, 2)
    write_poses_as_clip(character, poses, TIMES, "wild", target)
    opened = open_file(target)
    times = [*TIMES.tolist(), 0.01, 0.111, 0.15]
    sampled = sample_poses(clip_of(target, "wild"), opened.found.skeleton, times)
    shown = show(target, "wild", times, 10)
    joints = np.array([[one.joints[node] for node in opened.found.nodes] for one in shown])
    size = float(np.ptp(character.skeleton.positions))
    assert np.abs(joints - sampled.position).max() < 1e-6 * size
    assert np.abs(joints[:7] - poses.position).max() < 1e-6 * size
    mesh = character.mesh
    assert mesh is not None
    rows = np.concatenate([np.arange(p.vertices.start, p.vertices.stop, 10) for p in mesh.parts])
    vertices = np.array([one.vertices for one in shown])
    # Between keys the positions of a scaled skeleton are those of its rotations: only at keys is the mesh compared.
    skinned = skin_vertices(mesh, character.skeleton, poses, rows)
    assert np.abs(vertices[:7] - skinned).max() < 2e-6 * size


def decorated(source: Path) -> Path:
    """The file with everything that Instep knows nothing of."""
    tree, binary = tree_of(source), binary_of(source)
    tree = {"extensionsUsed": ["OUR_thing", "KHR_materials_unlit"], **tree}
    tree["asset"] |= {"copyright": "CC0", "generator": "something else", "extras": {"deep": [None, {"a": 1.5}]}}
    tree["images"] = [{"uri": "picture%20one.png"}, {"uri": "../outside.png"}]
    tree["textures"] = [{"source": 0}, {"source": 1}]
    tree["materials"] = [{"name": "skin", "extensions": {"KHR_materials_unlit": {}}, "unknownKey": 1e-7}]
    tree["nodes"][0]["extras"] = {"empty": None, "text": "ä"}
    tree["nodes"][3]["extensions"] = {"OUR_thing": {"v": [1, 2.0, 3]}}
    tree["cameras"] = [{"type": "perspective", "perspective": {"yfov": 0.7, "znear": 0.1}}]
    tree["extensions"] = {"OUR_thing": {"accessor": 3}}
    tree["unknownTop"] = {"x": [True, False]}
    primitive = tree["meshes"][0]["primitives"][0]
    primitive["material"] = 0
    primitive["targets"] = [{"POSITION": primitive["attributes"]["POSITION"]}]
    tree["meshes"][0]["weights"] = [0.0]
    output = len(tree["accessors"])
    tree["accessors"] += [
        {"bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR", "min": [0.0], "max": [1.0]},
        {"bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR"},
    ]
    sampler = {"input": output, "output": output + 1}
    channel = {"sampler": 0, "target": {"node": len(tree["nodes"]) - 1, "path": "weights"}}
    tree["animations"] = [{"name": "smile", "samplers": [sampler], "channels": [channel], "extras": {"mood": 1}}]
    source.write_bytes(glb(json.dumps(tree).encode(), binary))
    (source.parent / "picture one.png").write_bytes(PNG)
    return source


def without(tree: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in tree.items() if key not in keys}


def test_everything_else_is_as_it_was(tmp_path: Path) -> None:
    source = decorated(make_odd(make_biped(), tmp_path / "source", Odd()))
    before = tree_of(source)
    target = tmp_path / "target.glb"
    poses = random_poses(read_character(make_odd(make_biped(), tmp_path / "plain", Odd())), 7, 3)
    write_clips(source, target, [BakedClip("wild", TIMES, poses)])
    after = tree_of(target)
    grown = ("accessors", "bufferViews", "buffers", "animations")
    assert json.dumps(without(after, *grown)) == json.dumps(without(before, *grown)), "key order too"
    assert list(after) == list(before)
    for kind in ("accessors", "bufferViews", "animations"):
        assert after[kind][: len(before[kind])] == before[kind]
        assert len(after[kind]) > len(before[kind])
    length = before["buffers"][0]["byteLength"]
    assert binary_of(target)[:length] == binary_of(source)[:length]
    assert [animation["name"] for animation in after["animations"]] == ["smile", "wild"]


def test_nothing_to_add_changes_nothing(tmp_path: Path) -> None:
    source = decorated(make_odd(make_biped(), tmp_path / "source", Odd()))
    target = tmp_path / "target.glb"
    write_clips(source, target, [])
    assert tree_of(target) == tree_of(source)
    assert binary_of(target) == binary_of(source)


def test_unknown_chunks_are_kept(tmp_path: Path) -> None:
    source = make_odd(make_biped(), tmp_path / "source", Odd())
    raw, extra = source.read_bytes(), b"\x04\0\0\0WHO?abcd"
    source.write_bytes(raw[:8] + struct.pack("<I", len(raw) + len(extra)) + raw[12:] + extra)
    write_clips(source, tmp_path / "target.glb", [])
    assert (tmp_path / "target.glb").read_bytes().endswith(extra)


def test_pictures_go_along_to_another_folder(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b" / "c").mkdir(parents=True)
    source = decorated(make_odd(make_biped(), tmp_path / "a" / "source", Odd()))
    write_clips(source, tmp_path / "b" / "c" / "target.glb", [])
    images = tree_of(tmp_path / "b" / "c" / "target.glb")["images"]
    assert images[0]["uri"].startswith("data:image/png;base64,iVBORw0KGgo")
    assert images[1]["uri"] == "../../outside.png", "nothing outside the source's folder is read, only referred to"


def test_same_file_and_again_does_not_grow(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd())
    character = read_character(path)
    clips = [BakedClip(name, TIMES, random_poses(character, 7, seed)) for seed, name in enumerate("abc")]
    write_clips(path, path, clips)
    once = path.read_bytes()
    for _ in range(3):
        write_clips(path, path, clips)
    assert path.read_bytes() == once
    shorter = [dataclasses.replace(clip, times=clip.times[:3], poses=first(clip.poses, 3)) for clip in clips]
    write_clips(path, path, shorter)
    assert len(path.read_bytes()) < len(once)


@pytest.mark.parametrize("container", ["files", "data"])
def test_text_files_do_not_grow_either(container: str, tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd(container="files" if container == "files" else "data"))
    before = tree_of(path)
    clips = [BakedClip("a", TIMES, random_poses(read_character(path), 7, 0))]
    write_clips(path, path, clips)
    once = path.read_bytes()
    write_clips(path, path, clips)
    assert path.read_bytes() == once
    assert tree_of(path)["buffers"][0] == before["buffers"][0]
    assert validate(path)[0].errors == ()


def first(poses: Poses, count: int) -> Poses:
    return Poses(poses.rotation[:count], poses.position[:count], poses.scale[:count])


def test_a_clip_takes_the_place_of_its_name(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd())
    character = read_character(path)
    poses = [random_poses(character, 7, seed) for seed in range(4)]
    write_clips(path, path, [BakedClip(name, TIMES, poses[i]) for i, name in enumerate("abc")])
    write_clips(path, path, [BakedClip("b", TIMES, poses[3])])
    assert [clip.name for clip in read_clips(path)] == ["a", "b", "c"]
    for name, expected in zip("abc", (poses[0], poses[3], poses[2]), strict=True):
        assert_poses(sample_poses(clip_of(path, name), character.skeleton, TIMES), expected, 1e-6)
    write_clips(path, path, [BakedClip("d", TIMES, poses[1])], replace=True)
    assert [clip.name for clip in read_clips(path)] == ["d"]
    assert validate(path)[0].errors == ()


def test_only_what_moves_gets_keys(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd())
    poses = random_poses(read_character(path), 7, 4, joints=("shin.left", "head"))
    write_clips(path, path, [BakedClip("few", TIMES, poses)])
    tracks = {(track.joint, track.path, len(track.times)) for track in clip_of(path, "few").tracks}
    assert tracks == {("shin.left", "rotation", 7), ("head", "rotation", 7)}


def bind_poses(character: Character, count: int) -> Poses:
    """The bind pose, several times."""
    joints = len(character.skeleton)
    return Poses(
        np.tile([1.0, 0, 0, 0], (count, joints, 1)),
        np.tile(character.skeleton.positions, (count, 1, 1)),
        np.ones(count),
    )


def test_a_clip_of_the_bind_pose_shows_it_where_rest_is_another(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd(rest_turns={"spine": (20, 0, 0), "head": (0, 30, 0)}))
    character = read_character(path)
    poses = bind_poses(character, 7)
    write_clips(path, path, [BakedClip("bind", TIMES, poses)])
    clip = clip_of(path, "bind")
    assert {(t.joint, t.path, len(t.times)) for t in clip.tracks} == {("spine", "rotation", 2), ("head", "rotation", 2)}
    assert clip.duration_s == pytest.approx(TIMES[-1])
    assert_poses(sample_poses(clip, character.skeleton, TIMES), poses, 1e-6)


def test_a_clip_of_the_rest_pose_is_still_a_clip(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd())
    character = read_character(path)
    write_clips(path, path, [BakedClip("still", TIMES, bind_poses(character, 7))])
    clip = clip_of(path, "still")
    assert [(t.joint, t.path, len(t.times)) for t in clip.tracks] == [("root", "rotation", 2)]
    assert clip.duration_s == pytest.approx(TIMES[-1])
    assert validate(path)[0].errors == ()


def test_quaternions_stay_on_one_side(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd())
    character = read_character(path)
    poses = random_poses(character, 40, 5)
    flipped = dataclasses.replace(poses, rotation=poses.rotation * np.where(np.arange(40) % 2, 1, -1)[:, None, None])
    write_clips(path, path, [BakedClip("wild", np.arange(40) / 30, flipped)])
    for track in clip_of(path, "wild").tracks:
        if track.path == "rotation":
            assert np.sum(track.values[1:] * track.values[:-1], axis=1).min() >= 0
            assert np.abs(np.linalg.norm(track.values, axis=1) - 1).max() < 1.2e-7


def test_clips_of_tracks_come_back_with_their_interpolation(tmp_path: Path) -> None:
    path = make_odd(make_biped(), tmp_path / "source", Odd())
    random = np.random.default_rng(0)
    quaternions = random.normal(size=(4, 4))
    quaternions /= np.linalg.norm(quaternions, axis=1, keepdims=True)
    times = np.array([0, 0.25, 0.5, 2.0])
    tracks = (
        Track("head", "rotation", times, quaternions, "STEP"),
        Track("spine", "translation", times, random.normal(size=(4, 3, 3)), "CUBICSPLINE"),
        Track("head", "scale", times[:2], np.array([[1.0, 1, 1], [1, 2, 1]]), "LINEAR"),
    )
    write_clips(path, path, [Clip("tracks", tracks)])
    found = clip_of(path, "tracks")
    assert len(found.tracks) == 3
    for one, other in zip(found.tracks, tracks, strict=True):
        assert (one.joint, one.path, one.interpolation) == (other.joint, other.path, other.interpolation)
        assert np.array_equal(one.times, other.times)
        assert np.abs(one.values - other.values).max() < 2e-7
    assert validate(path)[0].errors == ()


def text_of(kind: type[Exception], source: Path, target: Path, clips: list[BakedClip | Clip]) -> str:
    with pytest.raises(kind) as caught:
        write_clips(source, target, clips)
    assert not target.exists()
    return str(caught.value)


def test_what_does_not_fit_is_refused(tmp_path: Path) -> None:
    source, target = make_odd(make_biped(), tmp_path / "source", Odd()), tmp_path / "target.glb"
    poses = random_poses(read_character(source), 7, 9)
    track = Track("tail", "rotation", np.array([0.0]), np.array([[1.0, 0, 0, 0]]))
    assert text_of(CharacterError, source, target, [Clip("walk", (track,))]) == (
        'source.glb: clip "walk" moves "tail"; expected a joint of this file. Leave that track out.'
    )
    two: list[BakedClip | Clip] = [BakedClip("a", TIMES, poses)] * 2
    assert text_of(OutputError, source, target, two) == (
        f'{target}: two clips are named "a"; expected a name for each.'
    )
    few = Poses(poses.rotation[:, :5], poses.position[:, :5], poses.scale)
    assert text_of(CharacterError, source, target, [BakedClip("a", TIMES, few)]) == (
        'source.glb: clip "a" has 5 joints; expected 20, as many as the file. '
        "Read the character again: its file has changed."
    )
    times = TIMES + 1e7
    assert text_of(OutputError, source, target, [BakedClip("a", times, poses)]) == (
        f'{target}: clip "a", joint "root", rotation: keys at 10000000.0 s and 10000000.033333333 s; '
        "expected times that increase in single precision. Bake it at another rate."
    )
    assert text_of(OutputError, source, target, [BakedClip("a", TIMES[:3], poses)]) == (
        f'{target}: clip "a", joint "root", rotation: 3 times and 7 values; expected a value for each time. '
        "Bake it at another rate."
    )
    assert text_of(OutputError, source, target, [BakedClip("a", TIMES - 1, poses)]) == (
        f'{target}: clip "a", joint "root", rotation: a key at -1 s; expected times from 0 on. Bake it at another rate.'
    )
    assert text_of(FormatError, tmp_path / "none.glb", target, []).startswith(f"{tmp_path / 'none.glb'}: there is no")
