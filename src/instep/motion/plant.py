"""Feet that stay where they are planted.

In each stance a footprint is laid where it moves the clip's own foot least, the pivots of the foot are measured
against it (`pivots`), and the foot control stands on the footprint: the bearing point cannot move. Between stances
the foot keeps the clip's motion plus a correction that runs from stance to stance with continuous value and slope.
Then the pelvis sinks where a leg would not reach its footprint, before any leg is stretched. Source of the order
(constraints first, then the legs' reach, then blending): Kovar, Schreiner & Gleicher, SCA 2002:97.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.ndimage import distance_transform_edt

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.frames.rigid import Rigid
from instep.frames.vector import length
from instep.motion.blend import envelope, fade, runs
from instep.motion.goals import Goals, LegGoal, goals_of
from instep.motion.inverse import evaluate_foot, hip_places, solve_channels
from instep.motion.model import Contact, Motion
from instep.motion.pivots import measure_pivots, pivot_channels, without_brushing
from instep.motion.sole import SoleTracks, sole_tracks
from instep.motion.stance import AIR, Stance, as_rigid, find_stances, footprint_turns, modes_of
from instep.motion.turns import exponential, inverse, logarithm, multiply, points_of, rigid, turns_of
from instep.rig import Rig
from instep.rig.plan import LegPlan

SWING_S: Final = 0.3
"""Seconds over which a foot in the air comes back to the clip's own path: most of a swing (38 % of 1.1 s)."""

PIVOT_S: Final = 0.12
"""Seconds over which the pivots come back to zero in the air."""

SOLE_SINKS: Final = 4e-3
"""Fraction of foot length by which the skin of a sole may sink: below the half of a hundredth that shows."""

RAISES: Final = 2
"""Times that soles are raised: a foot whose leg is too short rises by less than its goal does."""

CLEAR_S: Final = 0.08
"""Seconds from a contact over which a foot in the air comes to its clearance."""

RAISE_S: Final = 0.02
"""Half of the seconds over which a foot rises for its skin."""

SINK_S: Final = 0.05
"""Half of the seconds over which the pelvis comes down and up again where a leg would not reach."""

MOST_SINK: Final = 0.3
"""Fraction of leg length by which the pelvis sinks at most."""

NEAR_STRAIGHT: Final = 1e-3
"""Fraction of leg length by which a planted leg is kept from its full reach, beside its soft zone."""


@dataclass(frozen=True, slots=True, eq=False)
class Planted:
    """A planted motion and what was done for it.

    motion : with new values. sunk : (N,) how far the pelvis was lowered, in the file's unit.
    missed : by leg, the greatest distance by which an ankle misses its place in a stance, in the file's unit.
    """

    motion: Motion
    sunk: FloatArray
    missed: dict[str, float]


def plant(rig: Rig, motion: Motion, *, clearance: float = 0.0) -> Planted:
    """Plant the feet of a motion by its contacts, on its floor.

    The root comes out at rest: what it did is in the pelvis and the feet. A cyclic motion is planted with what comes
    before and after it, so that it stays cyclic. `clearance` is how far a foot in the air keeps from the floor at
    least, in the file's unit, away from its contacts.
    """
    pad = unrolling(motion)
    whole = unrolled(motion, pad) if pad else motion
    goals = goals_of(rig, rig.evaluate(whole.values))
    normal = whole.floor.normal
    modes = {
        leg.name: without_brushing(leg, goals.legs[leg.name], modes_of(whole, leg), normal) for leg in rig.plan.legs
    }
    planted, chosen = _plant_legs(rig, whole, goals, modes)
    far = _too_far(rig, planted, modes)
    if any(mask.any() for mask in far.values()):
        # No pelvis that sinks within reason brings these legs to their footprints: there the foot has left the floor.
        modes = {name: np.where(far[name], AIR, own) for name, own in modes.items()}
        planted, chosen = _plant_legs(rig, whole, goals, modes)
    bearing = {name: own != AIR for name, own in modes.items()}
    sunk = _sinking(rig, planted, bearing, whole.rate)
    planted = _lowered(planted, sunk)
    for _ in range(RAISES):
        planted, short = _raise_soles(rig, whole, planted, chosen, bearing, clearance)
        if not short:
            break
    values = solve_channels(rig, planted, chosen)
    reached = goals_of(rig, rig.evaluate(values))
    missed = {
        name: float(
            np.linalg.norm(reached.legs[name].ankle - planted.legs[name].ankle, axis=1)[bearing[name]].max(initial=0.0)
        )
        for name in bearing
    }
    shown = slice(pad, pad + len(motion))
    stands = {name: mask[shown] for name, mask in bearing.items()}
    contacts = tuple(kept for contact in motion.contacts for kept in _within(contact, stands[contact.leg], motion))
    return Planted(replace(motion.with_values(values[shown]), contacts=contacts), sunk[shown], missed)


