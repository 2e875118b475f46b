"""Floor: the skinned sole, vertex by vertex, over flat floor, a slope and a stair's edge."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.floor_cures import Fault, explain
from instep.checks.model import Cure, Curve, Finding, Measure, bounded, conclude, inapplicable
from instep.checks.search import Figure, find_worst, in_blocks
from instep.checks.sole import Sole
from instep.checks.subject import Subject
from instep.tolerances import SOLE_FLOATS, SOLE_SINKS, TOES_SINK

NAME = "floor"
CLAIM = "Through roll, bank and lifted toes each sole stays on or above the floor, and touches it."

SLOPE_DEG: Final = 30.0
"""Steepest slope that a foot is put on, in pitch and in lean: steeper is climbing."""

STAIR_DEG: Final = 30.0
"""How far the heel is lowered behind a stair's edge: more than an ankle bends down (20 degrees of dorsiflexion)."""

CURVE_POINTS: Final = 131

KINDS: Final = {
    "sinking through the roll": "roll",
    "sinking through roll and bank": "bank",
    "sinking with the toes lifted besides": "toes",
    "sinking on a slope": "bank",
    "sinking on a stair's edge": "stair",
    "float through the roll": "float",
    "float through the bank": "float",
}
"""Measures that share their causes."""

EXPLAINED: Final = 5
"""Kinds of fault whose cures are worked out: each asks for some rigs to be built."""


def check_floor(subject: Subject) -> Finding:
    """Deepest sinking and greatest float of each sole's vertices.

    Float is asked of roll and of bank by themselves: on a foot that does both at once, the edge that the bank turns
    about has left the floor with the roll.
    """
    if subject.mesh is None:
        return inapplicable(NAME, CLAIM, "The file has no mesh: there is no sole to look at.")
    measures: list[Measure] = []
    soles = []
    faults: dict[str, Fault] = {}
    for leg, plan in subject.legs:
        if not len(leg.sole):
            continue
        sole = Sole.of(subject, leg, plan)
        own, rows = _measure_sole(sole)
        measures += own
        worst = max(range(len(own)), key=lambda number: (not own[number].holds, own[number].use))
        soles.append(sole.map(rows[worst]))
        for measure, row in zip(own, rows, strict=True):
            kind = KINDS[measure.what]
            if not measure.holds and (kind not in faults or 1.001 * faults[kind].measure.use < measure.use):
                faults[kind] = Fault(sole, measure, row)
    if not measures:
        return inapplicable(NAME, CLAIM, "No vertex of the mesh makes up a sole.")
    # The worst first; what sinks in more than one way for the same reason is told once.
    ordered = sorted(faults.values(), key=lambda fault: -fault.measure.use)[:EXPLAINED]
    told = [explain(fault) for fault in ordered]
    causes = list(dict.fromkeys(cause for cause, _ in told))
    cures: dict[str, Cure] = {}
    for cure in (cure for _, own in told for cure in own):
        if cure.sentence not in cures or cures[cure.sentence].reaches is None:
            cures[cure.sentence] = cure
    return conclude(
        NAME,
        CLAIM,
        measures,
        soles=soles,
        cause=" ".join(causes),
        cures=cures.values(),
        head="sinking through the roll",
    )


def allowance(sole: Sole) -> float:
    """How far a sole may sink, of foot length: a lumpy one rolls over its lumps."""
    return SOLE_SINKS + min(sole.uneven / sole.leg.foot_length, SOLE_SINKS)


def _measure_sole(sole: Sole) -> tuple[list[Measure], list[FloatArray]]:
    subject, leg = sole.subject, sole.leg
    allowed = allowance(sole)
    foot = f"{leg.name}.foot"
    roll, bank = _span(subject, f"{foot}.roll"), _span(subject, f"{foot}.bank")
    toes_up = {name: (low, 0.0) for name, (low, _) in _span(subject, f"{leg.name}.toes.bend").items() if low < 0.0}
    heel_down = {
        name: (max(low, -STAIR_DEG), 0.0)
        for name, (low, _) in _span(subject, f"{leg.name}.ball.pitch").items()
        if low < 0.0
    }
    slope = {f"{foot}.{turn}": (-SLOPE_DEG, SLOPE_DEG) for turn in ("pitch", "lean") if subject.has(f"{foot}.{turn}")}
    asked: list[tuple[str, Figure, dict[str, tuple[float, float]], float, int]] = [
        ("sinking through the roll", sole.sinking, roll, allowed, 256),
        ("sinking through roll and bank", sole.sinking, roll | bank, allowed, 512),
        ("sinking with the toes lifted besides", sole.sinking, roll | bank | toes_up, allowed + TOES_SINK, 512),
        ("sinking on a slope", sole.sinking, roll | bank | slope, allowed, 256),
        ("sinking on a stair's edge", sole.sinking_on_stair, heel_down, allowed, 128),
        ("float through the roll", sole.floating, roll, allowed + SOLE_FLOATS, 128),
        ("float through the bank", sole.floating, bank, allowed + SOLE_FLOATS, 128),
    ]
    needed: dict[str, Mapping[str, tuple[float, float]]] = {
        "sinking through the roll": roll,
        "sinking with the toes lifted besides": toes_up,
        "sinking through roll and bank": bank,
        "sinking on a slope": slope,
        "sinking on a stair's edge": heel_down,
    }
    measures, rows = [], []
    for what, figure, spans, allowed_here, count in asked:
        if not spans or not needed.get(what, spans):
            continue
        worst = find_worst(
            subject,
            figure,
            spans,
            count=count,
            words=(NAME, leg.name, what),
            base=sole.flat(),
            settled=0.1 * allowed_here,
        )
        heights = sole.heights(worst.row[None])[0]
        measures.append(
            Measure(
                what,
                max(bounded(worst.figure), 0.0) + 0.0,
                allowed_here,
                "of foot length",
                leg=leg.name,
                length=leg.foot_length,
                pose=subject.pose(worst.row),
                place=subject.vertex(int(leg.sole[int(heights.argmin())])),
                curve=_curve(sole, figure, worst.row),
            )
        )
        rows.append(worst.row)
    return measures, rows


def _span(subject: Subject, name: str) -> dict[str, tuple[float, float]]:
    return {name: (subject.channel(name).low, subject.channel(name).high)} if subject.has(name) else {}


def _curve(sole: Sole, figure: Figure, row: FloatArray) -> Curve | None:
    """The figure over the whole roll, all other channels as in a row."""
    name = f"{sole.leg.name}.foot.roll"
    if not sole.subject.has(name):
        return None
    channel = sole.subject.channel(name)
    x = np.linspace(channel.low, channel.high, CURVE_POINTS)
    y = in_blocks(figure, sole.subject.put(np.tile(row, (len(x), 1)), {name: x}))
    return Curve(
        tuple(float(value) for value in x),
        tuple(max(bounded(value), 0.0) for value in y),
        name,
        "deg",
        "of foot length",
    )
