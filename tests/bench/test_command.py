"""instep bench: what it says where it cannot begin."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from instep.cli import instep


@pytest.fixture(autouse=True)
def _own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


def test_a_file_that_is_not_there_ends_with_status_2(tmp_path: Path) -> None:
    path = tmp_path / "none.glb"
    done = CliRunner().invoke(instep, ["bench", str(path), "--no-open"])
    assert done.exit_code == 2
    assert done.stderr == f"Error: {path}: there is no such file. Check the name and the folder.\n"


def test_a_file_that_is_no_character_ends_with_status_2_and_leaves_nothing(tmp_path: Path) -> None:
    path = tmp_path / "grub.glb"
    path.write_bytes(b"not a character")
    done = CliRunner().invoke(instep, ["bench", str(path), "--no-open"])
    assert done.exit_code == 2
    assert done.stderr == (
        "Error: grub.glb: this is not a glTF file: it begins with b'not '; expected \"glTF\" or a JSON object at its "
        "start.\n"
    )
    assert [one.name for one in tmp_path.iterdir()] == ["grub.glb"]
