"""The foot's pivots: each leaves its own point where it is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.rig import Rig, RigDescription, build_rig
from tests.measured import make_measured_biped
from tests.rig.made import (
    BIPEDS,
    SIDES,
    Side,
    at_rest,
    joint_places,
    landmark,
    made_rig,
    points_of,
    random_values,
    with_values,
)

FRAMES = 200
STILL = 1e-9
"""Of leg length."""


def _low(rig: Rig, frames: int = FRAMES) -> FloatArray:
    """At rest but for the pelvis, lowered so that the legs reach what the pivots do to the ankles."""
    return with_values(rig, at_rest(rig, frames), {"pelvis.up": -0.3 * rig.plan.unit})


def _drawn(seed: int, limit_deg: float) -> FloatArray:
    return np.random.default_rng(seed).uniform(-limit_deg, limit_deg, FRAMES)


def _drift(rig: Rig, values: FloatArray, joint: str, point: FloatArray) -> float:
    """How far a point fixed to a joint gets away from where it is in the bind pose, of leg length."""
    moved = points_of(rig, rig.evaluate(values), joint, point)
    return float(np.abs(moved - point).max()) / rig.plan.unit


def _moves_at_all(rig: Rig, values: FloatArray, side: Side) -> bool:
    ankle = joint_places(rig, rig.evaluate(values), f"foot.{side}")
    return bool(np.abs(ankle - ankle[0]).max() > 1e-3 * rig.plan.unit)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", BIPEDS)
@pytest.mark.parametrize(
    ("point", "limit", "channels"),
    [
        ("heel", 25.0, ("heel.yaw", "heel.pitch", "heel.lean")),
        ("tip", 25.0, ("tip.yaw", "tip.pitch", "tip.lean")),
        ("outer", 30.0, ("outer.lean",)),
        ("inner", 30.0, ("inner.lean",)),
    ],
)
def test_a_pivot_leaves_its_point(biped: str, side: Side, point: str, limit: float, channels: tuple[str, ...]) -> None:
    rig = made_rig(biped, "full")
    drawn = {f"{side}.{channel}": _drawn(seed, limit) for seed, channel in enumerate(channels)}
    values = with_values(rig, _low(rig), drawn)
    joint = f"toes.{side}" if point == "tip" and biped != "no toes" else f"foot.{side}"
    assert _drift(rig, values, joint, landmark(rig, side, point)) < STILL
    assert _moves_at_all(rig, values, side)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", BIPEDS)
def test_roll_turns_about_heel_then_ball_then_tip(biped: str, side: Side) -> None:
    rig = made_rig(biped, "full")
    roll = f"{side}.foot.roll"
    foot, toes = f"foot.{side}", f"foot.{side}" if biped == "no toes" else f"toes.{side}"
    back = with_values(rig, _low(rig), {roll: np.linspace(-40.0, 0.0, FRAMES)})
    assert _drift(rig, back, foot, landmark(rig, side, "heel")) < STILL
    forward = with_values(rig, _low(rig), {roll: np.linspace(0.0, 75.0, FRAMES)})
    assert _drift(rig, forward, toes, landmark(rig, side, "tip")) < STILL
    assert _moves_at_all(rig, forward, side)
    if biped != "no toes":
        before = with_values(rig, _low(rig), {roll: np.linspace(0.0, 35.0, FRAMES)})
        for joint in (foot, toes):
            assert _drift(rig, before, joint, landmark(rig, side, "ball")) < STILL
        assert _drift(rig, before, toes, landmark(rig, side, "inner")) < STILL  # any point of the toes


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", [name for name in BIPEDS if name != "no toes"])
def test_the_ball_stays_while_it_lifts_the_heel_and_the_toes_hold(biped: str, side: Side) -> None:
    """0 to 60 degrees, as the issue asks; also with the ball's other turns."""
    rig = made_rig(biped, "full")
    lift = np.linspace(0.0, 60.0, FRAMES)
    turns = {f"{side}.ball.pitch": lift, f"{side}.ball.yaw": _drawn(1, 20.0), f"{side}.ball.lean": _drawn(2, 20.0)}
    values = with_values(rig, _low(rig), turns | {f"{side}.toes.hold": 1.0})
    assert _moves_at_all(rig, values, side)
    ball = landmark(rig, side, "ball")
    for joint in (f"foot.{side}", f"toes.{side}"):
        assert _drift(rig, values, joint, ball) < STILL
    for name in ("tip", "inner", "outer"):
        assert _drift(rig, values, f"toes.{side}", landmark(rig, side, name)) < STILL


