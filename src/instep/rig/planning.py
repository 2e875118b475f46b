"""From what was measured and described to a plan: who carries whom, and where."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import numpy as np

from instep.character import Character, Skeleton
from instep.character.arrays import FloatArray, IntArray
from instep.errors import LandmarkError, RigFileError
from instep.frames.vector import Vec
from instep.landmarks import LegLandmarks, Measurement
from instep.rig.description import LegOptions, RigDescription, TunedLeg
from instep.rig.nearest import nearest_name
from instep.rig.plan import LegPlan, PlainPlan, RigPlan
from instep.tolerances import AIM_APART_DEG, BONE_LENGTH, NEARLY_STRAIGHT, STRAIGHT_LEG

BALL_GIVES_OUT_DEG: Final = 35.0
"""Roll at which the ball starts to pass over to the tip where nothing else is said: common practice."""
TIP_TAKES_OVER_DEG: Final = 62.0
"""Roll at which the tip has taken over where nothing else is said: common practice."""
HOLD: Final = 1.0
"""Toes hold to the floor where nothing was solved: exact for a toe pad that only the toes' joint moves."""

RESERVED: Final = frozenset({"root", "pelvis"})


def plan_rig(character: Character, measurement: Measurement, description: RigDescription) -> RigPlan:
    """The plan of a rig.

    Raises LandmarkError where a bone has no length, RigFileError where the description names a leg or a space
    that the character has not got.
    """
    skeleton = character.skeleton
    R = np.asarray(measurement.R_world_body, dtype=np.float64)
    legs = measurement.legs
    _refuse_unknown_legs(description, legs)
    drivers = ["root", "pelvis"]
    pelvis = np.array(skeleton.positions[measurement.pelvis])
    root = _floor_under(pelvis, R, measurement.floor)
    points: list[FloatArray] = [root, pelvis]
    followers = np.full(len(skeleton), -1, dtype=np.int64)
    followers[measurement.pelvis] = 1
    for joint in skeleton.ancestors(measurement.pelvis):
        followers[joint] = 0
    for leg in legs:
        parts = {"thigh": leg.hip, "shin": leg.knee, "foot": leg.ankle}
        if leg.toes is not None:
            parts["toes"] = leg.ball
        for part, landmark in parts.items():
            drivers.append(f"{leg.name}.{part}")
            points.append(np.asarray(landmark.position, dtype=np.float64))
        _claim_leg(leg, followers, drivers)
    plains = _plain_joints(skeleton, R, measurement, description, followers, drivers, points)
    return RigPlan(
        R_world_body=R,
        root=Vec.of(R.T @ root),
        pelvis=Vec.of(R.T @ pelvis),
        unit=measurement.leg_length,
        legs=tuple(_plan_leg(character, leg, measurement, description, followers, drivers) for leg in legs),
        plains=plains,
        drivers=tuple(drivers),
        points=np.array(points),
        followers=followers,
    )


def _floor_under(point: FloatArray, R: FloatArray, floor: float) -> FloatArray:
    """The point on the floor under a point."""
    p_body = R.T @ point
    p_body[1] = floor
    return np.asarray(R @ p_body, dtype=np.float64)


def _claim_leg(leg: LegLandmarks, followers: IntArray, drivers: list[str]) -> None:
    """Give each joint of a leg its driver."""
    own = {leg.thigh: "thigh", leg.shin: "shin", leg.foot: "foot"}
    if leg.toes is not None:
        own[leg.toes] = "toes"
    for joint, part in own.items():
        followers[joint] = drivers.index(f"{leg.name}.{part}")
    for joint, carrier in leg.joints:
        if joint not in own:
            followers[joint] = drivers.index(f"{leg.name}.{own[carrier]}")