def _within(contact: Contact, stands: BoolArray, motion: Motion) -> list[Contact]:
    """A contact cut to the frames on which its foot stands; none where nothing is left."""
    times = motion.times_s
    inside = stands & (times >= contact.start_s - 1e-3) & (times <= contact.end_s + 1e-3)
    return [
        replace(contact, start_s=round(float(times[first]), 6), end_s=round(float(times[end - 1]), 6))
        for first, end in runs(inside)
    ]


def _plant_legs(
    rig: Rig, motion: Motion, goals: Goals, modes: dict[str, IntArray]
) -> tuple[Goals, dict[str, FloatArray]]:
    """The goals with planted legs, and the channels that their pivots and knees have."""
    carried = motion.floor.carried(len(motion), motion.rate)
    chosen: dict[str, FloatArray] = {}
    legs: dict[str, LegGoal] = {}
    for leg in rig.plan.legs:
        legs[leg.name], pivots = _plant_leg(rig, motion, leg, goals.legs[leg.name], modes[leg.name], carried)
        twist = f"{leg.name}.knee.twist"
        chosen |= pivots | {twist: motion.values[:, rig.channel(twist)]}
    return replace_legs(goals, legs), chosen


def _lowered(goals: Goals, sunk: FloatArray) -> Goals:
    lowered = goals.pelvis_place - sunk[:, None] * np.array([0.0, 1.0, 0.0])
    return Goals(goals.pelvis_turn, lowered, goals.legs, goals.plains)


def unrolling(motion: Motion) -> int:
    """Frames that are put before and after a cyclic motion."""
    period = len(motion) - 1
    return min(period, max(round(1.5 * motion.rate), 1)) if motion.cyclic and period > 1 else 0


def unrolled(motion: Motion, pad: int) -> Motion:
    """A cyclic motion with `pad` frames before and after it, and its contacts with it."""
    period = len(motion) - 1
    index = np.arange(-pad, len(motion) + pad) % period
    length_s = period / motion.rate
    contacts: list[Contact] = []
    for shift in (-length_s, 0.0, length_s):
        contacts += [replace(c, start_s=c.start_s + shift, end_s=c.end_s + shift) for c in motion.contacts]
    start = motion.start_s - pad / motion.rate
    floor = motion.floor
    if floor.path is not None:
        turns = np.arange(-pad, len(motion) + pad) // period
        floor = replace(floor, path=floor.path[index] + turns[:, None] * floor.path[-1])
    return replace(motion, values=motion.values[index], contacts=tuple(contacts), start_s=start, keys=None, floor=floor)


def replace_legs(goals: Goals, legs: dict[str, LegGoal]) -> Goals:
    """The same goals with other legs."""
    return Goals(goals.pelvis_turn, goals.pelvis_place, legs, goals.plains)