@pytest.mark.parametrize("side", SIDES)
def test_without_hold_the_toes_go_with_the_foot(side: Side) -> None:
    rig = made_rig("toe-out", "full")
    values = with_values(rig, _low(rig), {f"{side}.ball.pitch": np.linspace(0, 60, FRAMES), f"{side}.toes.hold": 0.0})
    poses = rig.evaluate(values)
    tip = landmark(rig, side, "tip")
    with_foot, with_toes = (points_of(rig, poses, f"{joint}.{side}", tip) for joint in ("foot", "toes"))
    np.testing.assert_allclose(with_toes, with_foot, rtol=0, atol=1e-12)


@pytest.mark.parametrize("side", SIDES)
def test_bank_and_twist_stay_on_the_sole(side: Side) -> None:
    rig = made_rig("all at once", "full")
    for low, high, point in ((0.0, 40.0, "outer"), (-40.0, 0.0, "inner")):
        values = with_values(rig, _low(rig), {f"{side}.foot.bank": np.linspace(low, high, FRAMES)})
        assert _drift(rig, values, f"foot.{side}", landmark(rig, side, point)) < STILL
    twisted = with_values(rig, _low(rig), {f"{side}.foot.twist": np.linspace(-60.0, 60.0, FRAMES)})
    poses = rig.evaluate(twisted)
    leg = next(leg for leg in rig.measurement.legs if leg.name == side)
    heel = leg.heel.position
    for name in ("heel", "tip", "inner", "outer"):
        moved = points_of(rig, poses, f"foot.{side}", landmark(rig, side, name))
        height = (moved - heel) @ leg.sole_normal - (landmark(rig, side, name) - heel) @ leg.sole_normal
        assert np.abs(height).max() / rig.plan.unit < STILL


@pytest.mark.parametrize("side", SIDES)
def test_the_pivots_together_leave_the_outermost_alone(side: Side) -> None:
    """Toes and ball turn within the tip, the tip within the edges, these within the heel: an inner pivot's
    point is carried by the outer ones as any other point of the sole is."""
    rig = made_rig("plain", "full")
    outer_only = {f"{side}.heel.pitch": _drawn(1, 15.0), f"{side}.outer.lean": _drawn(2, 15.0)}
    inner_too = {f"{side}.tip.pitch": _drawn(3, 10.0), f"{side}.tip.lean": _drawn(4, 10.0)}
    tip = landmark(rig, side, "tip")
    a, b = (
        points_of(rig, rig.evaluate(with_values(rig, _low(rig), settings)), f"toes.{side}", tip)
        for settings in (outer_only, outer_only | inner_too)
    )
    np.testing.assert_allclose(a, b, rtol=0, atol=1e-12)


@pytest.mark.parametrize("space", ["pelvis", "head", "hand.left"])
def test_a_foot_follows_a_space(space: str) -> None:
    """At follow 1 the foot keeps its place relative to what it follows."""
    character, measurement = make_measured_biped()
    options: dict[str, Any] = {side: {"spaces": ("pelvis", "head", "hand.left")} for side in SIDES}
    description = RigDescription.model_validate({"character": "x", "controls": "full", "options": options})
    rig = build_rig(character, measurement, description)
    values = random_values(rig, FRAMES, 5, share=0.15, reach=0.1)
    for side in SIDES:
        for name in ("pelvis", "head", "hand.left", "world"):
            values = with_values(rig, values, {f"{side}.foot.follow_{name}": 1.0 if name == space else 0.0})
        for channel in rig.channels:
            if channel.control.startswith(f"{side}."):
                wanted = 1.0 if channel.quantity in (f"follow_{space}", "stretch") else channel.default
                values = with_values(rig, values, {channel.name: wanted})
    poses = rig.evaluate(values)
    changes = poses.changes(character.skeleton)
    for side in SIDES:
        ankle = landmark(rig, side, "ankle")
        followed = changes[:, character.skeleton.index(space)]
        wanted_place = followed[..., :3] @ ankle + followed[..., 3]
        off = np.linalg.norm(joint_places(rig, poses, f"foot.{side}") - wanted_place, axis=1)
        hip = points_of(rig, poses, "pelvis", landmark(rig, side, "hip"))
        scale = poses.scale
        within = np.linalg.norm(wanted_place - hip, axis=1) / scale < 1.14 * rig.plan.unit
        assert within.sum() > 20
        assert off[within].max() < 1e-9
        foot, parent = (poses.rotation[:, character.skeleton.index(name)] for name in (f"foot.{side}", space))
        np.testing.assert_allclose(np.abs((foot * parent).sum(axis=1)), 1.0, rtol=0, atol=1e-12)
