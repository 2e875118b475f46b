"""instep tune, as a person runs it."""

from __future__ import annotations

from pathlib import Path

import pytest

from instep.formats import write_character
from instep.rig import RigDescription
from instep.rig.file import read_rig_file, write_rig_file
from tests.biped import make_biped
from tests.cli.terminal import answer, refusal, run


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    write_character(make_biped(knee_bend_deg=30.0), tmp_path / "ana.glb")
    path = tmp_path / "ana.rig.toml"
    write_rig_file(RigDescription(character="ana.glb"), path)
    return path


def test_it_solves_and_writes(rig_file: Path) -> None:
    told = answer("tune", rig_file, "--only", "hold,soft")
    assert told["rig"] == str(rig_file)
    assert told["written"] is True
    assert [(entry["leg"], entry["number"]) for entry in told["solved"]] == [
        ("left", "hold"),
        ("left", "soft"),
        ("right", "hold"),
        ("right", "soft"),
    ]
    tuned = read_rig_file(rig_file).tuned
    for entry in told["solved"]:
        assert getattr(tuned[entry["leg"]], entry["number"]) == entry["value"]


def test_a_look_tells_and_writes_nothing(rig_file: Path) -> None:
    before = rig_file.read_bytes()
    text = run("tune", rig_file, "--look").stdout
    assert rig_file.read_bytes() == before
    for words in ("toes hold", "ball gives out", "51°", "tip takes over", "76°", "soft zone", "% of the leg",
                  "knee's rest aim", "outer edge's pivot", "Nothing was written."):  # fmt: skip
        assert words in text
    assert "left, knee's rest aim: the knee is bent at rest, and bends further the same way." in text


def test_instep_rig_solves_again_what_was_solved(rig_file: Path) -> None:
    answer("tune", rig_file, "--only", "soft,ball,tip")
    tuned = read_rig_file(rig_file).tuned["left"]
    write_character(make_biped(knee_bend_deg=20.0), rig_file.parent / "ana.glb")
    told = run("rig", rig_file, "-o", rig_file.parent / "out", "--no-proof", "--json")
    assert told.exit_code == 0
    again = read_rig_file(rig_file.parent / "out" / "ana.rig.toml").tuned["left"]
    assert (again.ball_gives_out_deg, again.tip_takes_over_deg) == (tuned.ball_gives_out_deg, tuned.tip_takes_over_deg)
    assert again.hold == 1.0
    assert again.soft is None  # this rest pose leaves less than what is best


def test_what_is_no_number_is_refused(rig_file: Path) -> None:
    assert refusal("tune", rig_file, "--only", "quartz") == (
        '"quartz" is nothing that can be tuned; expected one of hold, ball, tip, soft, knee, edges. Correct the name.'
    )


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "none.rig.toml"
    assert refusal("tune", path) == f"{path}: there is no such file. Check the name and the folder."
