"""A cast: all of it, again only what changed, and the same whichever way it ran."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from instep.delivery import cast, cast_spread
from instep.delivery.cast import parse_since, run_cast
from instep.delivery.cast_member import CastTask, Outcome, rig_member
from instep.delivery.cast_recipe import CastRecipe, make_recipe
from instep.delivery.cast_spread import ENDED, on_processes
from instep.errors import ClusterError, FormatError, OutputError
from instep.formats import write_character
from instep.rig.description import ByHand, HandTunedLeg
from instep.rig.file import load_rig, read_rig_file, write_rig_file
from tests.biped import make_biped
from tests.delivery.casts import QUICK, contents_of, ends_with_bo, here, told, write_folder


@pytest.fixture
def in_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cast, "on_processes", here)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_folder(tmp_path / "models")


def test_processes_do_what_this_one_does(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rig files, built forms, records, JSON and page: to the byte. One failed file stops no other."""
    recipe = CastRecipe(tune=("hold", "edges"), checks=("rest", "plant", "floor"))
    seen: list[tuple[int, int, str]] = []
    result = run_cast(
        [folder], tmp_path / "two" / "out", recipe, workers=2,
        progress=lambda done, total, name, outcome: seen.append((done, total, outcome)),
    )  # fmt: skip
    monkeypatch.setattr(cast, "on_processes", here)
    alone = run_cast([folder], tmp_path / "one" / "out", recipe)
    assert contents_of(tmp_path / "two" / "out") == contents_of(tmp_path / "one" / "out")
    assert result.outcomes == alone.outcomes
    assert [(entry.name, entry.outcome) for entry in result.outcomes] == [
        ("ana", "holds"),
        ("town/bo", "holds"),
        ("wrong", "failed"),
    ]
    assert [(done, total) for done, total, _ in seen] == [(1, 3), (2, 3), (3, 3)]
    rows = told(tmp_path / "two" / "out")
    assert rows["wrong"]["error"] == {
        "kind": "FormatError",
        "message": "wrong.glb: this is not a glTF file: it begins with b'this'; expected \"glTF\" or a JSON object at "
        "its start.",
    }
    assert rows["town/bo"]["verdicts"] == {"rest": "holds", "plant": "holds", "floor": "holds"}
    rig = load_rig(tmp_path / "two" / "out" / "town" / "bo" / "bo.rig.toml")
    assert rig.description.tuned["left"].hold == rows["town/bo"]["legs"][0]["hold"] == 1.0


def test_the_page_has_a_row_for_each_with_its_feet(folder: Path, tmp_path: Path, in_here: None) -> None:
    run_cast([folder], tmp_path / "out", CastRecipe(checks=("rest", "floor"), sheets=True, models=True))
    page = (tmp_path / "out" / "cast.html").read_text(encoding="utf-8")
    parser = _Rows()
    parser.feed(page)
    assert [row["id"] for row in parser.rows] == ["member-ana", "member-town%2Fbo", "member-wrong"]
    assert [row["outlines"] for row in parser.rows] == [3, 3, 0]  # a side view and two soles
    assert parser.links >= {"#member-wrong", "ana/ana.html", "town/bo/bo.html"}
    assert "this is not a glTF file" in page
    for link in ("ana/ana.html", "town/bo/bo.html", "ana/ana.glb"):
        assert (tmp_path / "out" / link).is_file()
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


