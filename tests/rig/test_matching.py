"""Matching: the same pose by other channels. Law: poses before and after are equal."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.errors import ChannelError
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.matching import match_forward, match_inverse, switch_space
from tests.measured import make_measured_biped

OPTIONS: list[dict[str, Any]] = [
    {},
    {"toe_out_deg": 20.0, "heel_height": 0.05},
    {"R_world": np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]]), "scale": 100.0},
    {"knee_bend_deg": 0.0},
]


def _rig(options: dict[str, Any], controls: str = "full") -> Rig:
    character, measurement = make_measured_biped(**options)
    return build_rig(
        character, measurement, RigDescription.model_validate({"character": "biped", "controls": controls})
    )


def _random_values(rig: Rig, frames: int, seed: int) -> FloatArray:
    """Turns within a quarter of their range, moves within a fifth of the leg, bones at their rest length."""
    rng = np.random.default_rng(seed)
    values = np.tile(rig.defaults, (frames, 1))
    for number, channel in enumerate(rig.channels):
        if channel.unit == "length":
            values[:, number] = rng.uniform(-0.2, 0.2, frames) * rig.plan.unit
        elif channel.quantity not in {"forward", "pin", "slide", "stretch", "scale"}:
            span = 0.25 * (channel.high - channel.low)
            values[:, number] += rng.uniform(-span, span, frames)
            values[:, number] = values[:, number].clip(channel.low, channel.high)
    return values


def _apart(rig: Rig, a: Poses, b: Poses) -> tuple[float, float]:
    """Largest distance of a joint (of leg length), and of a turn (chord of the quaternions)."""
    place = float(np.abs(a.position - b.position).max()) / rig.plan.unit
    sign = np.sign((a.rotation * b.rotation).sum(axis=-1, keepdims=True))
    return place, float(np.abs(a.rotation - sign * b.rotation).max())


@pytest.mark.parametrize("options", OPTIONS)
@pytest.mark.parametrize("leg", ["left", "right"])
def test_inverse_becomes_forward_without_a_jump(options: dict[str, Any], leg: str) -> None:
    rig = _rig(options)
    values = _random_values(rig, 200, 1)
    matched = match_forward(rig, values, leg)
    assert np.all(matched[:, rig.channel(f"{leg}.leg.forward")] == 1.0)
    place, turn = _apart(rig, rig.evaluate(values), rig.evaluate(matched))
    assert place < 1e-9
    assert turn < 1e-9


@pytest.mark.parametrize("options", OPTIONS)
@pytest.mark.parametrize("leg", ["left", "right"])
def test_forward_with_a_turning_hinge_becomes_inverse_without_a_jump(options: dict[str, Any], leg: str) -> None:
    rig = _rig(options)
    values = match_forward(rig, _random_values(rig, 200, 2), leg)
    rng = np.random.default_rng(3)
    values[:, rig.channel(f"{leg}.shin.yaw")] = 0.0
    values[:, rig.channel(f"{leg}.shin.lean")] = 0.0
    values[:, rig.channel(f"{leg}.shin.pitch")] = rng.uniform(1.0, 140.0, len(values))
    matched = match_inverse(rig, values, leg)
    assert np.all(matched[:, rig.channel(f"{leg}.leg.forward")] == 0.0)
    place, turn = _apart(rig, rig.evaluate(values), rig.evaluate(matched))
    assert place < 1e-9
    assert turn < 1e-8


@pytest.mark.parametrize("leg", ["left", "right"])
def test_there_and_back_is_where_it_was(leg: str) -> None:
    rig = _rig({})
    values = _random_values(rig, 200, 4)
    back = match_inverse(rig, match_forward(rig, values, leg), leg)
    place, turn = _apart(rig, rig.evaluate(values), rig.evaluate(back))
    assert place < 1e-9
    assert turn < 1e-8


@pytest.mark.parametrize("space", ["pelvis", "world", "root"])
@pytest.mark.parametrize("leg", ["left", "right"])
def test_the_foot_changes_its_space_without_a_jump(space: str, leg: str) -> None:
    rig = _rig({"toe_out_deg": 12.0})
    values = _random_values(rig, 200, 5)
    place, turn = _apart(rig, rig.evaluate(values), rig.evaluate(switch_space(rig, values, leg, space)))
    assert place < 1e-9
    assert turn < 1e-9


def test_in_the_world_the_foot_then_stays_while_the_root_moves() -> None:
    rig = _rig({})
    values = switch_space(rig, _random_values(rig, 50, 6), "left", "world")
    values[:, rig.channel("pelvis.up")] = -0.3 * rig.plan.unit  # bent, so that most goals are in reach
    before = rig.evaluate(values).position[:, rig.measurement.legs[0].foot]
    moved = values.copy()
    moved[:, rig.channel("root.across")] += 0.01 * rig.plan.unit
    moved[:, rig.channel("root.yaw")] += 2.0
    after = rig.evaluate(moved).position[:, rig.measurement.legs[0].foot]
    # Where the leg reaches in both poses the ankle stays; a leg at full reach may fall short.
    hip = rig.measurement.legs[0].thigh
    reach = np.linalg.norm(after - rig.evaluate(moved).position[:, hip], axis=1)
    scale = values[:, rig.channel("root.scale")]
    inside = reach < 0.9 * rig.plan.unit * scale
    assert inside.sum() > 10
    assert np.abs(after - before)[inside].max() < 1e-9 * rig.plan.unit


def test_essential_controls_have_no_matching_and_say_so() -> None:
    rig = _rig({}, controls="essential")
    with pytest.raises(ChannelError) as caught:
        match_forward(rig, rig.defaults[None], "left")
    assert str(caught.value) == (
        '"left.leg.forward" is a channel that this rig leaves out; expected one of the 73 channels that it has. '
        'Write controls = "full" in the rig file, or take the channel out of by_hand.pinned.'
    )


def test_an_unknown_leg_is_named() -> None:
    rig = _rig({})
    with pytest.raises(ChannelError) as caught:
        match_inverse(rig, rig.defaults[None], "middle")
    assert str(caught.value) == '"middle" is no leg of this rig; expected one of left, right.'
