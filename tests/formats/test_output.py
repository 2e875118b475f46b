"""A target is written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from instep.errors import OutputError
from instep.formats import write_character, write_clips, write_whole
from tests.biped import make_biped
from tests.formats.odd import Odd, make_odd
from tests.formats.test_bad_input import written


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return make_odd(make_biped(), tmp_path_factory.mktemp("good") / "good", Odd()).read_bytes()


def test_output_that_cannot_be_written(good: bytes, tmp_path: Path) -> None:
    source = written(tmp_path / "good.glb", good)
    expected = "expected a folder that exists and may be written to. Choose another place with -o."
    target = tmp_path / "none" / "out.glb"
    with pytest.raises(OutputError) as caught:
        write_clips(source, target, [])
    assert str(caught.value) == f"{target}: it cannot be written (No such file or directory); {expected}"
    target = tmp_path / "folder.glb"
    target.mkdir()
    with pytest.raises(OutputError) as caught:
        write_character(make_biped(), target)
    assert str(caught.value) == f"{target}: it cannot be written (Is a directory); {expected}"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder.glb", "good.glb"]
    assert list(target.iterdir()) == []


def test_an_interrupted_write_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = written(tmp_path / "out.glb", b"before")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OutputError) as caught:
        write_whole(target, b"after")
    expected = "expected a folder that exists and may be written to. Choose another place with -o."
    assert str(caught.value) == f"{target}: it cannot be written (No space left on device); {expected}"
    assert target.read_bytes() == b"before"
    assert [p.name for p in tmp_path.iterdir()] == ["out.glb"]


def test_output_of_another_kind(good: bytes, tmp_path: Path) -> None:
    source = written(tmp_path / "good.glb", good)
    for name, seen in (("out.obj", 'its name ends in ".obj"'), ("out", "its name has no ending")):
        with pytest.raises(OutputError) as caught:
            write_clips(source, tmp_path / name, [])
        expected = 'expected ".glb" or ".gltf". Give it another name.'
        assert str(caught.value) == f"{tmp_path / name}: {seen}; {expected}"
