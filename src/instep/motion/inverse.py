"""The closed-form inverse of a rig: channel values from where its joints shall go.

Each part is undone in the order of its frames. What the joints cannot say, the pivots of the foot (roll, ball, tip,
bank, twist), is chosen by the caller: whatever they are, the foot control itself is placed so that the foot comes to
its goal. The parts are evaluated on arrays of numbers; no mathematics of the rig is written a second time.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.frames.rigid import Rigid
from instep.frames.vector import Vec, across, cross, dot, length, unit
from instep.motion.goals import Goals, LegGoal
from instep.motion.turns import control_angles, points_of, quat, turns_of, vec
from instep.rig import Rig
from instep.rig.channels import ChannelBook
from instep.rig.parts.foot import Foot, build_foot
from instep.rig.parts.leg import build_leg
from instep.rig.parts.turns import BODY_AXES
from instep.rig.plan import LegPlan
from instep.tolerances import GUARD, LEAST_REACH

FARTHEST: Final = 2.0
"""Legs' lengths by which a goal may lie beyond the ankle that it brings to its place inside the soft zone: so far the
foot control's own range goes. With a zone of 0.03 the ankle then misses by 4e-4 of the leg at most, next to full
reach."""

KNEE_SAYS: Final = 0.05
"""Fraction of leg length. A knee this far off the line from hip to ankle says by its place alone where it points;
nearer the hinge of the thigh has its say too, and a straight leg leaves it to the thigh."""

Choice = Mapping[str, FloatArray]
"""By channel name, (N,) values that the joints leave open: the pivots of a foot."""


def solve_channels(rig: Rig, goals: Goals, chosen: Choice | None = None) -> FloatArray:
    """(N, C) channel values that bring the joints to their goals as far as the rig can; the root stays at rest.

    `chosen` sets channels that the joints leave open; what the rig has not got among them is passed over. Exact for
    goals that the rig can reach: bones of rest length, hips where the pelvis carries them, knees that are hinges, and
    toes that bend only (with the essential controls). A knee's twist is solved unless it is chosen.
    """
    frames = len(goals)
    columns = {channel.name: np.full(frames, channel.default) for channel in rig.channels}
    for name, values in (chosen or {}).items():
        if name in columns:
            columns[name] = np.asarray(values, dtype=np.float64)
    pelvis = Rigid.carrying(quat(goals.pelvis_turn), rig.plan.pelvis, vec(goals.pelvis_place))
    changes: dict[str, Rigid] = {"root": Rigid.identity(), "pelvis": pelvis}
    _set(columns, "pelvis", ("across", "up", "along"), goals.pelvis_place - np.array(list(rig.plan.pelvis)))
    _set(columns, "pelvis", ANGLES, control_angles(goals.pelvis_turn, BODY_AXES, 0.0))
    for plain in rig.plan.plains:
        changes[plain.name] = Rigid.identity()  # only turns are carried from here on
    for leg in rig.plan.legs:
        goal = goals.legs[leg.name]
        for part, turn in (("thigh", goal.thigh), ("foot", goal.foot), ("toes", goal.toes)):
            changes[f"{leg.name}.{part}"] = Rigid(quat(turn), Vec(0.0, 0.0, 0.0))
    by_name = {plain.name: plain for plain in rig.plan.plains}
    turns = {name: quat(turn) for name, turn in goals.plains.items()}
    for name, plain in by_name.items():
        carrier = turns.get(plain.carrier) or (
            changes[plain.carrier].turn if plain.carrier in changes else changes["pelvis"].turn
        )
        own = turns_of(carrier.inverse @ turns[name], frames)
        _set(columns, name, ANGLES, control_angles(own, BODY_AXES, plain.side))
    for leg in rig.plan.legs:
        hip = _hip(rig, leg, changes, goals)
        _solve_leg(rig, leg, goals.legs[leg.name], hip, columns, frames, chosen or {})
    return np.stack([columns[channel.name] for channel in rig.channels], axis=1)


ANGLES = ("yaw", "pitch", "lean")


def evaluate_foot(rig: Rig, leg: LegPlan, columns: Mapping[str, FloatArray]) -> Foot:
    """The foot's stack for columns of channel values, with the foot control where its own channels put it."""
    spaces = dict.fromkeys(leg.spaces, Rigid.identity())
    return build_foot(_book(rig, columns), leg, spaces, Rigid.identity(), rig.plan.unit)


