"""A project: what is asked for is written, whole, or refused and nothing changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.bench import messages as m
from instep.bench.project import Project, open_project
from instep.bench.score import score_of_exercise, score_times, score_values
from instep.checks.model import Cure, Edit, Measure, Report, conclude
from instep.errors import ChannelError, InstepError, OutputError, RigFileError
from instep.motion import exercises
from instep.rig.file import load_rig, read_rig_file
from tests.bench.served import biped_in

VOLATILE = {"revision", "rig_revision", "written_at"}


@pytest.fixture
def project_(tmp_path: Path) -> Project:
    return open_project(biped_in(tmp_path))


def _told(project: Project) -> dict[str, Any]:
    return project.state().model_dump(exclude=VOLATILE)


def _tip(project: Project, shift: float) -> tuple[float, float, float]:
    leg = project.rig.measurement.legs[0]
    x, y, z = leg.tip.position + shift * leg.axis
    return float(x), float(y), float(z)


def test_opening_a_character_makes_its_rig_file_and_opening_again_finds_it(tmp_path: Path) -> None:
    first = open_project(biped_in(tmp_path))
    text = (tmp_path / "biped.rig.toml").read_bytes()
    assert read_rig_file(tmp_path / "biped.rig.toml") == first.description
    second = open_project(tmp_path / "biped.rig.toml")
    assert _told(second) == _told(first)
    assert (tmp_path / "biped.rig.toml").read_bytes() == text


def test_a_landmark_by_hand_goes_to_the_rig_file_and_moves_the_rig(project_: Project) -> None:
    before = project_.rig.evaluate_outputs(project_.rig.values({"left.foot.roll": 60.0}))
    project_.do(m.SetLandmark(name="left.tip", point=_tip(project_, 0.01)))
    written = read_rig_file(project_.rig_file)
    assert written.by_hand.landmarks == {"left.tip": _tip(project_, 0.0)}
    built = load_rig(project_.rig_file)
    after = built.evaluate_outputs(built.values({"left.foot.roll": 60.0}))
    here = project_.rig.evaluate_outputs(project_.rig.values({"left.foot.roll": 60.0}))
    np.testing.assert_allclose(after, here, atol=1e-12)
    assert np.abs(after - before).max() > 1e-4
    assert project_.unaided().legs[0].tip.by_hand is False


def test_undo_goes_back_through_everything_and_again_comes_forward(project_: Project) -> None:
    asks: list[m.Ask] = [
        m.SetPose(what="roll", pose={"left.foot.roll": 35.0}),
        m.SetLandmark(name="left.tip", point=_tip(project_, 0.01)),
        m.KeepPose(name="over the ball"),
        m.Mirror(leg="left"),
        m.SetTuned(leg="left", number="ball_gives_out_deg", value=28.0),
        m.TakeExercise(name="toes"),
        m.Build(controls="full", plain=False, options={}),
        m.DropPose(name="over the ball"),
    ]
    states, files = [_told(project_)], [read_rig_file(project_.rig_file)]
    for ask in asks:
        project_.do(ask)
        states.append(_told(project_))
        files.append(read_rig_file(project_.rig_file))
    seen = {"undo", "undo_count", "redo"}

    def compare(at: int) -> None:
        told = _told(project_)
        assert {k: v for k, v in told.items() if k not in seen} == {
            k: v for k, v in states[at].items() if k not in seen
        }
        assert read_rig_file(project_.rig_file) == files[at]

    for at in reversed(range(len(asks))):
        project_.do(m.Undo())
        compare(at)
    assert project_.do(m.Undo()) == ("Nothing to undo.",)
    for at in range(1, len(states)):
        project_.do(m.Undo(again=True))
        compare(at)
    assert project_.do(m.Undo(again=True)) == ("Nothing to do again.",)
    assert _told(open_project(project_.rig_file)) == _told(project_)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (
            m.SetPose(what="roll", pose={"left.foot.roll": 95.0}),
            "left.foot.roll = 95° is out of range; expected -40 to 90. Choose a value inside, or widen the range in "
            "the rig file under by_hand.ranges.",
        ),
        (
            m.SetPose(what="roll", pose={"left.foot.rol": 5.0}),
            '"left.foot.rol" is no channel of this rig; expected one such as "left.foot.roll". See `instep why` for '
            "what a control has.",
        ),
        (
            m.SetTuned(leg="left", number="tip_takes_over_deg", value=0.5),
            "by_hand.tuned.left.tip_takes_over_deg = 0.5 is refused: Input should be greater than or equal to 1. "
            "Choose another value; nothing has been changed.",
        ),
        (m.SetTuned(leg="third", number="hold", value=0.5), '"third" is no leg of this rig.'),
        (m.Mirror(leg="third"), "third has no leg on the other side. Pose the sides by themselves."),
        (m.Cure(check="floor", number=0), "floor has no such cure. Prove again and choose one that is offered."),
        (m.TakeExercise(name="flight"), '"flight" is no exercise of this rig.'),
        (
            m.HandOver(folder="../elsewhere"),
            '"../elsewhere" leads out of the folder of the rig file; expected a folder inside it, such as out. Name '
            "another folder; for a place elsewhere use instep rig on the command line.",
        ),
        (
            m.SetLandmark(name="left.tipp", point=(0.0, 0.0, 0.0)),
            "biped.rig.toml: by_hand.landmarks: there is no landmark 'left.tipp'; expected a leg (left, right) and one "
            "of hip, knee, ankle, ball, toe, heel, tip, inner, outer. The nearest known name is 'left.tip'.",
        ),
    ],
)
def test_what_is_refused_changes_nothing(ask: m.Ask, message: str, project_: Project) -> None:
    before, text = _told(project_), project_.rig_file.read_bytes()
    with pytest.raises(InstepError) as caught:
        project_.do(ask)
    assert str(caught.value) == message
    assert _told(project_) == before
    assert project_.rig_file.read_bytes() == text
    assert not list(project_.rig_file.parent.glob(".*"))


def test_a_journal_that_cannot_be_written_leaves_the_rig_file_as_it_was(project_: Project) -> None:
    text = project_.rig_file.read_bytes()
    project_.journal.path = project_.journal.path.parent / "gone" / "j"
    with pytest.raises(OutputError, match="cannot be written"):
        project_.do(m.SetTuned(leg="left", number="hold", value=0.5))
    assert project_.rig_file.read_bytes() == text
    assert project_.description.by_hand.tuned == {}


def test_a_change_outside_is_told_and_either_side_can_be_taken(project_: Project) -> None:
    path = project_.rig_file
    text = path.read_text()
    assert not project_.look_outside()
    path.write_text(text.replace('controls = "essential"', 'controls = "full"'))
    assert project_.look_outside()
    assert not project_.look_outside()
    outside = project_.state().outside
    assert outside is not None
    assert [(one.name, one.mine, one.theirs) for one in outside.differences] == [("controls", "essential", "full")]
    with pytest.raises(RigFileError) as caught:
        project_.do(m.SetTuned(leg="left", number="hold", value=0.5))
    assert str(caught.value) == (
        "biped.rig.toml: the rig file was changed outside. Take theirs or keep mine first; nothing has been written."
    )
    project_.do(m.SetPose(what="roll", pose={"left.foot.roll": 5.0}))  # posing goes on
    project_.do(m.Outside(take=True))
    assert project_.state().controls == "full"
    assert project_.state().outside is None
    project_.do(m.Undo())
    assert project_.state().controls == "essential"
    assert path.read_text() == text
    path.write_text(text.replace('controls = "essential"', 'controls = "full"'))
    project_.look_outside()
    project_.do(m.Outside(take=False))
    assert path.read_text() == text


def test_an_outside_change_that_is_no_rig_file_is_told_with_its_fault(project_: Project) -> None:
    text = project_.rig_file.read_bytes()
    project_.rig_file.write_text("controls = ")
    project_.look_outside()
    outside = project_.state().outside
    assert outside is not None
    assert outside.fault.startswith("biped.rig.toml: this is not valid TOML")
    project_.do(m.Outside(take=False))
    assert read_rig_file(project_.rig_file) == project_.description
    assert project_.rig_file.read_bytes() == text


def test_a_change_between_two_looks_is_not_written_over(project_: Project) -> None:
    theirs = project_.rig_file.read_text().replace("plain = true", "plain = false")
    project_.rig_file.write_text(theirs)
    with pytest.raises(RigFileError) as caught:
        project_.do(m.SetTuned(leg="left", number="hold", value=0.5))
    assert str(caught.value) == (
        "biped.rig.toml: the rig file was changed outside just now. Take theirs or keep mine first; nothing has been "
        "written."
    )
    assert project_.rig_file.read_text() == theirs
    assert project_.state().outside is not None


def test_what_changed_while_the_bench_was_closed_is_taken_and_can_be_undone(project_: Project) -> None:
    text = project_.rig_file.read_text()
    project_.rig_file.write_text(text.replace('controls = "essential"', 'controls = "full"'))
    again = open_project(project_.rig_file)
    assert again.state().controls == "full"
    assert again.state().undo == "changed outside while the bench was closed"
    again.do(m.Undo())
    assert again.state().controls == "essential"


def test_mirroring_and_swapping_are_by_equal_values(project_: Project) -> None:
    project_.do(m.SetPose(what="a", pose={"left.foot.roll": 20.0, "right.foot.bank": 5.0, "pelvis.across": 0.01}))
    project_.do(m.Mirror(leg="left", swap=True))
    assert project_.pose == {"right.foot.roll": 20.0, "left.foot.bank": 5.0, "pelvis.across": -0.01}
    project_.do(m.Mirror(leg="left"))
    assert project_.pose == {"right.foot.bank": 5.0, "left.foot.bank": 5.0, "pelvis.across": -0.01}


def test_a_leg_is_posed_by_its_joints_without_moving(project_: Project) -> None:
    project_.do(m.Build(controls="full", plain=True, options={}))
    pose = {"left.foot.along": 0.05, "left.foot.up": 0.06, "left.foot.roll": 15.0}
    project_.do(m.SetPose(what="a", pose=pose))
    before = project_.rig.pose(project_.pose).position
    assert project_.do(m.Match(leg="left", to="joints")) == ()
    assert project_.pose["left.leg.forward"] == 1.0
    after = project_.rig.pose(project_.pose).position
    assert np.abs(after - before).max() < 1e-6 * project_.rig.plan.unit
    with pytest.raises(ChannelError):
        project_.do(m.Match(leg="third", to="joints"))


def test_a_cure_is_the_edit_of_the_rig_file_that_it_says(project_: Project) -> None:
    measure = Measure("sinking", 0.02, 0.005, "of foot length", length=0.25, pose={"left.foot.roll": 39.0}, leg="left")
    edit = Edit(("by_hand", "tuned", "left", "hold"), 0.5)
    cures = [Cure("Let the toes hold half", 0.004, (edit,)), Cure("Paint the weights anew")]
    finding = conclude("floor", "The sole stays on the floor.", [measure], cause="It sinks.", cures=cures)
    report = Report(1, "biped.glb", 0.8, {"left": 0.25}, 0, (finding,))
    project_.take_report(report, project_.rig_revision, "")
    state = project_.state()
    assert state.proof is not None
    told = state.proof.findings[0]
    assert (told.figure, told.allowance, told.verdict) == ("5.00 mm", "at most 1.25 mm", "falls short")
    assert [(cure.sentence, cure.reaches, cure.can_be_made) for cure in told.cures] == [
        ("Let the toes hold half", "1.00 mm", True),
        ("Paint the weights anew", "", False),
    ]
    assert state.steps[3].words == "1 of 1 fall short"
    assert project_.do(m.Cure(check="floor", number=0)) == ("Let the toes hold half",)
    assert read_rig_file(project_.rig_file).by_hand.tuned["left"].hold == 0.5
    assert project_.state().steps[3].state == "stale"
    with pytest.raises(RigFileError, match="floor has no such cure"):
        project_.do(m.Cure(check="floor", number=1))


def test_handing_over_writes_what_the_command_line_writes(project_: Project) -> None:
    project_.do(m.TakeExercise(name="toes"))
    project_.do(m.HandOver(folder="out"))
    written = [one.file for one in project_.state().handed_over]
    assert written == [
        "out/biped.rig.toml",
        "out/biped.rig.json",
        "out/biped.glb",
        "out/biped.html",
        "out/biped.score.glb",
    ]
    for file in written:
        assert (project_.rig_file.parent / file).stat().st_size > 500
    assert project_.state().steps[-1].state == "done"
    project_.do(m.SetTuned(leg="left", number="hold", value=0.5))
    assert project_.state().steps[-1].state == "stale"


def test_scores_follow_the_exercises_that_they_are_made_of(project_: Project) -> None:
    for exercise in exercises(project_.rig):
        score = score_of_exercise(project_.rig, exercise)
        times = score_times(score)
        np.testing.assert_allclose(times, exercise.times_s, atol=1e-9)
        values = score_values(project_.rig, score, times)
        travel = np.maximum(np.ptp(exercise.values, axis=0), 1e-9)
        assert (np.abs(values - exercise.values) / travel).max() < 0.03, exercise.name
        assert max(len(keys) for keys in score.keys.values()) <= 60


def test_a_standing_foot_bears_all_the_time_and_a_lifted_one_never(project_: Project) -> None:
    lifted: dict[str, tuple[m.Key, ...]] = {"left.foot": (m.Key(time_s=0.0, values={"up": 0.1}),)}
    project_.do(m.SetScore(what="a", score=m.Score(name="a", duration_s=1.0, keys=lifted)))
    left, right = project_.state().footfalls
    assert left.bearings == ()
    assert {(one.part, one.start_s, one.end_s, one.slides) for one in right.bearings} == {
        (part, 0.0, 1.0, 0.0) for part in ("heel", "ball", "tip")
    }
