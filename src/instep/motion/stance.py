"""Stances: which part of a foot carries it on each frame, and the footprint that it stands in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.frames.quaternion import Quat
from instep.frames.rigid import Rigid
from instep.frames.vector import Vec
from instep.motion.blend import runs
from instep.motion.model import Floor, Motion
from instep.motion.turns import points_of, quat, turns_of, vec
from instep.rig.plan import LegPlan

Mode: TypeAlias = Literal["air", "heel", "flat", "ball", "tip"]
AIR, HEEL, FLAT, BALL, TIP = range(5)
MODES: Final[tuple[Mode, ...]] = ("air", "heel", "flat", "ball", "tip")


@dataclass(frozen=True, slots=True, eq=False)
class Stance:
    """One stance of one foot, from frame `first` to before `end`.

    footprint : the change that puts the whole foot flat on the floor where it stands, in the axes that move with the
        floor.
    """

    first: int
    end: int
    footprint: Rigid


def modes_of(motion: Motion, leg: LegPlan) -> IntArray:
    """(N,) what carries a foot: heel alone; heel and any other part: flat; ball without heel; tip alone.

    A foot whose heel has left before the ball comes down, or that was lost for a moment between two parts of one
    stance, is joined by `close`. Without a toe joint the foot has no ball to lift the heel about: it turns about the
    tip.
    """
    heel, ball, tip = (motion.bearing(leg.name, part) for part in ("heel", "ball", "tip"))
    if not leg.has_toes:
        tip, ball = tip | ball, np.zeros(len(motion), dtype=np.bool_)
    modes = np.full(len(motion), AIR, dtype=np.int64)
    modes[tip] = TIP
    modes[ball] = BALL
    modes[heel] = HEEL
    modes[heel & (ball | tip)] = FLAT
    return close(modes, max(round(0.05 * motion.rate), 1))


def close(modes: IntArray, gap: int) -> IntArray:
    """Short stretches of air between different parts of one stance, given to the part before."""
    closed = modes.copy()
    for first, end in runs(modes == AIR):
        if first > 0 and end < len(modes) and end - first <= gap and modes[first - 1] < modes[end]:
            closed[first:end] = modes[first - 1]
    return closed


def find_stances(
    motion: Motion, leg: LegPlan, modes: IntArray, foot: Rigid, toes: Rigid, heights: FloatArray
) -> list[Stance]:
    """The stances of one foot with their footprints, so placed that the least is moved.

    `foot`, `toes` : changes of the clip in the axes that move with the floor. `heights` (N,) of the floor under the
    foot. The footprint's heading and place are means over the frames on which the foot is flat (over all frames of
    the stance where it never is): there the mean moves the points least, in the sense of least squares.
    """
    bearing = modes != AIR
    found: list[Stance] = []
    frames = len(modes)
    tracks = {
        HEEL: points_of(foot @ leg.heel, frames),
        BALL: points_of(toes @ on_sole(leg), frames),
        TIP: points_of(toes @ leg.tip, frames),
    }
    tracks[FLAT] = 0.5 * (tracks[HEEL] + points_of(foot @ on_sole(leg), frames))
    rest = {HEEL: leg.heel, BALL: on_sole(leg), TIP: leg.tip, FLAT: (leg.heel + on_sole(leg)) * 0.5}
    _, up, forward = leg.foot_axes
    # Toes that hold point where the footprint points; so do feet that are flat or on their heel.
    heading_foot = points_of(foot.turn @ forward, frames)
    heading_toes = points_of(toes.turn @ forward, frames)
    spans = runs(bearing)
    chosen_frames: list[IntArray] = []
    ways = np.zeros((len(spans), 3))
    for number, (first, end) in enumerate(spans):
        own = modes[first:end]
        flat = own == FLAT
        chosen = flat if flat.any() else np.ones(len(own), dtype=np.bool_)
        frames_in = np.flatnonzero(chosen) + first
        held = (modes[frames_in] >= BALL)[:, None]
        ways[number] = np.where(held, heading_toes[frames_in], heading_foot[frames_in]).mean(axis=0)
        chosen_frames.append(frames_in)
    turns = _standing(motion.floor, up, forward, ways)
    for (first, end), frames_in, turn in zip(spans, chosen_frames, turns, strict=True):
        height = float(np.median(heights[frames_in]))
        shift = np.zeros(3)
        for mode in np.unique(modes[frames_in]):
            own_frames = frames_in[modes[frames_in] == mode]
            apart = tracks[int(mode)][own_frames] - points_of(turn @ rest[int(mode)], 1)
            shift += apart.sum(axis=0) / len(frames_in)
        shift[1] = 0.0
        base = Rigid(turn, Vec.of(shift))
        heel = points_of(base @ leg.heel, 1)[0]
        level = height if motion.floor.kind == "steps" else float(motion.floor.heights(heel[0], heel[2]))
        found.append(Stance(int(first), int(end), Rigid(base.turn, base.shift + Vec(0.0, level - heel[1], 0.0))))
    return found


def on_sole(leg: LegPlan) -> Vec:
    """The point of the sole under the ball."""
    _, up, _ = leg.foot_axes
    offset = leg.ball - leg.heel
    height = up.x * offset.x + up.y * offset.y + up.z * offset.z
    point: Vec = leg.ball - up * height
    return point


def _standing(floor: Floor, up: Vec, forward: Vec, headings: FloatArray) -> list[Quat]:
    """The turns that lay the sole on the floor and point the foot along each of (S, 3) headings."""
    if not len(headings):
        return []
    normal = floor.normal
    ahead = headings - np.outer(headings @ normal, normal)
    size = np.linalg.norm(ahead, axis=1, keepdims=True)
    ahead = np.where(size > 1e-9, ahead / np.where(size > 1e-9, size, 1.0), np.array([0.0, 0.0, 1.0]))
    level = np.broadcast_to(normal, ahead.shape)
    target = np.stack([np.cross(level, ahead), level, ahead], axis=2)
    a, b = np.array(list(up), dtype=np.float64), np.array(list(forward), dtype=np.float64)
    source = np.stack([np.cross(a, b), a, b], axis=1)
    turns = Rotation.from_matrix(target @ source.T).as_quat(scalar_first=True)
    return [Quat(*(float(component) for component in turn)) for turn in turns]


def footprint_turns(stances: list[Stance], frames: int) -> tuple[FloatArray, FloatArray, BoolArray]:
    """(N, 4) turn and (N, 3) shift of the footprint on each frame of a stance, and (N,) where there is one."""
    turns = np.tile([1.0, 0.0, 0.0, 0.0], (frames, 1))
    shifts = np.zeros((frames, 3))
    within = np.zeros(frames, dtype=np.bool_)
    for stance in stances:
        span = slice(stance.first, stance.end)
        turns[span] = turns_of(stance.footprint.turn, 1)[0]
        shifts[span] = points_of(stance.footprint.shift, 1)[0]
        within[span] = True
    return turns, shifts, within


def as_rigid(turns: FloatArray, shifts: FloatArray) -> Rigid:
    """One change for each frame."""
    return Rigid(quat(turns), vec(shifts))
