"""What the sheet says of a rig is what the rig does."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character import Character
from instep.character.skinning import skin_vertices
from instep.checks.model import REPORT_VERSION, Measure, Place, Report, conclude, inapplicable
from instep.delivery.rig_content import moves_in_words, sheet_content, title_of, worst_poses
from instep.landmarks import measure
from instep.rig import Rig, RigDescription, build_rig
from tests.biped import make_biped
from tests.measured import make_measured_biped


def _rig(toes: bool = True, **options: object) -> Rig:
    made = make_biped(toes=toes)
    character = Character(made.name, made.skeleton, made.mesh, source=Path("marsh_troll.glb"))
    description = RigDescription.model_validate({"character": "marsh_troll.glb", **options})
    return build_rig(character, measure(character), description)


def test_each_channel_says_what_it_moves() -> None:
    rig = _rig(controls="full")
    names = [channel.name for channel in rig.channels]
    words = {name: moves_in_words(rig, number) for number, name in enumerate(names)}
    assert {name: words[name] for name in (
        "root.up", "pelvis.yaw", "spine.yaw", "head.yaw", "left.foot.roll", "right.toes.bend", "left.knee.twist",
        "left.toes.hold", "left.ankle.pitch",
    )} == {
        "root.up": "everything",
        "pelvis.yaw": "pelvis, both legs, all other joints",
        "spine.yaw": "its joint and 9 that hang on it",
        "head.yaw": "its joint",
        "left.foot.roll": "the whole leg",
        "right.toes.bend": "toes",
        "left.knee.twist": "the whole leg",  # at full forward kinematics the knee carries the foot
        "left.toes.hold": "toes",
        "left.ankle.pitch": "foot, toes",
    }  # fmt: skip


def test_a_control_of_one_leg_that_the_other_follows_names_the_other() -> None:
    made, measurement = make_measured_biped()
    description = RigDescription.model_validate(
        {"character": "x", "controls": "full", "options": {"left": {"spaces": ("right.foot",)}}}
    )
    rig = build_rig(made, measurement, description)
    number = [channel.name for channel in rig.channels].index("right.heel.yaw")
    assert moves_in_words(rig, number) == "both legs"
    number = [channel.name for channel in rig.channels].index("right.ankle.yaw")
    assert moves_in_words(rig, number) == "the whole leg, left, foot, toes"


def test_the_content_holds_every_channel_the_roll_and_the_shapes() -> None:
    rig = _rig()
    content = sheet_content(rig, "marsh_troll.rig.toml", date(2026, 12, 31))
    assert (content.title, content.file_name, content.date) == ("Marsh troll", "marsh_troll.glb", "31 December 2026")
    assert [f"{row.control}.{row.name}" for row in content.channels] == [channel.name for channel in rig.channels]
    (roll,) = content.rolls
    assert (roll.degrees[0], roll.degrees[-1], 0.0 in roll.degrees) == (-40.0, 90.0, True)
    assert set(np.diff(roll.degrees)) == {5.0}
    assert rig.character.mesh is not None
    np.testing.assert_allclose(roll.vertices[roll.degrees.index(0.0)], rig.character.mesh.positions, atol=1e-9)
    assert roll.hold == 1.0
    assert {control.control for control in content.controls} >= {"root", "pelvis", "left.foot", "right.knee", "spine"}


def test_a_foot_without_toes_has_no_hold_and_a_pinned_roll_is_not_drawn() -> None:
    assert sheet_content(_rig(toes=False), "", date(2026, 1, 1)).rolls[0].hold is None
    pinned = _rig(by_hand={"pinned": {"left.foot.roll": 0.0}})
    assert sheet_content(pinned, "", date(2026, 1, 1)).rolls == ()


@pytest.mark.parametrize(("stem", "title"), [("grub", "Grub"), ("marsh_troll-2", "Marsh troll 2"), ("_", "_")])
def test_titles(stem: str, title: str) -> None:
    assert title_of(stem) == title


def test_worst_poses_are_those_of_the_rig_with_their_places_carried_along() -> None:
    rig = _rig()
    leg = rig.measurement.legs[0]
    mesh = rig.character.mesh
    assert mesh is not None
    vertex = int(leg.sole[0])
    joint = rig.character.skeleton.names[leg.foot]
    pose = {"root.yaw": 70.0, "root.up": 0.3, "left.foot.up": 0.2, "left.foot.roll": -15.0, "none.such": 3.0}
    still = Measure("w", 1.0, 2.0, "of foot length")
    measures = {
        "heel": replace(still, pose=pose, place=Place("landmark", "left.heel", tuple(leg.heel.position))),
        "joint": replace(still, pose=pose, place=Place("joint", joint, (0.0, 0.0, 0.0))),
        "vertex": replace(still, pose=pose, place=Place("vertex", str(vertex), (0.0, 0.0, 0.0))),
        "nowhere": replace(still, pose=pose, place=Place("landmark", "third.heel", (0.0, 0.0, 0.0))),
        "rest": still,
    }
    found = [conclude(name, "claim", [measure]) for name, measure in measures.items()]
    report = Report(REPORT_VERSION, "x", 1.0, {}, 0, (*found, inapplicable("absent", "claim", "cause")))
    worst = {pose.check: pose for pose in worst_poses(rig, report)}
    assert list(worst) == list(measures)

    poses = rig.pose({name: value for name, value in pose.items() if name != "none.such"})
    skinned = skin_vertices(mesh, rig.character.skeleton, poses)[0]
    assert np.abs(worst["heel"].vertices - skinned).max() < 1e-12
    assert np.abs(worst["heel"].joints - poses.position[0]).max() < 1e-12
    # rolled back, the foot turns about its heel point, which stays where the foot control has put it
    foot = worst["heel"].feet["left"]
    places = {name: np.asarray(worst[name].place, dtype=np.float64) for name in ("heel", "joint", "vertex")}
    assert np.abs(places["heel"] - (foot[:, :3] @ leg.heel.position + foot[:, 3])).max() < 1e-6
    assert np.abs(places["joint"] - poses.position[0, leg.foot]).max() < 1e-12
    assert np.abs(places["vertex"] - skinned[vertex]).max() < 1e-12
    assert worst["nowhere"].place is None
    turn = Rotation.from_euler("y", 70.0, degrees=True).as_matrix()
    assert np.abs(worst["heel"].root[:, :3] - turn).max() < 1e-9
    assert np.abs(worst["rest"].vertices - mesh.positions).max() < 1e-9
    assert np.abs(worst["rest"].root - np.eye(3, 4)).max() < 1e-9


def test_without_a_mesh_there_are_no_worst_poses() -> None:
    rig = _rig()
    bare = replace(rig, character=replace(rig.character, mesh=None))
    report = Report(REPORT_VERSION, "x", 1.0, {}, 0, (conclude("c", "s", [Measure("w", 1.0, 2.0, "")]),))
    assert worst_poses(bare, report) == ()
