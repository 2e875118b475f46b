"""Exercises: what each says it does, seen in the joints."""

from __future__ import annotations

import numpy as np
import pytest

from instep.motion import Exercise, exercises
from instep.rig import Rig, RigDescription, build_rig
from tests.measured import make_measured_biped

NAMES = (
    "roll", "bank", "toes", "rise on the toes", "heel strike", "deep bend", "long reach", "knee circle",
    "left against right",
)  # fmt: skip


@pytest.fixture(scope="module")
def rig() -> Rig:
    character, measurement = make_measured_biped()
    return build_rig(character, measurement, RigDescription(character="biped"))


@pytest.fixture(scope="module")
def made(rig: Rig) -> dict[str, Exercise]:
    return {exercise.name: exercise for exercise in exercises(rig)}


def test_all_are_there_and_start_and_end_at_rest(rig: Rig, made: dict[str, Exercise]) -> None:
    assert tuple(made) == NAMES
    for exercise in made.values():
        assert exercise.values.shape == (len(exercise.times_s), len(rig.channels))
        poses = rig.evaluate(exercise.values[[0, -1]])
        assert np.abs(poses.position - rig.character.skeleton.positions).max() < 1e-9
        assert np.allclose(np.diff(exercise.times_s), 1 / 30)


def test_values_stay_in_their_ranges(rig: Rig, made: dict[str, Exercise]) -> None:
    low = np.array([channel.low for channel in rig.channels])
    high = np.array([channel.high for channel in rig.channels])
    for exercise in made.values():
        assert np.all(exercise.values >= low)
        assert np.all(exercise.values <= high)


def test_the_toes_move_alone(rig: Rig, made: dict[str, Exercise]) -> None:
    poses = rig.evaluate(made["toes"].values)
    toes = [leg.toes for leg in rig.measurement.legs if leg.toes is not None]
    others = [joint for joint in range(len(rig.character.skeleton)) if joint not in toes]
    assert np.abs(poses.position[:, others] - rig.character.skeleton.positions[others]).max() < 1e-9
    assert np.abs(poses.rotation[:, toes, 0]).min() < np.cos(np.radians(15))


def test_planted_feet_stay_in_the_deep_bend_and_the_knees_bend(rig: Rig, made: dict[str, Exercise]) -> None:
    poses = rig.evaluate(made["deep bend"].values)
    for leg in rig.measurement.legs:
        assert np.abs(poses.position[:, leg.foot] - leg.ankle.position).max() < 1e-9
        assert (poses.position[:, leg.shin, 2] - leg.knee.position[2]).max() > 0.2 * rig.plan.unit


def test_rising_on_the_toes_keeps_the_legs_as_bent_as_they_were(rig: Rig, made: dict[str, Exercise]) -> None:
    poses = rig.evaluate(made["rise on the toes"].values)
    for leg in rig.measurement.legs:
        assert (poses.position[:, leg.foot, 1] - leg.ankle.position[1]).max() > 0.05 * rig.plan.unit
        hip_to_ankle = np.linalg.norm(poses.position[:, leg.thigh] - poses.position[:, leg.foot], axis=1)
        assert np.ptp(hip_to_ankle) < 0.05 * rig.plan.unit


def test_the_long_reach_goes_beyond_the_leg(rig: Rig, made: dict[str, Exercise]) -> None:
    poses = rig.evaluate(made["long reach"].values)
    leg = rig.measurement.legs[0]
    reach = np.linalg.norm(poses.position[:, leg.foot] - poses.position[:, leg.thigh], axis=1)
    bones = np.linalg.norm(leg.knee.position - leg.hip.position)
    bones += np.linalg.norm(leg.ankle.position - leg.knee.position)
    assert reach.max() > 0.999 * bones
    assert reach.max() < bones
    assert np.isfinite(poses.rotation).all()


def test_left_is_against_right(rig: Rig, made: dict[str, Exercise]) -> None:
    names = [channel.name for channel in rig.channels]
    values = made["left against right"].values
    left, right = (values[:, names.index(f"{side}.foot.along")] for side in ("left", "right"))
    assert np.allclose(left, -right)
    assert np.abs(left).max() > 0.2 * rig.plan.unit


def test_a_rig_without_toes_has_no_toe_exercise() -> None:
    character, measurement = make_measured_biped(toes=False)
    rig = build_rig(character, measurement, RigDescription(character="biped"))
    assert "toes" not in [exercise.name for exercise in exercises(rig)]


def test_the_rate_is_what_was_asked_for(rig: Rig) -> None:
    for exercise in exercises(rig, rate=120.0):
        assert np.allclose(np.diff(exercise.times_s), 1 / 120)
