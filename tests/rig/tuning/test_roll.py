"""Ball and tip: what the search works with is what the rig does, and the number found is the last that fits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.character.skinning import skin_vertices
from instep.landmarks import LegLandmarks
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.description import TunedLeg
from instep.rig.tuning.ball import OVER_DEG, solve_ball_gives_out
from instep.rig.tuning.tip import solve_tip_takes_over
from instep.rig.tuning.tread import RollSinking, Tread, full_rig
from instep.tolerances import SMOOTH_HANDOVER
from tests.measured import make_measured_biped
from tests.rig.tuning.shared import biped_with_shared_pads


def rolled(rig: Rig, leg: LegLandmarks) -> float:
    """Deepest sinking of a leg's tread over the whole roll, of foot length: by the roll channel of a finished rig."""
    mesh = rig.character.mesh
    assert mesh is not None
    lift = 0.25 * rig.plan.unit
    degrees = np.linspace(0.0, 90.0, 361)
    poses = rig.pose({f"{leg.name}.foot.up": lift, f"{leg.name}.foot.roll": degrees})
    places: FloatArray = skin_vertices(mesh, rig.character.skeleton, poses, leg.sole)
    height = (places - leg.heel.position) @ leg.sole_normal - lift
    return max(float(-height.min()) / leg.foot_length, 0.0)


def rig_with(share: float, **tuned: float) -> Rig:
    character, measurement = biped_with_shared_pads(share)
    numbers = {leg.name: TunedLeg.model_validate(tuned) for leg in measurement.legs}
    return build_rig(character, measurement, RigDescription(character="biped", tuned=numbers))


@pytest.mark.parametrize("share", [0.05, 0.15, 0.3])
@pytest.mark.parametrize("ends", [(35.0, 62.0), (10.0, 37.0), (50.0, 80.0)])
def test_the_table_tells_what_the_finished_rig_does(share: float, ends: tuple[float, float]) -> None:
    rig = rig_with(share, hold=0.9, ball_gives_out_deg=ends[0], tip_takes_over_deg=ends[1])
    leg, plan = rig.measurement.legs[0], rig.plan.legs[0]
    table = RollSinking.of(Tread.of(full_rig(rig), leg), 0.9, plan.settle_deg)
    assert abs(table.deepest(*ends) - rolled(rig, leg)) < 5e-4


def test_a_tread_that_only_the_toes_move_gives_out_as_late_as_toes_extend() -> None:
    character, measurement = make_measured_biped()
    rig = build_rig(character, measurement, RigDescription(character="biped"))
    leg, plan = rig.measurement.legs[0], rig.plan.legs[0]
    tread = Tread.of(full_rig(rig), leg)
    table = RollSinking.of(tread, 1.0, plan.settle_deg)
    before = (plan.ball_gives_out_deg, plan.tip_takes_over_deg)
    ball = solve_ball_gives_out("left", table, tread.share, before)
    assert ball.value == 51.0  # 51 + 27 / 2 degrees: the last whole one below 65
    assert ball.note == ""
    tip = solve_tip_takes_over("left", table, 51.0, before)
    assert tip.value == 76.0
    assert SMOOTH_HANDOVER + 1e-12 >= 1.5 / (76.0 - 51.0)
    assert 40.0 <= 0.5 * (51.0 + 76.0) <= 65.0


@pytest.mark.parametrize("share", [0.03, 0.05])
def test_a_shared_pad_gives_out_where_the_finished_rig_would_sink_with_the_next_degree(share: float) -> None:
    rig = rig_with(share, hold=1.0)
    leg, plan = rig.measurement.legs[0], rig.plan.legs[0]
    tread = Tread.of(full_rig(rig), leg)
    table = RollSinking.of(tread, 1.0, plan.settle_deg)
    ball = solve_ball_gives_out("left", table, tread.share, (35.0, 62.0))
    assert isinstance(ball.value, float)
    assert 0.0 < ball.value < 51.0
    assert ("in walking by 40 or more" in ball.note) == (ball.value + 0.5 * OVER_DEG < 40.0)
    fits = rig_with(share, hold=1.0, ball_gives_out_deg=ball.value, tip_takes_over_deg=ball.value + OVER_DEG)
    assert rolled(fits, leg) <= tread.share + 1e-4
    late = rig_with(share, hold=1.0, ball_gives_out_deg=ball.value + 2.0, tip_takes_over_deg=ball.value + 2 + OVER_DEG)
    assert rolled(late, leg) > tread.share
    assert ball.after < ball.before


def test_a_tread_that_sinks_wherever_it_gives_out_says_so() -> None:
    rig = rig_with(0.9, hold=1.0)
    leg, plan = rig.measurement.legs[0], rig.plan.legs[0]
    tread = Tread.of(full_rig(rig), leg)
    table = RollSinking.of(tread, 1.0, plan.settle_deg)
    ball = solve_ball_gives_out("left", table, tread.share, (35.0, 62.0))
    assert ball.value is None
    assert ball.note == (
        "the sole sinks by more than 0.5 % of the foot's length wherever the ball gives out: mend the weights of the "
        "toe pad in the model"
    )
    assert ball.after == ball.before > 5e-3
    assert min(table.deepest(float(d), d + OVER_DEG) for d in range(52)) > tread.share


def test_a_tip_set_by_hand_ends_the_handover() -> None:
    rig = rig_with(0.0, hold=1.0)
    leg, plan = rig.measurement.legs[0], rig.plan.legs[0]
    tread = Tread.of(full_rig(rig), leg)
    table = RollSinking.of(tread, 1.0, plan.settle_deg)
    ball = solve_ball_gives_out("left", table, tread.share, (35.0, 62.0), tip_by_hand=30.0)
    assert ball.value == 29.0


def test_a_lumpy_tread_may_sink_by_its_lumps() -> None:
    character, measurement = make_measured_biped()
    mesh = character.mesh
    assert mesh is not None
    leg = measurement.legs[0]
    positions = np.array(mesh.positions)
    positions[leg.sole[::7]] -= leg.sole_normal * 0.003
    lumpy = replace(character, mesh=replace(mesh, positions=positions))
    rig = build_rig(lumpy, measurement, RigDescription(character="biped"))
    tread = Tread.of(full_rig(rig), leg)
    assert abs(tread.lowest - 0.003) < 1e-12
    assert abs(tread.share - (5e-3 + 5e-3)) < 1e-9
    assert float(tread.heights({}, 1).min()) == pytest.approx(0.0, abs=1e-9)
