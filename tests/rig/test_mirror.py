"""Left and right: a mirrored pose has equal channel values, and signs mean the same on both sides."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.rig import Rig
from instep.rig.channels import MIDDLE_FLIPS, ControlSet
from tests.rig.made import (
    BIPEDS,
    SIDES,
    Side,
    at_rest,
    extreme_values,
    in_body,
    joint_places,
    landmark,
    made_rig,
    points_of,
    random_values,
    singular_values,
    with_values,
)

CONTROLS: tuple[ControlSet, ...] = get_args(ControlSet)


def _partner(name: str) -> str:
    """The same name on the other side; the name itself in the middle."""
    swap = {"left": "right", "right": "left"}
    return ".".join(swap.get(part, part) for part in name.split("."))


def _mirrored_values(rig: Rig, values: FloatArray) -> FloatArray:
    names = [channel.name for channel in rig.channels]
    mirrored = np.empty_like(values)
    for number, channel in enumerate(rig.channels):
        other = _partner(channel.name)
        flips = other == channel.name and channel.quantity in MIDDLE_FLIPS
        mirrored[:, number] = values[:, names.index(other)] * (-1.0 if flips else 1.0)
    return mirrored


@pytest.mark.parametrize("plain", [True, False])
@pytest.mark.parametrize("controls", CONTROLS)
@pytest.mark.parametrize("biped", ["plain", "straight knee", "backward knee", "no toes", "all at once"])
def test_mirrored_channels_give_the_mirrored_pose(biped: str, controls: ControlSet, plain: bool) -> None:
    rig = made_rig(biped, controls, plain)
    values = np.concatenate([random_values(rig, 300, 1), extreme_values(rig, 100, 2), singular_values(rig)])
    # At its singular places the leg magnifies rounding: a direction 1e-10 from the opposite is known to 1e-5, and
    # a straight leg bends by the root of what its ankle is off. There 1e-5 of the size is allowed.
    allowed = np.where(np.arange(len(values)) < 400, 1e-9, 1e-5)[:, None, None]
    here, there = rig.evaluate(values), rig.evaluate(_mirrored_values(rig, values))
    skeleton = rig.character.skeleton
    order = [skeleton.index(_partner(name)) for name in skeleton.names]
    p_body = in_body(rig, here.position)
    middle = float(in_body(rig, skeleton.positions[rig.measurement.pelvis])[0])
    wanted = p_body * [-1.0, 1.0, 1.0] + [2.0 * middle, 0.0, 0.0]
    found = in_body(rig, there.position)[:, order]
    # Rounding grows with the distance from the origin of a character that is scaled tenfold and moved.
    size = rig.plan.unit + np.abs(wanted).max(axis=(1, 2), keepdims=True)
    assert np.all(np.abs(found - wanted) / size < allowed)
    v = in_body(rig, here.rotation[..., 1:])
    q_wanted = np.concatenate([here.rotation[..., :1], v * [1.0, -1.0, -1.0]], axis=-1)
    q_found = np.concatenate([there.rotation[..., :1], in_body(rig, there.rotation[..., 1:])], axis=-1)[:, order]
    sign = np.where((q_wanted * q_found).sum(axis=-1, keepdims=True) < 0, -1.0, 1.0)
    turned_apart = np.abs(q_found * sign - q_wanted)
    assert turned_apart[:400].max() < 1e-9
    if controls == "essential":  # in the full rig a knee can be pinned to the hip: no thigh, no turn of the thigh
        assert turned_apart.max() < 1e-5
    np.testing.assert_array_equal(here.scale, there.scale)


def _moves(rig: Rig, joint: str, place: FloatArray, settings: dict[str, float]) -> FloatArray:
    """(3,) how far a point fixed to a joint moves, in the body's axes."""
    poses = rig.pose(settings)
    return in_body(rig, points_of(rig, poses, joint, place)[0] - place)


