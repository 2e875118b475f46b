"""The soft zone: its cost against published formulas and the finished rig, its least against a fine grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from instep.rig import Rig, RigDescription, build_rig
from instep.rig.description import TunedLeg
from instep.rig.tuning.soft import LONGEST, knee_rate, solve_soft, zone_cost
from tests.measured import make_measured_biped


def bent(knee_bend_deg: float, **tuned: float) -> Rig:
    character, measurement = make_measured_biped(knee_bend_deg=knee_bend_deg)
    numbers = {leg.name: TunedLeg.model_validate(tuned) for leg in measurement.legs} if tuned else {}
    return build_rig(character, measurement, RigDescription(character="biped", tuned=numbers))


@given(length=st.floats(0.1, 100.0), share=st.floats(1e-5, 0.3))
def test_of_equal_bones_the_rate_is_the_published_bound(length: float, share: float) -> None:
    """2 / sqrt(L^2 - a^2) at a = L - s: see the references."""
    zone = share * length
    start = length - zone
    expected = np.degrees(2.0 / np.sqrt(length**2 - start**2)) * 0.01 * length
    assert knee_rate(0.5 * length, 0.5 * length, zone, length) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("share", [0.002, 0.01, 0.03])
def test_the_rate_is_what_the_finished_rig_does(share: float) -> None:
    rig = bent(40.0, soft=share)
    leg, plan, unit = rig.measurement.legs[0], rig.plan.legs[0], rig.plan.unit
    assert plan.soft == pytest.approx(share * unit)
    hip, ankle = leg.hip.position, leg.ankle.position
    line = (ankle - hip) / np.linalg.norm(ankle - hip)
    thigh = float(np.linalg.norm(leg.knee.position - hip))
    shin = float(np.linalg.norm(ankle - leg.knee.position))
    step = 1e-6 * unit
    distance = thigh + shin - plan.soft - 2 * step + step * np.array([-1.0, 1.0])
    moves = (hip + distance[:, None] * line - ankle).T
    poses = rig.pose(dict(zip((f"left.foot.{name}" for name in ("across", "up", "along")), moves, strict=True)))
    a = poses.position[:, leg.shin] - poses.position[:, leg.thigh]
    b = poses.position[:, leg.foot] - poses.position[:, leg.shin]
    flexion = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.einsum("na,na->n", a, b))
    rate = float(np.degrees(flexion[0] - flexion[1])) / (2 * step) * 0.01 * unit
    assert rate == pytest.approx(knee_rate(thigh, shin, plan.soft, unit), rel=2e-3)


@pytest.mark.parametrize("bend", [25.0, 60.0])
def test_the_least_cost_is_found(bend: float) -> None:
    rig = bent(bend)
    leg, unit = rig.measurement.legs[0], rig.measurement.leg_length
    found = solve_soft(leg, rig.plan.legs[0], unit)
    thigh = float(np.linalg.norm(leg.knee.position - leg.hip.position))
    shin = float(np.linalg.norm(leg.ankle.position - leg.knee.position))
    spare = thigh + shin - float(np.linalg.norm(leg.ankle.position - leg.hip.position))
    grid = np.geomspace(1e-5, min(0.9 * spare / unit, LONGEST), 4000)
    best = float(grid[int(np.argmin([zone_cost(thigh, shin, share * unit, unit) for share in grid]))])
    assert found.value == pytest.approx(best, rel=5e-3)
    assert found.after < found.before
    assert found.value is not None
    assert float(found.value) < 0.9 * spare / unit  # type: ignore[arg-type]


def test_a_leg_that_leaves_little_room_takes_all_of_it_already() -> None:
    rig = bent(3.0)
    found = solve_soft(rig.measurement.legs[0], rig.plan.legs[0], rig.measurement.leg_length)
    assert found.value is None
    assert found.note == ("it is 0.031 % of the leg, all that the rest pose leaves: a knee bent more leaves more")


def test_a_straight_leg_has_no_room() -> None:
    rig = bent(0.0)
    found = solve_soft(rig.measurement.legs[0], rig.plan.legs[0], rig.measurement.leg_length)
    assert found.value is None
    assert found.note == "the leg stands straight at rest, so that a soft zone has no room"


def test_what_a_person_wrote_into_the_options_goes_before_what_was_solved() -> None:
    character, measurement = make_measured_biped(knee_bend_deg=40.0)
    description = RigDescription.model_validate(
        {"character": "biped", "options": {"left": {"soft": 0.05}}, "tuned": {"left": {"soft": 0.01}}}
    )
    rig = build_rig(character, measurement, description)
    assert rig.plan.legs[0].soft == pytest.approx(0.05 * rig.plan.unit)
