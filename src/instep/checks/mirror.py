"""Mirror: swapping the sides' channels gives the mirrored pose, as far as the model itself is symmetric.

On a model whose sides are equal the rig is held against itself. Otherwise it is held against the rig of the mirrored
plan: the law is then that building and mirroring may change places, which holds for any model, so that nothing of
the model's own difference is charged to the rig.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.checks.model import Cure, Finding, Measure, bounded, conclude
from instep.checks.rest import turn_between
from instep.checks.search import find_worst, span
from instep.checks.subject import Subject, partner
from instep.frames.vector import Vec, cross
from instep.landmarks import LegLandmarks
from instep.rig.assemble import COMPONENTS, assemble
from instep.rig.channels import MIDDLE_FLIPS, Channel
from instep.rig.plan import PlainPlan, RigPlan
from instep.rig.program.trace import trace
from instep.rig.rig import Rig
from instep.tolerances import MIRRORED_POSE, SAME_SIDES

NAME = "mirror"
CLAIM = "Swapping the sides' channels gives the mirrored pose, and no joint is ever turned inside out."


NEAR: Final = 0.1
"""Fraction of the leg within which a joint of the same parents is taken for another's partner."""


@dataclass(frozen=True, eq=False)
class Sides:
    """How the two sides belong together.

    Attributes
    ----------
    middle : of the body, along its left direction.
    joints : (J,) each joint's partner: itself in the middle, -1 where it has none.
    drivers : each driver's partner by name; itself where it has none.
    difference : by joint or landmark, how far it is from its partner's mirror image, in leg lengths.
    """

    middle: float
    joints: IntArray
    drivers: dict[str, str]
    difference: dict[str, float]


def check_mirror(subject: Subject) -> Finding:
    """Compare poses of random channel values with those of the swapped values."""
    rig = subject.rig
    sides = match_sides(subject)
    widest = max(sides.difference, key=lambda name: sides.difference[name])
    apart = sides.difference[widest]
    lone = [plain.name for plain in rig.plan.plains if plain.side and sides.drivers[plain.name] == plain.name]
    equal = apart <= SAME_SIDES and not lone
    swap = Swap.within(subject, sides) if equal else Swap.to_mirrored(subject, sides)
    worst = find_worst(
        subject,
        lambda rows: swap.error(rows).max(axis=1),
        span(subject, [channel.name for channel in rig.channels if channel.name != "root.scale"]),
        words=(NAME,),
        settled=1e-1 * MIRRORED_POSE,  # next to a straight leg rounding alone makes 1e-8
    )
    driver = int(swap.error(worst.row[None])[0].argmax())
    followers = np.flatnonzero(rig.plan.followers == driver)
    place = subject.joint(int(followers[0])) if len(followers) else None
    pose = Measure(
        "departure from the mirrored pose", bounded(worst.figure), MIRRORED_POSE, "of leg length", length=subject.unit,
        pose=subject.pose(worst.row), place=place,
    )  # fmt: skip
    turned = np.flatnonzero(np.linalg.det(rig.character.skeleton.bind[:, :3, :3]) <= 0.0)
    posed = subject.evaluate(np.stack([rig.defaults, worst.row]))
    whole = np.abs(np.linalg.norm(posed.rotation, axis=2) - 1.0) < 1e-6
    bad = len(turned) + int((~whole).sum()) + int((posed.scale <= 0.0).sum())
    inside_out = Measure(
        "joints turned inside out",
        float(bad),
        0.0,
        "joints",
        place=subject.joint(int(turned[0])) if len(turned) else None,
    )
    model = Measure(
        "difference between the model's own sides", bounded(apart), None, "of leg length", length=subject.unit
    )
    notes = []
    if apart > SAME_SIDES:
        notes.append(
            f"The model's own sides differ by up to {100 * apart:.2g} % of the leg, at {widest}; the rig is held "
            "against the rig of the mirrored model, so that this is not charged to it."
        )
    if lone:
        notes.append(f"Without a partner on the other side: {', '.join(lone[:6])}{' ...' if len(lone) > 6 else ''}.")
    if len(turned):
        cause = (
            f"The model mirrors the joint {subject.joint(int(turned[0])).name} by a negative scale: its axes are "
            "left-handed, and no clip on it can be written."
        )
        cure = "In the model, mirror the joint by turning it, not by a negative scale, and bind the skin again"
    else:
        cause = f"{rig.plan.drivers[driver]} answers to its channels in another way than its partner on the other side."
        cure = "Build the rig anew from its rig file, with equal options and tuned values on both sides"
    return conclude(NAME, CLAIM, [pose, inside_out, model], notes=notes, cause=cause, cures=[Cure(cure)])


