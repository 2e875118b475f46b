"""A rig that walks as markers say: goals for pelvis, legs and feet from a walker of another size.

The walker is scaled by the ratio of leg lengths and turned to face as the rig does. The foot's frame is taken from
heel and metatarsal markers against how it stands when flat, which is where heel and ball bear together; so where
exactly a marker sits on the skin does not matter, and a heel marker 3 cm over the floor stands for a heel on it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character.arrays import BoolArray, FloatArray
from instep.motion.blend import fade
from instep.motion.contacts import Found, find_contacts
from instep.motion.fit import Fit, fit_goals
from instep.motion.goals import Goals, LegGoal
from instep.motion.markers import FRONT, Markers
from instep.motion.model import Part
from instep.motion.sole import SolePart, SoleTracks
from instep.rig import Rig
from instep.rig.plan import LegPlan

SIDES: Final = ("left", "right")
LOW_SHARE: Final = 10.0
"""Percent of frames on which a marker stands lower than what is taken as its height when it bears."""


def fit_markers(rig: Rig, markers: Markers, *, rate: float = 60.0, smooth_hz: float | None = None) -> Fit:
    """Fit a rig with a left and a right leg to markers; contacts are found on the markers themselves.

    The result has `rate` frames a second; contacts keep the markers' own times.
    """
    axes = walker_axes(markers)
    found = marker_contacts(markers, axes)
    goals = _goals(rig, markers, axes, found)
    frames = len(markers)
    seconds = (frames - 1) / markers.rate
    steps = max(round(seconds * rate), 0)
    at = np.minimum(np.arange(steps + 1) / rate * markers.rate, frames - 1)
    return fit_goals(
        rig,
        _resampled(goals, at),
        rate,
        found,
        name=markers.name,
        start_s=markers.start_s,
        smooth_hz=smooth_hz,
    )


def walker_axes(markers: Markers) -> FloatArray:
    """(3, 3) whose columns are the walker's left, up and forward in the file's axes.

    Up is the file's axis along which the knees stand over the ankles; forward is where the feet point.
    """
    rise = np.mean([_need(markers, side, "knee") - _need(markers, side, "ankle") for side in SIDES], axis=(0, 1))
    axis = int(np.abs(rise).argmax())
    up = np.zeros(3)
    up[axis] = np.sign(rise[axis])
    ahead = np.mean([_front(markers, side) - _need(markers, side, "heel") for side in SIDES], axis=(0, 1))
    ahead = ahead - up * float(up @ ahead)
    ahead /= np.linalg.norm(ahead)
    # Along an axis of the file where the walk is nearly so: a walkway is laid along one.
    near = int(np.abs(ahead).argmax())
    if abs(ahead[near]) > np.cos(np.radians(15.0)):
        ahead = np.eye(3)[near] * np.sign(ahead[near])
    return np.stack([np.cross(up, ahead), up, ahead], axis=1)


def marker_contacts(markers: Markers, axes: FloatArray) -> Found:
    """Contacts from heel and metatarsal markers, each against its own height when it bears."""
    parts: dict[str, dict[Part, SolePart]] = {}
    sizes: dict[str, float] = {}
    for side in SIDES:
        heel = _need(markers, side, "heel") @ axes
        balls = [own @ axes for place in FRONT if (own := markers.of(side, place)) is not None]
        ball = np.stack(balls, axis=1)
        parts[side] = {
            "heel": SolePart(heel[:, None], np.percentile(heel[:, 1:2], LOW_SHARE, axis=0)),
            "ball": SolePart(ball, np.percentile(ball[:, :, 1], LOW_SHARE, axis=0)),
        }
        # Heel to metatarsal heads is 0.74 of the foot (ANSUR II, men 0.741, women 0.739).
        sizes[side] = float(np.linalg.norm(np.median(ball.mean(axis=1) - heel, axis=0))) / 0.74
    return find_contacts(SoleTracks(parts, sizes, _pelvis(markers) @ axes), markers.rate, markers.start_s)


def _need(markers: Markers, side: str, place: str) -> FloatArray:
    own = markers.of(side, place)
    assert own is not None, "read_markers refuses files without it"
    return own


def _front(markers: Markers, side: str) -> FloatArray:
    found = [own for place in FRONT if (own := markers.of(side, place)) is not None]
    return np.asarray(np.mean(found, axis=0), dtype=np.float64)


def _joint(markers: Markers, side: str, place: str) -> FloatArray:
    """Midway between a joint's lateral and medial markers, or the one that there is."""
    lateral, medial = _need(markers, side, place), markers.of(side, f"{place}_medial")
    return lateral if medial is None else 0.5 * (lateral + medial)


