"""Aim: the knee points to its mark, swings by its twist, and never jumps as the mark goes round the leg."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character.arrays import BoolArray, FloatArray
from instep.character.pose import rotation_matrices
from instep.checks.model import Cure, Curve, Finding, Measure, bounded, conclude, inapplicable
from instep.checks.reach import Reaching
from instep.checks.search import find_jump, find_worst, span
from instep.checks.subject import Subject, carried
from instep.rig.parts.leg import mark_distance
from instep.tolerances import AIM_FADE, AIMED_DEG, CONTINUOUS, NEARLY_STRAIGHT

NAME = "aim"
CLAIM = "The knee points to its mark and swings by its twist, and does not jump as the mark goes round the leg."

SWEEP: Final = 145
"""Places on a circle round the leg: every two and a half degrees."""


def check_aim(subject: Subject) -> Finding:
    """Compare where each knee points with where its mark is drawn, and with its twist."""
    measures: list[Measure] = []
    for leg, plan in subject.legs:
        aiming = Aiming(Reaching.of(subject, leg, plan))
        if aiming.has_mark:
            measures += [_marked(aiming), _sweep(aiming), _crossing(aiming)]
        if subject.has(f"{leg.name}.knee.twist"):
            measures.append(_twisted(aiming))
    if not measures:
        return inapplicable(NAME, CLAIM, "The rig has no channels that aim a knee: they are pinned in its rig file.")
    worst = max(measures, key=lambda measure: (not measure.holds, measure.use))
    cause = (
        f"The {worst.leg} knee does not follow what it is told: {worst.what}. Its mark is drawn in another place "
        "than the "
        "leg is solved for, or the way that the knee bends at rest is not the one that the rig was built with."
    )
    cures = (
        Cure("Build the rig anew from its rig file; if it stays so, set the knee by hand where it lies in the model"),
    )
    return conclude(NAME, CLAIM, measures, cause=cause, cures=cures, head="knee away from its mark")


class Aiming:
    """One leg whose knee is aimed, its foot raised so that it is bent."""

    def __init__(self, reaching: Reaching) -> None:
        self.reaching = reaching
        self.subject, self.leg, self.plan = reaching.subject, reaching.leg, reaching.plan
        hip, knee, ankle = (np.asarray(self.leg.landmarks[name].position) for name in ("hip", "knee", "ankle"))
        line = (ankle - hip) / np.linalg.norm(ankle - hip)
        offset = knee - hip - line * (line @ (knee - hip))
        if np.linalg.norm(offset) < NEARLY_STRAIGHT * self.subject.unit:
            # Which way a straight knee bends is not measured but chosen: the plan says what was.
            offset = self.subject.axes @ np.array(list(self.plan.bend), dtype=np.float64)
        self.bend = offset / np.linalg.norm(offset)
        self.hinge = np.cross(line, self.bend)
        self.mark_at_rest = knee + self.bend * mark_distance(self.subject.unit)

    @property
    def control(self) -> str:
        """The knee's control."""
        return f"{self.leg.name}.knee"

    @property
    def moves(self) -> tuple[str, str, str]:
        """The channels that move the mark."""
        return f"{self.control}.across", f"{self.control}.up", f"{self.control}.along"

    @property
    def has_mark(self) -> bool:
        """Whether the rig lets the mark be moved, and says where it is drawn."""
        return self.subject.has(*self.moves) and self.subject.has_frame(self.control)

    def base(self) -> FloatArray:
        """(C,) a row with the foot raised."""
        settings = {f"{self.leg.name}.foot.up": 0.2 * self.subject.unit, f"{self.control}.twist": 0.0}
        return np.asarray(self.subject.put(self.subject.rest(), settings)[0], dtype=np.float64)

    def marks(self, rows: FloatArray) -> FloatArray:
        """(N, 3) where the mark is drawn."""
        frame = self.subject.frame(rows, self.control)
        return np.asarray(frame[..., :3] @ self.mark_at_rest + frame[..., 3], dtype=np.float64)

    def pointing(self, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(N, 3) unit direction across the leg to which the knee bends, and (N, 3) the leg's unit line.

        By the hinge that the thigh carries, so that a straight leg has a direction too.
        """
        direction, line, _ = self._pointing(rows)
        return direction, line

    def _pointing(self, rows: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """As `pointing`, with the hip (N, 3)."""
        poses = self.subject.evaluate(rows)
        hip, ankle = (
            carried(self.subject, poses, joint, mark.position[None])[:, 0]
            for joint, mark in ((self.leg.thigh, self.leg.hip), (self.leg.foot, self.leg.ankle))
        )
        line = ankle - hip
        line /= np.linalg.norm(line, axis=1, keepdims=True)
        hinge = rotation_matrices(poses.rotation[:, self.leg.thigh]) @ self.hinge
        direction = np.cross(hinge, line)
        return direction / np.linalg.norm(direction, axis=1, keepdims=True), line, hip

    def off(self, rows: FloatArray) -> tuple[FloatArray, BoolArray]:
        """(N,) degrees between where the knee points and its mark, seen along the leg, and whether the mark is so
        far from the leg's line that it says something."""
        direction, line, hip = self._pointing(rows)
        told = self.marks(rows) - hip
        told -= line * np.einsum("na,na->n", told, line)[:, None]
        distance = np.linalg.norm(told, axis=1)
        across = np.einsum("na,na->n", np.cross(direction, told), line)
        angle = np.degrees(np.abs(np.arctan2(across, np.einsum("na,na->n", direction, told))))
        return angle, np.asarray(distance > 1.001 * AIM_FADE * self.subject.unit, dtype=np.bool_)


def _marked(aiming: Aiming) -> Measure:
    subject, leg = aiming.subject, aiming.leg

    def figure(rows: FloatArray) -> FloatArray:
        angle, clear = aiming.off(rows)
        return np.where(clear, angle, 0.0)

    names = [*aiming.moves, *(f"{leg.name}.foot.{move}" for move in ("across", "up", "along"))]
    spans = span(subject, names, reach=1.0)
    for move in ("across", "along"):
        if f"{leg.name}.foot.{move}" in spans:
            spans[f"{leg.name}.foot.{move}"] = (-0.3 * subject.unit, 0.3 * subject.unit)
    if f"{leg.name}.foot.up" in spans:
        spans[f"{leg.name}.foot.up"] = (0.0, 0.5 * subject.unit)
    worst = find_worst(
        subject, figure, spans, count=512, words=(NAME, leg.name), base=aiming.base(), settled=1e-2 * AIMED_DEG
    )
    return Measure(
        "knee away from its mark", bounded(worst.figure), AIMED_DEG, "deg", leg=leg.name, pose=subject.pose(worst.row),
        place=subject.landmark(leg, "knee"), curve=_round_leg(aiming),
    )  # fmt: skip


def _circle(aiming: Aiming, radius: float) -> FloatArray:
    """(SWEEP, C) rows with the mark on a circle round the leg's line, at a share of the leg from it."""
    subject, leg = aiming.subject, aiming.leg
    base = aiming.base()
    hip, _, ankle = (place[0] for place in aiming.reaching.joints(base[None]))
    line = (ankle - hip) / np.linalg.norm(ankle - hip)
    knee = leg.knee.position - leg.hip.position
    centre = hip + line * float(np.linalg.norm(knee)) * 0.9
    first = aiming.bend - line * (line @ aiming.bend)
    first /= np.linalg.norm(first)
    angle = np.linspace(0.0, 2.0 * np.pi, SWEEP)[:, None]
    goals = centre + radius * subject.unit * (np.cos(angle) * first + np.sin(angle) * np.cross(line, first))
    return _mark_to(aiming, base, goals)


def _mark_to(aiming: Aiming, base: FloatArray, goals: FloatArray) -> FloatArray:
    """Rows with the mark at (N, 3) places: its move is rigid, so its frame at rest and at one step says it all."""
    subject, names = aiming.subject, aiming.moves
    unit = subject.unit
    probe = np.tile(base, (4, 1))
    for number, name in enumerate(names):
        probe[number + 1, subject.numbers[name]] += unit
    marks = aiming.marks(probe)
    change = ((marks[1:] - marks[0]) / unit).T
    shift = np.linalg.solve(change, (goals - marks[0]).T)
    rows = np.tile(base, (len(goals), 1))
    for number, name in enumerate(names):
        rows[:, subject.numbers[name]] += shift[number]
    return rows


def _round_leg(aiming: Aiming) -> Curve:
    rows = _circle(aiming, 0.4)
    angle, _ = aiming.off(rows)
    return Curve(
        tuple(float(value) for value in np.linspace(0.0, 360.0, SWEEP)), tuple(bounded(value) for value in angle),
        "mark round the leg", "deg", "degrees off the mark",
    )  # fmt: skip


def _sweep(aiming: Aiming) -> Measure:
    """Jumps while the mark goes once round the leg, near to it and far."""
    worst, row = 0.0, aiming.base()
    for radius in (2.0 * AIM_FADE, 0.4, 1.5):
        rows = _circle(aiming, radius)
        jump, at = find_jump(aiming.subject, lambda r: aiming.pointing(r)[0], rows[:-1], rows[1:], steps=2)
        if jump > worst:
            worst, row = jump, at
    return Measure(
        "jump while the mark goes round the leg", bounded(np.degrees(worst)), float(np.degrees(CONTINUOUS)), "deg",
        leg=aiming.leg.name, pose=aiming.subject.pose(row), place=aiming.subject.landmark(aiming.leg, "knee"),
    )  # fmt: skip


def _crossing(aiming: Aiming) -> Measure:
    """Jumps while the mark passes the leg's line at a distance, on paths that lie askew to it.

    On the line itself, opposite to where the knee points, every direction is as good as its opposite: no continuous
    choice exists there, and paths keep off it by a hundredth of the leg.
    """
    starts = _circle(aiming, 0.4)[:-1]
    base = aiming.base()
    hip, _, ankle = (place[0] for place in aiming.reaching.joints(base[None]))
    line = (ankle - hip) / np.linalg.norm(ankle - hip)
    marks = aiming.marks(starts)
    radial = marks - hip
    radial -= line * np.einsum("na,a->n", radial, line)[:, None]
    # To the other side of the leg, passing its line at a hundredth of the leg.
    aside = np.cross(line, radial)
    aside *= 0.01 * aiming.subject.unit / np.linalg.norm(aside, axis=1, keepdims=True)
    stops = _mark_to(aiming, base, marks - 2.0 * radial + 2.0 * aside)
    jump, row = find_jump(aiming.subject, lambda r: aiming.pointing(r)[0], starts, stops, steps=32)
    return Measure(
        "jump while the mark passes the leg's line", bounded(np.degrees(jump)), float(np.degrees(CONTINUOUS)), "deg",
        leg=aiming.leg.name, pose=aiming.subject.pose(row), place=aiming.subject.landmark(aiming.leg, "knee"),
    )  # fmt: skip


def _twisted(aiming: Aiming) -> Measure:
    """Degrees by which the knee's swing misses its twist: outward is positive on both sides."""
    subject, leg = aiming.subject, aiming.leg
    name = f"{aiming.control}.twist"

    def figure(rows: FloatArray) -> FloatArray:
        still, line = aiming.pointing(subject.put(rows, {name: 0.0}))
        turned, _ = aiming.pointing(rows)
        # The leg's line points down: an outward swing is against the right-hand rule about it, on the left.
        angle = np.radians(rows[:, subject.numbers[name]]) * (-1.0 if leg.side == "left" else 1.0)
        wanted = Rotation.from_rotvec(line * angle[:, None]).apply(still)
        chord = np.linalg.norm(wanted - turned, axis=1)
        return np.asarray(np.degrees(2.0 * np.arcsin(np.minimum(0.5 * chord, 1.0))), dtype=np.float64)

    spans = span(subject, [name])
    for move in ("across", "along"):
        if subject.has(f"{leg.name}.foot.{move}"):
            spans[f"{leg.name}.foot.{move}"] = (-0.3 * subject.unit, 0.3 * subject.unit)
    worst = find_worst(
        subject, figure, spans, count=256, words=(NAME, leg.name, "twist"), base=aiming.base(), settled=1e-2 * AIMED_DEG
    )
    return Measure(
        "knee's swing away from its twist", bounded(worst.figure), AIMED_DEG, "deg", leg=leg.name,
        pose=subject.pose(worst.row), place=subject.landmark(leg, "knee"),
    )  # fmt: skip
