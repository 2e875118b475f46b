"""At rest the rig is the bind pose, exactly; and whatever must not matter at rest does not."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.character import Poses
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.channels import ControlSet
from instep.tolerances import REST
from tests.measured import make_measured_biped
from tests.rig.made import BIPEDS, made_rig, random_values, with_values

CONTROLS: tuple[ControlSet, ...] = get_args(ControlSet)
IDLE = ("knee.follow", "leg.soft", "leg.stretch", "toes.hold", "leg.forward", "foot.follow_world", "foot.follow_pelvis")
"""Channels of a leg that change how it moves, and so nothing at rest."""


def _assert_rest(rig: Rig, poses: Poses) -> None:
    skeleton = rig.character.skeleton
    unit = rig.plan.unit
    assert np.abs(poses.position - skeleton.positions).max() / unit < REST
    assert np.abs(poses.rotation - [1.0, 0.0, 0.0, 0.0]).max() < REST
    np.testing.assert_array_equal(poses.scale, 1.0)
    world = poses.world(skeleton)
    assert np.abs(world[..., :3, 3] - skeleton.bind[..., :3, 3]).max() / unit < REST
    assert np.abs(world[..., :3, :3] - skeleton.bind[..., :3, :3]).max() < REST


@pytest.mark.parametrize("plain", [True, False])
@pytest.mark.parametrize("controls", CONTROLS)
@pytest.mark.parametrize("biped", BIPEDS)
def test_every_joint_is_at_its_bind_transform(biped: str, controls: ControlSet, plain: bool) -> None:
    rig = made_rig(biped, controls, plain)
    _assert_rest(rig, rig.evaluate(rig.defaults))


@pytest.mark.parametrize("biped", BIPEDS)
def test_channels_that_only_say_how_to_move_do_nothing_at_rest(biped: str) -> None:
    rig = made_rig(biped, "full")
    frames = 200
    names = [channel.name for channel in rig.channels]
    drawn = random_values(rig, frames, 1)
    idle = [f"{side}.{name}" for side in ("left", "right") for name in IDLE if f"{side}.{name}" in names]
    assert len(idle) >= 2 * (len(IDLE) - 1)  # without toes there is no hold
    values = with_values(rig, np.tile(rig.defaults, (frames, 1)), {name: drawn[:, names.index(name)] for name in idle})
    _assert_rest(rig, rig.evaluate(values))


@given(st.dictionaries(st.sampled_from([f"{s}.{n}" for s in ("left", "right") for n in IDLE]), st.floats(0, 1)))
def test_any_idle_channel_by_itself_does_nothing(settings: dict[str, float]) -> None:
    rig = made_rig("straight knee", "full")
    _assert_rest(rig, rig.pose(settings))


@pytest.mark.parametrize("aim_deg", [None, 0.0, 25.0, -70.0])
@pytest.mark.parametrize("power", range(1, 10))
def test_nearly_straight_legs_rest_in_their_bind_pose(power: int, aim_deg: float | None) -> None:
    """A knee that stands off the line by 1e-3 to 1e-11 of the leg, also beside the plane that it is to bend in."""
    rng = np.random.default_rng(power)
    for _ in range(4):
        character, measurement = make_measured_biped(
            knee_bend_deg=10.0**-power * rng.uniform(0.3, 3.0),
            R_world=Rotation.random(rng=rng).as_matrix(),
            scale=10.0 ** rng.uniform(-1, 2),
            toe_out_deg=rng.uniform(0, 20),
        )
        tuned = {side: {"knee_aim_deg": aim_deg} for side in ("left", "right")}
        description = RigDescription.model_validate({"character": "x", "tuned": tuned, "plain": False})
        rig = build_rig(character, measurement, description)
        _assert_rest(rig, rig.evaluate(rig.defaults))


@pytest.mark.parametrize("biped", BIPEDS)
def test_essential_is_full_with_the_rest_left_at_default(biped: str) -> None:
    few, all_of_them = made_rig(biped, "essential"), made_rig(biped, "full")
    values = random_values(few, 100, 2)
    names = [channel.name for channel in few.channels]
    more = with_values(
        all_of_them,
        np.tile(all_of_them.defaults, (100, 1)),
        {name: values[:, number] for number, name in enumerate(names)},
    )
    a, b = few.evaluate(values), all_of_them.evaluate(more)
    # A straight leg's knee moves by the root of what its ankle is off: rounding of 1e-16 becomes 1e-8.
    allowed = 1e-7 if biped == "straight knee" else 1e-9
    assert np.abs(a.position - b.position).max() / few.plan.unit < allowed
    sign = np.sign((a.rotation * b.rotation).sum(axis=-1, keepdims=True))
    assert np.abs(a.rotation - sign * b.rotation).max() < allowed
