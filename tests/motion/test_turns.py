"""Angles of a control against scipy's, through the pole and over whole turns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.frames.vector import Vec
from instep.motion.turns import control_angles, exponential, inverse, logarithm, multiply, turns_of
from instep.rig.parts.turns import BODY_AXES, sided_turn

TILTED = tuple(Vec.of(row) for row in Rotation.from_euler("YXZ", [20, -10, 5], degrees=True).as_matrix().T)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("axes", [BODY_AXES, TILTED])
def test_the_angles_are_those_that_make_the_turn(axes: tuple[Vec, Vec, Vec], side: float) -> None:
    rng = np.random.default_rng(3)
    yaw, pitch, lean = rng.uniform(-170, 170, 200), rng.uniform(-89, 89, 200), rng.uniform(-170, 170, 200)
    made = turns_of(sided_turn(axes, side, yaw, pitch, lean), 200)
    found = control_angles(made, axes, side)
    again = turns_of(sided_turn(axes, side, *found.T), 200)
    np.testing.assert_allclose(np.abs(np.sum(made * again, axis=1)), 1.0, atol=1e-12)


def test_they_go_on_over_the_pole_and_over_whole_turns() -> None:
    pitch = np.linspace(-30.0, 210.0, 481)
    yaw = np.linspace(0.0, 800.0, 481)
    for angles in ((np.zeros(481), pitch, np.zeros(481)), (yaw, np.full(481, 20.0), np.zeros(481))):
        found = control_angles(turns_of(sided_turn(BODY_AXES, 1.0, *angles), 481), BODY_AXES, 1.0)
        np.testing.assert_allclose(found, np.stack(angles, axis=1), atol=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-3.0, 3.0), min_size=3, max_size=3))
def test_logarithm_and_exponential_are_scipys(vector: list[float]) -> None:
    rotation = Rotation.from_rotvec([vector])
    turn = rotation.as_quat(scalar_first=True)
    np.testing.assert_allclose(logarithm(turn), rotation.as_rotvec(), atol=1e-9)
    np.testing.assert_allclose(np.abs(np.sum(exponential(rotation.as_rotvec()) * turn, axis=1)), 1.0, atol=1e-12)
    unit = multiply(turn, inverse(turn))
    np.testing.assert_allclose(unit, [[1.0, 0.0, 0.0, 0.0]], atol=1e-12)
