"""Which channel moves what, read off the program, is what is seen to move."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from instep.character.arrays import BoolArray
from instep.rig import Rig
from instep.rig.assemble import COMPONENTS
from instep.rig.channels import ControlSet
from instep.rig.program.sparsity import influence
from tests.rig.made import made_rig, random_values
from tests.rig.program.functions import traced

POSES = 150


def _observed(rig: Rig, seed: int) -> BoolArray:
    """(D, C) which driver's outputs differ when one channel does, in any of many random poses."""
    values = random_values(rig, POSES, seed)
    before = rig.evaluate_outputs(values)
    drivers = len(rig.plan.drivers)
    table = np.zeros((drivers, len(rig.channels)), dtype=np.bool_)
    for number, channel in enumerate(rig.channels):
        changed = values.copy()
        middle = 0.5 * (channel.low + channel.high)
        changed[:, number] += np.where(values[:, number] > middle, -1e-3, 1e-3) * (channel.high - channel.low)
        moved = np.abs(rig.evaluate_outputs(changed) - before).max(axis=1) > 1e-11 * rig.plan.unit
        table[:, number] = moved[1:].reshape(drivers, len(COMPONENTS)).any(axis=1) | moved[0]
    return table


@pytest.mark.parametrize("plain", [True, False])
@pytest.mark.parametrize("controls", get_args(ControlSet))
def test_structural_influence_is_the_observed_one(controls: ControlSet, plain: bool) -> None:
    """Exactly, but for one thing that is true only of a leg that stands upright: its knee's mark, carried by the
    leg, slides up and down along the leg's own line, which tells the essential rig's knee nothing."""
    rig = made_rig("plain", controls, plain)
    structural, observed = rig.influence, _observed(rig, 1)
    assert not np.any(observed & ~structural)
    names = [channel.name for channel in rig.channels]
    spare = {(rig.plan.drivers[d], names[c]) for d, c in zip(*np.nonzero(structural & ~observed), strict=True)}
    upright = {(f"{s}.{part}", f"{s}.knee.up") for s in ("left", "right") for part in ("thigh", "shin")}
    assert spare == (upright if controls == "essential" else set())


def test_what_one_leg_does_the_other_does_not_feel() -> None:
    rig = made_rig("plain", "full", True)
    for number, channel in enumerate(rig.channels):
        moved = {rig.plan.drivers[d] for d in np.flatnonzero(rig.influence[:, number])}
        for side, other in (("left", "right"), ("right", "left")):
            if channel.control.startswith(f"{side}."):
                assert moved
                assert not any(driver.startswith(f"{other}.") for driver in moved)
                assert "pelvis" not in moved


def test_where_the_knee_points_does_not_move_the_foot() -> None:
    rig = made_rig("plain", "essential", True)
    names = [channel.name for channel in rig.channels]
    for quantity in ("across", "up", "along", "twist"):
        column = rig.influence[:, names.index(f"left.knee.{quantity}")]
        assert {rig.plan.drivers[d] for d in np.flatnonzero(column)} == {"left.thigh", "left.shin"}


def test_influence_follows_the_data_flow_through_every_operation() -> None:
    program, _ = traced(3, lambda a, b, c: [a * b, (b > 0) * c, a * 0 + 1, c])
    np.testing.assert_array_equal(
        influence(program), [[True, True, False], [False, True, True], [False, False, False], [False, False, True]]
    )
