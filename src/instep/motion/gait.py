"""A walk for any rig, from published joint curves.

Angles of hip, knee and ankle at the ends of the phases of the cycle: Perry & Burnfield, Gait Analysis, 2nd ed. 2010;
toe extension at toe-off 42 to 60 degrees (Nawoczenski 1999, JBJS 81A:370; Neumann). Periodic cubics lead through them.
Step length and cadence: their ratio is nearly constant over the speeds of free walking, about 0.0065 m a step a minute
for adults (walk ratio; Sekiya & Nagasaki 1998, Gait Posture 7:225: from memory), so step = 1.195 leg sqrt(Fr), with
Fr = speed / sqrt(g leg) and a leg of 0.9 m. Feet are then planted by the phases of the cycle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.motion.faults import MotionError
from instep.motion.goals import Goals, LegGoal
from instep.motion.inverse import solve_channels
from instep.motion.model import Contact, Floor, Motion, Part
from instep.motion.plant import plant
from instep.rig import Rig
from instep.rig.plan import LegPlan

PHASES: Final = (0.0, 0.12, 0.31, 0.50, 0.62, 0.75, 0.87)
"""Ends of the phases, shares of the cycle: contact, loading, mid-stance, terminal stance, pre-swing, initial and mid
swing (Perry & Burnfield 2010)."""

HIP_DEG: Final = (20.0, 20.0, 0.0, -20.0, -10.0, 15.0, 25.0)
KNEE_DEG: Final = (5.0, 20.0, 5.0, 5.0, 40.0, 62.0, 25.0)
ANKLE_DEG: Final = (0.0, -5.0, 5.0, 10.0, -15.0, -5.0, 0.0)
"""Flexion and dorsiflexion positive, at the ends of the phases (Perry & Burnfield 2010)."""

STANCE: Final = 0.62
TOE_OFF_DEG: Final = 50.0
"""Extension of the toes as the foot leaves: between 42 (Nawoczenski 1999) and 60 (Neumann)."""

CARRIES: Final[dict[Part, tuple[float, float]]] = {"heel": (0.0, 0.31), "ball": (0.12, 0.58), "tip": (0.12, 0.62)}
"""Shares of the cycle over which each part of a foot bears: heel rocker to 12 %, ankle rocker to 31, forefoot rocker to
50, toe rocker to 62 (Perry & Burnfield 2010)."""

WALK_RATIO: Final = 1.195
"""Step length in legs, over the square root of speed / sqrt(g leg)."""

CLEARANCE: Final = 0.022
"""Fraction of leg length by which a sole clears the floor in mid-swing: 19 mm (Moosabhoy & Gard 2006, Gait Posture
24:493) of a leg of 0.87 m."""

GRAVITY: Final = 9.81

ADULT_LEG_M: Final = 0.9
"""Metres that a leg stands for where the file's unit is not the metre."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a walk departs from the plain one.

    knee_deg : added to the knee all the time. swing : factor on the knee's flexion in swing. pelvis_deg : how far
    the pelvis turns to either side. heel_deg : added to the foot's pitch at the strike, toes up.
    """

    sentence: str
    knee_deg: float = 0.0
    swing: float = 1.0
    pelvis_deg: float = 4.0
    heel_deg: float = 0.0


STYLES: Final[dict[str, Style]] = {
    "plain": Style("as people walk"),
    "crouched": Style("on bent knees", knee_deg=25.0),
    "marching": Style("with knees lifted", swing=1.4, pelvis_deg=2.0, heel_deg=5.0),
    "shuffling": Style("with feet hardly lifted", swing=0.8, pelvis_deg=2.0, heel_deg=-8.0),
}


@dataclass(frozen=True, slots=True)
class Gait:
    """What a walk is made from, in the file's unit and seconds.

    speed : along the way. step : length of one step. cycle_s : of two steps. toe_out_deg : of each foot.
    """

    speed: float
    step: float
    cycle_s: float
    toe_out_deg: float
    style: Style

    @property
    def cadence(self) -> float:
        """Steps a minute."""
        return 120.0 / self.cycle_s


def plan_gait(
    rig: Rig, speed: float, *, stride: float = 1.0, toe_out_deg: float = 7.0, style: str = "plain", metres: bool = True
) -> Gait:
    """The step and the cadence for a speed: in metres a second where the file's unit is the metre, and for a leg of
    0.9 m otherwise. `stride` is a factor on the step that people would take. Raises MotionError for what no one
    walks, or an unknown style."""
    if style not in STYLES:
        raise MotionError(f'there is no style "{style}"', expected="one of " + ", ".join(STYLES))
    unit = rig.plan.unit
    leg_m = unit if metres else ADULT_LEG_M
    froude = speed / np.sqrt(GRAVITY * leg_m)
    if not 0.05 <= froude <= 0.9:
        low, high = (share * np.sqrt(GRAVITY * leg_m) for share in (0.05, 0.9))
        raise MotionError(
            f"{speed:g} m/s is no speed to walk at for a leg of {leg_m:.2f} m", expected=f"{low:.2f} to {high:.2f} m/s"
        )
    step = WALK_RATIO * np.sqrt(froude) * unit * stride
    own_speed = speed * unit / leg_m
    return Gait(own_speed, float(step), float(2.0 * step / own_speed), toe_out_deg, STYLES[style])


def make_gait(
    rig: Rig, gait: Gait, *, rate: float = 60.0, cycles: int = 2, in_place: bool = False, name: str = "walk"
) -> Motion:
    """A planted walk of whole cycles, forward over the floor, or on the spot over a floor that moves (then it is
    cyclic, and one cycle long). Raises MotionError where the rig has not a left and a right leg."""
    plans = {leg.name: leg for leg in rig.plan.legs}
    if set(plans) != {"left", "right"}:
        raise MotionError(
            f"the rig's legs are {', '.join(plans)}", expected="a left and a right leg", cure="Walk it by hand"
        )
    if in_place:
        cycles = 1
    frames = max(round(gait.cycle_s * cycles * rate), 8) + 1
    cycle_s = (frames - 1) / rate / cycles
    t = np.arange(frames) / rate
    phases = {"left": t / cycle_s, "right": t / cycle_s + 0.5}
    swing = _hip_gain(plans["left"], gait, cycle_s)
    curves = {side: _curves(gait, phase % 1.0, swing) for side, phase in phases.items()}
    travel = gait.speed * t * (0.0 if in_place else 1.0)
    yaw = gait.style.pelvis_deg * np.cos(2.0 * np.pi * phases["left"])
    turn = Rotation.from_euler("Y", -yaw[:, None], degrees=True)
    goals = _goals(rig, plans, curves, gait, travel, turn)
    floor = Floor("level", rig.measurement.floor, velocity=(0.0, -gait.speed if in_place else 0.0))
    contacts = tuple(c for side in plans for c in _contacts(side, cycle_s, t[-1], rig.measurement.floor, rate))
    channels = tuple(channel.name for channel in rig.channels)
    motion = Motion(name, rate, 0.0, channels, solve_channels(rig, goals), contacts, floor, None, in_place)
    return replace(plant(rig, motion, clearance=CLEARANCE * rig.plan.unit).motion, name=name)


def _curve(values: tuple[float, ...], phase: FloatArray) -> FloatArray:
    """A periodic cubic through the values at the ends of the phases."""
    return np.asarray(CubicSpline((*PHASES, 1.0), (*values, values[0]), bc_type="periodic")(phase), dtype=np.float64)


def _curves(gait: Gait, phase: FloatArray, swing: float) -> dict[str, FloatArray]:
    """Hip, knee and ankle flexion and toe extension, in degrees, over phases 0 to 1."""
    style = gait.style
    knee = _curve(KNEE_DEG, phase)
    lifted = np.clip((phase - 0.5) / 0.12, 0.0, 1.0) * np.clip((1.0 - phase) / 0.13, 0.0, 1.0)
    knee = np.maximum(knee * (1.0 + (style.swing - 1.0) * lifted) + style.knee_deg, 2.0)
    strike = np.exp(-((np.minimum(phase, 1.0 - phase) / 0.06) ** 2))
    toes = TOE_OFF_DEG * _rise(phase, 0.33, STANCE) * (1.0 - _rise(phase, STANCE, 0.80))
    return {
        "hip": swing * _curve(HIP_DEG, phase) + 0.5 * style.knee_deg,
        "knee": knee,
        "ankle": _curve(ANKLE_DEG, phase) + style.heel_deg * strike + 0.5 * style.knee_deg,
        "toes": toes,
    }


def _rise(phase: FloatArray, start: float, end: float) -> FloatArray:
    u = np.clip((phase - start) / (end - start), 0.0, 1.0)
    return np.asarray(u * u * (3.0 - 2.0 * u), dtype=np.float64)


def _lengths(plan: LegPlan) -> tuple[float, float]:
    hip, knee, ankle = (np.array(list(point), dtype=np.float64) for point in (plan.hip, plan.knee, plan.ankle))
    return float(np.linalg.norm(knee - hip)), float(np.linalg.norm(ankle - knee))


def _ankle_from_hip(plan: LegPlan, hip_deg: FloatArray, knee_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Forward and downward from hip to ankle, for angles of thigh and knee."""
    thigh, shin = _lengths(plan)
    a, b = np.radians(hip_deg), np.radians(hip_deg - knee_deg)
    return thigh * np.sin(a) + shin * np.sin(b), thigh * np.cos(a) + shin * np.cos(b)