@dataclass(frozen=True, eq=False)
class Swap:
    """Two rigs of which the second, given swapped channels, should show the first one's mirrored pose.

    `other` is the rig itself, or that of the mirrored plan; `columns` and `signs` (C,) make the other's channel
    values from one's own; `order` (D,) is the other's driver that answers for each of one's own.
    """

    subject: Subject
    other: Rig
    middle: float
    columns: IntArray
    signs: FloatArray
    order: IntArray

    @staticmethod
    def within(subject: Subject, sides: Sides) -> Swap:
        """The rig against itself."""
        drivers = subject.rig.plan.drivers
        order = np.array([drivers.index(sides.drivers[name]) for name in drivers])
        columns, signs = _swapped(subject, subject.rig.channels, sides)
        return Swap(subject, subject.rig, sides.middle, columns, signs, order)

    @staticmethod
    def to_mirrored(subject: Subject, sides: Sides) -> Swap:
        """The rig against that of the mirrored plan, whose drivers have the same order."""
        rig = subject.rig
        plan = mirrored_plan(rig.plan, sides)
        hand = rig.description.by_hand
        middles = {"root", "pelvis", *(plain.name for plain in rig.plan.plains if not plain.side)}
        pinned = {}
        for name, value in hand.pinned.items():
            control, _, quantity = name.rpartition(".")
            flipped = control in middles and quantity in MIDDLE_FLIPS
            pinned[_swap_name(name, sides.drivers)] = -value if flipped else value
        # Ranges only tell what is offered, and a channel that flips would need a flipped one: they are left out.
        traced = assemble(plan, rig.description.controls, None, pinned)
        program = trace(traced.function, [channel.name for channel in traced.channels], traced.outputs)
        other = Rig(rig.character, rig.measurement, rig.description, plan, program, traced)
        columns, signs = _swapped(subject, other.channels, sides)
        return Swap(subject, other, sides.middle, columns, signs, np.arange(len(plan.drivers)))

    def error(self, rows: FloatArray) -> FloatArray:
        """(N, D) by how much of the leg, or by what turn in radians, each driver misses its mirrored partner."""
        axes, unit = self.subject.axes, self.subject.unit
        swapped = rows[:, self.columns] * self.signs
        here = _table(self.subject.rig.evaluate_outputs(rows))
        there = _table(self.other.evaluate_outputs(swapped))[:, self.order]
        p_here, p_there = here[..., 4:] @ axes, there[..., 4:] @ axes
        wanted = p_here * [-1.0, 1.0, 1.0] + [2.0 * self.middle, 0.0, 0.0]
        place = np.linalg.norm(p_there - wanted, axis=2) / unit
        v = here[..., 1:4] @ axes * [1.0, -1.0, -1.0]
        q_wanted = np.concatenate([here[..., :1], v], axis=2)
        q_found = np.concatenate([there[..., :1], there[..., 1:4] @ axes], axis=2)
        return np.asarray(np.maximum(place, turn_between(q_wanted, q_found)), dtype=np.float64)


def mirrored_plan(plan: RigPlan, sides: Sides) -> RigPlan:
    """The plan of the mirrored character: left and right change places, and every point is reflected."""
    R = plan.R_world_body
    points = plan.points @ R * [-1.0, 1.0, 1.0] + [2.0 * sides.middle, 0.0, 0.0]

    def image(p: Vec) -> Vec:
        return Vec(2.0 * sides.middle - p.x, p.y, p.z)

    def direction(v: Vec) -> Vec:
        return Vec(-v.x, v.y, v.z)

    legs = []
    for leg in plan.legs:
        up, forward = direction(leg.foot_axes[1]), direction(leg.foot_axes[2])
        name = sides.drivers[f"{leg.name}.foot"].rpartition(".")[0]
        legs.append(
            replace(
                leg,
                name=name,
                side=1.0 if name.startswith("left") else -1.0,
                carrier=sides.drivers[leg.carrier],
                hip=image(leg.hip),
                knee=image(leg.knee),
                ankle=image(leg.ankle),
                ball=image(leg.ball),
                heel=image(leg.heel),
                tip=image(leg.tip),
                inner=image(leg.inner),
                outer=image(leg.outer),
                foot_axes=(cross(up, forward), up, forward),
                bend=direction(leg.bend),
                spaces=tuple(sides.drivers[space] for space in leg.spaces),
            )
        )
    plains = []
    for plain in plan.plains:
        at = image(plain.point)
        across = float(at.x) - (2.0 * sides.middle - float(plan.pelvis.x))
        side = 0.0 if abs(across) < 1e-3 * plan.unit else float(np.sign(across))
        plains.append(PlainPlan(sides.drivers[plain.name], side, sides.drivers[plain.carrier], at))
    return replace(
        plan, root=image(plan.root), pelvis=image(plan.pelvis), legs=tuple(legs), plains=tuple(plains),
        drivers=tuple(sides.drivers[name] for name in plan.drivers), points=points @ R.T,
    )  # fmt: skip


