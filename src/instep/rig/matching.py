"""Changing how a leg is posed without moving it: forward and inverse kinematics, and the foot's space.

All in closed form, on channel values. The parts themselves are evaluated on arrays of numbers here; no
mathematics of the rig is written a second time.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.errors import ChannelError
from instep.frames.quaternion import Quat
from instep.frames.rigid import Rigid
from instep.frames.vector import Vec, across, cross, dot, length, unit
from instep.rig.assemble import Assembly, build_changes
from instep.rig.channels import ChannelBook
from instep.rig.parts.forward import leg_axes
from instep.rig.plan import LegPlan
from instep.rig.rig import Rig
from instep.tolerances import GUARD


def match_forward(rig: Rig, values: FloatArray, leg: str) -> FloatArray:
    """Channel values (N, C) that pose `leg` by forward kinematics, where `values` (N, C) has it by any blend.

    Exact where the bones have their rest length: a leg that is stretched, or whose knee is pinned or slid, has
    no equal in forward kinematics; its joints then keep their turns and lose the growth.

    Raises ChannelError where the rig has no channels for it (it needs the full controls).
    """
    plan = _leg(rig, leg)
    found = _evaluate(rig, values).changes
    settings: dict[str, FloatArray] = {f"{leg}.leg.forward": np.ones(len(values))}
    chain = (
        ("thigh", found[plan.carrier].turn, found[f"{leg}.thigh"].turn, leg_axes(plan)),
        ("shin", found[f"{leg}.thigh"].turn, found[f"{leg}.shin"].turn, leg_axes(plan)),
        ("ankle", found[f"{leg}.shin"].turn, found[f"{leg}.foot"].turn, plan.foot_axes),
    )
    for control, parent, turn, axes in chain:
        settings |= _turn_channels(f"{leg}.{control}", axes, plan.side, parent.inverse @ turn, len(values))
    return _with(rig, values, settings)


def match_inverse(rig: Rig, values: FloatArray, leg: str) -> FloatArray:
    """Channel values (N, C) that pose `leg` by its foot, where `values` (N, C) has it by any blend.

    The foot's pivots (roll, bank, heel, ball, tip, toes) keep their values: the foot control itself moves. The
    knee is met by its twist. `leg.soft` is lowered where the leg stands inside its soft zone. Exact for a leg
    whose knee turns about its hinge alone; a shin that is turned across its hinge keeps ankle, foot and knee in
    place but loses that turn.

    Raises ChannelError where the rig has no channels for it.
    """
    plan = _leg(rig, leg)
    found = _evaluate(rig, values)
    wanted = found.changes[f"{leg}.foot"]
    hip, knee, ankle = (
        found.changes[f"{leg}.{part}"] @ point
        for part, point in (("thigh", plan.hip), ("shin", plan.knee), ("foot", plan.ankle))
    )
    zeros = np.zeros(len(values))
    whole = length(plan.knee - plan.hip) + length(plan.ankle - plan.knee)
    spare = np.maximum(whole - length(ankle - hip), 0.0) / max(plan.soft, GUARD * rig.plan.unit)
    soft = values[:, rig.channel(f"{leg}.leg.soft")]
    start = _with(
        rig,
        values,
        {
            f"{leg}.leg.forward": zeros,
            f"{leg}.leg.soft": np.minimum(soft, spare),
            f"{leg}.knee.slide": zeros,
            f"{leg}.knee.pin": zeros,
            f"{leg}.knee.twist": zeros,
        },
    )
    stack = found.feet[leg].placed.inverse @ found.feet[leg].foot
    placed = _placed_at(rig, start, leg, wanted @ stack.inverse)
    return _with(rig, placed, {f"{leg}.knee.twist": _twist_to(rig, placed, plan, knee, found)})


def switch_space(rig: Rig, values: FloatArray, leg: str, space: str, share: float = 1.0) -> FloatArray:
    """Channel values (N, C) with the foot of `leg` following `space` by `share`, all others by 0, in its place.

    `space` is "root", "world", "pelvis" or another of the leg's spaces. Raises ChannelError where there is no
    such channel.
    """
    plan = _leg(rig, leg)
    follows = dict.fromkeys((*plan.spaces, "world"), 0.0)
    if space != "root":
        follows[space] = share
    placed = _evaluate(rig, values).feet[leg].placed
    settings = {f"{leg}.foot.follow_{name}": np.full(len(values), amount) for name, amount in follows.items()}
    return _placed_at(rig, _with(rig, values, settings), leg, placed)


def _leg(rig: Rig, name: str) -> LegPlan:
    for leg in rig.plan.legs:
        if leg.name == name:
            return leg
    known = ", ".join(leg.name for leg in rig.plan.legs)
    raise ChannelError(f'"{name}" is no leg of this rig', expected=f"one of {known}")


def _evaluate(rig: Rig, values: FloatArray) -> Assembly:
    """The parts, evaluated on columns of numbers."""
    columns = {channel.name: values[:, number] for number, channel in enumerate(rig.channels)}
    book = ChannelBook(
        rig.description.controls, columns.__getitem__, rig.description.by_hand.ranges, rig.description.by_hand.pinned
    )
    return build_changes(book, rig.plan)


def _with(rig: Rig, values: FloatArray, settings: dict[str, FloatArray]) -> FloatArray:
    changed = np.array(values, dtype=np.float64)
    for name, column in settings.items():
        changed[:, rig.channel(name)] = column
    return changed


def _placed_at(rig: Rig, values: FloatArray, leg: str, wanted: Rigid) -> FloatArray:
    """The values with the foot control's own move and turn such that it is placed at `wanted`."""
    plan = _leg(rig, leg)
    control = f"{leg}.foot"
    own = [f"{control}.{quantity}" for quantity in ("across", "up", "along", "yaw", "pitch", "lean")]
    zeros = np.zeros(len(values))
    base = _evaluate(rig, _with(rig, values, dict.fromkeys(own, zeros))).feet[leg].placed
    place = base.inverse @ wanted
    shift = place @ plan.ankle - plan.ankle
    moves = {f"{control}.across": shift.x * plan.side, f"{control}.up": shift.y, f"{control}.along": shift.z}
    turns = _turn_channels(control, plan.foot_axes, plan.side, place.turn, len(values))
    return _with(rig, values, {name: zeros + column for name, column in (moves | turns).items()})