def _hip_gain(plan: LegPlan, gait: Gait, cycle_s: float) -> float:
    """The factor on the hip's curve for which the ball of the foot goes back under the hip as fast as the floor does,
    from the loading response to the end of terminal stance."""
    ends = np.array([0.12, 0.50])
    wanted = gait.speed * cycle_s * float(ends[1] - ends[0])
    rise, reach = (float(getattr(plan.ball - plan.ankle, axis)) for axis in ("y", "z"))

    def miss(factor: float) -> float:
        curves = _curves(gait, ends, factor)
        ahead, _ = _ankle_from_hip(plan, curves["hip"], curves["knee"])
        pitch = -np.radians(curves["hip"] - curves["knee"] + curves["ankle"])
        ball = ahead + rise * np.sin(pitch) + reach * np.cos(pitch)
        return float(ball[0] - ball[1]) - wanted

    low, high = 0.05, 2.5
    if miss(low) > 0.0:
        return low
    return high if miss(high) < 0.0 else float(brentq(miss, low, high))


def _goals(
    rig: Rig,
    plans: dict[str, LegPlan],
    curves: dict[str, dict[str, FloatArray]],
    gait: Gait,
    travel: FloatArray,
    turn: Rotation,
) -> Goals:
    """Feet from the joint curves; the pelvis as high as the longer reaching leg lets it stand on the floor."""
    frames = len(travel)
    pelvis_rest = np.array(list(rig.plan.pelvis), dtype=np.float64)
    feet: dict[str, tuple[FloatArray, FloatArray, FloatArray, FloatArray]] = {}
    height = np.full(frames, -np.inf)
    for side, plan in plans.items():
        own = curves[side]
        ahead, down = _ankle_from_hip(plan, own["hip"], own["knee"])
        pitch = -(own["hip"] - own["knee"] + own["ankle"])  # toes down positive
        out = gait.toe_out_deg * plan.side
        _, _, forward = plan.foot_axes
        heading = float(np.degrees(np.arctan2(float(forward.x), float(forward.z))))
        level = Rotation.from_euler("Y", out - heading, degrees=True)
        left = np.array([np.cos(np.radians(out)), 0.0, -np.sin(np.radians(out))])
        foot = Rotation.from_rotvec(np.radians(pitch)[:, None] * left) * level
        toes = Rotation.from_rotvec(np.radians(pitch - own["toes"])[:, None] * left) * level
        ankle_rest = np.array(list(plan.ankle), dtype=np.float64)
        lows = []
        for point, rotation in ((plan.heel, foot), (plan.ball, foot), (plan.tip, toes)):
            offset = np.array(list(point), dtype=np.float64) - ankle_rest
            if point is plan.tip and plan.has_toes:
                ball = np.array(list(plan.ball), dtype=np.float64)
                offset_ball, offset_tip = ball - ankle_rest, np.array(list(plan.tip), dtype=np.float64) - ball
                lows.append((foot.apply(offset_ball) + toes.apply(offset_tip))[:, 1])
            elif point is plan.ball:
                _, up, _ = plan.foot_axes
                lift = float(np.dot(list(up), np.array(list(plan.ball)) - np.array(list(plan.heel))))
                lows.append((foot.apply(offset - np.array(list(up)) * lift))[:, 1])
            else:
                lows.append(rotation.apply(offset)[:, 1])
        lowest = np.min(lows, axis=0)
        height = np.maximum(height, rig.measurement.floor - lowest + down)
        feet[side] = (ahead, down, foot.as_quat(scalar_first=True), toes.as_quat(scalar_first=True))
    from scipy.ndimage import gaussian_filter1d

    height = gaussian_filter1d(height, max(0.02 * frames, 0.5), mode="wrap" if travel[-1] == 0.0 else "nearest")
    hip_height = float(np.mean([list(plan.hip)[1] for plan in plans.values()]))
    pelvis = np.stack([np.full(frames, pelvis_rest[0]), height - hip_height + pelvis_rest[1], pelvis_rest[2] + travel])
    place = pelvis.T
    legs = {}
    for side, plan in plans.items():
        ahead, down, foot_turn, toes_turn = feet[side]
        hip_rest = np.array(list(plan.hip), dtype=np.float64)
        ankle_rest = np.array(list(plan.ankle), dtype=np.float64)
        hip = place + turn.apply(hip_rest - pelvis_rest)
        middle = place[:, 2] + hip_rest[2] - pelvis_rest[2]
        ankle = np.stack([np.full(frames, ankle_rest[0]), height - down, middle + ahead], axis=1)
        thigh, _ = _lengths(plan)
        knee = hip + np.stack(
            [
                np.zeros(frames),
                -thigh * np.cos(np.radians(curves[side]["hip"])),
                thigh * np.sin(np.radians(curves[side]["hip"])),
            ],
            axis=1,
        )
        still = np.tile([1.0, 0.0, 0.0, 0.0], (frames, 1))
        legs[side] = LegGoal(foot_turn, toes_turn if plan.has_toes else foot_turn, ankle, knee, still, hip)
    upright = np.tile([1.0, 0.0, 0.0, 0.0], (frames, 1))
    return Goals(turn.as_quat(scalar_first=True), place, legs, {plain.name: upright for plain in rig.plan.plains})


def _contacts(side: str, cycle_s: float, end_s: float, floor: float, rate: float) -> list[Contact]:
    """The contacts of one foot over the whole motion, by the phases of its cycle; on frames."""
    shift = 0.0 if side == "left" else 0.5
    found = []
    for cycle in range(-1, int(end_s / cycle_s) + 2):
        for part, (start, end) in CARRIES.items():
            first = max((cycle - shift + start) * cycle_s, 0.0)
            last = min((cycle - shift + end) * cycle_s, end_s)
            if last > first:
                at = [round(round(time * rate) / rate, 6) for time in (first, last)]
                found.append(Contact(side, part, at[0], at[1], 1.0, floor))
    return found
