"""Bad input: one line that says what, where, what was expected and what to do; status 2; nothing written."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from instep.formats import write_character
from tests.biped import make_biped
from tests.cli.bodies import without
from tests.cli.terminal import contents, refusal

NO_GLTF = 'expected "glTF" or a JSON object at its start.'


@pytest.mark.parametrize("command", ["look", "measure", "rig"])
def test_not_a_gltf(tmp_path: Path, command: str) -> None:
    path = tmp_path / "grub.glb"
    path.write_bytes(b"FBX, or so")
    where: list[str | Path] = ["-o", tmp_path / "out"] if command == "rig" else []
    assert refusal(command, path, *where) == f"grub.glb: this is not a glTF file: it begins with b'FBX,'; {NO_GLTF}"
    assert contents(tmp_path) == {"grub.glb": b"FBX, or so"}


def test_truncated(model: Path) -> None:
    whole = model.read_bytes()
    model.write_bytes(whole[:5000])
    assert refusal("rig", model, "-o", model.parent / "out", "--no-proof") == (
        f"biped.glb: header: the file has 5000 bytes; expected {len(whole)}. "
        "The file is cut short or damaged: copy or export it again."
    )
    assert contents(model.parent) == {"biped.glb": whole[:5000]}


def test_wrong_version(model: Path) -> None:
    old = model.read_bytes()[:4] + struct.pack("<I", 1) + model.read_bytes()[8:]
    model.write_bytes(old)
    assert refusal("rig", model, "-o", model.parent / "out", "--no-proof") == (
        "biped.glb: header: this is glTF 1; expected glTF 2. Export it as glTF 2.0."
    )
    assert contents(model.parent) == {"biped.glb": old}


@pytest.mark.parametrize("command", ["measure", "rig"])
@pytest.mark.parametrize(
    ("gone", "message"),
    [
        (
            ("thigh.left", "thigh.right"),
            "body.glb: no legs were found; expected a mirrored pair of limbs of three joints or more, whose skin "
            "reaches the floor. Check that the character stands upright in its bind pose and that its feet are bound "
            "to their joints.",
        ),
        (
            ("thigh.left",),
            "body.glb: only one leg stands on the floor: the one of joint 'thigh.right'; expected legs in pairs, one "
            "the mirror image of the other. Add the other leg, or check that its skin is bound to its joints.",
        ),
    ],
)
def test_no_legs_and_one_leg(tmp_path: Path, command: str, gone: tuple[str, ...], message: str) -> None:
    path = tmp_path / "body.glb"
    write_character(without(make_biped(), *gone), path)
    before = contents(tmp_path)
    where: list[str | Path] = ["-o", tmp_path / "new" / "out"] if command == "rig" else []
    assert refusal(command, path, *where) == message
    assert contents(tmp_path) == before


def test_unknown_key_in_the_rig_file(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    text = path.read_text(encoding="utf-8").replace("\nsettle_deg = 4.0", "\nsetle_deg = 4.0", 1)
    path.write_text(text, encoding="utf-8")
    number = text.splitlines().index("setle_deg = 4.0") + 1
    before = contents(rigged)
    commands: list[list[str | Path]] = [
        ["rig", path],
        ["rig", rigged / "biped.glb", "-o", rigged / "out"],
        ["measure", path],
        ["pose", path, "root.up=0", "-o", rigged / "posed.glb"],
        ["why", path, "root"],
    ]
    for command in commands:
        assert refusal(*command) == (
            f'biped.rig.toml: options.left.setle_deg (line {number}): there is no key "setle_deg"; '
            'expected one such as "settle_deg". Correct the name, or delete the line.'
        )
    assert contents(rigged) == before


def test_joint_that_is_gone_from_the_model(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    text = path.read_text(encoding="utf-8").replace("[by_hand.pinned]\n", '[by_hand.pinned]\n"head.yaw" = 0.0\n')
    path.write_text(text, encoding="utf-8")
    write_character(without(make_biped(), "head"), rigged / "biped.glb")
    number = text.splitlines().index('"head.yaw" = 0.0') + 1
    before = contents(rigged)
    commands: list[list[str | Path]] = [
        ["rig", path],
        ["pose", path, "root.up=0", "-o", rigged / "posed.glb"],
        ["why", path, "root"],
    ]
    for command in commands:
        assert refusal(*command) == (
            f'biped.rig.toml: by_hand.pinned."head.yaw" (line {number}): the model has no joint "head"; '
            "expected a joint of the model. "
            "If the joint was renamed, write its new name; if it is gone, delete it here."
        )
    assert contents(rigged) == before


def test_character_that_is_gone(rigged: Path) -> None:
    (rigged / "biped.glb").unlink()
    before = contents(rigged)
    assert refusal("rig", rigged / "out" / "biped.rig.toml", "--no-proof") == (
        'biped.rig.toml: character (line 5): there is no file "../biped.glb", seen from the folder of the rig file; '
        "expected the .glb or .gltf file of the character. Put its path right, or move the file there."
    )
    assert contents(rigged) == before


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        (
            "left.foot.rol=35",
            '"left.foot.rol" is no channel of this rig; expected one such as "left.foot.roll". '
            "See `instep why` for what a control has.",
        ),
        (
            "left.foot.roll=95",
            "left.foot.roll = 95° is out of range; expected -40 to 90. "
            "Choose a value inside, or widen the range in the rig file under by_hand.ranges.",
        ),
        (
            "left.foot.roll=nan",
            "left.foot.roll = nan° is out of range; expected -40 to 90. "
            "Choose a value inside, or widen the range in the rig file under by_hand.ranges.",
        ),
        (
            "left.foot.roll=much",
            '"left.foot.roll=much" sets no channel; expected a channel, an equals sign and a number. '
            "Write it as left.foot.roll=35.",
        ),
        (
            "left.foot.roll",
            '"left.foot.roll" sets no channel; expected a channel, an equals sign and a number. '
            "Write it as left.foot.roll=35.",
        ),
        ("root.up=0", "root.up is set twice; expected each channel once."),
    ],
)
def test_channels_that_cannot_be_set(rigged: Path, setting: str, message: str) -> None:
    before = contents(rigged)
    path = rigged / "out" / "biped.rig.toml"
    assert refusal("pose", path, "root.up=0", setting, "-o", rigged / "posed.glb") == message
    assert contents(rigged) == before


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (
            "left.foot.rol\n0\n",
            'keys.csv: header: "left.foot.rol" is no channel of this rig; expected one such as "left.foot.roll". '
            "See `instep why` for what a control has.",
        ),
        (
            "root.up,left.foot.roll\n0,0\n\n0,95\n",
            "keys.csv: line 4: left.foot.roll = 95° is out of range; expected -40 to 90. "
            "Choose a value inside, or widen the range in the rig file under by_hand.ranges.",
        ),
        ("root.up,root.up\n0,0\n", 'keys.csv: header: "root.up" heads two columns; expected each channel once.'),
        ("root.up,time_s\n0,0\n", 'keys.csv: header: "time_s" is column 2; expected it first.'),
        ("root.up\n0\nup\n", 'keys.csv: line 3: root.up is "up"; expected a finite number.'),
        ("root.up\n0\ninf\n", 'keys.csv: line 3: root.up is "inf"; expected a finite number.'),
        ("root.up,root.yaw\n0\n", "keys.csv: line 2: the row has 1 cells; expected 2, as the header."),
        (
            "time_s,root.up\n0,0\n0.5,0\n0.5,0\n",
            "keys.csv: line 4: time_s is 0.5 after 0.5; expected times that increase from row to row.",
        ),
        (
            "time_s,root.up\n0,0\n1e9,0\n",
            "keys.csv: from 0 to 1e+09 s there are 30,000,000,001 frames at 30 a second; expected at most 1,000,000. "
            "Check the times, which are in seconds, or choose a lower rate.",
        ),
        ("", "keys.csv: the table has no rows; expected a header with channel names, then a row for each key."),
        (
            "root.up\n",
            "keys.csv: the table has a header and no row of values; "
            "expected a header with channel names, then a row for each key.",
        ),
    ],
)
def test_tables_that_cannot_be_baked(rigged: Path, table: str, message: str) -> None:
    (rigged / "keys.csv").write_text(table, encoding="utf-8")
    before = contents(rigged)
    path = rigged / "out" / "biped.rig.toml"
    assert refusal("bake", path, rigged / "keys.csv", "-o", rigged / "clip.glb") == message
    assert contents(rigged) == before


def test_files_that_are_no_tables(rigged: Path) -> None:
    rig_file = rigged / "out" / "biped.rig.toml"
    (rigged / "picture.csv").write_bytes(b"\xff\xd8\xff\xe0")
    (rigged / "open.csv").write_text('root.up\n"0\n', encoding="utf-8")
    before = contents(rigged)
    for name, message in (
        ("nothing.csv", "there is no such file. Check the name and the folder."),
        ("out", "this is a folder; expected a table of comma-separated values."),
        (
            "picture.csv",
            "this is no table of comma-separated values ('utf-8' codec can't decode byte 0xff in position 0: invalid "
            "start byte); expected text in UTF-8.",
        ),
        ("open.csv", "this is no table of comma-separated values (unexpected end of data); expected text in UTF-8."),
    ):
        told = refusal("bake", rig_file, rigged / name, "-o", rigged / "clip.glb")
        assert told == f"{rigged / name}: {message}"
    assert contents(rigged) == before


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        (
            "left.heel",
            '--set: "left.heel" sets no landmark; expected a name, an equals sign and three numbers. '
            "Write it as left.heel=0.1,0,-0.06.",
        ),
        (
            "left.heel=1,2",
            '--set: "left.heel=1,2" sets no landmark; expected a name, an equals sign and three numbers. '
            "Write it as left.heel=0.1,0,-0.06.",
        ),
        (
            "left.heel=nan,0,0",
            "biped.glb: left.heel is set to (nan, 0, 0); expected three finite numbers x, y, z in the file's unit. "
            "Correct the value, or leave it out to have it measured.",
        ),
        (
            "left.hel=0,0,0",
            "biped.glb: there is no landmark 'left.hel'; expected a leg (left, right) and one of hip, knee, ankle, "
            "ball, toe, heel, tip, inner, outer. The nearest known name is 'left.heel'.",
        ),
    ],
)
def test_landmarks_that_cannot_be_set(rigged: Path, setting: str, message: str) -> None:
    before = contents(rigged)
    assert refusal("measure", rigged / "biped.glb", "--set", setting) == message
    assert refusal("measure", rigged / "out" / "biped.rig.toml", "--set", setting, "--save") == message
    assert contents(rigged) == before


def test_only_a_rig_file_can_hold_what_is_set(model: Path) -> None:
    assert refusal("measure", model, "--set", "left.heel=0.1,0,0", "--save") == (
        f"{model}: only a rig file can hold what is set by hand; expected a .rig.toml file with --save. "
        "Make one with `instep rig`, then measure that."
    )


def test_names_that_a_rig_has_not_got(rigged: Path) -> None:
    path = rigged / "out" / "biped.rig.toml"
    for name, near in (("left.shn", "left.shin"), ("left.foot.rol", "left.foot.roll"), ("spin", "spine")):
        assert refusal("why", path, name) == (
            f'biped.glb: "{name}" is no joint, control or channel of this rig; expected one such as "{near}". '
            "See `instep look` for the joints, `instep why left.foot` for what a control has."
        )


def test_output_that_cannot_be_written(rigged: Path) -> None:
    rig_file, wall = rigged / "out" / "biped.rig.toml", rigged / "wall"
    wall.write_text("a file where a folder is needed", encoding="utf-8")
    (rigged / "keys.csv").write_text("root.up\n0\n", encoding="utf-8")
    before = contents(rigged)
    assert refusal("rig", rigged / "biped.glb", "-o", wall / "out", "--no-proof") == (
        f"{wall / 'out'}: this folder cannot be made (Not a directory); expected a place that may be written to. "
        "Choose another place with -o."
    )
    commands: list[list[str | Path]] = [["pose", rig_file, "root.up=0"], ["bake", rig_file, rigged / "keys.csv"]]
    for command in commands:
        assert refusal(*command, "-o", wall / "made.glb") == (
            f"{wall / 'made.glb'}: it cannot be written (Not a directory); "
            "expected a folder that exists and may be written to. Choose another place with -o."
        )
    assert contents(rigged) == before


def test_output_where_a_folder_has_the_name(rigged: Path) -> None:
    (rigged / "new" / "biped.html").mkdir(parents=True)
    before = contents(rigged)
    assert refusal("rig", rigged / "biped.glb", "-o", rigged / "new", "--no-proof") == (
        f"{rigged / 'new' / 'biped.html'}: it cannot be written (a folder has this name); "
        "expected a folder that may be written to. Choose another place with -o."
    )
    assert contents(rigged) == before


def test_output_over_the_character_itself(rigged: Path) -> None:
    model, rig_file = rigged / "biped.glb", rigged / "out" / "biped.rig.toml"
    (rigged / "keys.csv").write_text("root.up\n0\n", encoding="utf-8")
    before = contents(rigged)
    commands: list[list[str | Path]] = [
        ["rig", model, "-o", rigged],
        ["pose", rig_file, "root.up=0", "-o", model],
        ["bake", rig_file, rigged / "keys.csv", "-o", rigged / "out" / ".." / "biped.glb"],
    ]
    for command in commands:
        assert refusal(*command) == (
            f"{command[-1] if command[0] != 'rig' else model}: the result would take the place of the character's own "
            "file; expected another name or another folder. Choose another place with -o."
        )
    assert contents(rigged) == before
