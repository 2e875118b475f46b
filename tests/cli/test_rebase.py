"""instep rebase, as a person runs it."""

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
    write_character(make_biped(toe_end=True), tmp_path / "ana.glb")
    write_character(make_biped(toe_out_deg=10.0), tmp_path / "new.glb")
    path = tmp_path / "ana.rig.toml"
    description = RigDescription.model_validate(
        {"character": "ana.glb", "by_hand": {"landmarks": {"left.heel": (0.5, 0.0, -0.06)}}}
    )
    write_rig_file(description, path)
    return path


def test_it_tells_what_moved_and_writes(rig_file: Path) -> None:
    told = answer("rebase", rig_file, rig_file.parent / "new.glb", "--no-checks")
    assert told["written"] is True
    assert told["joints"]["went"] == ["toe_end.left", "toe_end.right"]
    assert told["joints"]["came"] == []
    assert [entry["name"] for entry in told["joints"]["moved"]] == ["toes.left", "toes.right"]
    assert told["holds"] is None
    assert told["old_model_missing"] is None
    marks = {entry["name"]: entry for entry in told["landmarks"]}
    assert marks["left.heel"] == {"name": "left.heel", "by_hand": True, "distance": 0.0, "state": "stays"}
    assert marks["left.tip"]["state"] == "moved"
    assert marks["left.toe"] == {"name": "left.toe", "by_hand": False, "distance": None, "state": "went"}
    assert read_rig_file(rig_file).character == "new.glb"


def test_a_person_reads_it_in_millimetres(rig_file: Path) -> None:
    before = rig_file.read_bytes()
    text = run("rebase", rig_file, rig_file.parent / "new.glb", "--no-checks", "--look").stdout
    assert rig_file.read_bytes() == before
    for words in ("ana.rig.toml on new.glb", "2 joints went", "toe_end.left and toe_end.right",
                  "Joints that stand elsewhere", "toes.left", " mm", "Nothing was written"):  # fmt: skip
        assert words in text


def test_the_wrong_way_round_is_refused(rig_file: Path) -> None:
    model = rig_file.parent / "new.glb"
    assert refusal("rebase", model, rig_file) == (
        f"{model}: this is a model, not a rig file; expected first the rig file, then the changed model. Write: instep "
        f"rebase {rig_file} {model}."
    )
