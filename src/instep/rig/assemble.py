"""The rig's function, put together from its parts in the order that the data flow gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from graphlib import CycleError as GraphCycle
from graphlib import TopologicalSorter

import casadi
import numpy as np

from instep.character.arrays import FloatArray
from instep.errors import CycleError
from instep.frames.quaternion import Quat
from instep.frames.rigid import Rigid
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec, dot
from instep.rig.channels import Channel, ChannelBook, ControlSet
from instep.rig.parts.foot import Foot, build_foot
from instep.rig.parts.forward import build_forward
from instep.rig.parts.leg import build_leg, mark_distance
from instep.rig.parts.pelvis import build_pelvis
from instep.rig.parts.plain import build_plain
from instep.rig.parts.root import Root, build_root
from instep.rig.plan import LegPlan, RigPlan
from instep.rig.program.trace import make_function

COMPONENTS = ("w", "x", "y", "z", "across", "up", "along")
"""What the program returns for each driver: a turn, as a change in world axes, and a place in the world."""


@dataclass(frozen=True, slots=True, eq=False)
class Assembly:
    """All changes in root space, on symbols or on arrays of numbers: whatever the channel book gave.

    Attributes
    ----------
    root : carries everything into the world.
    changes : by driver.
    feet : by leg: what the foot's stack of controls places, also where the leg cannot follow.
    frames : by control: where what the animator grabs has gone.
    """

    root: Root
    changes: dict[str, Rigid]
    feet: dict[str, Foot]
    frames: dict[str, Rigid]


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """The rig's function in symbolic form, with its channels in order, and all that its parts offered.

    Attributes
    ----------
    function, outputs : the rig itself.
    frames, frame_outputs : a second function of the same channels: where each control has gone, for drawing it.
    """

    channels: tuple[Channel, ...]
    offered: frozenset[str]
    function: casadi.Function
    outputs: tuple[str, ...]
    frames: casadi.Function
    frame_outputs: tuple[str, ...]


def build_changes(book: ChannelBook, plan: RigPlan) -> Assembly:
    """Put the parts together. Raises CycleError where followers go round in a circle."""
    root = build_root(book, plan.root, plan.unit)
    assembly = Assembly(root, {"root": Rigid.identity()}, {}, {"root": Rigid.identity()})
    legs = {leg.name: leg for leg in plan.legs}
    plains = {plain.name: plain for plain in plan.plains}
    for name in _order(plan):
        if name in legs:
            _add_leg(assembly, book, legs[name], plan.unit)
            continue
        if name == "pelvis":
            change = build_pelvis(book, plan.pelvis, plan.unit)
        else:
            change = build_plain(book, plains[name], assembly.changes[plains[name].carrier])
        assembly.changes[name] = assembly.frames[name] = change
    return assembly


def assemble(
    plan: RigPlan,
    chosen: ControlSet,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    pinned: Mapping[str, float] | None = None,
    where: str = "the rig file",
) -> Traced:
    """Trace the rig's function.

    Outputs are, in order: ``root.scale``, then for each driver ``driver.w x y z`` (its turn as a change from the
    bind pose, in world axes) and ``driver.across up along`` (where its point stands, along the world's x, y, z).
    Those of the frames are the same for each control, with the world's origin as the point: what stood at x goes to
    ``scale turn x + place``.

    Raises CycleError where followers go round in a circle, RigFileError for unknown channel names.
    """
    book = ChannelBook(chosen, casadi.SX.sym, ranges or {}, pinned or {})
    assembly = build_changes(book, plan)
    book.refuse_unknown(where)
    origin = np.zeros(3)
    joints = {name: (assembly.changes[name], p) for name, p in zip(plan.drivers, plan.points, strict=True)}
    controls = {channel.control for channel in book.channels}
    frames = {name: (change, origin) for name, change in assembly.frames.items() if name in controls}
    outputs, names = _in_world(plan, assembly.root, joints)
    frame_outputs, frame_names = _in_world(plan, assembly.root, frames)
    return Traced(
        tuple(book.channels),
        frozenset(book.offered),
        make_function("rig", book.symbols, [assembly.root.scale, *outputs]),
        ("root.scale", *names),
        make_function("frames", book.symbols, [assembly.root.scale, *frame_outputs]),
        ("root.scale", *frame_names),
    )


def _in_world(
    plan: RigPlan, root: Root, changes: Mapping[str, tuple[Rigid, FloatArray]]
) -> tuple[list[Scalar], list[str]]:
    """Turn of each change, and place of its point, in the world."""
    rows = [Vec.of(float(value) for value in row) for row in plan.R_world_body]
    outputs: list[Scalar] = []
    for change, point in changes.values():
        turn, place = root.carry(change, Vec.of(float(value) for value in plan.R_world_body.T @ point))
        outputs += [turn.w, *(dot(row, turn.vector) for row in rows), *(dot(row, place) for row in rows)]
    return outputs, [f"{name}.{component}" for name in changes for component in COMPONENTS]


def _add_leg(assembly: Assembly, book: ChannelBook, leg: LegPlan, unit: float) -> None:
    """Add a leg: its foot's stack, the changes of thigh, shin, foot and toes, and its controls' frames."""
    changes, name = assembly.changes, leg.name
    carrier = changes[leg.carrier]
    spaces = {space: changes[space] for space in leg.spaces}
    foot = build_foot(book, leg, spaces, assembly.root.undo(leg.ankle), unit)
    bones = build_leg(book, leg, carrier, foot.foot @ leg.ankle, unit)
    pose = build_forward(book, leg, carrier, bones, foot.foot, foot.toes.turn)
    changes[f"{name}.thigh"] = Rigid.carrying(pose.thigh, leg.hip, pose.hip)
    changes[f"{name}.shin"] = Rigid.carrying(pose.shin, leg.knee, pose.knee)
    changes[f"{name}.foot"] = Rigid.carrying(pose.foot, leg.ankle, pose.ankle)
    if leg.has_toes:
        changes[f"{name}.toes"] = Rigid.carrying(pose.toes, leg.ball, pose.ball)
    assembly.feet[name] = foot
    mark = leg.knee + leg.bend * mark_distance(unit)
    assembly.frames.update({f"{name}.{control}": frame for control, frame in foot.frames.items()})
    assembly.frames[f"{name}.knee"] = Rigid(Quat.identity(), bones.mark - mark)
    for control, driver in (("thigh", "thigh"), ("shin", "shin"), ("ankle", "foot"), ("leg", "thigh")):
        assembly.frames[f"{name}.{control}"] = changes[f"{name}.{driver}"]


def _order(plan: RigPlan) -> list[str]:
    """Parts after what they follow; raises CycleError with the path where that cannot be."""
    owner = {f"{leg.name}.{part}": leg.name for leg in plan.legs for part in ("thigh", "shin", "foot", "toes")}
    needs: dict[str, list[str]] = {"pelvis": ["root"]}
    needs.update({plain.name: [owner.get(plain.carrier, plain.carrier)] for plain in plan.plains})
    needs.update({leg.name: [owner.get(name, name) for name in (leg.carrier, *leg.spaces)] for leg in plan.legs})
    try:
        return [name for name in TopologicalSorter(needs).static_order() if name != "root"]
    except GraphCycle as cycle:
        path = list(reversed(cycle.args[1]))
        raise CycleError(
            "controls follow one another in a circle: " + " follows ".join(path),
            expected="an order in which each control follows only what is placed before it",
            cure="Take one of these out of the foot's spaces in the rig file",
        ) from None
