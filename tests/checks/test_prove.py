"""instep prove: one line a check, cause and cure under those that fall short, and an exit status for automation."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from instep.checks import CHECKS
from instep.cli import instep
from instep.formats import write_character
from instep.rig import RigDescription
from instep.rig.file import write_rig_file
from tests.biped import make_biped


def prove(*arguments: str | Path) -> Result:
    return CliRunner().invoke(instep, ["prove", *map(str, arguments)], catch_exceptions=False)


def _rig_file(folder: Path, controls: str = "essential", **options: Any) -> Path:
    """A biped's file and its rig file."""
    write_character(make_biped(**options), folder / "biped.glb")
    description = RigDescription.model_validate({"character": "biped.glb", "controls": controls})
    write_rig_file(description, folder / "biped.rig.toml")
    return folder / "biped.rig.toml"


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _rig_file(tmp_path_factory.mktemp("sound"))


@pytest.fixture(scope="module")
def straight(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _rig_file(tmp_path_factory.mktemp("straight"), knee_bend_deg=0.0)


def test_a_sound_rig_ends_with_status_0_and_a_line_for_each_check(sound: Path) -> None:
    result = prove(sound)
    assert result.exit_code == 0, result.output
    lines = result.stdout.strip().splitlines()
    assert lines[0] == "biped.rig.toml: all of 14 checks hold"
    assert len(lines) == 15
    names = [line[19:].split()[0] for line in lines[1:]]
    assert names == list(CHECKS)
    assert all(line.startswith(("  ✓ holds", "  · advice", "  - does not apply")) for line in lines[1:])


def test_a_rig_that_falls_short_ends_with_status_1_and_tells_cause_and_cure(straight: Path) -> None:
    result = prove(straight, "--only", "reach, skeleton,rest")
    assert result.exit_code == 1
    lines = [line.strip() for line in result.stdout.strip().splitlines()]
    assert lines[0] == "biped.rig.toml: 2 of 3 checks fall short"
    assert [line.split()[0] for line in lines if line[0] in "✓✗"] == ["✓", "✗", "✗"]
    text = " ".join(lines)
    assert "cause: The knee is straight at rest: which way it bends is taken from the foot, and it pops at full" in text
    assert "cure: In the model, bend the knee by 5 degrees" in text
    assert "of at least 1°, left bend of the knee" in text


def test_json_is_the_report(straight: Path) -> None:
    result = prove(straight, "--only", "skeleton,rest", "--json", "--seed", "3")
    assert result.exit_code == 1
    assert result.stderr == ""
    data = json.loads(result.stdout)
    assert data["character"] == "biped.glb"
    assert data["seed"] == 3
    assert [(f["check"], f["verdict"]) for f in data["findings"]] == [("rest", "holds"), ("skeleton", "falls short")]


def test_nothing_is_written(sound: Path) -> None:
    before = {path.name: path.read_bytes() for path in sound.parent.iterdir()}
    prove(sound, "--only", "rebuild,programs")
    assert {path.name: path.read_bytes() for path in sound.parent.iterdir()} == before


def test_an_unknown_check_is_refused_before_anything_is_built(tmp_path: Path) -> None:
    result = prove(tmp_path / "none.rig.toml", "--only", "flor")
    assert result.exit_code == 2
    assert result.stderr == (
        'Error: "flor" is no check; expected one such as "floor". See `instep prove --help` for their names.\n'
    )


def test_a_missing_rig_file_is_an_error_and_no_verdict(tmp_path: Path) -> None:
    file = tmp_path / "none.rig.toml"
    result = prove(file, "--only", "rest")
    assert result.exit_code == 2
    assert result.stderr == f"Error: {file}: there is no such file. Check the name and the folder.\n"
    assert result.stdout == ""
