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
from instep.rig.blueprint import Blueprint, LegBlueprint
from instep.rig.channels import Channel, ChannelBook, ControlSet
from instep.rig.parts.foot import build_foot
from instep.rig.parts.forward import build_forward
from instep.rig.parts.leg import build_leg
from instep.rig.parts.pelvis import build_pelvis
from instep.rig.parts.plain import build_plain
from instep.rig.parts.root import Root, build_root
from instep.rig.program.trace import make_function

COMPONENTS = ("w", "x", "y", "z", "across", "up", "along")
"""What the program returns for each driver: a turn, as a change in world axes, and a place in the world."""


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """The rig's function in symbolic form, with its channels in order."""

    function: casadi.Function
    channels: tuple[Channel, ...]
    outputs: tuple[str, ...]


def assemble(
    blueprint: Blueprint,
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
    root = build_root(book, blueprint.root, blueprint.unit)
    changes: dict[str, Rigid] = {"root": Rigid.identity()}
    legs = {leg.name: leg for leg in blueprint.legs}
    plains = {plain.name: plain for plain in blueprint.plains}
    for name in _order(blueprint):
        if name == "pelvis":
            changes[name] = build_pelvis(book, blueprint.pelvis, blueprint.unit)
        elif name in plains:
            plain = plains[name]
            changes[name] = build_plain(book, plain, changes[plain.carrier])
        elif name in legs:
            changes.update(_build_whole_leg(book, legs[name], changes, root, blueprint.unit))
    book.refuse_unknown(where)
    outputs: list[Scalar] = [root.scale]
    names = ["root.scale"]
    world = [Vec.of(float(value) for value in row) for row in blueprint.R_world_body]
    for driver, point in zip(blueprint.drivers, blueprint.points, strict=True):
        start = Vec.of(float(value) for value in blueprint.R_world_body.T @ point)
        turn, place = root.carry(changes[driver], start)
        outputs += [turn.w, *(dot(row, turn.vector) for row in world), *(dot(row, place) for row in world)]
        names += [f"{driver}.{component}" for component in COMPONENTS]
    return Traced(make_function("rig", book.symbols, outputs), tuple(book.channels), tuple(names))


def _build_whole_leg(
    book: ChannelBook, leg: LegBlueprint, changes: Mapping[str, Rigid], root: Root, unit: float
) -> dict[str, Rigid]:
    """The changes of a leg's thigh, shin, foot and toes."""
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
    return {f"{leg.name}.{part}": Rigid.carrying(turn, start, end) for part, turn, start, end in placed}


def _order(blueprint: Blueprint) -> list[str]:
    """Parts after what they follow; raises CycleError with the path where that cannot be."""
    owner = {f"{leg.name}.{part}": leg.name for leg in blueprint.legs for part in ("thigh", "shin", "foot", "toes")}
    needs: dict[str, list[str]] = {"pelvis": ["root"]}
    needs.update({plain.name: [owner.get(plain.carrier, plain.carrier)] for plain in blueprint.plains})
    needs.update({leg.name: [owner.get(name, name) for name in (leg.carrier, *leg.spaces)] for leg in blueprint.legs})
    try:
        return [name for name in TopologicalSorter(needs).static_order() if name != "root"]
    except GraphCycle as cycle:
        path = list(reversed(cycle.args[1]))
        raise CycleError(
            "controls follow one another in a circle: " + " follows ".join(path),
            expected="an order in which each control follows only what is placed before it",
            cure="Take one of these out of the foot's spaces in the rig file",
        ) from None
