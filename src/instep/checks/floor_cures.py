"""Why a sole sinks or floats, and what each cure would reach: worked out on a changed plan or changed weights."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.checks.model import Cure, Edit, Measure, bounded
from instep.checks.search import in_blocks
from instep.checks.sole import Sole
from instep.checks.variant import with_leg
from instep.frames.vector import Vec

OVER_DEG: Final = 27.0
"""Degrees of roll over which the ball passes over to the tip by default (35 to 62)."""


@dataclass(frozen=True, eq=False)
class Fault:
    """A sole's measure that falls short, and its worst row."""

    sole: Sole
    measure: Measure
    row: FloatArray


def explain(fault: Fault) -> tuple[str, tuple[Cure, ...]]:
    """The likely cause as a sentence, and cures with the figures that they reach."""
    sole, measure = fault.sole, fault.measure
    leg = sole.leg
    if measure.what.startswith("float"):
        return _floats(fault)
    heights = sole.heights(fault.row[None])[0]
    deep = np.flatnonzero(-heights / leg.foot_length > (measure.allowance or 0.0))
    shares = _shares(sole)
    foot, toes, other = (shares[part][deep] for part in ("foot", "toes", "other"))
    mesh = sole.subject.mesh
    assert mesh is not None
    offset = mesh.positions[leg.sole] - leg.heel.position
    left = np.cross(leg.sole_normal, leg.axis) * sole.plan.side
    ahead, outward = offset @ leg.axis, offset @ left
    pose = measure.pose
    roll, bank = pose.get(f"{leg.name}.foot.roll", 0.0), pose.get(f"{leg.name}.foot.bank", 0.0)
    count = f"{len(deep)} {'vertex' if len(deep) == 1 else 'vertices'} of the {leg.name} sole"
    lifted = pose.get(f"{leg.name}.toes.bend", 0.0) < -1.0
    behind = ahead[deep] < (leg.ball.position - leg.heel.position) @ leg.axis
    if lifted and np.any((toes > 0.1) & behind):
        return _toe_plate_behind(fault, deep[(toes > 0.1) & behind])
    if sole.plan.has_toes and roll > 0.0 and np.any((foot > 0.02) & (toes > 0.3)):
        return _shared_plate(fault, deep[(foot > 0.02) & (toes > 0.3)], foot[(foot > 0.02) & (toes > 0.3)])
    if np.any(other > 0.02):
        return (
            f"{count} take up to {100 * float(other.max()):.0f} % of their weight from joints above the ankle: they "
            "are "
            "left behind when the foot turns.",
            (Cure("In the model, give the sole's weights to the foot and the toes alone"),),
        )
    edges = (
        ("heel", leg.axis, float(ahead.min()), roll < 0.0, ahead.min() < 0.0),
        (
            "tip",
            leg.axis,
            float(ahead.max()),
            roll > 0.0,
            bool(ahead.max() > (leg.tip.position - leg.heel.position) @ leg.axis),
        ),
        (
            "outer",
            left,
            float(outward.max()),
            bank > 0.0,
            bool(outward.max() > (leg.outer.position - leg.heel.position) @ left),
        ),
        (
            "inner",
            left,
            float(outward.min()),
            bank < 0.0,
            bool(outward.min() < (leg.inner.position - leg.heel.position) @ left),
        ),
    )
    for mark, direction, end, turned, outside in edges:
        if turned and outside:
            return _beyond(fault, mark, direction, end, count)
    return (
        f"{count} turn through the floor with the part of the foot that carries them: the skin there is not where the "
        "pivots expect a sole.",
        (Cure(f"Set the landmarks of the {leg.name} sole by hand, or mend the weights there in the model"),),
    )


def _shares(sole: Sole) -> dict[str, FloatArray]:
    """By part, each vertex's weight on the foot (and what it carries), on the toes, and elsewhere."""
    leg, mesh = sole.leg, sole.subject.mesh
    assert mesh is not None
    joints, weights = mesh.joints[leg.sole], mesh.weights[leg.sole]
    carriers = dict(leg.joints) | {leg.foot: leg.foot} | ({leg.toes: leg.toes} if leg.toes is not None else {})
    own = {
        part: [joint for joint, carrier in carriers.items() if carrier == number]
        for part, number in (("foot", leg.foot), ("toes", leg.toes))
    }
    found = {part: np.where(np.isin(joints, list(inside)), weights, 0.0).sum(axis=1) for part, inside in own.items()}
    return found | {"other": 1.0 - found["foot"] - found["toes"]}