def _pelvis(markers: Markers) -> FloatArray:
    """(N, 3) the middle of the pelvis, or of what stands highest."""
    for place in ("psis", "asis", "gtr", "knee"):
        pair = [markers.of(side, place) for side in SIDES]
        if pair[0] is not None and pair[1] is not None:
            return np.asarray(0.5 * (pair[0] + pair[1]), dtype=np.float64)
    raise AssertionError("read_markers refuses files without knees")


def _hips(markers: Markers) -> FloatArray:
    pair = [markers.of(side, "gtr") for side in SIDES]
    if pair[0] is not None and pair[1] is not None:
        return np.asarray(0.5 * (pair[0] + pair[1]), dtype=np.float64)
    # Without a trochanter: as far over the knee as the knee stands over the ankle (0.245 and 0.246 of stature,
    # Drillis & Contini 1966).
    knees = np.mean([_joint(markers, side, "knee") for side in SIDES], axis=0)
    ankles = np.mean([_joint(markers, side, "ankle") for side in SIDES], axis=0)
    size = np.linalg.norm(np.median(knees - ankles, axis=0))
    up = np.median(knees - ankles, axis=0) / size
    return np.asarray(knees + up * size, dtype=np.float64)


def _leg_length(markers: Markers) -> float:
    sizes = []
    for side in SIDES:
        knee, ankle = _joint(markers, side, "knee"), _joint(markers, side, "ankle")
        hip = markers.of(side, "gtr")
        shin = np.median(np.linalg.norm(knee - ankle, axis=1))
        thigh = shin if hip is None else np.median(np.linalg.norm(hip - _need(markers, side, "knee"), axis=1))
        sizes.append(shin + thigh)
    return float(np.mean(sizes))


def _goals(rig: Rig, markers: Markers, axes: FloatArray, found: Found) -> Goals:
    ratio = rig.plan.unit / _leg_length(markers)
    origin = np.array([*np.median(_hips(markers) @ axes, axis=0)])
    start = _hips(markers)[0] @ axes
    plans = {leg.name: leg for leg in rig.plan.legs}
    hip_rest = np.mean([list(plans[side].hip) for side in SIDES], axis=0)
    # Beside the rig's own rest place at the start; heights are set by the feet.
    shift = np.array([hip_rest[0] - ratio * origin[0], 0.0, hip_rest[2] - ratio * start[2]])

    def placed(points: FloatArray) -> FloatArray:
        return np.asarray(ratio * (points @ axes) + shift, dtype=np.float64)

    legs: dict[str, LegGoal] = {}
    raised = []
    times = markers.start_s + np.arange(len(markers)) / markers.rate
    for side in SIDES:
        plan = plans[side]
        foot, flat = _foot_turns(markers, side, axes, found, times, plan)
        ankle = placed(_joint(markers, side, "ankle"))
        lift = float(plan.ankle.y) - float(np.median(ankle[flat, 1]))
        raised.append(lift)
        ankle = ankle + np.array([0.0, lift, 0.0])
        knee = placed(_joint(markers, side, "knee"))
        legs[side] = LegGoal(foot, _toes(foot, plan, found, times), ankle, knee, foot, ankle)
    up = np.array([0.0, float(np.mean(raised)), 0.0])
    turn = _pelvis_turns(markers, axes)
    hips = placed(_hips(markers)) + up
    rotation = Rotation.from_quat(turn, scalar_first=True)
    pelvis = hips - rotation.apply(hip_rest - np.array(list(rig.plan.pelvis)))
    whole = {}
    for side, leg in legs.items():
        hip = pelvis + rotation.apply(np.array(list(plans[side].hip)) - np.array(list(rig.plan.pelvis)))
        whole[side] = LegGoal(leg.foot, leg.toes, leg.ankle, leg.knee + up, turn, hip)
    return Goals(turn, pelvis, whole, {plain.name: turn for plain in rig.plan.plains})


