"""Each command's ordinary way, for people and for machines."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import instep
from instep.character import sample_poses
from instep.checks import CHECKS
from instep.formats import read_character, write_character, write_clips
from instep.rig.file import load_rig
from tests.biped import biped_landmarks, make_biped
from tests.cli.bodies import without
from tests.cli.terminal import answer, contents, run

COMMAND = Path(sys.executable).with_name("instep")


def test_help_names_every_command_and_needs_no_heavy_import() -> None:
    probe = (
        "import sys; from click.testing import CliRunner; from instep.cli import instep; "
        "result = CliRunner().invoke(instep, ['--help']); print(result.output); "
        "print('heavy:', sorted({'numpy', 'scipy', 'casadi', 'pydantic', 'rich', 'shapely'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    first = ["bake", "bench", "cast", "contacts", "emit", "fit", "gait", "look", "measure", "plant"]
    last = ["pose", "prove", "rebase", "rig", "thin", "tune", "why"]
    assert re.findall(r"^  (\w+)  +\w", done.stdout, re.MULTILINE) == first + last
    assert done.stdout.splitlines()[-1] == "heavy: []"


def test_version() -> None:
    assert run("--version").output == f"instep {instep.__version__}\n"


def test_look_tells_what_is_in_a_file(model: Path) -> None:
    character = read_character(model)
    assert character.mesh is not None
    data = answer("look", model)
    assert [joint["name"] for joint in data["joints"]] == list(character.skeleton.names)
    roles = {joint["role"]: joint["name"] for joint in data["joints"] if joint["role"]}
    assert roles == {
        "pelvis": "pelvis",
        **{
            f"{side}.{part}": f"{part}.{side}"
            for side in ("left", "right")
            for part in ("thigh", "shin", "foot", "toes")
        },
    }
    assert sum(mesh["vertices"] for mesh in data["meshes"]) == len(character.mesh)
    assert data["counts"]["skins"] == 1
    assert data["clips"] == []
    assert data["body_axes"] == {"left": [1, 0, 0], "up": [0, 1, 0], "forward": [0, 0, 1]}
    assert data["no_legs_because"] is None
    text = run("look", model).stdout
    for told in (
        "unit: metres (1.74 at its longest)",
        "left is +X, up is +Y, forward is +Z",
        "left   thigh.left → shin.left → foot.left → toes.left",
        f"Skin: {len(character.mesh):,} vertices, {len(character.mesh.faces):,} triangles",
        "No clips",
    ):
        assert told in text


def test_look_tells_why_there_are_no_legs_and_still_succeeds(tmp_path: Path) -> None:
    write_character(without(make_biped(), "thigh.left", "thigh.right"), tmp_path / "torso.glb")
    data = answer("look", tmp_path / "torso.glb")
    assert data["legs"] == []
    assert data["no_legs_because"].startswith("torso.glb: no legs were found; expected ")
    assert (
        "none that a rig could be built on: torso.glb: no legs were found" in run("look", tmp_path / "torso.glb").stdout
    )


def test_look_tells_of_clips_and_of_a_file_without_a_mesh(rigged: Path) -> None:
    data = answer("look", rigged / "out" / "biped.glb")
    assert {clip["name"]: clip["duration_s"] for clip in data["clips"]}["roll"] == pytest.approx(4.0)
    biped = make_biped()
    write_character(instep.Character("bones", biped.skeleton, None), rigged / "bones.glb")
    data = answer("look", rigged / "bones.glb")
    assert data["meshes"] == []
    assert data["no_legs_because"].startswith("bones.glb: the character has no skinned mesh")
    assert (
        "none that a rig could be built on: bones.glb: the character has no skinned mesh"
        in run("look", rigged / "bones.glb").stdout
    )


def test_measure_finds_the_landmarks(model: Path) -> None:
    data = answer("measure", model)
    truth = biped_landmarks()
    assert data["leg_length"] == pytest.approx(0.8206, abs=1e-3)
    for leg in data["legs"]:
        for name, landmark in leg["landmarks"].items():
            miss = np.linalg.norm(np.array(landmark["position"]) - truth[f"{leg['name']}.{name}"])
            assert miss < 0.02 * leg["foot_length"]
            assert 0.0 < landmark["confidence"] <= 1.0
    text = run("measure", model).stdout
    assert "left: foot 250 mm long, heel raised by 0 mm" in text
    assert re.search(r"heel +0\.0950, 0\.0000, -0\.0600 +0\.\d\d +\d+ points", text)
    assert "in metres" in text


def test_measure_takes_what_is_set_by_hand(model: Path) -> None:
    before = contents(model.parent)
    data = answer("measure", model, "--set", "left.heel=0.09,0.001,-0.05", "--set", "right.tip=-0.09,0,0.18")
    left, right = data["legs"]
    assert left["landmarks"]["heel"] == {
        "position": [0.09, 0.001, -0.05],
        "confidence": 1.0,
        "source": "by hand",
        "by_hand": True,
        "evidence": [],
    }
    assert right["landmarks"]["tip"]["position"] == [-0.09, 0.0, 0.18]
    assert not right["landmarks"]["heel"]["by_hand"]
    assert re.search(
        r"heel +0\.0900, 0\.0010, -0\.0500 +by hand\n",
        run("measure", model, "--set", "left.heel=0.09,0.001,-0.05").stdout,
    )
    assert contents(model.parent) == before


def test_measure_saves_into_a_rig_file_and_keeps_its_comments(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    text = path.read_text(encoding="utf-8").replace(
        "[by_hand.landmarks]\n", "[by_hand.landmarks]\n# seen on the sheet\n"
    )
    path.write_text(text, encoding="utf-8")
    data = answer("measure", path, "--set", "left.heel=0.09,0.001,-0.05", "--save")
    assert data["saved"] == ["left.heel"]
    wanted = text.replace("\n\n[by_hand.tuned]", '\n"left.heel" = [0.09, 0.001, -0.05]\n\n[by_hand.tuned]')
    assert path.read_text(encoding="utf-8") == wanted
    assert answer("measure", path)["legs"][0]["landmarks"]["heel"]["by_hand"]
    assert (
        "Saved in biped.rig.toml: right.tip\n"
        in run("measure", path, "--set", "right.tip=-0.09,0,0.18", "--save").stdout
    )


def test_rig_writes_all_and_says_so(rigged: Path) -> None:
    out = rigged / "out"
    assert sorted(path.name for path in out.iterdir()) == [
        "biped.glb",
        "biped.html",
        "biped.rig.json",
        "biped.rig.toml",
    ]
    data = answer("rig", rigged / "biped.glb", "-o", rigged / "again")
    assert data["files"] == {
        "rig": str(rigged / "again" / "biped.rig.toml"),
        "built": str(rigged / "again" / "biped.rig.json"),
        "model": str(rigged / "again" / "biped.glb"),
        "sheet": str(rigged / "again" / "biped.html"),
    }
    assert data["kept"] is False
    assert data["moved"] == []
    assert [finding["check"] for finding in data["proof"]["findings"]] == list(CHECKS)
    assert "Proofs" in (rigged / "again" / "biped.html").read_text(encoding="utf-8")
    assert [leg["name"] for leg in data["legs"]] == ["left", "right"]
    assert all(leg["hold"] == pytest.approx(1.0, abs=1e-3) for leg in data["legs"])
    clips = read_character(rigged / "again" / "biped.glb").clips
    assert [clip.name for clip in clips] == [clip["name"] for clip in data["clips"]]
    assert json.loads((rigged / "again" / "biped.rig.json").read_text())["character"] == "../biped.glb"
    assert (rigged / "again" / "biped.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    rig = load_rig(rigged / "again" / "biped.rig.toml")
    assert [channel.name for channel in rig.channels] == data["channels"]


def test_rig_builds_anew_from_an_edited_rig_file(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace('controls = "essential"', 'controls = "full"').replace("plain = true", "plain = false")
    text = text.replace("[by_hand.pinned]\n", "[by_hand.pinned]\nleft.foot.bank = 0.0  # agreed\n")
    path.write_text(text, encoding="utf-8")
    result = run("rig", path, "--no-proof")
    assert result.exit_code == 0, result.output
    assert "the rig file; kept what you set in it" in result.stdout
    assert path.read_text(encoding="utf-8") == text
    data = answer("rig", rigged / "biped.glb", "-o", rigged / "out", "--no-proof")
    assert data["kept"] is True
    assert "left.heel.pitch" in data["channels"]
    assert "left.foot.bank" not in data["channels"]
    assert "spine.yaw" not in data["channels"]
    assert path.read_text(encoding="utf-8") == text


def test_rig_ends_with_status_1_where_a_claim_falls_short_and_writes_all_the_same(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    text = path.read_text(encoding="utf-8")
    # one side without a channel that the other has is no mirror of it
    path.write_text(text.replace("[by_hand.pinned]\n", "[by_hand.pinned]\nleft.foot.bank = 0.0\n"), encoding="utf-8")
    before = (rigged / "out" / "biped.html").read_text(encoding="utf-8")
    result = run("rig", path)
    assert result.exit_code == 1
    (told,) = re.findall(r"^Proof: (.*)$", result.stdout, re.MULTILINE)
    assert re.fullmatch(r"\d+ claims hold, 1 falls short", told)
    assert "  mirror falls short: " in result.stdout
    page = (rigged / "out" / "biped.html").read_text(encoding="utf-8")
    assert page != before
    assert told in page
    assert run("rig", path, "--no-proof").exit_code == 0
    assert "Proofs" not in (rigged / "out" / "biped.html").read_text(encoding="utf-8")


def test_rig_options_go_before_the_rig_file(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    data = answer("rig", path, "--controls", "full", "--no-plain", "--rate", "10", "--no-proof")
    assert "left.heel.pitch" in data["channels"]
    assert "spine.yaw" not in data["channels"]
    text = (rigged / "out" / "biped.rig.toml").read_text(encoding="utf-8")
    assert 'controls = "full"' in text
    assert "plain = false" in text
    roll = next(clip for clip in read_character(rigged / "out" / "biped.glb").clips if clip.name == "roll")
    assert max(len(track.times) for track in roll.tracks) == 41


def test_rig_tells_what_moved_in_a_changed_model(rigged: Path) -> None:
    write_character(make_biped(heel_height=0.04, name="biped"), rigged / "biped.glb")
    data = answer("rig", rigged / "out" / "biped.rig.toml", "--no-proof")
    moved = {landmark["name"]: landmark["distance"] for landmark in data["moved"]}
    assert moved["left.hip"] == pytest.approx(0.04, abs=1e-4)
    assert moved["right.ankle"] == pytest.approx(0.04, abs=1e-4)
    assert answer("rig", rigged / "out" / "biped.rig.toml", "--no-proof")["moved"] == []


def test_rig_keeps_the_clips_that_a_model_has_and_the_model_itself(model: Path) -> None:
    character = read_character(model)
    poses = instep.build_rig(character, instep.measure(character)).pose({"root.up": [0.0, 0.1]})
    write_clips(model, model, [instep.BakedClip("hop", np.array([0.0, 0.5]), poses)])
    before = model.read_bytes()
    answer("rig", model, "-o", model.parent / "out", "--no-proof")
    names = [clip.name for clip in read_character(model.parent / "out" / "biped.glb").clips]
    assert names[0] == "hop"
    assert "roll" in names
    assert model.read_bytes() == before


def test_pose_writes_the_character_standing_so(rigged: Path) -> None:
    rig_file, target = rigged / "out" / "biped.rig.toml", rigged / "posed.glb"
    data = answer("pose", rig_file, "left.foot.roll=35", "left.toes.bend=-10", "-o", target)
    assert data["channels"] == {"left.foot.roll": 35.0, "left.toes.bend": -10.0}
    rig = load_rig(rig_file)
    poses = rig.pose({"left.foot.roll": 35.0, "left.toes.bend": -10.0})
    posed = read_character(target)
    np.testing.assert_allclose(posed.skeleton.rest[:, :3, 3], poses.position[0], atol=1e-6)
    np.testing.assert_allclose(posed.skeleton.bind, rig.character.skeleton.bind, atol=1e-6)
    for joint, name in enumerate(rig.character.skeleton.names):
        assert data["joints"][name]["position"] == poses.position[0, joint].tolist()
    text = run("pose", rig_file, "left.foot.roll=35", "left.foot.up=0.1", "-o", target).stdout
    assert re.search(r"left\.foot\.up +100 mm\n +left\.foot\.roll +35°\n", text)


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        ("left.foot.roll,root.up\n0,0\n20,0.1\n\n10,0.2\n", {0: (0, 0), 1: (20, 0.1), 2: (10, 0.2)}),
        ("time_s,left.foot.roll,root.up\n0.5,0,0\n1.0,20,0.1\n", {0: (0, 0), 15: (10, 0.05), 30: (20, 0.1)}),
        ("\ufefftime_s,left.foot.roll,root.up\r\n2,20,0.1\r\n", {0: (20, 0.1)}),
    ],
)
def test_bake_writes_a_clip(rigged: Path, table: str, keys: dict[int, tuple[float, float]]) -> None:
    rig_file, target = rigged / "out" / "biped.rig.toml", rigged / "clip.glb"
    (rigged / "walk on.csv").write_text(table, encoding="utf-8", newline="")
    data = answer("bake", rig_file, rigged / "walk on.csv", "--rate", "60", "-o", target)
    assert data["clip"] == "walk on"
    assert data["frames"] == max(keys) + 1
    start = float(table.split("\n")[1].split(",")[0]) if "time_s" in table else 0.0
    clip = read_character(target).clips[0]
    assert clip.name == "walk on"
    assert clip.duration_s == pytest.approx(start + max(keys) / 60.0, abs=1e-6)
    rig = load_rig(rig_file)
    for frame, (roll, up) in keys.items():
        wanted = rig.pose({"left.foot.roll": roll, "root.up": up})
        got = sample_poses(clip, rig.character.skeleton, [start + frame / 60.0])
        np.testing.assert_allclose(got.position, wanted.position, atol=1e-6)


def test_bake_names_the_clip_as_it_is_told(rigged: Path) -> None:
    (rigged / "walk.csv").write_text("root.up\n0\n0.1\n", encoding="utf-8")
    result = run("bake", rigged / "out/biped.rig.toml", rigged / "walk.csv", "--name", "hop", "-o", rigged / "clip.glb")
    assert 'clip "hop": 2 frames at 30 a second, 0.03 s' in result.stdout
    assert [clip.name for clip in read_character(rigged / "clip.glb").clips] == ["hop"]


def test_why_of_a_joint_by_its_role_and_by_its_own_name(rigged: Path) -> None:
    rig_file = rigged / "out" / "biped.rig.toml"
    by_role, by_name = answer("why", rig_file, "left.shin"), answer("why", rig_file, "shin.left")
    assert by_role["joints"] == by_name["joints"]
    (joint,) = by_role["joints"]
    assert joint["role"] == "left.shin"
    assert joint["joints"] == ["shin.left"]
    assert [mover["control"] for mover in joint["moved_by"]] == [
        "root",
        "pelvis",
        "left.foot",
        "left.ball",
        "left.knee",
    ]
    text = run("why", rig_file, "left.shin").stdout
    assert text.startswith('left.shin carries the joint "shin.left"; 27 channels move it\n')
    assert "left.foot → heel → outer → inner → tip → ball → leg → shin\n" in text
    assert "roll    −40° to 90°" in text


def test_why_of_a_name_that_is_both_a_joint_and_a_control(rigged: Path) -> None:
    data = answer("why", rigged / "out" / "biped.rig.toml", "left.toes")
    assert [joint["joints"] for joint in data["joints"]] == [["toes.left"]]
    (channel,) = data["channels"]
    assert channel["name"] == "left.toes.bend"
    assert channel["moves"] == [{"role": "left.toes", "joints": ["toes.left"], "route": ["left.toes"]}]


def test_why_of_a_channel_tells_the_joints_that_really_move(rigged: Path) -> None:
    rig_file = rigged / "out" / "biped.rig.toml"
    rig = load_rig(rig_file)
    names = rig.character.skeleton.names
    rest = rig.evaluate(rig.defaults[None])
    for channel in ("left.foot.roll", "left.knee.twist", "spine.yaw", "left.toes.bend"):
        data = answer("why", rig_file, channel)
        assert data["joints"] == []
        told = {joint for moved in data["channels"][0]["moves"] for joint in moved["joints"]}
        poses = rig.pose({channel: [-30.0, 20.0, 55.0]})
        turned = np.abs(poses.rotation - rest.rotation).max(axis=(0, 2))
        change = turned + np.abs(poses.position - rest.position).max(axis=(0, 2))
        assert told == {names[joint] for joint in np.flatnonzero(change > 1e-9)}


def test_the_installed_command_rigs_and_refuses(model: Path) -> None:
    out = model.parent / "out"
    done = subprocess.run(
        [COMMAND, "rig", model.name, "-o", "out"], cwd=model.parent, capture_output=True, text=True, check=True
    )
    assert done.stderr == ""  # no news of progress where the error stream is no terminal
    assert "out/biped.rig.toml  the rig file; edit it, then: instep rig out/biped.rig.toml" in done.stdout
    assert (out / "biped.glb").is_file()
    refused = subprocess.run(
        [COMMAND, "look", "nothing.glb"], cwd=model.parent, capture_output=True, text=True, check=False
    )
    assert (refused.returncode, refused.stdout) == (2, "")
    assert refused.stderr == "Error: nothing.glb: there is no such file. Check the name and the folder.\n"


def test_usage_errors_end_with_status_2() -> None:
    assert "No such command 'rgi'" in run("rgi").stderr
    assert "Missing argument 'FILE'" in run("rig").stderr
    assert "Missing option '-o' / '--output'" in run("pose", "x.rig.toml", "a.b=1").stderr
    assert "0.0 is not in the range 1.0<=x<=1000.0" in run("rig", "x.glb", "--rate", "0.0", "--no-proof").stderr
