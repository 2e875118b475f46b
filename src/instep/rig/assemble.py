"""The rig's function, put together from its parts in the order that the data flow gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from graphlib import CycleError as GraphCycle
from graphlib import TopologicalSorter

import casadi

from instep.errors import CycleError
from instep.frames.quaternion import Quat
from instep.frames.rigid import Rigid
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec, dot
from instep.rig.channels import Channel, ChannelBook, ControlSet
from instep.rig.parts.foot import Foot, build_foot
from instep.rig.parts.forward import build_forward
from instep.rig.parts.leg import build_leg
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
    """

    root: Root
    changes: dict[str, Rigid]
    feet: dict[str, Foot]


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """The rig's function in symbolic form, with its channels in order, and all that its parts offered."""

    function: casadi.Function
    channels: tuple[Channel, ...]
    offered: frozenset[str]
    outputs: tuple[str, ...]


def build_changes(book: ChannelBook, plan: RigPlan) -> Assembly:
    """Put the parts together. Raises CycleError where followers go round in a circle."""
    root = build_root(book, plan.root, plan.unit)
    changes: dict[str, Rigid] = {"root": Rigid.identity()}
    feet: dict[str, Foot] = {}
    legs = {leg.name: leg for leg in plan.legs}
    plains = {plain.name: plain for plain in plan.plains}
    for name in _order(plan):
        if name == "pelvis":
            changes[name] = build_pelvis(book, plan.pelvis, plan.unit)
        elif name in plains:
            plain = plains[name]
            changes[name] = build_plain(book, plain, changes[plain.carrier])
        elif name in legs:
            feet[name], placed = _build_whole_leg(book, legs[name], changes, root, plan.unit)
            changes.update(placed)
    return Assembly(root, changes, feet)


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

    Raises CycleError where followers go round in a circle, RigFileError for unknown channel names.
    """
    book = ChannelBook(chosen, casadi.SX.sym, ranges or {}, pinned or {})
    assembly = build_changes(book, plan)
    book.refuse_unknown(where)
    outputs: list[Scalar] = [assembly.root.scale]
    names = ["root.scale"]
    world = [Vec.of(float(value) for value in row) for row in plan.R_world_body]
    for driver, point in zip(plan.drivers, plan.points, strict=True):
        start = Vec.of(float(value) for value in plan.R_world_body.T @ point)
        turn, place = assembly.root.carry(assembly.changes[driver], start)
        outputs += [turn.w, *(dot(row, turn.vector) for row in world), *(dot(row, place) for row in world)]
        names += [f"{driver}.{component}" for component in COMPONENTS]
    return Traced(
        make_function("rig", book.symbols, outputs), tuple(book.channels), frozenset(book.offered), tuple(names)
    )


def _build_whole_leg(
    book: ChannelBook, leg: LegPlan, changes: Mapping[str, Rigid], root: Root, unit: float
) -> tuple[Foot, dict[str, Rigid]]:
    """The foot's stack, and the changes of the leg's thigh, shin, foot and toes."""
    carrier = changes[leg.carrier]
    spaces = {space: changes[space] for space in leg.spaces}
    foot = build_foot(book, leg, spaces, root.undo(leg.ankle), unit)
    bones = build_leg(book, leg, carrier, foot.foot @ leg.ankle, unit)
    pose = build_forward(book, leg, carrier, bones, foot.foot, foot.toes.turn)
    placed: list[tuple[str, Quat, Vec, Vec]] = [
        ("thigh", pose.thigh, leg.hip, pose.hip),
        ("shin", pose.shin, leg.knee, pose.knee),
        ("foot", pose.foot, leg.ankle, pose.ankle),
    ]
    if leg.has_toes:
        placed.append(("toes", pose.toes, leg.ball, pose.ball))
    return foot, {f"{leg.name}.{part}": Rigid.carrying(turn, start, end) for part, turn, start, end in placed}


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
