"""Plant: under each pivot its contact stays, through the pivot's whole range and whatever the others do.

A pivot turns what lies inside it about a point. Let D be the change of a joint from the pose with the pivot at rest
to the pose with it turned, all other channels equal. Then D leaves the pivot's contact P where it is, and P stands
where the landmark is in the pose with the pivot, and all that lies inside it, at rest. P and D come from joints that
the rig placed and from landmarks that were measured, never from the rig's own frames.

The toe tip is told by the ball joint: whatever share of the ball's lift the toes hold, the ball joint itself only
turns about the tip, so that its distance from the tip stays, and it never moves across the foot.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Curve, Edit, Finding, Measure, bounded, conclude, inapplicable
from instep.checks.search import find_worst, span
from instep.checks.subject import LIFT, Subject, carried, in_reach, pivot_place, uncarried
from instep.landmarks import LegLandmarks
from instep.rig.plan import LegPlan
from instep.tolerances import PLANTED

NAME = "plant"
CLAIM = "Under each pivot its contact stays where it is, through the whole range of roll, bank and twist together."

CURVE_POINTS: Final = 66


@dataclass(frozen=True, eq=False)
class Pivot:
    """One pivot of a foot.

    Attributes
    ----------
    name : the landmark that is its contact.
    turns : by channel, the span over which this pivot alone takes it.
    inner : channels of what lies inside the pivot: at rest where the contact is looked for.
    drift : (N,) drift of the contact, in the file's unit, between rows with the pivot at rest and the same rows with
        it turned; 0 where the leg does not reach its goal in any of the poses compared.
    """

    name: str
    turns: Mapping[str, tuple[float, float]]
    inner: tuple[str, ...]
    drift: Callable[[FloatArray, FloatArray], FloatArray]


def check_plant(subject: Subject) -> Finding:
    """The greatest drift of each pivot's contact, over the pivot's turn and all that can be set besides."""
    measures = []
    unreached = []
    for leg, plan in subject.legs:
        for pivot in pivots(subject, leg, plan):
            measure, reached = _measure(subject, leg, plan, pivot)
            measures.append(measure)
            if not reached:
                unreached.append(f"{leg.name}.{pivot.name}")
    if not measures:
        return inapplicable(NAME, CLAIM, "The rig has no roll, bank or twist: they are pinned in its rig file.")
    worst = max(measures, key=lambda measure: measure.use)
    assert worst.place is not None
    cause = (
        f"The foot turns about another point than its {worst.what.rpartition(' ')[2]}: the landmark is not where the "
        "rig "
        "has its pivot, or the pivots are nested in another order."
    )
    leg_name, mark = worst.place.name.rsplit(".", 1)
    spot = next(leg for leg, _ in subject.legs if leg.name == leg_name).landmarks[mark].position
    cures = (
        Cure(
            f"Set {worst.place.name} by hand, and build the rig anew",
            edits=(Edit(("by_hand", "landmarks", worst.place.name), tuple(float(value) for value in spot)),),
        ),
    )
    notes = [f"No pose in which the leg reaches its goal was found for {', '.join(unreached)}."] if unreached else []
    return conclude(NAME, CLAIM, measures, cause=cause, cures=cures, notes=notes)


def pivots(subject: Subject, leg: LegLandmarks, plan: LegPlan) -> list[Pivot]:
    """The pivots that a leg's channels turn, outermost first."""
    foot = f"{leg.name}.foot"
    roll, bank, twist = f"{foot}.roll", f"{foot}.bank", f"{foot}.twist"
    own = {
        name: (subject.channel(name).low, subject.channel(name).high)
        for name in (roll, bank, twist)
        if subject.has(name)
    }
    normal, axis = leg.sole_normal, leg.axis
    p_ball = leg.ball.position
    below_ball = p_ball - normal * (normal @ (p_ball - leg.heel.position))
    places = {name: pivot_place(subject, leg, plan, name) for name in ("heel", "tip", "inner", "outer")}
    left = np.cross(normal, axis)

    def fixed(place: FloatArray, inner: tuple[str, ...]) -> Callable[[FloatArray, FloatArray], FloatArray]:
        def drift(still: FloatArray, turned: FloatArray) -> FloatArray:
            bare = subject.put(still, dict.fromkeys(inner, 0.0))
            return _material_drift(subject, leg, plan, place, bare, still, turned)

        return drift

    def on_edge(place: FloatArray) -> Callable[[FloatArray, FloatArray], FloatArray]:
        # An edge lies inside the heel and outside ball and tip: roll back carries it, roll forward does not.
        def drift(still: FloatArray, turned: FloatArray) -> FloatArray:
            column = still[:, subject.numbers[roll]] if subject.has(roll) else np.zeros(len(still))
            bare = subject.put(still, {bank: 0.0, roll: np.minimum(column, 0.0)})
            return _material_drift(subject, leg, plan, place, bare, still, turned)

        return drift

    def circled(still: FloatArray, turned: FloatArray) -> FloatArray:
        flat, after = subject.evaluate(still), subject.evaluate(turned)
        contact = carried(subject, flat, leg.foot, places["tip"][None])[:, 0]
        across = carried(subject, flat, leg.foot, (places["tip"] + left)[None])[:, 0] - contact
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        began, came = (carried(subject, poses, leg.foot, p_ball[None])[:, 0] - contact for poses in (flat, after))
        apart = np.linalg.norm(came, axis=1) - np.linalg.norm(began, axis=1)
        aside = np.einsum("na,na->n", came - began, across)
        reached = in_reach(subject, leg, plan, flat) & in_reach(subject, leg, plan, after)
        return np.asarray(np.where(reached, np.hypot(apart, aside), 0.0), dtype=np.float64)

    made = []
    if twist in own:
        inner = (roll, bank)
        made.append(Pivot("ball", {twist: own[twist]}, inner, fixed(below_ball, inner)))
    if roll in own and own[roll][0] < 0.0:
        made.append(Pivot("heel", {roll: (own[roll][0], 0.0)}, (bank,), fixed(places["heel"], (bank,))))
    if bank in own:
        low, high = own[bank]
        for edge, ends in (("outer", (0.0, high)), ("inner", (low, 0.0))):
            if ends[0] < ends[1]:
                made.append(Pivot(edge, {bank: ends}, (), on_edge(places[edge])))
    if roll in own and own[roll][1] > 0.0:
        made.append(
            Pivot("tip", {roll: (0.0, own[roll][1])}, (), circled if plan.has_toes else fixed(places["tip"], ()))
        )
    lift = f"{leg.name}.ball.pitch"
    if plan.has_toes:
        turns = {}
        if roll in own and own[roll][1] > 0.0:
            turns[roll] = (0.0, min(own[roll][1], plan.ball_gives_out_deg))
        if subject.has(lift):
            turns[lift] = (subject.channel(lift).low, subject.channel(lift).high)
        if turns:
            made.append(Pivot("ball", turns, (), fixed(p_ball, ())))
    return made