def hip_places(rig: Rig, leg: LegPlan, goals: Goals) -> FloatArray:
    """(N, 3) where the hip of a leg is carried, in the body's axes."""
    pelvis = Rigid.carrying(quat(goals.pelvis_turn), rig.plan.pelvis, vec(goals.pelvis_place))
    return points_of(pelvis @ leg.hip, len(goals))


def _book(rig: Rig, columns: Mapping[str, FloatArray]) -> ChannelBook:
    by_hand = rig.description.by_hand
    return ChannelBook(rig.description.controls, columns.__getitem__, by_hand.ranges, by_hand.pinned)


def _set(columns: dict[str, FloatArray], control: str, quantities: tuple[str, ...], values: FloatArray) -> None:
    for number, quantity in enumerate(quantities):
        if f"{control}.{quantity}" in columns:
            columns[f"{control}.{quantity}"] = values[:, number]


def _hip(rig: Rig, leg: LegPlan, changes: Mapping[str, Rigid], goals: Goals) -> Vec:
    """Where the leg's carrier brings the hip. A chain of plain joints between pelvis and hip is followed."""
    if leg.carrier in ("pelvis", "root"):
        return changes[leg.carrier] @ leg.hip
    by_name = {plain.name: plain for plain in rig.plan.plains}
    chain = []
    name = leg.carrier
    while name in by_name:
        chain.append(by_name[name])
        name = by_name[name].carrier
    change = changes.get(name, changes["pelvis"])
    for plain in reversed(chain):
        change = Rigid.carrying(quat(goals.plains[plain.name]), plain.point, change @ plain.point)
    return change @ leg.hip


def _solve_leg(
    rig: Rig, leg: LegPlan, goal: LegGoal, hip: Vec, columns: dict[str, FloatArray], frames: int, kept: Collection[str]
) -> None:
    name = leg.name
    if leg.has_toes:
        # With the foot control at rest: foot = X ball, toes = X toes', so toes' = ball foot^-1 toes.
        _set(columns, f"{name}.foot", ("across", "up", "along", *ANGLES), np.zeros((frames, 6)))
        lifted = _stack(rig, leg, columns)
        relative = quat(goal.foot).inverse @ quat(goal.toes)
        ball = lifted.frames["tip"].turn.inverse @ lifted.foot.turn
        angles = control_angles(turns_of(ball @ relative, frames), leg.foot_axes, leg.side)
        given = control_angles(
            turns_of(lifted.frames["tip"].turn.inverse @ lifted.toes.turn, frames), leg.foot_axes, leg.side
        )
        for number, quantity in enumerate(("yaw", "bend", "lean")):
            channel = f"{name}.toes.{quantity}"
            if channel in columns:
                columns[channel] = columns[channel] + angles[:, number] - given[:, number]
    stack = _stack(rig, leg, columns)
    ankle = _beyond(rig, leg, hip, vec(goal.ankle), columns)
    wanted = Rigid.carrying(quat(goal.foot), leg.ankle, ankle)
    placed = wanted @ stack.foot.inverse
    shift = points_of(placed @ leg.ankle - leg.ankle, frames) * np.array([leg.side, 1.0, 1.0])
    _set(columns, f"{name}.foot", ("across", "up", "along"), shift)
    turn = turns_of(placed.turn, frames)
    _set(columns, f"{name}.foot", ANGLES, control_angles(turn, leg.foot_axes, leg.side))
    if f"{name}.knee.twist" not in kept:
        columns[f"{name}.knee.twist"] = _knee_twist(rig, leg, goal, hip, ankle, columns)


