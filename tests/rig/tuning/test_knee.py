"""The knee's rest aim: where chance has put a knee it bends as solved, and the leg is still a leg."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from instep.landmarks import LegLandmarks, Measurement
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.description import TunedLeg
from instep.rig.tuning.knee import outward_deg, solve_knee_aim
from instep.tolerances import AIM_APART_DEG, NEARLY_STRAIGHT
from tests.measured import make_measured_biped

EYE = np.eye(3)


def nearly_straight(offset: float, outward: float) -> tuple[Rig, Measurement]:
    """A biped with straight legs whose left knee is moved by `offset` of the leg, `outward` degrees from its foot's
    axis."""
    character, measurement = make_measured_biped(knee_bend_deg=0.0)
    left, right = measurement.legs
    aim = np.radians(outward)
    step = np.array([np.sin(aim), 0.0, np.cos(aim)]) * offset * measurement.leg_length
    skeleton = character.skeleton
    bind, rest = np.array(skeleton.bind), np.array(skeleton.rest)
    bind[left.shin, :3, 3] += step
    rest[left.shin, :3, 3] += step
    moved = replace(character, skeleton=replace(skeleton, bind=bind, rest=rest))
    knee = replace(left.knee, position=left.knee.position + step)
    changed = replace(measurement, legs=(replace(left, knee=knee), right))
    return build_rig(moved, changed), changed


def aimed(rig: Rig, aim_deg: float) -> Rig:
    tuned = {"left": TunedLeg(knee_aim_deg=aim_deg), "right": TunedLeg(knee_aim_deg=aim_deg)}
    return build_rig(rig.character, rig.measurement, RigDescription(character="biped", tuned=tuned))


def test_a_straight_leg_bends_along_its_foot() -> None:
    rig, measurement = nearly_straight(0.0, 0.0)
    found = solve_knee_aim(measurement.legs[0], rig.plan.legs[0], EYE, measurement.leg_length)
    assert found.value == 0.0
    assert found.after == 0.0


@pytest.mark.parametrize(("share", "outward"), [(0.2, 90.0), (0.5, -120.0), (0.8, 30.0)])
def test_the_aim_is_the_least_of_what_it_states(share: float, outward: float) -> None:
    """Independent: the stated sum over a fine grid of angles."""
    rig, measurement = nearly_straight(share * NEARLY_STRAIGHT, outward)
    found = solve_knee_aim(measurement.legs[0], rig.plan.legs[0], EYE, measurement.leg_length)
    grid = np.linspace(-180.0, 180.0, 36001)
    cost = (1 - share) * grid**2 + share * (grid - outward) ** 2
    best = float(grid[int(np.argmin(np.where(np.abs(grid - outward) <= AIM_APART_DEG, cost, np.inf)))])
    assert found.value == pytest.approx(best, abs=0.02)
    assert found.before == pytest.approx(abs(outward), abs=1e-3)


def test_a_bent_knee_keeps_its_own_way() -> None:
    character, measurement = make_measured_biped(knee_bend_deg=3.0, toe_out_deg=12.0)
    rig = build_rig(character, measurement)
    found = solve_knee_aim(measurement.legs[0], rig.plan.legs[0], EYE, measurement.leg_length)
    assert found.value is None
    assert found.note == "the knee is bent at rest, and bends further the same way"
    assert found.before == pytest.approx(12.0, abs=1e-6)
    assert aimed(rig, 40.0).plan.legs[0].bend == rig.plan.legs[0].bend


def test_a_knee_does_not_bend_away_from_where_it_stands() -> None:
    before, measurement = nearly_straight(0.9 * NEARLY_STRAIGHT, 90.0)
    leg, plan = measurement.legs[0], aimed(before, -60.0).plan.legs[0]
    bend = np.array([float(plan.bend.x), float(plan.bend.y), float(plan.bend.z)])
    line = (leg.ankle.position - leg.hip.position) / np.linalg.norm(leg.ankle.position - leg.hip.position)
    assert outward_deg(leg, line, bend) == pytest.approx(90.0 - AIM_APART_DEG, abs=1e-6)


@pytest.mark.parametrize("aim", [16.0, 45.0, 120.0])
def test_both_legs_take_the_aim_outward_and_stay_legs(aim: float) -> None:
    before, measurement = nearly_straight(0.9 * NEARLY_STRAIGHT, 90.0)
    rig = aimed(before, aim)
    unit = measurement.leg_length
    for leg, plan in zip(measurement.legs, rig.plan.legs, strict=True):
        hip, knee, ankle = leg.hip.position, leg.knee.position, leg.ankle.position
        line = (ankle - hip) / np.linalg.norm(ankle - hip)
        bend = np.array([float(plan.bend.x), float(plan.bend.y), float(plan.bend.z)])
        assert outward_deg(leg, line, bend) == pytest.approx(aim, abs=1e-6)
        assert abs(bend @ line) < 1e-12
        up = np.linspace(0.0, 0.6, 25) * unit
        poses = rig.pose({f"{leg.name}.foot.up": up})
        places = poses.position[:, [leg.thigh, leg.shin, leg.foot]]
        assert np.abs(places[0] - rig.character.skeleton.positions[[leg.thigh, leg.shin, leg.foot]]).max() < 1e-9 * unit
        goals = ankle + up[:, None] * [0.0, 1.0, 0.0]
        assert np.abs(places[:, 2] - goals)[up > 0.01 * unit].max() < 1e-9 * unit
        for part, length in ((0, np.linalg.norm(knee - hip)), (1, np.linalg.norm(ankle - knee))):
            bones = np.linalg.norm(places[:, part + 1] - places[:, part], axis=1)
            assert np.abs(bones - length).max() < 1e-6 * unit
        assert bent_towards(leg, places[-1], line) == pytest.approx(aim, abs=0.5)


def bent_towards(leg: LegLandmarks, places: np.ndarray, line: np.ndarray) -> float:
    """How far outward a bent leg's knee stands from its foot's axis."""
    offset = places[1] - places[0]
    return outward_deg(leg, line, offset - line * (line @ offset))
