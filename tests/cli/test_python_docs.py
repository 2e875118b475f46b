"""docs/python.md: its code is one program, and it runs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import instep
from instep.formats import write_character
from tests.biped import make_biped


def test_the_program_of_the_page_runs(
    project: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (project / "docs" / "python.md").read_text(encoding="utf-8")
    pieces = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    assert len(pieces) >= 10
    write_character(make_biped(), tmp_path / "grub.glb")
    monkeypatch.chdir(tmp_path)
    program = compile("\n".join(pieces), "docs/python.md", "exec")
    exec(program, {"__name__": "page"})
    assert {path.name for path in tmp_path.iterdir()} == {"grub.glb", "rolled.glb", "standing.glb", "out"}
    assert [clip.name for clip in instep.read_clips("rolled.glb")] == ["roll"]
    assert capsys.readouterr().out.splitlines()[-1] == (
        '"left.foot.rol" is no channel of this rig; expected one such as "left.foot.roll". '
        "See `instep why` for what a control has."
    )


def test_every_name_that_is_offered_is_there() -> None:
    for name in instep.__all__:
        assert getattr(instep, name) is not None
    assert set(instep.__all__) == {*instep._HOMES, "__version__"}


def test_a_name_that_is_not_offered_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match=r"^module 'instep' has no attribute 'rigg'$"):
        instep.rigg  # noqa: B018