def _material_drift(
    subject: Subject,
    leg: LegLandmarks,
    plan: LegPlan,
    place: FloatArray,
    bare: FloatArray,
    still: FloatArray,
    turned: FloatArray,
) -> FloatArray:
    """(N,) how far what stands at the contact in rows `still` moves until rows `turned`.

    The contact is where `place` of the foot stands in rows `bare`. What counts is what stands there, which is another
    place of the foot where an inner pivot has turned it.
    """
    first, before, after = (subject.evaluate(rows) for rows in (bare, still, turned))
    contact = carried(subject, first, leg.foot, place[None])
    held = uncarried(subject, before, leg.foot, contact)
    moved = carried(subject, after, leg.foot, held) - contact
    reached = np.ones(len(bare), dtype=np.bool_)
    for poses in (first, before, after):
        reached &= in_reach(subject, leg, plan, poses)
    return np.asarray(np.where(reached, np.linalg.norm(moved, axis=2)[:, 0], 0.0), dtype=np.float64)


def _measure(subject: Subject, leg: LegLandmarks, plan: LegPlan, pivot: Pivot) -> tuple[Measure, bool]:
    """The pivot's worst drift, and whether any pose was reached at all."""
    foot = f"{leg.name}.foot"
    free = [f"{foot}.{turn}" for turn in ("yaw", "pitch", "lean", "roll", "bank", "twist")]
    besides = {name: ends for name, ends in span(subject, free).items() if name not in pivot.turns}
    for name in (f"{foot}.yaw", f"{foot}.pitch", f"{foot}.lean"):
        if name in besides:
            low, high = besides[name]
            besides[name] = (max(low, -45.0), min(high, 45.0))
    if pivot.name == "heel":
        besides.pop(f"{foot}.roll", None)
    base = subject.put(subject.rest(), {f"{foot}.up": LIFT * subject.unit})[0]

    def figure(rows: FloatArray) -> FloatArray:
        still = subject.put(rows, dict.fromkeys(pivot.turns, 0.0))
        return pivot.drift(still, rows) / leg.foot_length

    spans = dict(pivot.turns) | besides
    worst = find_worst(
        subject, figure, spans, words=(NAME, leg.name, pivot.name), count=512, base=base, settled=1e-2 * PLANTED
    )
    swept = max(pivot.turns, key=lambda name: pivot.turns[name][1] - pivot.turns[name][0])
    x = np.linspace(*pivot.turns[swept], CURVE_POINTS)
    rows = subject.put(np.tile(worst.row, (len(x), 1)), {swept: x})
    curve = Curve(
        tuple(float(value) for value in x), tuple(bounded(value) for value in figure(rows)), swept, "deg",
        "drift, of foot length",
    )  # fmt: skip
    middle = subject.put(np.tile(base, (len(x), 1)), {swept: x})
    reached = bool(in_reach(subject, leg, plan, subject.evaluate(middle)).any())
    what = "drift under twist at the ball" if f"{foot}.twist" in pivot.turns else f"drift at the {pivot.name}"
    measure = Measure(
        what, bounded(worst.figure), PLANTED, "of foot length", leg=leg.name, length=leg.foot_length,
        pose=subject.pose(worst.row), place=subject.landmark(leg, pivot.name), curve=curve,
    )  # fmt: skip
    return measure, reached