def _plain_joints(
    skeleton: Skeleton,
    R: FloatArray,
    measurement: Measurement,
    description: RigDescription,
    followers: IntArray,
    drivers: list[str],
    points: list[FloatArray],
) -> tuple[PlainPlan, ...]:
    """A plain control for each joint that nothing owns yet; parents come first, so carriers are known."""
    plains: list[PlainPlan] = []
    taken = RESERVED | {control for leg in measurement.legs for control in _control_names(leg.name)} | set(drivers)
    for joint in range(len(skeleton)):
        if followers[joint] >= 0:
            continue
        parent = int(skeleton.parents[joint])
        carrier = int(followers[parent]) if parent >= 0 else 0
        if not description.plain:
            followers[joint] = carrier
            continue
        name = skeleton.names[joint]
        if name in taken:
            name = f"joint.{name}"
        p_body = R.T @ skeleton.positions[joint]
        across = float(p_body[0]) - float((R.T @ skeleton.positions[measurement.pelvis])[0])
        side = 0.0 if abs(across) < 1e-3 * measurement.leg_length else float(np.sign(across))
        plains.append(PlainPlan(name, side, drivers[carrier], Vec.of(p_body)))
        followers[joint] = len(drivers)
        drivers.append(name)
        points.append(np.array(skeleton.positions[joint]))
    return tuple(plains)


def _control_names(leg: str) -> set[str]:
    places = ("foot", "heel", "outer", "inner", "tip", "ball", "toes", "knee", "leg", "thigh", "shin", "ankle")
    return {f"{leg}.{place}" for place in places}


def _plan_leg(
    character: Character,
    leg: LegLandmarks,
    measurement: Measurement,
    description: RigDescription,
    followers: IntArray,
    drivers: list[str],
) -> LegPlan:
    """One leg's numbers in the body's axes."""
    R = np.asarray(measurement.R_world_body)
    p = {name: R.T @ landmark.position for name, landmark in leg.landmarks.items()}
    _refuse_short_bones(character, leg, p)
    up = R.T @ leg.sole_normal
    forward = R.T @ leg.axis
    options = description.options.get(leg.name, LegOptions())
    solved = description.tuned.get(leg.name, TunedLeg())
    unit = measurement.leg_length
    return LegPlan(
        name=leg.name,
        side=1.0 if leg.side == "left" else -1.0,
        carrier=_carrier(character.skeleton, leg, followers, drivers),
        hip=Vec.of(p["hip"]),
        knee=Vec.of(p["knee"]),
        ankle=Vec.of(p["ankle"]),
        ball=Vec.of(p["ball"]),
        has_toes=leg.toes is not None,
        heel=Vec.of(p["heel"]),
        tip=Vec.of(p["tip"]),
        inner=Vec.of(p["inner"]),
        outer=Vec.of(p["outer"]),
        foot_axes=(Vec.of(np.cross(up, forward)), Vec.of(up), Vec.of(forward)),
        bend=Vec.of(_bend_direction(leg, p["hip"], p["knee"], p["ankle"], forward, unit, solved.knee_aim_deg)),
        spaces=_known_spaces(leg.name, options.spaces, drivers),
        soft=_soft_zone(p["hip"], p["knee"], p["ankle"], chosen_soft(options, solved) * unit),
        stretch_limit=options.stretch_limit,
        **_tuned(leg.name, description),
        settle_deg=options.settle_deg,
    )


def _carrier(skeleton: Skeleton, leg: LegLandmarks, followers: IntArray, drivers: list[str]) -> str:
    """The driver that carries the hip: that of the thigh's parent joint."""
    parent = int(skeleton.parents[leg.thigh])
    return drivers[int(followers[parent])] if parent >= 0 else "root"


def _bend_direction(
    leg: LegLandmarks,
    hip: FloatArray,
    knee: FloatArray,
    ankle: FloatArray,
    forward: FloatArray,
    unit: float,
    aim_deg: float | None,
) -> FloatArray:
    """Unit vector across the line from hip to ankle, to where the knee lies; forward for a straight leg.

    Where the leg is nearly straight and an aim was solved: that far outward of forward.
    """
    line = (ankle - hip) / np.linalg.norm(ankle - hip)
    offset = knee - hip - line * (line @ (knee - hip))
    ahead = forward - line * (line @ forward)
    ahead = ahead / np.linalg.norm(ahead)
    if aim_deg is not None and np.linalg.norm(offset) < NEARLY_STRAIGHT * unit:
        outward = np.cross(ahead, line) * (1.0 if leg.side == "left" else -1.0)
        aim_rad = np.radians(aim_deg)
        if np.linalg.norm(offset) >= STRAIGHT_LEG * unit:
            own_rad = float(np.arctan2(offset @ outward, offset @ ahead))
            apart_rad = (aim_rad - own_rad + np.pi) % (2.0 * np.pi) - np.pi
            # A knee cannot bend away from where it stands without passing through the straight leg.
            most_rad = np.radians(AIM_APART_DEG)
            aim_rad = own_rad + float(np.clip(apart_rad, -most_rad, most_rad))
        return np.asarray(ahead * np.cos(aim_rad) + outward * np.sin(aim_rad), dtype=np.float64)
    if np.linalg.norm(offset) < STRAIGHT_LEG * unit:
        return np.asarray(ahead, dtype=np.float64)
    return np.asarray(offset / np.linalg.norm(offset), dtype=np.float64)