def _shared_plate(fault: Fault, plate: IntArray, foot: FloatArray) -> tuple[str, tuple[Cure, ...]]:
    """Vertices under the toes that follow the foot in part."""
    sole, leg = fault.sole, fault.sole.leg
    mesh = sole.subject.mesh
    assert mesh is not None
    assert leg.toes is not None
    low, high = 100 * float(foot.min()), 100 * float(foot.max())
    span = f"{low:.0f} to {high:.0f} %" if round(low) != round(high) else f"{high:.0f} %"
    cause = (
        f"{len(plate)} {'vertex' if len(plate) == 1 else 'vertices'} of the {leg.name} sole before the ball take "
        f"{span} of "
        "their weight from the foot. When the heel lifts they turn with it, down through the floor."
    )
    # All of the plate, not only what sinks now: what the toes lead, they are given.
    shares = _shares(sole)
    given = np.flatnonzero((shares["toes"] >= 0.5) & (shares["foot"] > 0.0))
    weights = np.array(mesh.weights[leg.sole])
    joints = mesh.joints[leg.sole]
    foot_joints = [joint for joint, carrier in leg.joints if carrier == leg.foot] + [leg.foot]
    moved = np.isin(joints[given], foot_joints)
    loose = np.where(moved, weights[given], 0.0).sum(axis=1)
    weights[given] = np.where(moved, 0.0, weights[given])
    column = (joints[given] == leg.toes).argmax(axis=1)
    has_toes = (joints[given] == leg.toes).any(axis=1)
    weights[given[has_toes], column[has_toes]] += loose[has_toes]
    mended = Sole.of(sole.subject, leg, sole.plan, weights)
    cures = [
        Cure("In the model, give the vertices that the toes lead to the toes alone", _reached(fault, mended)),
    ]
    curve = fault.measure.curve
    if curve is not None:
        x, y = np.array(curve.x), np.array(curve.y)
        rising = (x > 0.0) & (x <= sole.plan.ball_gives_out_deg)
        under = x[rising & (y <= 0.98 * (fault.measure.allowance or 0.0))]
        # The ball lifts to the middle of the degrees over which it passes over.
        start = float(under.max()) - 0.5 * OVER_DEG if len(under) else -1.0
        start = float(np.floor(max(start, 0.0)))
        end = (
            start + OVER_DEG
            if len(under) and under.max() >= 0.5 * OVER_DEG
            else max(2.0 * float(under.max(initial=1.0)), 1.0)
        )
        plan = replace(sole.plan, ball_gives_out_deg=start, tip_takes_over_deg=max(end, start + 1.0))
        other = with_leg(sole.subject, plan)
        keys = ("by_hand", "tuned", leg.name)
        cures.append(
            Cure(
                f"Let the {leg.name} ball give out at {start:.0f} degrees and the tip take over at {end:.0f}",
                _reached(fault, Sole.of(other, leg, plan)),
                (Edit((*keys, "ball_gives_out_deg"), start), Edit((*keys, "tip_takes_over_deg"), float(end))),
            )
        )
    return cause, tuple(cures)


def _toe_plate_behind(fault: Fault, plate: IntArray) -> tuple[str, tuple[Cure, ...]]:
    """What the toes lead behind the ball joint goes down as they bend up."""
    sole, leg = fault.sole, fault.sole.leg
    mesh = sole.subject.mesh
    assert mesh is not None
    behind = float(((leg.ball.position - mesh.positions[leg.sole[plate]]) @ leg.axis).max()) / leg.foot_length
    name = f"{leg.name}.toes.bend"
    low, high = sole.subject.channel(name).low, sole.subject.channel(name).high
    x = np.linspace(low, 0.0, 91)
    figures = in_blocks(sole.sinking, sole.subject.put(np.tile(fault.row, (len(x), 1)), {name: x}))
    deep = np.flatnonzero(figures > 0.98 * (fault.measure.allowance or 0.0))
    kept = min(float(np.ceil(x[int(deep.max())] + 1.0)) if len(deep) else low, 0.0)
    reached = max(bounded(float(np.interp(kept, x, figures))), 0.0)
    cause = (
        f"{len(plate)} {'vertex' if len(plate) == 1 else 'vertices'} of the {leg.name} sole that follow the toes lie "
        "up to "
        f"{100 * behind:.1f} % of the foot's length behind the ball joint: as the toes bend up they go down through "
        "the floor."
    )
    return cause, (
        Cure("In the model, begin the toes' weights at the ball joint, or move the joint back to where they begin"),
        Cure(f"Keep {name} above {kept:.0f} degrees", reached, (Edit(("by_hand", "ranges", name), (kept, high)),)),
    )


def _beyond(fault: Fault, mark: str, direction: FloatArray, end: float, count: str) -> tuple[str, tuple[Cure, ...]]:
    """The sole goes on beyond the pivot that it turns about."""
    sole, leg = fault.sole, fault.sole.leg
    spot = leg.landmarks[mark].position
    short = end - float((spot - leg.heel.position) @ direction)
    moved = spot + direction * short
    places = {mark: Vec.of(float(value) for value in sole.subject.axes.T @ moved)}
    plan = replace(sole.plan, **places)  # type: ignore[arg-type]
    reached = _reached(fault, Sole.of(with_leg(sole.subject, plan), leg, plan))
    name = f"{leg.name}.{mark}"
    cause = (
        f"{count} sink: the sole goes on for {100 * abs(short) / leg.foot_length:.1f} % of the foot's length beyond "
        f"{name}, the point that it turns about."
    )
    value = tuple(float(f"{coordinate:.6g}") for coordinate in moved)
    edit = Edit(("by_hand", "landmarks", name), value)
    return cause, (Cure(f"Set {name} by hand at the end of the sole", reached, (edit,)),)