def _foot_turns(
    markers: Markers, side: str, axes: FloatArray, found: Found, times: FloatArray, plan: LegPlan
) -> tuple[FloatArray, BoolArray]:
    """(N, 4) turns of a foot from where the rig's stands at rest, and (N,) the frames on which it is flat."""
    heel, front = _need(markers, side, "heel") @ axes, _front(markers, side) @ axes
    inner, outer = markers.of(side, "mt1"), markers.of(side, "mt5")
    ahead = front - heel
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    if inner is not None and outer is not None:
        across = (outer - inner) @ axes * plan.side
    else:
        across = np.cross(np.array([0.0, 1.0, 0.0]), ahead)
    up = np.cross(ahead, across)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    frames = np.stack([np.cross(up, ahead), up, ahead], axis=2)
    bears = {part: _bearing(found, side, part, times) for part in ("heel", "ball")}
    flat = bears["heel"] & bears["ball"]
    if not flat.any():
        flat = bears["heel"] | bears["ball"]
    if not flat.any():
        flat = np.ones(len(times), dtype=np.bool_)
    # The rest frame: as the markers stand on the flat foot, with the foot pointing where the rig's does.
    standing = Rotation.from_matrix(frames[flat]).mean()
    pointing = standing.apply([0.0, 0.0, 1.0])
    heading = np.degrees(np.arctan2(pointing[0], pointing[2]))
    _, _, forward = plan.foot_axes
    own = np.degrees(np.arctan2(float(forward.x), float(forward.z)))
    to_rest = Rotation.from_euler("Y", own - heading, degrees=True) * standing
    turns = Rotation.from_matrix(frames) * to_rest.inv()
    return np.asarray(turns.as_quat(scalar_first=True), dtype=np.float64), flat


def _bearing(found: Found, leg: str, part: str, times: FloatArray) -> BoolArray:
    mask = np.zeros(len(times), dtype=np.bool_)
    for contact in found.contacts:
        if contact.leg == leg and contact.part == part:
            mask |= (times >= contact.start_s - 1e-6) & (times <= contact.end_s + 1e-6)
    return mask


def _toes(foot: FloatArray, plan: LegPlan, found: Found, times: FloatArray) -> FloatArray:
    """Toes flat on the floor while the ball bears and the heel does not, else straight with the foot."""
    ball = _bearing(found, plan.name, "ball", times) & ~_bearing(found, plan.name, "heel", times)
    _, _, forward = plan.foot_axes
    turn = Rotation.from_quat(foot, scalar_first=True)
    ahead = turn.apply(np.array(list(forward), dtype=np.float64))
    lifted = np.degrees(np.arcsin(np.clip(-ahead[:, 1], -1.0, 1.0)))
    still = ~_bearing(found, plan.name, "ball", times)
    known = ~still
    values = np.where(ball, np.maximum(lifted, 0.0), 0.0)[:, None]
    rate = 1.0 / (times[1] - times[0]) if len(times) > 1 else 1.0
    bend = fade(values, known, max(round(0.12 * rate), 2))[:, 0]
    left = np.array(list(plan.foot_axes[0]), dtype=np.float64)
    up = Rotation.from_rotvec(-np.radians(bend)[:, None] * left)
    return np.asarray((turn * up).as_quat(scalar_first=True), dtype=np.float64)


def _pelvis_turns(markers: Markers, axes: FloatArray) -> FloatArray:
    """(N, 4) turns of the pelvis from its mean, which stands for rest: how a walker tilts it at rest is not known."""
    front = [markers.of(side, "asis") for side in SIDES]
    back = [markers.of(side, "psis") for side in SIDES]
    if any(each is None for each in (*front, *back)):
        return np.tile([1.0, 0.0, 0.0, 0.0], (len(markers), 1))
    a_left, a_right, p_left, p_right = (np.asarray(each) @ axes for each in (*front, *back))
    left = (a_left - a_right) + (p_left - p_right)
    left /= np.linalg.norm(left, axis=1, keepdims=True)
    ahead = (a_left + a_right) - (p_left + p_right)
    up = np.cross(ahead, left)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    frames = Rotation.from_matrix(np.stack([left, up, np.cross(left, up)], axis=2))
    return np.asarray((frames * frames.mean().inv()).as_quat(scalar_first=True), dtype=np.float64)


def _resampled(goals: Goals, at: FloatArray) -> Goals:
    """Goals at frames that need not be whole: places by cubic splines, turns by splines of their quaternions."""
    from scipy.interpolate import CubicSpline

    from instep.motion.turns import continuous

    frames = np.arange(len(goals))

    def places(own: FloatArray) -> FloatArray:
        return np.asarray(CubicSpline(frames, own)(at) if len(frames) > 2 else own[at.round().astype(int)])

    def turns(own: FloatArray) -> FloatArray:
        made = places(continuous(own))
        return np.asarray(made / np.linalg.norm(made, axis=1, keepdims=True), dtype=np.float64)

    legs = {
        name: LegGoal(
            turns(leg.foot), turns(leg.toes), places(leg.ankle), places(leg.knee), turns(leg.thigh), places(leg.hip)
        )
        for name, leg in goals.legs.items()
    }
    plains = {name: turns(own) for name, own in goals.plains.items()}
    return Goals(turns(goals.pelvis_turn), places(goals.pelvis_place), legs, plains)