def match_sides(subject: Subject) -> Sides:
    """Partners by geometry, parents first: the names of joints are never read."""
    rig = subject.rig
    p_body = rig.character.skeleton.positions @ subject.axes
    legs = {leg.name: leg for leg in rig.measurement.legs}
    pairs = [(leg, legs[partner(name)]) for name, leg in legs.items() if leg.side == "left" and partner(name) in legs]
    hips = [float(leg.hip.position @ subject.axes[:, 0]) for pair in pairs for leg in pair]
    middle = float(np.mean(hips)) if hips else float(p_body[rig.measurement.pelvis, 0])
    image = p_body * [-1.0, 1.0, 1.0] + [2.0 * middle, 0.0, 0.0]
    joints = _match_joints(rig, pairs, p_body, image, NEAR * subject.unit)
    names = rig.character.skeleton.names
    difference = {
        names[joint]: float(np.linalg.norm(image[joint] - p_body[other])) / subject.unit
        for joint, other in enumerate(joints)
        if other >= 0
    }
    for one, other_leg in pairs:
        for name, mark in one.landmarks.items():
            if name in other_leg.landmarks:
                here = mark.position @ subject.axes * [-1.0, 1.0, 1.0] + [2.0 * middle, 0.0, 0.0]
                there = other_leg.landmarks[name].position @ subject.axes
                difference[f"{one.name}.{name}"] = float(np.linalg.norm(here - there)) / subject.unit
    drivers = {name: name for name in rig.plan.drivers}
    for one, other_leg in pairs:
        for part in ("thigh", "shin", "foot", "toes"):
            a, b = f"{one.name}.{part}", f"{other_leg.name}.{part}"
            if a in drivers and b in drivers:
                drivers[a], drivers[b] = b, a
    plains = {plain.name for plain in rig.plan.plains}
    for joint, other in enumerate(joints):
        name = rig.plan.drivers[int(rig.plan.followers[joint])]
        theirs = rig.plan.drivers[int(rig.plan.followers[other])] if other >= 0 else name
        if name in plains and theirs in plains:
            drivers[name] = theirs
    return Sides(middle, joints, drivers, difference)


def _match_joints(
    rig: Rig, pairs: list[tuple[LegLandmarks, LegLandmarks]], p_body: FloatArray, image: FloatArray, near: float
) -> IntArray:
    skeleton = rig.character.skeleton
    found = np.full(len(skeleton), -1, dtype=np.int64)
    for one, other_leg in pairs:
        for part in ("thigh", "shin", "foot", "toes"):
            a, b = getattr(one, part), getattr(other_leg, part)
            if a is not None and b is not None:
                found[a], found[b] = b, a
    for joint in range(len(skeleton)):
        if found[joint] >= 0:
            continue
        parent = int(skeleton.parents[joint])
        above = -1 if parent < 0 else int(found[parent])
        if parent >= 0 and above < 0:
            continue
        free = [other for other in range(len(skeleton)) if skeleton.parents[other] == above and found[other] < 0]
        distance = [float(np.linalg.norm(image[joint] - p_body[other])) for other in free]
        if free and min(distance) < near:
            other = free[int(np.argmin(distance))]
            found[joint], found[other] = other, joint
    return found


def _swapped(subject: Subject, channels: tuple[Channel, ...], sides: Sides) -> tuple[IntArray, FloatArray]:
    """For each of the other rig's channels, which of one's own gives its value, and with what sign."""
    middles = {"root", "pelvis", *(plain.name for plain in subject.rig.plan.plains if not plain.side)}
    back = {theirs: ours for ours, theirs in sides.drivers.items()}
    columns, signs = [], []
    for channel in channels:
        name = _swap_name(channel.name, back)
        if name not in subject.numbers:  # one side's channel is pinned, or has no toes: it rests
            name = channel.name
        columns.append(subject.numbers[name])
        control = name.rpartition(".")[0]
        signs.append(-1.0 if control in middles and channel.quantity in MIDDLE_FLIPS else 1.0)
    return np.array(columns), np.array(signs)


def _swap_name(name: str, drivers: dict[str, str]) -> str:
    """The partner's channel: of a plain control by the partners of drivers, of a leg's control by its side."""
    control, _, quantity = name.rpartition(".")
    legs = {driver.rpartition(".")[0] for driver in drivers if driver.endswith(".thigh")}
    if control.rpartition(".")[0] in legs or control not in drivers:
        return partner(name)
    return f"{drivers[control]}.{quantity}"


def _table(outputs: FloatArray) -> FloatArray:
    """(N, D, 7) turns and places of drivers from the program's outputs (O, N)."""
    return np.moveaxis(outputs[1:].reshape(-1, len(COMPONENTS), outputs.shape[1]), -1, 0)
