"""What the sheet says of a rig is what the rig does."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from instep.character import Character
from instep.delivery.rig_content import moves_in_words, sheet_content, title_of
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
