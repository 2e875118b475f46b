"""The made walk against published figures, on any rig; each check names its source."""

from __future__ import annotations

import numpy as np
import pytest

from instep.motion.faults import MotionError
from instep.motion.figures import knee_flexion, sinks, slides
from instep.motion.gait import ANKLE_DEG, HIP_DEG, KNEE_DEG, PHASES, STYLES, Gait, make_gait, plan_gait
from instep.motion.goals import goals_of
from instep.motion.model import Motion
from instep.motion.sole import sole_tracks
from instep.motion.turns import control_angles, inverse, multiply
from instep.rig import Rig
from tests.motion.made_clips import stocky
from tests.rig.made import BIPEDS, made_rig


def _walk(rig: Rig, speed: float, **more: object) -> tuple[Gait, Motion]:
    planned = plan_gait(rig, speed)
    return planned, make_gait(rig, planned, in_place=True, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("biped", list(BIPEDS))
def test_any_rig_walks_on_feet_that_stand(biped: str) -> None:
    rig = made_rig(biped)
    planned = plan_gait(rig, 1.2, metres=rig.plan.unit < 10.0)
    for in_place in (True, False):
        motion = make_gait(rig, planned, in_place=in_place)
        foot = rig.measurement.legs[0].foot_length
        assert max(each.slide for each in slides(rig, motion)) <= 1e-9 * foot
        assert max(float(depth.max()) for depth in sinks(rig, motion).values()) <= 5e-3 * foot
        poses = rig.evaluate(motion.values)
        if in_place:
            assert np.abs(poses.position[0] - poses.position[-1]).max() <= 1e-9 * rig.plan.unit


def test_the_stylised_figure_walks_too() -> None:
    rig = stocky()
    motion = make_gait(rig, plan_gait(rig, 1.0), in_place=True)
    assert max(each.slide for each in slides(rig, motion)) <= 1e-9 * rig.measurement.legs[0].foot_length


def test_step_and_cadence_follow_the_speed() -> None:
    """Walk ratio: step over cadence stays the same over speeds (Sekiya & Nagasaki 1998: 0.0065 m a step a minute for
    adults; from memory)."""
    rig = made_rig("plain")
    scale = (0.9 / rig.plan.unit) ** 1.5  # lengths go with the leg, cadence with its root
    for speed in (0.8, 1.0, 1.2, 1.4, 1.6):
        planned = plan_gait(rig, speed)
        assert planned.step * planned.cadence / 60.0 == pytest.approx(speed)
        assert planned.step / planned.cadence * scale == pytest.approx(0.0065, rel=0.05)
    assert 100.0 < plan_gait(rig, 1.3).cadence < 125.0


def test_knee_and_hip_keep_to_the_published_bands() -> None:
    """Perry & Burnfield 2010, within 10 degrees, at the ends of loading, mid-stance, pre-swing and initial swing.

    Not met, and told in docs/motion.md: at the end of terminal stance the knee (29 for 5) and the hip (-7 for -20), and
    in mid-swing both (knee 41 for 25, hip 37 for 25). At 50 % both feet bear, a step apart; with legs as straight as
    in the table the pelvis would have to stand at two heights.
    """
    rig = made_rig("plain")
    _, motion = _walk(rig, 1.3)
    poses = rig.evaluate(motion.values)
    frames = [round(phase * (len(motion) - 1)) for phase in PHASES]
    knee = knee_flexion(rig, poses)["left"][frames]
    leg = goals_of(rig, poses).legs["left"]
    thigh = leg.knee - leg.hip
    hip = np.degrees(np.arctan2(thigh[:, 2], -thigh[:, 1]))[frames]
    for at in (1, 2, 4, 5):
        assert abs(knee[at] - KNEE_DEG[at]) <= 10.5, (PHASES[at], knee)
        assert abs(hip[at] - HIP_DEG[at]) <= 10.5, (PHASES[at], hip)
    assert len(ANKLE_DEG) == len(PHASES)


def test_toes_extend_as_published_at_toe_off() -> None:
    """40 to 65 degrees: Nawoczenski 1999 (42) to Neumann (about 60)."""
    rig = made_rig("plain")
    _, motion = _walk(rig, 1.3)
    leg = goals_of(rig, rig.evaluate(motion.values)).legs["left"]
    bend = -control_angles(multiply(inverse(leg.foot), leg.toes), rig.plan.legs[0].foot_axes, 1.0)[:, 1]
    assert 40.0 <= bend[round(0.62 * (len(motion) - 1))] <= 65.0


def test_toes_clear_the_floor_in_swing() -> None:
    """Least toe clearance in mid-swing: people's is 11 to 19 mm (Winter 1991; Moosabhoy & Gard 2006); at least 8 here,
    and the sole never sinks."""
    rig = made_rig("plain")
    _, motion = _walk(rig, 1.3)
    tracks = sole_tracks(rig, rig.evaluate(motion.values))
    tip = tracks.parts["left"]["tip"].points[:, :, 1].min(axis=1)
    count = len(motion) - 1
    middle = tip[round(0.75 * count) : round(0.92 * count)]
    assert middle.min() >= 0.008


def test_the_foot_rolls_over_as_if_on_a_wheel_of_a_third_of_the_leg() -> None:
    """Radius 0.3 of leg length (Adamczyk, Collins & Kuo 2006): the way from heel to ball, over the angle that the
    shank turns by from the strike to where the heel has left (50 % of the cycle)."""
    rig = made_rig("plain")
    _, motion = _walk(rig, 1.3)
    leg = goals_of(rig, rig.evaluate(motion.values)).legs["left"]
    shank = leg.knee - leg.ankle
    angle = np.arctan2(shank[:, 2], shank[:, 1])
    count = len(motion) - 1
    turned = float(angle[round(0.5 * count)] - angle[0])
    plan = rig.plan.legs[0]
    way = float(plan.ball.z - plan.heel.z)
    assert 0.2 <= way / turned / rig.plan.unit <= 0.4


@pytest.mark.parametrize("style", list(STYLES))
def test_each_style_stands(style: str) -> None:
    rig = made_rig("plain")
    motion = make_gait(rig, plan_gait(rig, 1.0, style=style, toe_out_deg=20.0), in_place=True)
    assert max(each.slide for each in slides(rig, motion)) <= 1e-9 * rig.measurement.legs[0].foot_length


def test_feet_point_outward_as_asked() -> None:
    rig = made_rig("plain")
    for out in (0.0, 7.0, 25.0):
        motion = make_gait(rig, plan_gait(rig, 1.2, toe_out_deg=out), in_place=True)
        for side in ("left", "right"):
            flat = motion.bearing(side, "heel") & motion.bearing(side, "ball")
            yaw = motion.values[flat, rig.channel(f"{side}.foot.yaw")]
            assert np.abs(yaw - out).max() < 0.5


def test_what_no_one_walks_is_refused() -> None:
    rig = made_rig("plain")
    with pytest.raises(MotionError) as fast:
        plan_gait(rig, 9.0)
    assert str(fast.value) == "9 m/s is no speed to walk at for a leg of 0.82 m; expected 0.14 to 2.55 m/s."
    with pytest.raises(MotionError) as style:
        plan_gait(rig, 1.0, style="dance")
    assert str(style.value) == ('there is no style "dance"; expected one of plain, crouched, marching, shuffling.')