@pytest.mark.parametrize("biped", ["plain", "no toes", "toe-out", "heeled", "all at once"])
@pytest.mark.parametrize("side", SIDES)
class TestSigns:
    """What a positive value does, on either side. `outward` is +1 to the left on the left side."""

    def _rig(self, biped: str) -> Rig:
        return made_rig(biped, "full")

    def _outward(self, side: Side) -> float:
        return 1.0 if side == "left" else -1.0

    def test_roll_lifts_the_heel(self, biped: str, side: Side) -> None:
        rig = self._rig(biped)
        heel = landmark(rig, side, "heel")
        assert _moves(rig, f"foot.{side}", heel, {f"{side}.foot.roll": 25.0})[1] > 0.01 * rig.plan.unit

    def test_roll_below_0_lifts_the_tip_about_the_heel(self, biped: str, side: Side) -> None:
        rig = self._rig(biped)
        settings = {f"{side}.foot.roll": -20.0, "pelvis.up": -0.1 * rig.plan.unit}
        for name, sign in (("heel", 0.0), ("tip", 1.0)):
            joint = f"toes.{side}" if name == "tip" and biped != "no toes" else f"foot.{side}"
            up = _moves(rig, joint, landmark(rig, side, name), settings)[1]
            assert abs(up) < 1e-9 * rig.plan.unit if sign == 0.0 else up > 0.05 * rig.plan.unit

    def test_bank_turns_onto_the_outer_edge(self, biped: str, side: Side) -> None:
        rig = self._rig(biped)
        low, high = ("outer", "inner")
        for value in (15.0, -15.0):
            settings = {f"{side}.foot.bank": value, "pelvis.up": -0.1 * rig.plan.unit}
            stays = _moves(rig, f"foot.{side}", landmark(rig, side, low), settings)
            lifts = _moves(rig, f"foot.{side}", landmark(rig, side, high), settings)
            assert np.abs(stays).max() < 1e-9 * rig.plan.unit
            assert lifts[1] > 0.01 * rig.plan.unit
            low, high = high, low

    def test_twist_turns_the_toes_outward_and_the_heel_inward(self, biped: str, side: Side) -> None:
        rig = self._rig(biped)
        for name, sign in (("tip", 1.0), ("heel", -1.0)):
            across = _moves(rig, f"foot.{side}", landmark(rig, side, name), {f"{side}.foot.twist": 20.0})[0]
            assert sign * across * self._outward(side) > 0.01 * rig.plan.unit

    def test_knee_twist_swings_the_knee_outward(self, biped: str, side: Side) -> None:
        rig = self._rig(biped)
        base = {"pelvis.up": -0.1 * rig.plan.unit}
        straight = joint_places(rig, rig.pose(base), f"shin.{side}")
        turned = joint_places(rig, rig.pose(base | {f"{side}.knee.twist": 20.0}), f"shin.{side}")
        assert in_body(rig, turned - straight)[0, 0] * self._outward(side) > 0.01 * rig.plan.unit

    @pytest.mark.parametrize("control", ["foot", "knee"])
    def test_across_goes_outward(self, biped: str, side: Side, control: str) -> None:
        rig = self._rig(biped)
        joint = "foot" if control == "foot" else "shin"
        base = {"pelvis.up": -0.1 * rig.plan.unit}
        moved = base | {f"{side}.{control}.across": 0.1 * rig.plan.unit}
        here, there = (joint_places(rig, rig.pose(each), f"{joint}.{side}") for each in (base, moved))
        step = there - here
        assert in_body(rig, step)[0, 0] * self._outward(side) > 0.005 * rig.plan.unit

    @pytest.mark.parametrize("control", ["foot", "heel", "tip"])
    def test_yaw_pitch_and_lean(self, biped: str, side: Side, control: str) -> None:
        """Yaw: the front outward. Pitch: the front down. Lean: the outer edge down against the inner."""
        rig = self._rig(biped)
        joint = f"foot.{side}"
        heel, tip, inner, outer = (landmark(rig, side, name) for name in ("heel", "tip", "inner", "outer"))
        base = {"pelvis.up": -0.15 * rig.plan.unit}

        def step(quantity: str, front: FloatArray, back: FloatArray) -> FloatArray:
            settings = base | {f"{side}.{control}.{quantity}": 10.0}
            difference = _moves(rig, joint, front, settings) - _moves(rig, joint, back, settings)
            return np.asarray(difference / rig.plan.unit)

        assert step("yaw", tip, heel)[0] * self._outward(side) > 0.01
        assert step("pitch", tip, heel)[1] < -0.01
        assert step("lean", outer, inner)[1] < -0.01

    def test_toes_bend_down(self, biped: str, side: Side) -> None:
        if biped == "no toes":
            pytest.skip("this biped has no toes to bend")
        rig = self._rig(biped)
        tip = landmark(rig, side, "tip")
        assert _moves(rig, f"toes.{side}", tip, {f"{side}.toes.bend": 20.0})[1] < -0.01 * rig.plan.unit


def test_plain_joints_on_the_two_sides_turn_as_mirror_images() -> None:
    rig = made_rig("plain", "essential", True)
    for quantity in ("yaw", "pitch", "lean"):
        values = with_values(rig, at_rest(rig, 1), {f"upper_arm.{side}.{quantity}": 30.0 for side in SIDES})
        poses = rig.evaluate(values)
        left, right = (joint_places(rig, poses, f"hand.{side}")[0] for side in SIDES)
        np.testing.assert_allclose(left * [-1, 1, 1], right, rtol=0, atol=1e-12)


@pytest.mark.parametrize("biped", BIPEDS)
def test_sides_of_controls_are_those_of_the_body(biped: str) -> None:
    rig = made_rig(biped, "full", True)
    for plain in rig.plan.plains:
        wanted = 1.0 if ".left" in plain.name else -1.0 if ".right" in plain.name else 0.0
        assert plain.side == wanted, plain.name
