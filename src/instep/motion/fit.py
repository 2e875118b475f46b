"""From joint animation to the rig's channels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.motion.clips import BroughtClip
from instep.motion.contacts import Found, find_contacts
from instep.motion.faults import MotionError
from instep.motion.goals import Goals, LegGoal, goals_of
from instep.motion.inverse import solve_channels
from instep.motion.model import Contact, Motion
from instep.motion.pivots import measure_pivots, pivot_channels, without_brushing
from instep.motion.plant import PIVOT_S, faded_channels, floor_heights, unrolled, unrolling
from instep.motion.smoothing import smooth_goals
from instep.motion.sole import sole_tracks
from instep.motion.stance import AIR, find_stances, modes_of
from instep.motion.turns import points_of, rigid
from instep.rig import Rig

BLOCK: Final = 8192
"""Frames of a long clip that are compared at a time: bounds the memory."""


@dataclass(frozen=True, slots=True)
class Leftover:
    """What the rig cannot do of one joint's motion: root mean square and greatest, in the file's unit and degrees."""

    joint: str
    distance_rms: float
    distance_most: float
    turn_rms_deg: float
    turn_most_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted clip.

    motion : on the rig, with contacts and floor.
    found : what the contacts were read from.
    leftovers : by joint, in the skeleton's order.
    """

    motion: Motion
    found: Found
    leftovers: tuple[Leftover, ...]


def fit_clip(
    rig: Rig,
    clip: BroughtClip,
    *,
    smooth_hz: float | None = None,
    floor_velocity: tuple[float, float] | None = None,
) -> Fit:
    """Fit a clip: `fit_poses` for one that was brought to the rig's character."""
    return fit_poses(
        rig,
        clip.poses,
        clip.rate,
        name=clip.name,
        start_s=clip.start_s,
        cyclic=clip.cyclic,
        smooth_hz=smooth_hz,
        floor_velocity=floor_velocity,
    )


def fit_poses(
    rig: Rig,
    poses: Poses,
    rate: float,
    *,
    name: str = "clip",
    start_s: float = 0.0,
    cyclic: bool = False,
    smooth_hz: float | None = None,
    floor_velocity: tuple[float, float] | None = None,
    contacts: Sequence[Contact] | None = None,
) -> Fit:
    """Channel values that move the rig's joints as in N poses of its character, with what bears when.

    The closed-form inverse answers each frame. With `smooth_hz` the clip is first solved as a whole (`smooth_goals`),
    for motion that is noisy or that the rig cannot do. The contacts say which pivot of a foot carries it; they are
    found, unless they are given. Joints come out alike whatever the pivots are.

    Raises MotionError where there are no frames, or a joint has no place.
    """
    if not len(poses):
        raise MotionError("the clip has no frames", expected="at least one")
    if not (np.isfinite(poses.position).all() and np.isfinite(poses.rotation).all()):
        raise MotionError("a joint does not stay finite", expected="finite places and turns")
    found = find_contacts(
        sole_tracks(rig, poses),
        rate,
        start_s,
        velocity=floor_velocity,
        expected=rig.measurement.floor,
        cyclic=cyclic,
    )
    if contacts is not None:
        found = replace(found, contacts=tuple(contacts))
    fitted = fit_goals(
        rig, goals_of(rig, poses), rate, found, name=name, start_s=start_s, cyclic=cyclic, smooth_hz=smooth_hz
    )
    return replace(fitted, leftovers=leftovers(rig, fitted.motion.values, poses))


def fit_goals(
    rig: Rig,
    goals: Goals,
    rate: float,
    found: Found,
    *,
    name: str,
    start_s: float = 0.0,
    cyclic: bool = False,
    smooth_hz: float | None = None,
) -> Fit:
    """Fit N frames of goals with contacts that were found. What is left over is told against the goals: the pelvis,
    and each leg's knee, ankle and toes, in place of joints."""
    solved = goals if smooth_hz is None else smooth_goals(rig, goals, rate, smooth_hz)
    names = tuple(channel.name for channel in rig.channels)
    empty = np.tile(rig.defaults, (len(goals), 1))
    motion = Motion(name, rate, start_s, names, empty, found.contacts, found.floor, None, cyclic)
    motion = motion.with_values(solve_channels(rig, solved, choose_pivots(rig, motion, solved)))
    reached = goals_of(rig, rig.evaluate(motion.values))
    return Fit(motion, found, _goal_leftovers(goals, reached))