def _floats(fault: Fault) -> tuple[str, tuple[Cure, ...]]:
    """A foot that hovers turns about a point beyond its sole."""
    sole, leg, pose = fault.sole, fault.sole.leg, fault.measure.pose
    roll, bank = pose.get(f"{leg.name}.foot.roll", 0.0), pose.get(f"{leg.name}.foot.bank", 0.0)
    mark = ("heel" if roll < 0.0 else "tip") if abs(roll) >= abs(bank) else ("outer" if bank > 0.0 else "inner")
    mesh = sole.subject.mesh
    assert mesh is not None
    left = np.cross(leg.sole_normal, leg.axis) * sole.plan.side
    direction = {"heel": -leg.axis, "tip": leg.axis, "outer": left, "inner": -left}[mark]
    spot = leg.landmarks[mark].position
    gap = float(-((mesh.positions[leg.sole] - spot) @ direction).max())
    name = f"{leg.name}.{mark}"
    if gap <= 5e-3 * leg.foot_length:
        return _lifted_by_others(fault, name, -(mesh.positions[leg.sole] - spot) @ direction)
    moved = spot - direction * gap
    plan = replace(sole.plan, **{mark: Vec.of(float(value) for value in sole.subject.axes.T @ moved)})  # type: ignore[arg-type]
    reached = _reached(fault, Sole.of(with_leg(sole.subject, plan), leg, plan))
    value = tuple(float(f"{coordinate:.6g}") for coordinate in moved)
    cause = (
        f"{name} lies {100 * gap / leg.foot_length:.1f} % of the foot's length beyond the last vertex of the sole: "
        "the foot "
        "turns about a point in the air."
    )
    return cause, (
        Cure(f"Set {name} by hand at the end of the sole", reached, (Edit(("by_hand", "landmarks", name), value),)),
    )


def _lifted_by_others(fault: Fault, name: str, short: FloatArray) -> tuple[str, tuple[Cure, ...]]:
    """The sole ends at its pivot, but is skinned to what does not turn with the foot."""
    sole, leg = fault.sole, fault.sole.leg
    mesh = sole.subject.mesh
    assert mesh is not None
    near = np.flatnonzero(short < 0.05 * leg.foot_length)
    own = [joint for joint, carrier in leg.joints if carrier in (leg.foot, leg.toes)] + [leg.foot]
    strange = np.where(np.isin(mesh.joints[leg.sole[near]], own), 0.0, mesh.weights[leg.sole[near]])
    sums = np.bincount(mesh.joints[leg.sole[near]].ravel(), strange.ravel(), len(sole.subject.rig.character.skeleton))
    joint = sole.subject.joint(int(sums.argmax())).name
    most = float(strange.sum(axis=1).max(initial=0.0))
    if most <= 0.01:
        return (
            f"The {leg.name} sole leaves the floor as it turns about {name}, though it ends there.",
            (Cure(f"Look at {name} with instep measure, and set it by hand where the sole ends"),),
        )
    weights = np.array(mesh.weights[leg.sole])
    joints = mesh.joints[leg.sole]
    strays = ~np.isin(joints, own)
    loose = np.where(strays, weights, 0.0).sum(axis=1, keepdims=True)
    weights = np.where(strays, 0.0, weights) / np.maximum(1.0 - loose, 1e-9)
    cause = (
        f"The {leg.name} sole at {name} takes up to {100 * most:.0f} % of its weight from {joint}, which stays "
        "behind when "
        "the foot turns there."
    )
    cure = Cure(
        "In the model, give the sole's weights to the foot and the toes alone",
        _reached(fault, Sole.of(sole.subject, leg, sole.plan, weights)),
    )
    return cause, (cure,)


def _reached(fault: Fault, sole: Sole) -> float:
    """The fault's figure on a mended sole: over the whole roll, and at its worst pose."""
    what = fault.measure.what
    figure = sole.floating if what.startswith("float") else sole.sinking_on_stair if "stair" in what else sole.sinking
    rows = fault.row[None]
    name = f"{sole.leg.name}.foot.roll"
    if sole.subject.has(name):
        channel = sole.subject.channel(name)
        x = np.linspace(channel.low, channel.high, 131)
        rows = np.concatenate([rows, sole.subject.put(np.tile(fault.row, (len(x), 1)), {name: x})])
    return max(bounded(float(in_blocks(figure, rows).max())), 0.0) + 0.0