def _plant_leg(
    rig: Rig, motion: Motion, leg: LegPlan, goal: LegGoal, modes: IntArray, carried: FloatArray
) -> tuple[LegGoal, dict[str, FloatArray]]:
    frames = len(motion)
    foot = rigid(goal.foot, leg.ankle, goal.ankle - carried)
    toes = rigid(goal.toes, leg.ball, points_of(foot @ leg.ball, frames))
    heights = floor_heights(motion, leg, points_of(foot @ leg.heel, frames))
    stances = find_stances(motion, leg, modes, foot, toes, heights)
    full = rig.description.controls == "full"
    pivots = measure_pivots(leg, goal, modes, stances, motion.rate, full=full)
    channels = pivot_channels(leg, pivots, modes, stances)
    if not stances:
        return goal, channels
    columns = {channel.name: np.full(frames, channel.default) for channel in rig.channels}
    columns |= {name: values for name, values in channels.items() if name in columns}
    stack = evaluate_foot(rig, leg, columns)
    turns, shifts, within = footprint_turns(stances, frames)
    print_ = as_rigid(turns, shifts)
    new_foot, new_toes = print_ @ stack.foot, print_ @ stack.toes
    made = _bridge(goal, leg, new_foot, new_toes, within, carried, motion.rate)
    window = max(round(PIVOT_S * motion.rate), 2)
    return made, faded_channels(rig, channels, within, window)


def faded_channels(rig: Rig, channels: dict[str, FloatArray], within: BoolArray, window: int) -> dict[str, FloatArray]:
    """Those of the channels that a rig has, brought to zero off the stances and kept inside their ranges."""
    own = [channel for channel in rig.channels if channel.name in channels]
    faded = fade(np.stack([channels[channel.name] for channel in own], axis=1), within, window)
    return {channel.name: np.clip(faded[:, k], channel.low, channel.high) for k, channel in enumerate(own)}


def floor_heights(motion: Motion, leg: LegPlan, heel: FloatArray) -> FloatArray:
    """(N,) height of the floor under a foot; on steps that of the contact on that frame."""
    heights = motion.floor.heights(heel[:, 0], heel[:, 2])
    if motion.floor.kind == "steps":
        times = motion.times_s
        for contact in motion.contacts:
            if contact.leg == leg.name:
                heights[(times >= contact.start_s - 1e-6) & (times <= contact.end_s + 1e-6)] = contact.height
    return heights


def _bridge(
    goal: LegGoal, leg: LegPlan, foot: Rigid, toes: Rigid, within: BoolArray, carried: FloatArray, rate: float
) -> LegGoal:
    """The planted foot in its stances, and the clip's own foot with a fading correction between them."""
    frames = len(within)
    window = max(round(SWING_S * rate), 2)
    foot_turn, toes_turn = turns_of(foot.turn, frames), turns_of(toes.turn, frames)
    turn = fade(logarithm(multiply(foot_turn, inverse(goal.foot))), within, window)
    place = fade(points_of(foot @ leg.ankle, frames) + carried - goal.ankle, within, window)
    bent_before = multiply(inverse(goal.foot), goal.toes)
    bent_after = multiply(inverse(foot_turn), toes_turn)
    bend = fade(logarithm(multiply(bent_after, inverse(bent_before))), within, window)
    new_foot = np.where(within[:, None], foot_turn, multiply(exponential(turn), goal.foot))
    new_toes = np.where(within[:, None], toes_turn, multiply(new_foot, multiply(exponential(bend), bent_before)))
    return replace(goal, foot=new_foot, toes=new_toes, ankle=goal.ankle + place)


def _raise_soles(
    rig: Rig,
    motion: Motion,
    goals: Goals,
    chosen: dict[str, FloatArray],
    bearing: dict[str, BoolArray],
    clearance: float,
) -> tuple[Goals, bool]:
    """Feet raised where their skin would sink: by just what it sinks more than allowed, smoothed from above.

    Also says whether a raised foot was out of its leg's reach: then it rises by less than its goal, and a second time
    is needed. The point that bears keeps its place over the floor. It rises by that little where linear blending
    pushes the crease under the ball down as the heel lifts; a rigid sole would need none.
    """
    poses = rig.evaluate(solve_channels(rig, goals, chosen))
    tracks, reached = sole_tracks(rig, poses), goals_of(rig, poses)
    legs = dict(goals.legs)
    short = False
    for leg in rig.plan.legs:
        allowed = SOLE_SINKS * tracks.foot_length[leg.name]
        depth = sole_depths(motion, leg, tracks)
        need = np.maximum(depth - allowed, 0.0)
        if clearance > 0.0:
            apart = distance_transform_edt(~bearing[leg.name]) if bearing[leg.name].any() else np.full(len(depth), 1e9)
            u = np.clip(apart / max(CLEAR_S * motion.rate, 1.0) - 0.5, 0.0, 1.0)
            wanted = clearance * u * u * (3.0 - 2.0 * u)
            need = np.maximum(need, np.where(u > 0.0, wanted + depth, 0.0))
        goal = legs[leg.name]
        if need.any():
            raised = envelope(need, max(round(RAISE_S * motion.rate), 1))
            # From where the leg brings the foot: a goal out of its reach could be raised without moving the foot.
            ankle = reached.legs[leg.name].ankle
            short |= bool(np.abs((ankle - goal.ankle)[raised > 0.0]).max(initial=0.0) > 1e-4 * rig.plan.unit)
            legs[leg.name] = replace(goal, ankle=ankle + raised[:, None] * np.array([0.0, 1.0, 0.0]))
    return replace_legs(goals, legs), short


