"""A biped's file, and the results of rigging it once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from instep.formats import write_character
from tests.biped import make_biped
from tests.cli.terminal import run


@pytest.fixture(scope="session")
def rigged_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with biped.glb, and out/ with what `instep rig` made of it. Copy it before changing it."""
    folder = tmp_path_factory.mktemp("rigged")
    write_character(make_biped(), folder / "biped.glb")
    result = run("rig", folder / "biped.glb", "-o", folder / "out", "--no-proof")
    assert result.exit_code == 0, result.output
    return folder


@pytest.fixture
def rigged(rigged_once: Path, tmp_path: Path) -> Path:
    """A copy of `rigged_once` of one's own."""
    return Path(shutil.copytree(rigged_once, tmp_path / "work"))


@pytest.fixture
def model(tmp_path: Path) -> Path:
    """A biped's file alone in its folder."""
    folder = tmp_path / "model"
    folder.mkdir()
    write_character(make_biped(), folder / "biped.glb")
    return folder / "biped.glb"