def _goal_leftovers(wanted: Goals, reached: Goals) -> tuple[Leftover, ...]:
    rows = [("pelvis", wanted.pelvis_place, reached.pelvis_place, wanted.pelvis_turn, reached.pelvis_turn)]
    for leg, goal in wanted.legs.items():
        made = reached.legs[leg]
        rows.append((f"{leg}.knee", goal.knee, made.knee, goal.foot, goal.foot))
        rows.append((f"{leg}.ankle", goal.ankle, made.ankle, goal.foot, made.foot))
        rows.append((f"{leg}.toes", goal.ankle, made.ankle, goal.toes, made.toes))
    return tuple(_leftover(name, np.linalg.norm(a - b, axis=1), _angles(p, q)) for name, a, b, p, q in rows)


def _angles(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N,) degrees between turns."""
    near = np.minimum(np.linalg.norm(a - b, axis=-1), np.linalg.norm(a + b, axis=-1))
    return np.asarray(np.degrees(4.0 * np.arcsin(np.clip(0.5 * near, 0.0, 1.0))), dtype=np.float64)


def _leftover(name: str, away: FloatArray, turn: FloatArray) -> Leftover:
    return Leftover(
        name,
        float(np.sqrt(np.mean(away**2))),
        float(away.max()),
        float(np.sqrt(np.mean(turn**2))),
        float(turn.max()),
    )


def choose_pivots(rig: Rig, motion: Motion, goals: Goals) -> dict[str, FloatArray]:
    """The redundant channels of the feet, by the motion's contacts: see `pivots`. They come to zero in the air."""
    pad = unrolling(motion)
    whole = unrolled(motion, pad) if pad else motion
    index = np.arange(-pad, len(motion) + pad) % max(len(motion) - 1, 1) if pad else np.arange(len(motion))
    carried = whole.floor.carried(len(whole), whole.rate)
    chosen: dict[str, FloatArray] = {}
    for leg in rig.plan.legs:
        own = goals.legs[leg.name]
        goal = LegGoal(
            own.foot[index], own.toes[index], own.ankle[index], own.knee[index], own.thigh[index], own.hip[index]
        )
        modes = without_brushing(leg, goal, modes_of(whole, leg), whole.floor.normal)
        foot = rigid(goal.foot, leg.ankle, goal.ankle - carried)
        toes = rigid(goal.toes, leg.ball, points_of(foot @ leg.ball, len(whole)))
        heights = floor_heights(whole, leg, points_of(foot @ leg.heel, len(whole)))
        stances = find_stances(whole, leg, modes, foot, toes, heights)
        if not stances:
            continue
        full = rig.description.controls == "full"
        channels = pivot_channels(leg, measure_pivots(leg, goal, modes, stances, whole.rate, full=full), modes, stances)
        window = max(round(PIVOT_S * whole.rate), 2)
        for name, values in faded_channels(rig, channels, modes != AIR, window).items():
            if not name.startswith(f"{leg.name}.toes."):
                chosen[name] = values[pad : pad + len(motion)]
    return chosen


def leftovers(rig: Rig, values: FloatArray, poses: Poses) -> tuple[Leftover, ...]:
    """What is left of each joint's motion, between N poses and what the rig does for (N, C) values."""
    joints = len(rig.character.skeleton)
    squares, most = np.zeros((joints, 2)), np.zeros((joints, 2))
    for first in range(0, len(values), BLOCK):
        block = slice(first, first + BLOCK)
        made = rig.evaluate(values[block])
        away = np.linalg.norm(made.position - poses.position[block], axis=2)
        turn = _angles(made.rotation, poses.rotation[block])
        for column, own in enumerate((away, turn)):
            squares[:, column] += np.sum(own * own, axis=0)
            most[:, column] = np.maximum(most[:, column], own.max(axis=0))
    rms = np.sqrt(squares / max(len(values), 1))
    return tuple(
        Leftover(name, float(rms[j, 0]), float(most[j, 0]), float(rms[j, 1]), float(most[j, 1]))
        for j, name in enumerate(rig.character.skeleton.names)
    )