class _Rows(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.rows: list[dict[str, Any]] = []
        self.links: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "th" and (found.get("id") or "").startswith("member-"):
            self.rows.append({"id": found["id"], "outlines": 0})
        if tag == "path" and found.get("class") == "outline":
            self.rows[-1]["outlines"] += 1
        if tag == "a":
            self.links.add(found["href"] or "")


def test_since_the_last_run_only_what_changed_is_built(folder: Path, tmp_path: Path, in_here: None) -> None:
    out = tmp_path / "out"

    def built(recipe: CastRecipe = QUICK) -> tuple[str, ...]:
        before = contents_of(out)
        names = run_cast([folder], out, recipe, since="last").built
        if not names:
            assert contents_of(out) == before
        return names

    assert built() == ("ana", "town/bo", "wrong")
    assert built() == ()
    write_character(make_biped(toe_out_deg=3.0), folder / "ana.glb")
    assert built() == ("ana",)
    rig_file = out / "town" / "bo" / "bo.rig.toml"
    hand = ByHand(tuned={"left": HandTunedLeg(hold=0.5)})
    write_rig_file(read_rig_file(rig_file).model_copy(update={"by_hand": hand}), rig_file)
    assert built() == ("town/bo",)
    assert load_rig(rig_file).plan.legs[0].hold == 0.5
    assert built() == ()
    (out / "ana" / "ana.rig.json").unlink()
    assert built() == ("ana",)
    (out / "ana" / "ana.cast.json").write_text("{", encoding="utf-8")
    assert built() == ("ana",)
    assert built(make_recipe({"tune": (), "checks": ("rest",), "seed": 1}, "here")) == ("ana", "town/bo", "wrong")


def test_without_since_everything_is_built_again(folder: Path, tmp_path: Path, in_here: None) -> None:
    run_cast([folder], tmp_path / "out", QUICK)
    before = contents_of(tmp_path / "out")
    assert len(run_cast([folder], tmp_path / "out", QUICK).built) == 3
    assert contents_of(tmp_path / "out") == before


def test_since_a_time_only_what_was_written_after_it_is_built(folder: Path, tmp_path: Path, in_here: None) -> None:
    out = tmp_path / "out"
    run_cast([folder], out, QUICK)
    now = datetime.now()
    for path in [*folder.rglob("*.glb"), *out.rglob("*.toml"), *out.rglob("*.json")]:
        os.utime(path, ((now - timedelta(days=3)).timestamp(),) * 2)
    os.utime(folder / "ana.glb", ((now - timedelta(days=1)).timestamp(),) * 2)
    assert run_cast([folder], out, QUICK, since=now).built == ()
    assert run_cast([folder], out, QUICK, since=now - timedelta(days=2)).built == ("ana",)
    assert run_cast([folder], out, QUICK, since=now - timedelta(days=2)).built == ()


def test_a_run_that_was_interrupted_is_taken_up(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(tasks: Sequence[CastTask], workers: int) -> Iterator[Outcome]:
        yield rig_member(tasks[0])
        raise KeyboardInterrupt

    out = tmp_path / "out"
    monkeypatch.setattr(cast, "on_processes", interrupted)
    with pytest.raises(KeyboardInterrupt):
        run_cast([folder], out, QUICK)
    assert not (out / "cast.html").exists()
    assert not (out / "cast.json").exists()
    monkeypatch.setattr(cast, "on_processes", here)
    assert run_cast([folder], out, QUICK).built == ("town/bo", "wrong")
    monkeypatch.setattr(cast, "on_processes", here)
    run_cast([folder], tmp_path / "whole", QUICK)
    assert contents_of(out) == contents_of(tmp_path / "whole")
    assert run_cast([folder], out, QUICK).built == ("ana", "town/bo", "wrong")


def test_a_process_that_is_ended_takes_no_other_character_with_it(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cast, "on_processes", lambda tasks, workers: on_processes(tasks, 2, ends_with_bo))
    result = run_cast([folder], tmp_path / "out", QUICK)
    assert [(entry.name, entry.outcome) for entry in result.outcomes] == [
        ("ana", "holds"),
        ("town/bo", "failed"),
        ("wrong", "failed"),
    ]
    assert told(tmp_path / "out")["town/bo"]["error"] == {"kind": "ProcessEnded", "message": ENDED}
    monkeypatch.setattr(cast, "on_processes", here)
    assert run_cast([folder], tmp_path / "out", QUICK, since="last").built == ("town/bo",)  # it may go better


def test_a_fault_of_the_program_is_told_in_its_row(
    folder: Path, tmp_path: Path, in_here: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fault(*arguments: Any) -> str:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr("instep.delivery.cast_member.draw_feet", fault)
    result = run_cast([folder], tmp_path / "out", QUICK)
    assert result.named("failed") == ("ana", "town/bo", "wrong")
    assert told(tmp_path / "out")["ana"]["error"] == {
        "kind": "ZeroDivisionError",
        "message": "a fault within Instep: by nought",
    }


def test_only_a_few_are_under_way_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from concurrent.futures import Future

    from instep.delivery.cast_recipe import Member

    under_way: list[int] = []

    class Pool:
        taken = 0

        def submit(self, work: Any, task: CastTask) -> Future[Outcome]:
            self.taken += 1
            under_way.append(self.taken - len(given))
            future: Future[Outcome] = Future()
            future.set_result(Outcome(task.member.name, "holds"))
            return future

        def __enter__(self) -> Pool:
            return self

        def __exit__(self, *reason: object) -> None: ...

    given: list[Outcome] = []
    monkeypatch.setattr(cast_spread, "_pool", lambda workers: Pool())
    day = datetime.now().date()
    tasks = [CastTask(Member(f"{number:04d}", tmp_path / "x.glb"), tmp_path, QUICK, day) for number in range(1000)]
    for outcome in on_processes(tasks, 4):
        given.append(outcome)
    assert sorted(entry.name for entry in given) == [task.member.name for task in tasks]
    assert max(under_way) <= 4 + 2


def test_results_that_cannot_be_written_end_the_run(folder: Path, tmp_path: Path, in_here: None) -> None:
    (tmp_path / "out").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError) as caught:
        run_cast([folder], tmp_path / "out", QUICK)
    assert str(caught.value) == (
        f"{tmp_path / 'out'}: this folder cannot be made (File exists); expected a place that may be written to. "
        "Choose another place with -o."
    )


@pytest.mark.parametrize("text", ["yesterday", "2026-13-01"])
def test_a_time_that_is_none_says_so(text: str) -> None:
    with pytest.raises(FormatError) as caught:
        parse_since(text)
    assert str(caught.value) == (
        f'--since: "{text}" is no time; expected "last", a date or a time such as 2026-03-01T18:00. Correct it.'
    )


def test_times_are_read() -> None:
    assert parse_since("last") == "last"
    assert parse_since("2026-03-01T18:00") == datetime(2026, 3, 1, 18)


def test_without_the_package_a_cluster_says_so(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> Any:
        raise ImportError(name)

    monkeypatch.setattr(cast_spread, "import_module", missing)
    with pytest.raises(ClusterError) as caught:
        run_cast([folder], tmp_path / "out", QUICK, cluster="tcp://127.0.0.1:1")
    assert str(caught.value) == (
        "the package dask.distributed is not installed; expected it, for --cluster. Install it with Instep: pip "
        'install "instep[cluster]".'
    )


def test_the_account_of_a_run_says_how_it_ended(folder: Path, tmp_path: Path, in_here: None) -> None:
    run_cast([folder], tmp_path / "out", QUICK)
    state = json.loads((tmp_path / "out" / "cast.run.json").read_text(encoding="utf-8"))
    assert state["finished"] is True
    assert state["recipe"]["checks"] == ["rest"]