def sink_depths(motion: Motion, leg: LegPlan, tracks: SoleTracks) -> FloatArray:
    """(N,) how deep a foot's sole is under the floor, 0 where it is not."""
    return np.maximum(sole_depths(motion, leg, tracks), 0.0)


def sole_depths(motion: Motion, leg: LegPlan, tracks: SoleTracks) -> FloatArray:
    """(N,) how deep the lowest point of a foot's sole is under the floor; below 0 over it."""
    parts = tracks.parts[leg.name]
    spots = np.concatenate([own.points for own in parts.values()], axis=1)
    ground = motion.floor.heights(spots[..., 0], spots[..., 2])
    if motion.floor.kind == "steps":
        ground = np.broadcast_to(floor_heights(motion, leg, spots[:, 0])[:, None], ground.shape)
    return np.asarray((ground - spots[..., 1]).max(axis=1), dtype=np.float64)


def _needs(rig: Rig, leg: LegPlan, goals: Goals) -> FloatArray:
    """(N,) how far the pelvis has to sink so that a leg reaches its foot without its soft zone; infinite where a foot
    is too far to the side or along for any height."""
    unit = rig.plan.unit
    whole = float(length(leg.knee - leg.hip) + length(leg.ankle - leg.knee))
    reach = whole - leg.soft - NEAR_STRAIGHT * unit
    away = hip_places(rig, leg, goals) - goals.legs[leg.name].ankle
    level = np.hypot(away[:, 0], away[:, 2])
    need = away[:, 1] - np.sqrt(np.maximum(reach**2 - level**2, 0.0))
    return np.where(level > reach, np.inf, np.maximum(need, 0.0))


def _too_far(rig: Rig, goals: Goals, modes: dict[str, IntArray]) -> dict[str, BoolArray]:
    """By leg, (N,) the frames on which a planted foot would need the pelvis to sink more than `MOST_SINK`."""
    most = MOST_SINK * rig.plan.unit
    return {leg.name: (_needs(rig, leg, goals) > most) & (modes[leg.name] != AIR) for leg in rig.plan.legs}


def _sinking(rig: Rig, goals: Goals, bearing: dict[str, BoolArray], rate: float) -> FloatArray:
    """(N,) how far the pelvis sinks, smoothly, so that every planted leg reaches its foot."""
    need = np.zeros(len(goals))
    for leg in rig.plan.legs:
        need = np.maximum(need, np.where(bearing[leg.name], _needs(rig, leg, goals), 0.0))
    need = np.minimum(need, MOST_SINK * rig.plan.unit)
    return envelope(need, max(round(SINK_S * rate), 1))


def footprints(rig: Rig, motion: Motion, leg: str) -> list[Stance]:
    """The stances of a leg as they stand in a motion, for drawing and for reports."""
    plan = next(each for each in rig.plan.legs if each.name == leg)
    goal = goals_of(rig, rig.evaluate(motion.values)).legs[leg]
    foot = rigid(goal.foot, plan.ankle, goal.ankle - motion.floor.carried(len(motion), motion.rate))
    frames = len(motion)
    toes = rigid(goal.toes, plan.ball, points_of(foot @ plan.ball, frames))
    heights = floor_heights(motion, plan, points_of(foot @ plan.heel, frames))
    return find_stances(motion, plan, modes_of(motion, plan), foot, toes, heights)
