"""Tuning a whole rig and its file: what a hand set stays, both sides agree, nothing half written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.character import Character
from instep.errors import LandmarkError, RigFileError
from instep.formats import write_character
from instep.rig import RigDescription, build_rig
from instep.rig.description import ByHand, HandTunedLeg, TunedLeg
from instep.rig.file import load_rig, read_rig_file, write_rig_file
from instep.rig.tuning.edges import BANKS_DEG, with_edges
from instep.rig.tuning.tune import NUMBERS, solved_before, tune_file, tune_rig, with_solved
from tests.biped import make_biped
from tests.measured import make_measured_biped


def made_file(folder: Path, description: RigDescription | None = None, **options: Any) -> Path:
    write_character(make_biped(**options), folder / "biped.glb")
    path = folder / "biped.rig.toml"
    write_rig_file(description or RigDescription(character="biped.glb"), path)
    return path


def test_every_number_of_both_legs_is_told_once() -> None:
    character, measurement = make_measured_biped(knee_bend_deg=30.0)
    solved = tune_rig(build_rig(character, measurement))
    names = [name for group in NUMBERS.values() for name in group]
    assert [(entry.leg, entry.name) for entry in solved] == [(leg, name) for leg in ("left", "right") for name in names]
    for entry in solved:
        assert entry.after <= entry.before + 1e-12 or entry.name.endswith("_deg")


def test_what_a_hand_set_is_kept_and_not_solved() -> None:
    character, measurement = make_measured_biped()
    left, right = measurement.legs
    mark = replace(left.outer, by_hand=True)
    description = RigDescription.model_validate(
        {
            "character": "biped",
            "by_hand": {"tuned": {"left": {"hold": 0.98, "tip_takes_over_deg": 70.0}}},
            "options": {"right": {"soft": 0.1}},
        }
    )
    rig = build_rig(character, replace(measurement, legs=(replace(left, outer=mark), right)), description)
    solved = {(entry.leg, entry.name): entry for entry in tune_rig(rig)}
    notes = {key: entry.note for key, entry in solved.items() if entry.note.endswith("kept")}
    assert notes == {
        ("left", "hold"): "0.98, set by hand: kept",
        ("left", "tip_takes_over_deg"): "70, set by hand: kept",
        ("left", "outer_shift"): "the landmark left.outer, set by hand: kept",
        ("right", "soft"): "0.1, set by hand: kept",
    }
    assert all(solved[key].value is None for key in notes)
    ball = solved["left", "ball_gives_out_deg"].value
    assert isinstance(ball, float)
    assert ball < 70.0
    after = with_solved(description, solved.values())
    assert after.by_hand == description.by_hand
    assert after.options == description.options
    assert after.tuned["left"].hold is None
    assert after.tuned["right"].hold == 1.0


def test_sides_that_nearly_agree_get_one_value_and_true_figures() -> None:
    character, measurement = make_measured_biped()
    tuned = {"left": TunedLeg(outer_shift=(0.030, 0.0)), "right": TunedLeg(outer_shift=(0.032, 0.0))}
    wrong = with_edges(measurement, RigDescription(character="biped", tuned=tuned))
    rig = build_rig(character, wrong)
    solved = {entry.leg: entry for entry in tune_rig(rig, ["edges"]) if entry.name == "outer_shift"}
    assert solved["left"].value == solved["right"].value
    assert isinstance(solved["left"].value, tuple)
    assert solved["left"].value[0] == pytest.approx(-0.031, abs=2e-4)
    # Each is now a thousandth off: heights of that times the bank's sine, as a root mean square.
    expected = 1e-3 * float(np.sqrt(np.mean(np.sin(np.radians(BANKS_DEG)) ** 2)))
    for entry in solved.values():
        assert entry.after == pytest.approx(expected, rel=0.15)


def test_sides_that_differ_keep_their_own() -> None:
    character, measurement = make_measured_biped()
    tuned = {"left": TunedLeg(outer_shift=(0.03, 0.0)), "right": TunedLeg(outer_shift=(0.06, 0.0))}
    wrong = with_edges(measurement, RigDescription(character="biped", tuned=tuned))
    solved = {
        entry.leg: entry.value
        for entry in tune_rig(build_rig(character, wrong), ["edges"])
        if entry.name == "outer_shift"
    }
    left, right = solved["left"], solved["right"]
    assert isinstance(left, tuple)
    assert isinstance(right, tuple)
    assert left[0] == pytest.approx(-0.03, abs=2e-4)
    assert right[0] == pytest.approx(-0.06, abs=2e-4)


def test_a_file_is_tuned_and_the_rig_built_from_it_is_the_tuned_one(tmp_path: Path) -> None:
    path = made_file(tmp_path, knee_bend_deg=30.0)
    text = path.read_text(encoding="utf-8").replace("# path of the model", "# our model; path")
    path.write_text(text, encoding="utf-8")
    tuning = tune_file(path)
    again = read_rig_file(path)
    assert again == tuning.description
    assert "# our model; path" in path.read_text(encoding="utf-8")
    assert set(solved_before(again)) == {"hold", "ball", "tip", "soft"} | ({"edges"} & set(solved_before(again)))
    for leg in ("left", "right"):
        reached = again.reached[leg]
        assert set(reached) == set(again.tuned[leg].model_dump(exclude_none=True))
        assert reached["soft"][1] < reached["soft"][0]
    assert load_rig(path).program == tuning.rig.program
    bytes_before = path.read_bytes()
    once_more = tune_file(path, write=False)
    assert once_more.description.tuned == again.tuned
    assert path.read_bytes() == bytes_before


def test_numbers_that_are_not_asked_for_stay(tmp_path: Path) -> None:
    tuned = {leg: TunedLeg(hold=0.25, ball_gives_out_deg=20.0, tip_takes_over_deg=50.0) for leg in ("left", "right")}
    path = made_file(tmp_path, RigDescription(character="biped.glb", tuned=tuned))
    tune_file(path, ["hold"])
    for leg in read_rig_file(path).tuned.values():
        assert leg == TunedLeg(hold=1.0, ball_gives_out_deg=20.0, tip_takes_over_deg=50.0)


def test_a_solved_value_goes_where_a_hand_has_set_one(tmp_path: Path) -> None:
    path = made_file(tmp_path)
    tune_file(path, ["hold"])
    before = read_rig_file(path)
    hand = ByHand(tuned={"left": HandTunedLeg(hold=0.75)})
    write_rig_file(before.model_copy(update={"by_hand": hand}), path)
    tuning = tune_file(path, ["hold"])
    assert list(tuning.description.tuned) == ["right"]
    assert list(tuning.description.reached) == ["right"]
    assert tuning.rig.plan.legs[0].hold == 0.75


def test_a_name_that_is_none_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    with pytest.raises(RigFileError) as caught:
        tune_file(tmp_path / "missing.rig.toml", ["holds"])
    assert str(caught.value) == '"holds" is nothing that can be tuned; expected one such as "hold". Correct the name.'


def test_without_a_mesh_there_is_nothing_to_tune_to() -> None:
    character, measurement = make_measured_biped()
    bare = Character("biped", character.skeleton, None)
    with pytest.raises(LandmarkError) as caught:
        tune_rig(build_rig(bare, measurement))
    assert str(caught.value).endswith("the file has no mesh, so there is nothing to tune to.")
