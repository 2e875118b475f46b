"""Each fault of a rig file is told with its place, what was expected, and what to do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from instep.errors import InstepError, LandmarkError, OutputError, RigFileError
from instep.formats import write_character
from instep.rig.description import ByHand, LegOptions, RigDescription
from instep.rig.file import load_rig, read_rig_file, write_rig_file
from tests.biped import make_biped

Message = Callable[[str], str]

FAULTS = {
    "unknown key": (
        'character = "grub.glb"\ncontrol = "full"\n',
        'grub.rig.toml: control (line 2): there is no key "control"; expected one such as "controls". '
        "Correct the name, or delete the line.",
    ),
    "unknown key in a leg's options": (
        'character = "grub.glb"\n\n[options.left]\n# how softly\nsofft = 0.1\n',
        'grub.rig.toml: options.left.sofft (line 5): there is no key "sofft"; expected one such as "soft". '
        "Correct the name, or delete the line.",
    ),
    "unknown key like no other": (
        'character = "grub.glb"\n[by_hand]\nxyzzy = 1\n',
        'grub.rig.toml: by_hand.xyzzy (line 3): there is no key "xyzzy"; '
        'expected one of "landmarks", "tuned", "ranges", "pinned". Correct the name, or delete the line.',
    ),
    "unknown key in tuned": (
        'character = "grub.glb"\n[by_hand.tuned."left.hind"]\nholds = 1.0\n',
        'grub.rig.toml: by_hand.tuned."left.hind".holds (line 3): there is no key "holds"; '
        'expected one such as "hold". Correct the name, or delete the line.',
    ),
    "no character": (
        'controls = "full"\n',
        'grub.rig.toml: character: the key "character" is missing; '
        'expected the path of the model: character = "NAME.glb". Add it.',
    ),
    "choice": (
        'character = "grub.glb"\ncontrols = "half"\n',
        'grub.rig.toml: controls (line 2): controls is "half"; expected "essential" or "full". Correct the value.',
    ),
    "too small": (
        'character = "grub.glb"\n[options.left]\nstretch_limit = 0.5\n',
        "grub.rig.toml: options.left.stretch_limit (line 3): stretch_limit is 0.5; expected 1.001 or more. "
        "Correct the value.",
    ),
    "too large": (
        'character = "grub.glb"\n[tuned.left]\nhold = 1.5\n',
        "grub.rig.toml: tuned.left.hold (line 3): hold is 1.5; expected 1 or less. Correct the value.",
    ),
    "text for a number": (
        'character = "grub.glb"\n[options.left]\nsoft = "0.1"\n',
        'grub.rig.toml: options.left.soft (line 3): soft is "0.1"; expected a number. Correct the value.',
    ),
    "a number for text": (
        "character = 7\n",
        "grub.rig.toml: character (line 1): character is 7; expected text in quotes. Correct the value.",
    ),
    "a number for yes or no": (
        'character = "grub.glb"\nplain = 1\n',
        "grub.rig.toml: plain (line 2): plain is 1; expected true or false. Correct the value.",
    ),
    "no number at all": (
        'character = "grub.glb"\n[by_hand.pinned]\n"left.foot.roll" = nan\n',
        'grub.rig.toml: by_hand.pinned."left.foot.roll" (line 3): left.foot.roll is nan; expected a finite number. '
        "Correct the value.",
    ),
    "two numbers for a place": (
        'character = "grub.glb"\n[by_hand.landmarks]\nleft.heel = [\n  0.1,\n  0.0,\n]\n',
        'grub.rig.toml: by_hand.landmarks."left.heel" (line 3): left.heel is [0.1, 0.0]; '
        "expected 3 numbers: [x, y, z]. Correct the value.",
    ),
    "three numbers for a range": (
        'character = "grub.glb"\n[by_hand.ranges]\n"left.foot.roll" = [1, 2, 3]\n',
        'grub.rig.toml: by_hand.ranges."left.foot.roll" (line 3): left.foot.roll is [1, 2, 3]; '
        "expected 2 numbers: [low, high]. Correct the value.",
    ),
    "a word in a place": (
        'character = "grub.glb"\n[measured]\n"left.heel" = [0, 0, "here"]\n',
        'grub.rig.toml: measured."left.heel" (line 3): left.heel is [0, 0, "here"]; expected 3 numbers: [x, y, z]. '
        "Correct the value.",
    ),
    "a date": (
        'character = "grub.glb"\n[by_hand.pinned]\n"root.yaw" = 2026-01-01\n',
        'grub.rig.toml: by_hand.pinned."root.yaw" (line 3): root.yaw is "2026-01-01"; expected a number. '
        "Correct the value.",
    ),
    "a value for a table": (
        'character = "grub.glb"\noptions = 3\n',
        "grub.rig.toml: options (line 2): options is 3; expected a table. Correct the value.",
    ),
    "a value for a leg's table": (
        'character = "grub.glb"\n[options]\nleft = 3\n',
        "grub.rig.toml: options.left (line 3): left is 3; expected a table. Correct the value.",
    ),
    "spaces that are no list": (
        'character = "grub.glb"\n[options.left]\nspaces = "pelvis"\n',
        'grub.rig.toml: options.left.spaces (line 3): spaces is "pelvis"; expected a list of names. Correct the value.',
    ),
    "another version": (
        'version = 2\ncharacter = "grub.glb"\n',
        "grub.rig.toml: version (line 1): version is 2; expected 1. Correct the value.",
    ),
    "tip before ball": (
        'character = "grub.glb"\n[by_hand.tuned.left]\nball_gives_out_deg = 50.0\ntip_takes_over_deg = 40.0\n',
        "grub.rig.toml: by_hand.tuned.left (line 2): tip_takes_over_deg must be at least 1 degree beyond "
        "ball_gives_out_deg. Correct one of the two.",
    ),
    "the first of several": (
        'character = "grub.glb"\n[options.left]\nsoft = 2\n[options.right]\nsoft = 3\n[by_hand]\npins = 1\n',
        "grub.rig.toml: options.left.soft (line 3): soft is 2; expected 0.5 or less. "
        "Correct the value; 2 more places are wrong after it.",
    ),
    "the same name twice": (
        'character = "grub.glb"\n[by_hand.pinned]\nroot.yaw = 1\n"root.yaw" = 2\n',
        'grub.rig.toml: by_hand.pinned: "root.yaw" stands there twice, with quotes and without; '
        "expected each name once. Delete one of the two.",
    ),
    "no TOML": (
        'character = "grub.glb"\nplain = yes\n',
        "grub.rig.toml: this is not valid TOML: Invalid value (at line 2, column 9); expected a rig file (TOML). "
        "Correct that line.",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_with_its_place(tmp_path: Path, fault: str) -> None:
    text, message = FAULTS[fault]
    path = tmp_path / "grub.rig.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RigFileError) as caught:
        read_rig_file(path)
    assert str(caught.value) == message
    with pytest.raises(RigFileError) as again:  # it is not written over either
        write_rig_file(RigDescription(character="other.glb"), path)
    assert str(again.value) == message
    assert path.read_text(encoding="utf-8") == text


def test_no_file_a_folder_and_what_is_no_text(tmp_path: Path) -> None:
    missing, binary = tmp_path / "missing.rig.toml", tmp_path / "binary.rig.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    for path, message in (
        (missing, f"{missing}: there is no such file. Check the name and the folder."),
        (tmp_path, f"{tmp_path}: this is a folder; expected a .rig.toml file."),
        (binary, f"{binary}: this is no text in UTF-8; expected a rig file (TOML)."),
    ):
        with pytest.raises(RigFileError) as caught:
            read_rig_file(path)
        assert str(caught.value) == message


TORN = """\
character = "grub.glb"
[measured.left]
heel = [1, 2, 3]
[measured]
[by_hand.pinned]
root.yaw = 1
[measured.right]
heel = [1, 2, 3]
"""


def test_a_layout_that_the_editor_does_not_follow_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "grub.rig.toml"
    path.write_text(TORN, encoding="utf-8")
    assert read_rig_file(path).measured == {"left.heel": (1.0, 2.0, 3.0), "right.heel": (1.0, 2.0, 3.0)}
    with pytest.raises(RigFileError) as caught:
        write_rig_file(RigDescription(character="grub.glb"), path)
    assert str(caught.value) == (
        "grub.rig.toml: it is laid out in a way that cannot be edited in place; expected each table in one place. "
        "Gather the tables that begin alike, or move the file away and let it be written anew."
    )
    assert path.read_text(encoding="utf-8") == TORN


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    path = tmp_path / "nowhere" / "grub.rig.toml"
    with pytest.raises(OutputError) as caught:
        write_rig_file(RigDescription(character="grub.glb"), path)
    assert str(caught.value) == (
        f"{path}: it cannot be written (No such file or directory); "
        "expected a folder that exists and may be written to. Choose another place with -o."
    )
    assert list(tmp_path.iterdir()) == []


def _by_hand(**tables: object) -> RigDescription:
    return RigDescription(character="biped.glb", by_hand=ByHand.model_validate(tables))


MISFITS: dict[str, tuple[RigDescription, type[InstepError], str]] = {
    "no such model": (
        RigDescription(character="models/biped.glb"),
        RigFileError,
        'biped.rig.toml: character (line 5): there is no file "models/biped.glb", seen from the folder of the rig '
        "file; expected the .glb or .gltf file of the character. Put its path right, or move the file there.",
    ),
    "a joint that is gone, in ranges": (
        _by_hand(ranges={"spin.yaw": (-10.0, 10.0)}),
        RigFileError,
        'biped.rig.toml: by_hand.ranges."spin.yaw" (line 23): the model has no joint "spin"; '
        'expected one such as "spine". '
        "If the joint was renamed, write its new name; if it is gone, delete it here.",
    ),
    "a joint that is gone, pinned": (
        _by_hand(pinned={"Wing.yaw": 0.0}),
        RigFileError,
        'biped.rig.toml: by_hand.pinned."Wing.yaw" (line 27): the model has no joint "Wing"; '
        "expected a joint of the model. "
        "If the joint was renamed, write its new name; if it is gone, delete it here.",
    ),
    "a joint that is gone, to be followed": (
        RigDescription(character="biped.glb", options={"left": LegOptions(spaces=("pelvis", "ches"))}),
        RigFileError,
        'biped.rig.toml: options.left.spaces (line 36): the model has no joint "ches"; '
        'expected one such as "chest". '
        "If the joint was renamed, write its new name; if it is gone, delete it here.",
    ),
    "a channel that is none": (
        _by_hand(ranges={"left.foot.rol": (-10.0, 10.0)}),
        RigFileError,
        'biped.rig.toml: by_hand.ranges: "left.foot.rol" is no channel of this character; '
        'expected one such as "left.foot.roll". Correct the name, or delete the line.',
    ),
    "a range without its rest": (
        _by_hand(ranges={"left.foot.roll": (5.0, 10.0)}),
        RigFileError,
        "biped.rig.toml: by_hand.ranges: left.foot.roll rests at 0, outside its range 5 to 10. "
        "Widen the range so that it holds the rest value.",
    ),
    "a leg that is none": (
        RigDescription(character="biped.glb", options={"middle": LegOptions()}),
        RigFileError,
        'biped.rig.toml: options: the character has no leg "middle"; expected one of "left", "right". '
        "Correct the name, or delete the table.",
    ),
    "a landmark that is none": (
        _by_hand(landmarks={"left.hel": (0.1, 0.0, 0.0)}),
        LandmarkError,
        "biped.rig.toml: by_hand.landmarks: there is no landmark 'left.hel'; "
        "expected a leg (left, right) and one of hip, knee, ankle, ball, toe, heel, tip, inner, outer. "
        "The nearest known name is 'left.heel'.",
    ),
}


@pytest.mark.parametrize("misfit", MISFITS)
def test_what_does_not_fit_the_character_is_told_with_its_place(tmp_path: Path, misfit: str) -> None:
    description, kind, message = MISFITS[misfit]
    write_character(make_biped(), tmp_path / "biped.glb")
    path = tmp_path / "biped.rig.toml"
    write_rig_file(description, path)
    with pytest.raises(kind) as caught:
        load_rig(path)
    assert str(caught.value) == message
    assert type(caught.value) is kind


def test_a_rig_file_is_loaded_with_all_that_it_says(tmp_path: Path) -> None:
    (tmp_path / "models").mkdir()
    write_character(make_biped(), tmp_path / "models" / "biped.glb")
    path = tmp_path / "biped.rig.toml"
    description = RigDescription(
        character="models/biped.glb",
        plain=False,
        by_hand=ByHand(
            landmarks={"left.heel": (0.1, 0.0, -0.05)},
            ranges={"left.foot.roll": (-10.0, 70.0)},
            pinned={"left.foot.bank": 0.0},
        ),
    )
    write_rig_file(description, path)
    rig = load_rig(path)
    assert rig.description == description
    assert rig.measurement.legs[0].heel.position.tolist() == [0.1, 0.0, -0.05]
    channels = {channel.name: channel for channel in rig.channels}
    assert (channels["left.foot.roll"].low, channels["left.foot.roll"].high) == (-10.0, 70.0)
    assert "left.foot.bank" not in channels
    assert "right.foot.bank" in channels
    assert "spine.yaw" not in channels
