"""instep cast, as a person runs it: its status says whether all is well."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from instep.cli import instep
from instep.delivery import cast
from instep.formats import write_character
from tests.biped import make_biped
from tests.cli.terminal import refusal
from tests.delivery.casts import here


@pytest.fixture(autouse=True)
def in_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cast, "on_processes", here)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "models").mkdir()
    write_character(make_biped(), tmp_path / "models" / "ana.glb")
    return tmp_path / "models"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(instep, ["cast", *(str(argument) for argument in arguments)], catch_exceptions=False)


def test_all_well_is_status_0(folder: Path, tmp_path: Path) -> None:
    result = run(folder, "-o", tmp_path / "out", "--only", "rest,plant", "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert told == {
        "page": str(tmp_path / "out" / "cast.html"),
        "data": str(tmp_path / "out" / "cast.json"),
        "built": ["ana"],
        "characters": [{"name": "ana", "outcome": "holds"}],
    }


def test_what_falls_short_or_fails_is_status_1_and_named(folder: Path, tmp_path: Path) -> None:
    write_character(make_biped(knee_bend_deg=0.0), folder / "straight.glb")
    (folder / "wrong.glb").write_bytes(b"no")
    result = run(folder, "-o", tmp_path / "out", "--only", "skeleton")
    assert result.exit_code == 1
    lines = [line.strip() for line in result.stdout.splitlines()]
    assert lines[0] == "3 characters: 1 hold"
    assert lines[lines.index("Fall short") + 1] == "straight"
    assert lines[lines.index("Could not be rigged") + 1] == "wrong"
    again = run(folder, "-o", tmp_path / "out", "--only", "skeleton", "--since", "last")
    assert again.exit_code == 1
    assert again.stdout.lstrip().startswith("3 characters, 3 of them as they were: 1 hold")


def test_a_recipe_and_the_command_line_go_together(folder: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.toml"
    recipe.write_text('controls = "full"\ntune = []\nchecks = ["rest"]\n', encoding="utf-8")
    assert run(folder, "-o", tmp_path / "out", "--recipe", recipe, "--models").exit_code == 0
    data = json.loads((tmp_path / "out" / "cast.json").read_text(encoding="utf-8"))
    assert data["recipe"]["controls"] == "full"
    assert data["recipe"]["models"] is True
    assert list(data["characters"][0]["verdicts"]) == ["rest"]
    assert (tmp_path / "out" / "ana" / "ana.glb").is_file()
    assert 'controls = "full"' in (tmp_path / "out" / "ana" / "ana.rig.toml").read_text(encoding="utf-8")


def test_what_cannot_be_is_refused(folder: Path, tmp_path: Path) -> None:
    assert refusal("cast", folder, "-o", tmp_path / "out", "--only", "flor") == (
        'the command line: checks: there is no "flor"; expected one such as "floor". Correct the name.'
    )
    assert refusal("cast", folder, "--since", "soon") == (
        '--since: "soon" is no time; expected "last", a date or a time such as 2026-03-01T18:00. Correct it.'
    )
