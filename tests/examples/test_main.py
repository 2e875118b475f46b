"""Writing the cast to files."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from examples.salt_ferry import make_member
from examples.salt_ferry.__main__ import main, write_cast
from instep.errors import OutputError
from instep.formats import read_character

LOW = "0.05"


def test_the_cast_is_written_and_reads_back_as_made(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, [str(tmp_path / "cast"), "--detail", LOW])
    assert result.exit_code == 0, result.output
    names = ["grub.glb", "odile.glb", "pip.glb", "truth.json"]
    assert result.output.split() == [str(tmp_path / "cast" / name) for name in names]
    assert sorted(path.name for path in (tmp_path / "cast").iterdir()) == names
    truth = json.loads((tmp_path / "cast" / "truth.json").read_text(encoding="utf-8"))
    for name in ("grub", "odile", "pip"):
        made = make_member(name, detail=float(LOW))
        assert {key: tuple(place) for key, place in truth[name].items()} == made.truth
        back = read_character(tmp_path / "cast" / f"{name}.glb")
        assert made.character.mesh is not None
        assert back.mesh is not None
        assert back.skeleton.names == made.character.skeleton.names
        np.testing.assert_allclose(back.skeleton.positions, made.character.skeleton.positions, atol=1e-6)
        np.testing.assert_allclose(back.mesh.positions, made.character.mesh.positions, atol=1e-6)
        assert [part.name for part in back.mesh.parts] == [part.name for part in made.character.mesh.parts]


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "cast"
    place.write_text("", encoding="utf-8")
    with pytest.raises(OutputError) as caught:
        write_cast(place)
    assert str(caught.value) == f"{place}: the folder cannot be made. Name another folder (File exists)."
    result = CliRunner().invoke(main, [str(place / "below")])
    assert result.exit_code == 2
    assert result.output == f"{place / 'below'}: the folder cannot be made. Name another folder (Not a directory).\n"
