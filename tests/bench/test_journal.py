"""The journal is what was done: read again it gives the same sheet, and the same way back."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from instep.bench.journal import KEPT, Journal, read_journal
from instep.errors import OutputError, RigFileError

FRESH: dict[str, Any] = {"description": {"a": 1}, "pose": {}, "poses": {}, "score": None}

ACTS = st.lists(
    st.one_of(
        st.just(("undo", 0)),
        st.just(("redo", 0)),
        st.just(("start", 0)),
        st.tuples(st.sampled_from(["pose", "score", "description"]), st.integers(0, 99)),
    ),
    max_size=40,
)


def _same(one: Journal, other: Journal) -> None:
    assert one.sheet == other.sheet
    assert one.done == other.done
    assert one.undone == other.undone


@given(acts=ACTS)
def test_what_is_read_is_what_was_done(acts: list[tuple[str, int]], tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("journal") / "grub.rig.journal"
    journal = read_journal(path, FRESH)
    journal.start()
    sheets = [copy.deepcopy(journal.sheet)]  # a plain model: all sheets, and where we are among them
    at = 0
    for act, number in acts:
        if act == "undo":
            assert (journal.undo() is not None) == (at > 0)
            at = max(at - 1, 0)
        elif act == "redo":
            assert (journal.redo() is not None) == (at < len(sheets) - 1)
            at = min(at + 1, len(sheets) - 1)
        elif act == "start":
            journal.start()
        else:
            journal.change(act, {act: {"n": number}})
            sheets = [*sheets[: at + 1], copy.deepcopy(journal.sheet)]
            at += 1
        assert journal.sheet == sheets[at]
        _same(read_journal(path, FRESH), journal)


@given(cut=st.integers(1, 400))
def test_a_file_that_ends_in_the_middle_of_a_line_loses_that_line_alone(
    cut: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("journal") / "grub.rig.journal"
    journal = read_journal(path, FRESH)
    journal.start()
    for number in range(6):
        journal.change("roll", {"pose": {"left.foot.roll": float(number)}})
    whole = path.read_bytes()
    kept = whole[: max(len(whole) - cut, whole.index(b"\n") + 1)]
    path.write_bytes(kept)
    again = read_journal(path, FRESH)
    assert len(again.done) == kept.count(b"\n") - 1
    again.change("bank", {"pose": {"left.foot.bank": 1.0}})  # the bench writes it anew first, as at opening
    again.start()
    _same(read_journal(path, FRESH), again)


def test_a_journal_keeps_so_many_changes_when_it_is_opened(tmp_path: Path) -> None:
    journal = read_journal(tmp_path / "j", FRESH)
    journal.start()
    for number in range(KEPT + 20):
        journal.change("roll", {"pose": {"n": number}})
    journal.start()
    again = read_journal(tmp_path / "j", FRESH)
    assert len(again.done) == KEPT
    assert again.done[0].was == {"pose": {"n": 19}}
    _same(again, journal)


@pytest.mark.parametrize("line", ['{"line":"undo"}', '{"line":"start","journal":9}', "[]", "nothing", '{"line":"x"}'])
def test_a_line_of_another_kind_is_refused(line: str, tmp_path: Path) -> None:
    path = tmp_path / "grub.rig.journal"
    path.write_text(line + "\n")
    with pytest.raises(RigFileError) as caught:
        read_journal(path, FRESH)
    assert str(caught.value) == (
        "grub.rig.journal: line 1: this line is not one that the bench writes; expected a journal of this version. "
        "Move the file away: the pose, the kept poses and the way back are in it, the rig is not."
    )


def test_what_cannot_be_written_is_not_done(tmp_path: Path) -> None:
    journal = read_journal(tmp_path / "gone" / "grub.rig.journal", FRESH)
    with pytest.raises(OutputError) as caught:
        journal.change("roll", {"pose": {"n": 1}})
    assert str(caught.value) == (
        "grub.rig.journal: it cannot be written (No such file or directory); expected a folder that exists and may be "
        "written to. Make room there; what was asked for has not been done."
    )
    assert journal.sheet == FRESH
    assert not journal.done


def test_each_line_is_json(tmp_path: Path) -> None:
    journal = read_journal(tmp_path / "j", FRESH)
    journal.start()
    journal.change("roll", {"pose": {"left.foot.roll": 35.0}})
    journal.undo()
    lines = [json.loads(line) for line in (tmp_path / "j").read_text().splitlines()]
    assert [line["line"] for line in lines] == ["start", "change", "undo"]
