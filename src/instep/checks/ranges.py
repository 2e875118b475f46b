"""Range: what people's legs and feet do, beside what the rig allows. Advice, never a failure; not for creatures.

Sources: ranges of motion as collected in the published values that the tests are held against (hip flexion 125, knee
flexion 130, ankle plantarflexion 50 and dorsiflexion 20, inversion 35, toe extension 70 to 80 and flexion 30 to 45
degrees; Soucie et al. 2011, Haemophilia 17:500, has them by age and sex); toe extension when the toes leave the
floor: 42 (Nawoczenski 1999, JBJS 81A:370) to about 60 (Neumann).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Edit, Finding, Measure, bounded, conclude, inapplicable
from instep.checks.reach import Reaching
from instep.checks.subject import LIFT, Subject
from instep.landmarks import LegLandmarks

NAME = "range"
CLAIM = "How far the rig goes beside how far people's legs and feet go: advice, since a puppet may do more."


@dataclass(frozen=True, slots=True)
class Typical:
    """A typical human range: greatest degrees, and its source in a few words."""

    words: str
    low_deg: float
    high_deg: float
    source: str


TYPICAL: Final[dict[str, Typical]] = {
    "knee": Typical("knee flexion", 130.0, 130.0, "Soucie et al. 2011"),
    "toe_off": Typical("toe extension as the foot rolls", 42.0, 60.0, "Nawoczenski 1999; Neumann"),
    "toes_up": Typical("toes bent up", 70.0, 80.0, "published ranges of motion"),
    "toes_down": Typical("toes bent down", 30.0, 45.0, "published ranges of motion"),
    "outer": Typical("foot banked onto its outer edge", 35.0, 35.0, "inversion, published ranges of motion"),
}


def check_range(subject: Subject) -> Finding:
    """Greatest angles that the rig reaches, as joints make them, beside typical human ones."""
    reason = _creature(subject)
    if reason:
        return inapplicable(NAME, CLAIM, f"People's ranges say nothing here: {reason}.")
    measures: list[Measure] = []
    notes: list[str] = []
    for leg, plan in subject.legs:
        found: dict[str, tuple[float, FloatArray]] = {"knee": _knee(subject, Reaching.of(subject, leg, plan))}
        if plan.has_toes:
            for kind, channel, end in (
                ("toe_off", f"{leg.name}.foot.roll", "high"),
                ("toes_up", f"{leg.name}.toes.bend", "low"),
                ("toes_down", f"{leg.name}.toes.bend", "high"),
            ):
                if subject.has(channel):
                    found[kind] = _toes(subject, leg, channel, end)
        bank = f"{leg.name}.foot.bank"
        if subject.has(bank):
            row = subject.put(subject.rest(), {bank: subject.channel(bank).high})[0]
            found["outer"] = (_between(subject, row, leg.foot), row)
        for kind, (degrees, row) in found.items():
            typical = TYPICAL[kind]
            measures.append(
                Measure(
                    typical.words,
                    bounded(degrees),
                    None,
                    "deg",
                    leg=leg.name,
                    pose=subject.pose(row),
                    place=subject.landmark(leg, "ankle"),
                )
            )
            if leg is subject.legs[0][0]:
                people = (
                    f"{typical.low_deg:g}"
                    if typical.low_deg == typical.high_deg
                    else f"{typical.low_deg:g} to {typical.high_deg:g}"
                )
                notes.append(f"{typical.words}: {degrees:.0f} degrees here, {people} on people ({typical.source}).")
    first = subject.legs[0][0].name
    cures = []
    for channel, low, high in ((f"{first}.toes.bend", -80.0, 45.0), (f"{first}.foot.bank", -20.0, 35.0)):
        if subject.has(channel):
            cures.append(
                Cure(
                    f"To keep {channel} to what people do, give it a range by hand",
                    edits=(Edit(("by_hand", "ranges", channel), (low, high)),),
                )
            )
    return conclude(NAME, CLAIM, measures, notes=notes, cures=cures, advice=True)


def _creature(subject: Subject) -> str:
    """Why this is not a person; empty where it may be one."""
    legs = subject.legs
    if len(legs) != 2:
        return f"the character has {len(legs)} legs"
    for leg, _ in legs:
        if not 0.1 * subject.unit < leg.foot_length < 0.6 * subject.unit:
            return f"its feet are {leg.foot_length / subject.unit:.2f} of its legs long, people's 0.3"
        line = leg.ankle.position - leg.hip.position
        bend = leg.knee.position - leg.hip.position
        bend = bend - line * (line @ bend) / (line @ line)
        if np.linalg.norm(bend) > 0.01 * subject.unit and bend @ leg.axis < 0.0:
            return "its knees bend backward"
    return ""


def _knee(subject: Subject, reaching: Reaching) -> tuple[float, FloatArray]:
    """The greatest knee flexion on the way up to the hip."""
    line = reaching.leg.ankle.position - reaching.leg.hip.position
    share = np.linspace(0.02, 0.98, 97)[:, None]
    if not subject.has(*reaching.moves):
        return float(np.degrees(reaching.flexion(subject.rest())[0])), subject.rest()[0]
    rows = reaching.to(reaching.leg.hip.position + share * line)
    flexion = np.degrees(reaching.flexion(rows))
    at = int(flexion.argmax())
    return float(flexion[at]), rows[at]


def _toes(subject: Subject, leg: LegLandmarks, channel: str, end: str) -> tuple[float, FloatArray]:
    """The greatest angle between foot and toes over a channel's half range."""
    own = subject.channel(channel)
    x = np.linspace(0.0, own.low if end == "low" else own.high, 65)
    rows = subject.put(subject.rest(len(x)), {f"{leg.name}.foot.up": LIFT * subject.unit, channel: x})
    poses = subject.evaluate(rows)
    assert leg.toes is not None
    dot = np.abs((poses.rotation[:, leg.foot] * poses.rotation[:, leg.toes]).sum(axis=1))
    angle = np.degrees(2.0 * np.arccos(np.clip(dot, 0.0, 1.0)))
    at = int(angle.argmax())
    return float(angle[at]), rows[at]


def _between(subject: Subject, row: FloatArray, joint: int) -> float:
    """Degrees by which a joint has turned from its bind pose."""
    w = abs(float(subject.evaluate(row[None]).rotation[0, joint, 0]))
    return float(np.degrees(2.0 * np.arccos(min(w, 1.0))))
