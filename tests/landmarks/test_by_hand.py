"""What is set by hand is taken as it is, and what depends on it follows."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.testing import assert_allclose

from instep.errors import LandmarkError
from instep.landmarks import LANDMARK_NAMES, measure
from tests.biped import biped_landmarks, make_biped


@pytest.mark.parametrize("name", LANDMARK_NAMES)
def test_a_hand_set_value_wins(name: str) -> None:
    place = biped_landmarks().get(f"left.{name}", np.array([0.1, 0.02, 0.18]))
    place = place + np.array([0.004, 0.003, -0.005])
    measured = measure(make_biped(), {f"left.{name}": tuple(place)})
    landmark = measured.legs[0].landmarks[name]
    assert_allclose(landmark.position, place, atol=0)
    assert (landmark.by_hand, landmark.confidence, landmark.source) == (True, 1.0, "by hand")
    assert not any(other.by_hand for key, other in measured.legs[0].landmarks.items() if key != name)
    assert not any(other.by_hand for other in measured.legs[1].landmarks.values())


def test_the_axis_follows_heel_and_tip() -> None:
    truth = biped_landmarks()
    heel, tip = truth["left.heel"] + [0.01, 0.0, 0.0], truth["left.tip"] + [-0.01, 0.0, -0.02]
    left, right = measure(make_biped(), {"left.heel": tuple(heel), "left.tip": tuple(tip)}).legs
    assert_allclose(left.axis, (tip - heel) / np.linalg.norm(tip - heel), atol=1e-12)
    assert_allclose(right.axis, [0, 0, 1], atol=1e-9)


def test_the_plane_follows_what_is_set_on_the_sole() -> None:
    truth = biped_landmarks()
    raised = {f"left.{name}": tuple(truth[f"left.{name}"] + [0, 0.01, 0]) for name in ("heel", "tip")}
    left = measure(make_biped(), raised).legs[0]
    assert_allclose(left.sole_normal, [0, 1, 0], atol=1e-12)
    assert_allclose([left.inner.position[1], left.outer.position[1]], 0.01, atol=1e-12)
    tilted = {"left.heel": tuple(truth["left.heel"] + [0, 0.03, 0]), "left.tip": tuple(truth["left.tip"])}
    left = measure(make_biped(), tilted).legs[0]
    slope = truth["left.tip"] - truth["left.heel"] - [0, 0.03, 0]
    assert_allclose([left.sole_normal @ slope, left.sole_normal[0]], 0, atol=1e-12)
    three = tilted | {"left.outer": tuple(truth["left.outer"] + [0, 0.004, 0])}
    left = measure(make_biped(), three).legs[0]
    for name in ("tip", "inner", "outer"):
        assert_allclose((left.landmarks[name].position - left.heel.position) @ left.sole_normal, 0, atol=1e-12)


def test_leg_length_follows_the_joints() -> None:
    truth = biped_landmarks()
    places = {f"{side}.knee": tuple(truth[f"{side}.knee"] + [0, 0, 0.2]) for side in ("left", "right")}
    assert measure(make_biped(), places).leg_length > measure(make_biped()).leg_length + 0.02


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        (
            "left.heal",
            (0.0, 0.0, 0.0),
            "biped: there is no landmark 'left.heal'; expected a leg (left, right) and one of hip, knee, ankle, "
            "ball, toe, heel, tip, inner, outer. The nearest known name is 'left.heel'.",
        ),
        (
            "left.heel",
            (0.0, math.nan, 0.0),
            "biped: left.heel is set to (0, nan, 0); expected three finite numbers x, y, z in the file's unit. "
            "Correct the value, or leave it out to have it measured.",
        ),
        (
            "right.tip",
            (1.0, 2.0),
            "biped: right.tip is set to (1, 2); expected three finite numbers x, y, z in the file's unit. "
            "Correct the value, or leave it out to have it measured.",
        ),
        (
            "right.tip",
            (-0.095, 0.0, 50.0),
            "biped: right.tip is set to (-0.095, 0, 50), which is 49.81 from the right leg; expected a place within "
            "the body's height of it, 1.739 in the file's unit. Correct the value, or leave it out to have it "
            "measured.",
        ),
    ],
)  # fmt: skip
def test_values_that_make_no_sense(name: str, value: Sequence[float], message: str) -> None:
    with pytest.raises(LandmarkError) as caught:
        measure(make_biped(), {name: value})
    assert str(caught.value) == message
