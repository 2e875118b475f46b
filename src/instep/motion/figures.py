"""Figures of a motion: how far planted points move, how deep soles sink, what was moved, how knees turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.motion.blend import runs
from instep.motion.goals import goals_of
from instep.motion.model import Motion, Part
from instep.motion.plant import sink_depths
from instep.motion.sole import mark_tracks, sole_tracks
from instep.motion.stance import BALL, FLAT, HEEL, TIP, modes_of
from instep.rig import Rig


@dataclass(frozen=True, slots=True)
class Slide:
    """How far the point of one contact moves: the size of the box that holds its path over the floor, in the file's
    unit, over the frames on which it carries the foot."""

    leg: str
    part: Part
    start_s: float
    end_s: float
    slide: float
    rise: float


def slides(rig: Rig, motion: Motion, poses: Poses | None = None) -> tuple[Slide, ...]:
    """The slide of each contact's point. The floor's own motion is taken out.

    A point counts while its part carries the foot (see `modes_of`): the heel alone or flat, the ball with the heel
    down or up, the tip when it bears alone.
    """
    poses = poses or rig.evaluate(motion.values)
    carried = motion.floor.carried(len(motion), motion.rate)
    found: list[Slide] = []
    plans = {leg.name: leg for leg in rig.plan.legs}
    for leg in rig.measurement.legs:
        modes = modes_of(motion, plans[leg.name])
        tracks = mark_tracks(rig, poses, leg)
        carries: dict[Part, tuple[int, ...]] = {"heel": (HEEL, FLAT), "ball": (FLAT, BALL), "tip": (TIP,)}
        for part, track in tracks.items():
            for first, end in runs(np.isin(modes, carries[part])):
                path = track[first:end] - carried[first:end]
                box = np.ptp(path, axis=0)
                found.append(
                    Slide(
                        leg.name,
                        part,
                        float(motion.times_s[first]),
                        float(motion.times_s[end - 1]),
                        float(np.hypot(box[0], box[2])),
                        float(box[1]),
                    )
                )
    return tuple(found)


def sinks(rig: Rig, motion: Motion, poses: Poses | None = None) -> dict[str, FloatArray]:
    """By leg, (N,) how deep the skinned sole is under the floor, in the file's unit."""
    tracks = sole_tracks(rig, poses or rig.evaluate(motion.values))
    return {leg.name: sink_depths(motion, leg, tracks) for leg in rig.plan.legs}


def moved_rms(before: Poses, after: Poses) -> FloatArray:
    """(J,) root mean square distance by which each joint was moved, in the file's unit."""
    return np.asarray(np.sqrt(np.mean(np.sum((after.position - before.position) ** 2, axis=2), axis=0)))


def knee_flexion(rig: Rig, poses: Poses) -> dict[str, FloatArray]:
    """By leg, (N,) degrees between thigh and shin; 0 is straight."""
    goals = goals_of(rig, poses)
    found: dict[str, FloatArray] = {}
    for leg in rig.measurement.legs:
        hip = poses.position[:, leg.thigh] @ rig.plan.R_world_body
        goal = goals.legs[leg.name]
        a, b = goal.knee - hip, goal.ankle - goal.knee
        cosine = np.sum(a * b, axis=1) / (np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1))
        found[leg.name] = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return found
