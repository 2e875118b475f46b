"""A biped's rig, made once by the command line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from instep.formats import write_character
from tests.biped import make_biped
from tests.cli.terminal import run


@pytest.fixture(scope="session")
def walked_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with biped.glb, out/biped.rig.toml, out/walk.move.toml and out/walk.glb, which has the walk as a clip.

    Copy it before changing it.
    """
    folder = tmp_path_factory.mktemp("walked")
    write_character(make_biped(), folder / "biped.glb")
    out = folder / "out"
    for arguments in (
        ("rig", folder / "biped.glb", "-o", out),
        ("gait", out / "biped.rig.toml", "--speed", "1.2", "-o", out / "walk.move.toml"),
        ("bake", out / "walk.move.toml", "-o", out / "walk.glb"),
    ):
        result = run(*arguments)
        assert result.exit_code == 0, result.output
    return folder


@pytest.fixture
def walked(walked_once: Path, tmp_path: Path) -> Path:
    """A copy of `walked_once`/out, with the character in its place."""
    work = Path(shutil.copytree(walked_once, tmp_path / "work"))
    return work / "out"
