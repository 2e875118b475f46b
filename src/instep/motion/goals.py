"""What a clip asks of a rig: where each driver goes, in the body's axes, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.character.pose import rotation_matrices
from instep.motion.turns import continuous
from instep.rig import Rig


@dataclass(frozen=True, slots=True, eq=False)
class LegGoal:
    """One leg over N frames, in the body's axes.

    foot, toes : (N, 4) turns as changes from the bind pose; `toes` equals `foot` where the rig has no toes.
    ankle, knee, hip : (N, 3) places.
    thigh : (N, 4) turn of the thigh: says where the knee points when the leg is straight.
    """

    foot: FloatArray
    toes: FloatArray
    ankle: FloatArray
    knee: FloatArray
    thigh: FloatArray
    hip: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Goals:
    """Where the rig shall go over N frames, in the body's axes.

    pelvis_turn : (N, 4). pelvis_place : (N, 3). legs : by name. plains : (N, 4) whole turn of each plain driver.
    """

    pelvis_turn: FloatArray
    pelvis_place: FloatArray
    legs: dict[str, LegGoal]
    plains: dict[str, FloatArray]

    def __len__(self) -> int:
        return len(self.pelvis_turn)


def driver_joints(rig: Rig) -> dict[str, int]:
    """The joint that stands for each driver but the root: its own, or the first that follows it."""
    measured = {"pelvis": rig.measurement.pelvis}
    for leg in rig.measurement.legs:
        measured |= {f"{leg.name}.thigh": leg.thigh, f"{leg.name}.shin": leg.shin, f"{leg.name}.foot": leg.foot}
        if leg.toes is not None:
            measured[f"{leg.name}.toes"] = leg.toes
    found: dict[str, int] = {}
    for number, driver in enumerate(rig.plan.drivers):
        followers = np.flatnonzero(rig.plan.followers == number)
        if driver in measured:
            found[driver] = measured[driver]
        elif driver != "root" and len(followers):
            found[driver] = int(followers[0])
    return found


def body_turns(rig: Rig, rotation: FloatArray) -> FloatArray:
    """(N, 4) turns in the body's axes, from the same in the world's."""
    return np.concatenate([rotation[:, :1], rotation[:, 1:] @ rig.plan.R_world_body], axis=1)


def goals_of(rig: Rig, poses: Poses) -> Goals:
    """Goals from poses of the rig's own character. A scale of the character is kept out: the goals are unscaled."""
    joints = driver_joints(rig)
    numbers = {driver: number for number, driver in enumerate(rig.plan.drivers)}
    R = rig.plan.R_world_body
    turns = {driver: continuous(body_turns(rig, poses.rotation[:, joint])) for driver, joint in joints.items()}

    def place(driver: str, point: FloatArray) -> FloatArray:
        joint = joints[driver]
        offset = point - rig.character.skeleton.positions[joint]
        spot = poses.position[:, joint]
        if np.abs(offset).max() > 0.0:
            turned = rotation_matrices(poses.rotation[:, joint]) @ offset
            spot = spot + turned * poses.scale[:, None]
        return np.asarray(spot @ R, dtype=np.float64)

    def own(driver: str) -> FloatArray:
        return place(driver, rig.plan.points[numbers[driver]])

    legs = {}
    for leg in rig.plan.legs:
        foot = turns[f"{leg.name}.foot"]
        legs[leg.name] = LegGoal(
            foot=foot,
            toes=turns.get(f"{leg.name}.toes", foot),
            ankle=own(f"{leg.name}.foot"),
            knee=own(f"{leg.name}.shin"),
            thigh=turns[f"{leg.name}.thigh"],
            hip=own(f"{leg.name}.thigh"),
        )
    return Goals(turns["pelvis"], own("pelvis"), legs, {plain.name: turns[plain.name] for plain in rig.plan.plains})
