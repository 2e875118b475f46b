"""Plans: what does not fit a character is told whole; who carries whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.character import Character, Skeleton
from instep.character.arrays import FloatArray
from instep.errors import LandmarkError, RigFileError
from instep.landmarks import Measurement
from instep.rig import Rig, RigDescription, build_rig
from tests.measured import make_measured_biped
from tests.rig.made import SIDES, made_rig, random_values


def _built(**description: Any) -> Rig:
    character, measurement = make_measured_biped()
    return build_rig(character, measurement, RigDescription.model_validate({"character": "x", **description}))


def with_joint(character: Character, name: str, parent: str, place: Sequence[float] | FloatArray) -> Character:
    """The character with one more joint, last in the skeleton."""
    skeleton = character.skeleton
    bind = np.eye(4)
    bind[:3, 3] = place
    return replace(
        character,
        skeleton=Skeleton(
            (*skeleton.names, name),
            np.append(skeleton.parents, skeleton.index(parent)),
            np.concatenate([skeleton.bind, bind[None]]),
            np.concatenate([skeleton.rest, bind[None]]),
            np.concatenate([skeleton.link, np.eye(4)[None]]),
        ),
    )


def _with_place(measurement: Measurement, side: str, **places: FloatArray) -> Measurement:
    """The measurement with landmarks of one leg put elsewhere."""
    legs = tuple(
        replace(leg, **{name: replace(getattr(leg, name), position=place) for name, place in places.items()})
        if leg.name == side
        else leg
        for leg in measurement.legs
    )
    return replace(measurement, legs=legs)


@pytest.mark.parametrize(
    ("description", "where"),
    [
        ({"options": {"middle": {}}}, "options"),
        ({"tuned": {"middle": {}}}, "tuned"),
        ({"by_hand": {"tuned": {"middle": {}}}}, "by_hand.tuned"),
    ],
)
def test_an_unknown_leg(description: dict[str, Any], where: str) -> None:
    with pytest.raises(RigFileError) as caught:
        _built(**description)
    assert str(caught.value) == (
        f'{where}: the character has no leg "middle"; expected one of "left", "right". '
        "Correct the name, or delete the table."
    )


def test_an_unknown_space_names_the_nearest() -> None:
    with pytest.raises(RigFileError) as caught:
        _built(options={"left": {"spaces": ("pelvis", "chst")}})
    assert str(caught.value) == (
        'options.left.spaces: "chst" is nothing that a foot could follow; expected one such as "chest". '
        "Correct the name, or delete it from the list."
    )


def test_an_unknown_space_that_is_like_nothing() -> None:
    with pytest.raises(RigFileError) as caught:
        _built(options={"left": {"spaces": ("zzzz",)}})
    assert str(caught.value) == (
        'options.left.spaces: "zzzz" is nothing that a foot could follow; expected "pelvis" or the name of a joint. '
        "Correct the name, or delete it from the list."
    )


def test_a_plain_joint_is_no_space_where_there_are_no_plain_controls() -> None:
    with pytest.raises(RigFileError) as caught:
        _built(plain=False, options={"left": {"spaces": ("head",)}})
    assert str(caught.value).startswith('options.left.spaces: "head" is nothing that a foot could follow; expected ')


def test_a_space_that_stands_twice() -> None:
    with pytest.raises(RigFileError) as caught:
        _built(options={"right": {"spaces": ("pelvis", "head", "pelvis")}})
    assert str(caught.value) == (
        'options.right.spaces: "pelvis" stands there twice; expected each name once. Delete one of the two.'
    )


@pytest.mark.parametrize(
    ("start", "end", "joint"),
    [("hip", "knee", "shin.left"), ("knee", "ankle", "foot.left"), ("hip", "ankle", "foot.left")],
)
def test_a_bone_without_length(start: str, end: str, joint: str) -> None:
    character, measurement = make_measured_biped()
    measurement = _with_place(measurement, "left", **{end: measurement.legs[0].landmarks[start].position})
    with pytest.raises(LandmarkError) as caught:
        build_rig(replace(character, source=Path("folder/grub.glb")), measurement)
    assert str(caught.value) == (
        f'grub.glb: the left leg has no length from {start} to {end} (joint "{joint}"); expected joints at hip, knee '
        f'and ankle that stand apart. Move the joint in the model, or set "left.{end}" by hand.'
    )


def test_landmarks_set_by_hand_carry_their_joints_rigidly() -> None:
    """A hip or a ball that stands beside its joint: rest stays exact, and the joint turns about the landmark."""
    character, measurement = make_measured_biped(toe_out_deg=10.0)
    left = measurement.legs[0].landmarks
    moved = _with_place(
        measurement,
        "left",
        hip=left["hip"].position + np.array([0.01, -0.02, 0.03]),
        knee=left["knee"].position + np.array([0.0, 0.01, 0.02]),
        ball=left["ball"].position + np.array([0.0, -0.01, 0.02]),
    )
    rig = build_rig(character, moved, RigDescription(character="x", controls="full"))
    skeleton = character.skeleton
    rest = rig.evaluate(rig.defaults)
    assert np.abs(rest.position - skeleton.positions).max() < 1e-9 * moved.leg_length
    poses = rig.evaluate(random_values(rig, 300, 1))
    changes = poses.changes(skeleton)
    # What the thigh says of the landmark and what the pelvis says of it agree: the hip stays in its socket.
    hip = moved.legs[0].hip.position
    for joint in ("thigh.left", "pelvis"):
        change = changes[:, skeleton.index(joint)]
        place = change[..., :3] @ hip + change[..., 3]
        socket = changes[:, skeleton.index("pelvis")]
        wanted = socket[..., :3] @ hip + socket[..., 3]
        size = 1.0 + np.abs(wanted).max()
        np.testing.assert_allclose(place, wanted, rtol=0, atol=1e-9 * size)


def test_every_joint_has_a_driver_and_plain_controls_have_names_of_their_own() -> None:
    character, measurement = make_measured_biped()
    for name in ("left.foot", "left.thigh"):
        character = with_joint(character, name, "head", [0.0, 1.8, 0.0])
    rig = build_rig(character, measurement, RigDescription(character="x"))
    assert {plain.name for plain in rig.plan.plains} >= {"joint.left.foot", "joint.left.thigh", "head"}
    assert len(set(rig.plan.drivers)) == len(rig.plan.drivers)
    assert np.all(rig.plan.followers >= 0)


def test_joints_hang_on_what_carries_them() -> None:
    rig = made_rig("toe ends", "essential", True)
    skeleton, drivers = rig.character.skeleton, rig.plan.drivers
    driver = {name: drivers[rig.plan.followers[j]] for j, name in enumerate(skeleton.names)}
    assert driver["root"] == "root"
    assert driver["pelvis"] == "pelvis"
    for side in SIDES:
        for part in ("thigh", "shin", "foot", "toes"):
            assert driver[f"{part}.{side}"] == f"{side}.{part}"
        assert driver[f"toe_end.{side}"] == f"{side}.toes"
        assert driver[f"hand.{side}"] == f"hand.{side}"
    without = made_rig("plain", "essential", False)
    followers = without.plan.followers
    driver = {name: without.plan.drivers[followers[j]] for j, name in enumerate(without.character.skeleton.names)}
    assert {driver[name] for name in ("spine", "head", "hand.left")} == {"pelvis"}


def test_a_straight_leg_bends_forward() -> None:
    rig = made_rig("straight knee")
    for leg in rig.plan.legs:
        np.testing.assert_allclose(list(leg.bend), [0.0, 0.0, 1.0], rtol=0, atol=1e-12)
        assert leg.soft < 1e-12


def test_a_short_shin_keeps_half_of_itself_when_the_knee_slides() -> None:
    character, measurement = make_measured_biped()
    leg = measurement.legs[0].landmarks
    knee = leg["ankle"].position + 0.15 * (leg["hip"].position - leg["ankle"].position) + [0.0, 0.0, 0.02]
    rig = build_rig(
        character,
        _with_place(measurement, "left", knee=knee),
        RigDescription(character="x", controls="full"),
    )
    channel = rig.channels[rig.channel("left.knee.slide")]
    thigh, shin = (np.linalg.norm(knee - leg[name].position) for name in ("hip", "ankle"))
    assert abs(channel.high * thigh - 0.5 * shin) < 1e-12
    poses = rig.pose({"left.knee.slide": channel.high, "left.foot.up": np.linspace(0, 0.5, 50)})
    assert np.isfinite(poses.position).all()
    assert rig.channels[rig.channel("right.knee.slide")].high == 0.3


def test_tuned_by_hand_wins_over_solved() -> None:
    rig = _built(
        controls="full",
        tuned={"left": {"hold": 0.9, "ball_gives_out_deg": 30.0}, "right": {"hold": 0.8}},
        by_hand={"tuned": {"left": {"hold": 0.5, "tip_takes_over_deg": 50.0}}},
    )
    left, right = rig.plan.legs
    assert (left.hold, left.ball_gives_out_deg, left.tip_takes_over_deg) == (0.5, 30.0, 50.0)
    assert (right.hold, right.ball_gives_out_deg, right.tip_takes_over_deg) == (0.8, 35.0, 62.0)
    assert rig.channels[rig.channel("left.toes.hold")].default == 0.5