def chosen_soft(options: LegOptions, solved: TunedLeg) -> float:
    """The soft zone that is wanted, as a share of the leg: what the options say where it is not the default, else
    the solved one."""
    default = LegOptions().soft
    return options.soft if options.soft != default or solved.soft is None else solved.soft


def _soft_zone(hip: FloatArray, knee: FloatArray, ankle: FloatArray, wanted: float) -> float:
    """The soft zone's length: at most nine tenths of what lies between the rest pose and the straight leg."""
    whole = float(np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee))
    spare = max(whole - float(np.linalg.norm(ankle - hip)), 0.0)
    return min(wanted, 0.9 * spare)


def _tuned(name: str, description: RigDescription) -> dict[str, float]:
    """The leg's tuned numbers: by hand, else solved, else the default."""
    by_hand = description.by_hand.tuned.get(name, TunedLeg())
    solved = description.tuned.get(name, TunedLeg())
    defaults = {"hold": HOLD, "ball_gives_out_deg": BALL_GIVES_OUT_DEG, "tip_takes_over_deg": TIP_TAKES_OVER_DEG}
    chosen: dict[str, float] = {}
    for key, default in defaults.items():
        values = (getattr(by_hand, key), getattr(solved, key), default)
        chosen[key] = next(value for value in values if value is not None)
    chosen["tip_takes_over_deg"] = max(chosen["tip_takes_over_deg"], chosen["ball_gives_out_deg"] + 1.0)
    return chosen


def _refuse_short_bones(character: Character, leg: LegLandmarks, p: dict[str, FloatArray]) -> None:
    height = float(np.ptp(character.skeleton.positions, axis=0).max())
    for start, end, joint in (("hip", "knee", leg.shin), ("knee", "ankle", leg.foot), ("hip", "ankle", leg.foot)):
        if np.linalg.norm(p[end] - p[start]) <= BONE_LENGTH * height:
            raise LandmarkError(
                f'the {leg.name} leg has no length from {start} to {end} (joint "{character.skeleton.names[joint]}")',
                where=character.source.name,
                expected="joints at hip, knee and ankle that stand apart",
                cure=f'Move the joint in the model, or set "{leg.name}.{end}" by hand',
            )


def _refuse_unknown_legs(description: RigDescription, legs: tuple[LegLandmarks, ...]) -> None:
    known = [leg.name for leg in legs]
    tables: dict[str, Collection[str]] = {
        "options": description.options,
        "by_hand.tuned": description.by_hand.tuned,
        "tuned": description.tuned,
    }
    for table, names in tables.items():
        for name in names:
            if name not in known:
                raise RigFileError(
                    f'the character has no leg "{name}"',
                    where=table,
                    expected="one of " + ", ".join(f'"{leg}"' for leg in known),
                    cure="Correct the name, or delete the table",
                )


def _known_spaces(leg: str, spaces: tuple[str, ...], drivers: list[str]) -> tuple[str, ...]:
    for number, space in enumerate(spaces):
        if space in spaces[:number]:
            raise RigFileError(
                f'"{space}" stands there twice',
                where=f"options.{leg}.spaces",
                expected="each name once",
                cure="Delete one of the two",
            )
        if space not in drivers:
            near = nearest_name(space, drivers)
            raise RigFileError(
                f'"{space}" is nothing that a foot could follow',
                where=f"options.{leg}.spaces",
                expected=f'one such as "{near}"' if near else '"pelvis" or the name of a joint',
                cure="Correct the name, or delete it from the list",
            )
    return spaces