def _turn_channels(
    control: str, axes: tuple[Vec, Vec, Vec], side: float, turn: Quat, frames: int
) -> dict[str, FloatArray]:
    """The yaw, pitch and lean that make up a turn about `axes`."""
    basis = Rotation.from_matrix(np.array([list(axis) for axis in axes], dtype=np.float64).T)
    components = [np.broadcast_to(component, frames) for component in turn]
    whole = Rotation.from_quat(np.stack(components, axis=-1), scalar_first=True)
    yaw, pitch, lean = (basis.inv() * whole * basis).as_euler("YXZ", degrees=True).T
    return {f"{control}.yaw": yaw * side, f"{control}.pitch": pitch, f"{control}.lean": lean * -side}


def _twist_to(rig: Rig, values: FloatArray, leg: LegPlan, knee: Vec, found: Assembly) -> FloatArray:
    """The twist that brings the knee to where it was, from `values` whose twist is 0."""
    hinge = cross(unit(leg.ankle - leg.hip), leg.bend)
    solved = _evaluate(rig, values).changes
    hip = solved[f"{leg.name}.thigh"] @ leg.hip
    line = unit(solved[f"{leg.name}.foot"] @ leg.ankle - hip, GUARD * rig.plan.unit)
    told = unit(cross(solved[f"{leg.name}.thigh"].turn @ hinge, line), GUARD)
    offset = across(knee - hip, line)
    # A straight leg says nothing by its knee's place: then the hinge of the thigh does.
    straight = length(offset) < 1e-4 * rig.plan.unit
    by_hinge = cross(found.changes[f"{leg.name}.thigh"].turn @ hinge, line)
    was = Vec.of(np.where(straight, a, b) for a, b in zip(by_hinge, offset, strict=True))
    angle = np.arctan2(dot(cross(told, was), line), dot(told, was))
    return np.asarray(np.degrees(angle) * -leg.side, dtype=np.float64)
