"""Rebase: what moved is told as it moved, what a hand set stays, and a file that does not fit is left as it was."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.delivery.job import completed_description as completed
from instep.delivery.rebase import rebase, refuse_unlike
from instep.errors import FormatError, RigFileError
from instep.formats import read_character, write_character
from instep.landmarks import measure
from instep.rig.description import ByHand, HandTunedLeg, RigDescription
from instep.rig.file import load_rig, read_rig_file, write_rig_file
from instep.rig.tuning.tune import tune_file
from tests.biped import biped_landmarks, make_biped
from tests.cli.bodies import without


def rigged(folder: Path, hand: ByHand | None = None, **options: Any) -> Path:
    """A rig file on a biped, out/ana.rig.toml, with what a hand set in it."""
    model = folder / "ana.glb"
    write_character(make_biped(**options), model)
    (folder / "out").mkdir()
    path = folder / "out" / "ana.rig.toml"
    bare = RigDescription(character="../ana.glb")
    write_rig_file(completed(bare, measure(read_character(model))), path)
    if hand is not None:
        write_rig_file(read_rig_file(path).model_copy(update={"by_hand": hand}), path)
    return path


def changed(folder: Path, **options: Any) -> Path:
    path = folder / "ana2.glb"
    write_character(make_biped(**options), path)
    return path


def test_what_moved_is_told_by_how_far(tmp_path: Path) -> None:
    """Distances against the landmarks that both bipeds are made with."""
    path = rigged(tmp_path)
    result = rebase(path, changed(tmp_path, toe_out_deg=10.0), checks=False)
    was, now = biped_landmarks(), biped_landmarks(toe_out_deg=10.0)
    unit = result.rig.measurement.leg_length
    told = {mark.name: mark for mark in result.landmarks}
    assert set(told) == set(was)
    for name, mark in told.items():
        expected = float(np.linalg.norm(now[name] - was[name]))
        assert mark.distance == pytest.approx(expected, abs=4e-3 * unit)
        assert mark.state == ("stays" if name.partition(".")[2] in ("hip", "knee", "ankle") else "moved")
        assert not mark.by_hand
    distances = [mark.distance for mark in result.landmarks if mark.distance is not None]
    assert distances == sorted(distances, reverse=True)
    moved = dict(result.joints_moved)
    assert set(moved) == {"toes.left", "toes.right"}
    expected = float(np.linalg.norm(now["left.ball"] - was["left.ball"]))
    assert moved["toes.left"] == pytest.approx(expected, abs=1e-6)
    assert (result.joints_came, result.joints_went, result.strays, result.old_missing) == ((), (), (), "")
    assert result.report is None


def test_the_file_is_of_the_new_model_and_keeps_what_a_hand_set(tmp_path: Path) -> None:
    hand = ByHand(
        landmarks={"left.heel": (0.095, 0.0, -0.055)},
        tuned={"right": HandTunedLeg(hold=0.8)},
        ranges={"left.foot.roll": (-10.0, 70.0)},
        pinned={"right.foot.bank": 2.0},
    )
    path = rigged(tmp_path, hand)
    text = path.read_text(encoding="utf-8").replace("# What you set.", "# Ours, see the minutes.")
    path.write_text(text, encoding="utf-8")
    result = rebase(path, changed(tmp_path, heel_height=0.02), checks=False)
    description = read_rig_file(path)
    assert description == result.rig.description
    assert description.by_hand == hand
    assert description.character == "../ana2.glb"
    assert "# Ours, see the minutes." in path.read_text(encoding="utf-8")
    rig = load_rig(path)
    assert rig.program == result.rig.program
    left = rig.measurement.legs[0]
    assert left.heel.by_hand
    assert left.heel.position.tolist() == [0.095, 0.0, -0.055]
    mark = next(mark for mark in result.landmarks if mark.name == "left.heel")
    assert (mark.by_hand, mark.distance, mark.state) == (True, 0.0, "stays")
    assert np.allclose(description.measured["right.hip"], biped_landmarks(heel_height=0.02)["right.hip"], atol=1e-5)


def test_what_was_solved_is_solved_for_the_new_model(tmp_path: Path) -> None:
    path = rigged(tmp_path, knee_bend_deg=28.0)
    before = tune_file(path, ["soft", "ball", "tip"]).description.tuned["left"]
    result = rebase(path, changed(tmp_path, knee_bend_deg=35.0), checks=False)
    after = result.rig.description.tuned["left"]
    assert set(after.model_dump(exclude_none=True)) == {"soft", "ball_gives_out_deg", "tip_takes_over_deg"}
    assert before.soft is not None
    assert after.soft is not None
    (tmp_path / "fresh").mkdir()
    assert (
        tune_file(rigged(tmp_path / "fresh", knee_bend_deg=35.0), ["soft"]).description.tuned["left"].soft == after.soft
    )


def test_joints_that_came_and_went_are_named(tmp_path: Path) -> None:
    path = rigged(tmp_path, toe_end=True)
    write_character(without(make_biped(), "hand.left"), tmp_path / "ana2.glb")
    result = rebase(path, tmp_path / "ana2.glb", checks=False)
    assert result.joints_went == ("hand.left", "toe_end.left", "toe_end.right")
    assert result.joints_came == ()
    states = {mark.name: mark.state for mark in result.landmarks}
    assert {states["left.toe"], states["right.toe"]} == {"went"}
    (tmp_path / "other").mkdir()
    back = rebase(path, changed(tmp_path / "other", toe_end=True), checks=False)
    assert set(back.joints_came) == {"hand.left", "toe_end.left", "toe_end.right"}
    assert back.joints_went == ()
    assert {mark.state for mark in back.landmarks if mark.name.endswith(".toe")} == {"came"}


def test_checks_that_changed_their_verdict_are_told(tmp_path: Path) -> None:
    path = rigged(tmp_path)
    result = rebase(path, changed(tmp_path, knee_bend_deg=0.0))
    changes = {change.check: (change.before, change.after) for change in result.verdicts}
    assert changes["reach"] == ("holds", "falls short")
    assert changes["skeleton"] == ("holds", "falls short")
    assert result.report is not None
    assert not result.report.holds
    for change in result.verdicts:
        finding = result.report.finding(change.check)
        assert (change.figure, change.cause) == (finding.figure, finding.cause)


def test_places_set_by_hand_that_are_left_behind_are_told(tmp_path: Path) -> None:
    hand = ByHand(landmarks={"left.heel": (0.095, 0.0, -0.06), "left.ball": (0.095, 0.03, 0.115)})
    path = rigged(tmp_path, hand)
    near = rebase(path, changed(tmp_path), checks=False, write=False)
    assert near.strays == ()
    far = rebase(path, changed(tmp_path, offset=(0.0, 0.0, -0.3)), checks=False, write=False)
    assert {mark.name for mark in far.strays} == {"left.ball", "left.heel"}
    for mark in far.strays:
        assert mark.before is not None
        assert mark.distance - mark.before > 0.03 * far.rig.measurement.leg_length


def test_without_the_old_model_it_says_so_and_compares_with_the_file(tmp_path: Path) -> None:
    path = rigged(tmp_path)
    (tmp_path / "ana.glb").unlink()
    result = rebase(path, changed(tmp_path, toe_out_deg=10.0))
    assert result.old_missing == "../ana.glb is not there any more"
    assert result.verdicts == ()
    assert result.report is not None
    was, now = biped_landmarks(), biped_landmarks(toe_out_deg=10.0)
    tip = next(mark for mark in result.landmarks if mark.name == "left.tip")
    assert tip.distance == pytest.approx(float(np.linalg.norm(now["left.tip"] - was["left.tip"])), abs=4e-3)


def test_a_model_that_was_changed_in_its_place_is_compared_with_the_file(tmp_path: Path) -> None:
    path = rigged(tmp_path)
    write_character(make_biped(toe_out_deg=10.0), tmp_path / "ana.glb")
    result = rebase(path, tmp_path / "ana.glb", checks=False)
    assert result.old_missing == "../ana.glb was changed in its place"
    assert next(mark for mark in result.landmarks if mark.name == "left.tip").state == "moved"
    assert result.joints_went == ()


def test_an_old_model_that_is_damaged_is_told_and_no_hindrance(tmp_path: Path) -> None:
    path = rigged(tmp_path)
    (tmp_path / "ana.glb").write_bytes(b"gone wrong")
    result = rebase(path, changed(tmp_path), checks=False)
    assert "this is not a glTF file" in result.old_missing


@pytest.mark.parametrize("write", [True, False])
def test_a_file_that_names_a_joint_that_is_gone_is_left_as_it_was(tmp_path: Path, write: bool) -> None:
    path = rigged(tmp_path, ByHand(pinned={"hand.left.yaw": 3.0}))
    before = path.read_bytes()
    write_character(without(make_biped(), "hand.left"), tmp_path / "ana2.glb")
    with pytest.raises(RigFileError) as caught:
        rebase(path, tmp_path / "ana2.glb", write=write)
    line = before.decode().splitlines().index('"hand.left.yaw" = 3.0') + 1
    assert str(caught.value) == (
        f'ana.rig.toml: by_hand.pinned."hand.left.yaw" (line {line}): the model has no joint "hand.left"; expected one '
        'such as "shin.left". If the joint was renamed, write its new name; if it is gone, delete it here.'
    )
    assert path.read_bytes() == before


def test_a_look_writes_nothing(tmp_path: Path) -> None:
    path = rigged(tmp_path)
    before = path.read_bytes()
    rebase(path, changed(tmp_path, toe_out_deg=10.0), checks=False, write=False)
    assert path.read_bytes() == before


def test_a_model_that_cannot_be_read_leaves_the_file(tmp_path: Path) -> None:
    path = rigged(tmp_path)
    before = path.read_bytes()
    (tmp_path / "bad.glb").write_bytes(b"bad")
    with pytest.raises(FormatError):
        rebase(path, tmp_path / "bad.glb")
    assert path.read_bytes() == before


def test_arguments_the_wrong_way_round_are_told() -> None:
    with pytest.raises(RigFileError) as caught:
        refuse_unlike(Path("new.glb"), Path("ana.rig.toml"))
    assert str(caught.value) == (
        "new.glb: this is a model, not a rig file; expected first the rig file, then the changed model. Write: instep "
        "rebase ana.rig.toml new.glb."
    )