def _stack(rig: Rig, leg: LegPlan, columns: dict[str, FloatArray]) -> Foot:
    """What the pivots do, with the foot control at rest."""
    own = {f"{leg.name}.foot.{q}" for q in ("across", "up", "along", *ANGLES)}
    zero = np.zeros(len(next(iter(columns.values()))))
    return evaluate_foot(rig, leg, {name: zero if name in own else column for name, column in columns.items()})


def _beyond(rig: Rig, leg: LegPlan, hip: Vec, ankle: Vec, columns: Mapping[str, FloatArray]) -> Vec:
    """The goal that the soft reach brings to `ankle`: the ankle itself outside of the soft zone.

    Inside, with distance d = start + zone t / (1 + t), t = (d - start) / (zone - (d - start)), as far as `FARTHEST`
    allows. An ankle out of reach is its own goal, so that a leg that cannot follow points to it; between the two the
    goal comes back over one soft zone.
    """
    unit_length = rig.plan.unit
    whole = float(length(leg.knee - leg.hip) + length(leg.ankle - leg.knee))
    zone = leg.soft * columns.get(f"{leg.name}.leg.soft", np.ones(1))
    away = ankle - hip
    distance = length(away, GUARD * unit_length)
    start = whole - zone
    inside = np.maximum(distance - start, 0.0)
    most = FARTHEST * unit_length
    past = np.minimum(inside * zone / np.maximum(zone - inside, GUARD * unit_length), most)
    beyond = np.maximum(inside - zone, 0.0)
    fading = np.exp(-beyond / np.maximum(zone, GUARD * unit_length))
    past = np.where(beyond > 0.0, inside + (most - inside) * fading, past)
    stretched = columns.get(f"{leg.name}.leg.stretch", np.zeros(1)) > 0.0
    moves = (inside > 0.0) & ~stretched
    wanted = np.maximum(start + past, LEAST_REACH * unit_length)
    moved: Vec = hip + away * (wanted / distance)
    return Vec.of(np.where(moves, m, a) for m, a in zip(moved, ankle, strict=True))


def _knee_twist(
    rig: Rig, leg: LegPlan, goal: LegGoal, hip: Vec, ankle: Vec, columns: Mapping[str, FloatArray]
) -> FloatArray:
    """(N,) the knee's twist in degrees that turns the leg's plane to where the knee is."""
    frames = len(goal.ankle)
    held = dict(columns)
    held[f"{leg.name}.knee.twist"] = np.zeros(frames)
    carrier = Rigid(quat(np.tile([1.0, 0.0, 0.0, 0.0], (frames, 1))), hip - leg.hip)
    bones = build_leg(_book(rig, held), leg, carrier, ankle, rig.plan.unit)
    hinge = cross(unit(leg.ankle - leg.hip), leg.bend)
    line = unit(ankle - hip, GUARD * rig.plan.unit)
    told = unit(cross(bones.thigh @ hinge, line), GUARD)
    # By the clip's own hip: one that the pelvis does not carry (some clips move it) would tilt the knee's direction.
    own_hip = vec(goal.hip)
    own_line = unit(vec(goal.ankle) - own_hip, GUARD * rig.plan.unit)
    offset = across(vec(goal.knee) - own_hip, own_line)
    by_hinge = unit(across(cross(quat(goal.thigh) @ hinge, own_line), own_line), GUARD)
    size = length(offset, GUARD * rig.plan.unit)
    share = np.clip(size / (KNEE_SAYS * rig.plan.unit), 0.0, 1.0)
    # A knee that is bent a little the wrong way is a straight one.
    share = np.where((dot(offset, by_hinge) < 0.0) & (share < 1.0), 0.0, share)
    was = across(offset * (share / size) + by_hinge * (1.0 - share), line)
    angle = np.arctan2(dot(cross(told, was), line), dot(told, was))
    return np.asarray(np.degrees(np.unwrap(angle)) * -leg.side, dtype=np.float64)
