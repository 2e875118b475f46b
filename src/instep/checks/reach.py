"""Reach: goals within, at and beyond the leg's reach. The ankle meets them or stays on the way; the knee does not pop.

Bounds. With bones p, q and hip-ankle distance d the knee's flexion f obeys d^2 = p^2 + q^2 + 2 p q cos f, so its rate
for a radial travel of the foot is d / (p q sin f). Past the start a of the soft zone the ankle slows down, by
1 / (1 + t)^2, faster than the knee speeds up, so that the greatest rate is that at a: for equal bones and leg L,
2 / sqrt(L^2 - a^2) (see the published values that the tests hold this against). A leg that stands straight at rest has
no room for a soft zone, and no bound: shortened by 0.1 % its knee flexes by 5.1 degrees. That is geometry.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import BoolArray, FloatArray
from instep.character.pose import rotation_matrices
from instep.checks.model import Cure, Curve, Finding, Measure, bounded, conclude, inapplicable
from instep.checks.search import find_jump, find_worst, sobol
from instep.checks.subject import Subject, carried
from instep.landmarks import LegLandmarks
from instep.rig.description import LegOptions, TunedLeg
from instep.rig.plan import LegPlan
from instep.rig.planning import chosen_soft
from instep.tolerances import (
    ANKLE_MEETS,
    CONTINUOUS,
    KNEE_RATE_SLACK,
    LEAST_REACH,
    STRAIGHTEST_DEG,
)

NAME = "reach"
CLAIM = "The ankle meets every goal in reach, stays on the way to those beyond, and the knee neither flips nor pops."

FARTHEST: Final = 1.6
"""Of the leg's length: goals are sampled out to there."""

TRAVEL: Final = 1e-6
"""Of the leg's length: the travel over which the knee's rate is taken, as a central difference."""


@dataclass(frozen=True, eq=False)
class Reaching:
    """One leg with its lengths, in the file's unit."""

    subject: Subject
    leg: LegLandmarks
    plan: LegPlan
    thigh: float
    shin: float

    @staticmethod
    def of(subject: Subject, leg: LegLandmarks, plan: LegPlan) -> Reaching:
        """A leg as measured."""
        hip, knee, ankle = (np.asarray(leg.landmarks[name].position) for name in ("hip", "knee", "ankle"))
        return Reaching(subject, leg, plan, float(np.linalg.norm(knee - hip)), float(np.linalg.norm(ankle - knee)))

    @property
    def whole(self) -> float:
        """Length of the straight leg."""
        return self.thigh + self.shin

    @property
    def start(self) -> float:
        """Distance from the hip at which the soft zone begins."""
        return self.whole - self.plan.soft

    @property
    def moves(self) -> tuple[str, str, str]:
        """The channels that move the foot."""
        foot = f"{self.leg.name}.foot"
        return f"{foot}.across", f"{foot}.up", f"{foot}.along"

    def to(self, goals: FloatArray) -> FloatArray:
        """(N, C) rows with the ankle's goal at (N, 3) places of the world."""
        shift = (goals - self.leg.ankle.position) @ self.subject.axes
        shift[:, 0] *= self.plan.side
        return self.subject.put(self.subject.rest(len(goals)), dict(zip(self.moves, shift.T, strict=True)))

    def goals(self, rows: FloatArray) -> FloatArray:
        """(N, 3) places of the world where rows (N, C) want the ankle: undoes `to`."""
        shift = rows[:, [self.subject.numbers[name] for name in self.moves]].copy()
        shift[:, 0] *= self.plan.side
        return np.asarray(self.leg.ankle.position + shift @ self.subject.axes.T, dtype=np.float64)

    def joints(self, rows: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """(N, 3) hip, knee and ankle."""
        poses = self.subject.evaluate(rows)
        pairs = ((self.leg.thigh, self.leg.hip), (self.leg.shin, self.leg.knee), (self.leg.foot, self.leg.ankle))
        hip, knee, ankle = (carried(self.subject, poses, joint, mark.position[None])[:, 0] for joint, mark in pairs)
        return hip, knee, ankle

    def flexion(self, rows: FloatArray) -> FloatArray:
        """(N,) knee flexion in radians, 0 straight."""
        hip, knee, ankle = self.joints(rows)
        a, b = knee - hip, ankle - knee
        angle = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.einsum("na,na->n", a, b))
        return np.asarray(angle, dtype=np.float64)

    def knee_rate(self, rows: FloatArray) -> FloatArray:
        """(N,) change of knee flexion for a radial travel of the foot, in degrees per 1 % of the leg."""
        goals = self.goals(rows)
        away = goals - self.leg.hip.position
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        step = TRAVEL * self.subject.unit
        out, back = (self.flexion(self.to(goals + sign * step * away)) for sign in (1.0, -1.0))
        return np.asarray(np.degrees(np.abs(out - back)) / (2.0 * TRAVEL) * 0.01, dtype=np.float64)

    def rate_bound(self, distance: float) -> float:
        """The geometric knee rate at a distance from the hip, in degrees per 1 % of the leg; infinite when straight."""
        p, q = self.thigh, self.shin
        cosine = (distance**2 - p**2 - q**2) / (2.0 * p * q)
        sine = np.sqrt(max(1.0 - cosine**2, 0.0))
        return float(np.degrees(distance / (p * q * sine) * 0.01 * self.subject.unit)) if sine > 0.0 else np.inf


def check_reach(subject: Subject) -> Finding:
    """Sample goals around each hip out to FARTHEST of its leg, and paths between them."""
    measures: list[Measure] = []
    notes: list[str] = []
    straight: list[Reaching] = []
    quick: list[tuple[Reaching, float]] = []
    for leg, plan in subject.legs:
        reaching = Reaching.of(subject, leg, plan)
        if not subject.has(*reaching.moves):
            continue
        measures += _on_goals(reaching)
        rate, popping = _knee_rate(reaching)
        measures.append(rate)
        if popping:
            straight.append(reaching)
        measures += _on_paths(reaching)
        if subject.has(f"{leg.name}.leg.stretch"):
            measures.append(_stretch(reaching))
        elif plan.soft < 0.25 * _wanted_soft(subject, leg.name):
            quick.append((reaching, rate.figure))
    if not measures:
        return inapplicable(NAME, CLAIM, "The rig has no channels that move a foot: they are pinned in its rig file.")
    if quick:
        names = " and ".join(reaching.leg.name for reaching, _ in quick)
        share = max(reaching.plan.soft for reaching, _ in quick) / subject.unit
        notes.append(
            f"The {names} {'leg stands' if len(quick) == 1 else 'legs stand'} so nearly straight at rest that the "
            "soft zone is "
            f"{100 * share:.2g} % of the leg; the knee turns by up to {max(figure for _, figure in quick):.0f} "
            "degrees for 1 % "
            "of the leg's travel there. That is geometry: a knee bent more in the model turns more slowly."
        )
    cause, cures = _explain(measures, straight)
    return conclude(NAME, CLAIM, measures, notes=notes, cause=cause, cures=cures, head="knee's rate")


def _explain(measures: list[Measure], straight: list[Reaching]) -> tuple[str, list[Cure]]:
    if straight and all(m.holds for m in measures if not m.what.startswith(("knee's", "jump of the ankle's slope"))):
        leg = straight[0]
        reached = _bent_rate(leg, 5.0)
        return (
            f"The {leg.leg.name} leg stands straight at rest, so that its soft zone has no room: shortening a "
            "straight leg "
            "by 0.1 % flexes its knee by 5.1 degrees, by 1 % 16.2 degrees. That is geometry, whatever the rig.",
            [Cure("In the model, bend the knee by 5 degrees in the bind pose, and bind the skin again", reached)],
        )
    worst = max(measures, key=lambda measure: (not measure.holds, measure.use))
    return (
        f"The {worst.leg} leg does not close over its goal as two rigid bones do: {worst.what}.",
        [Cure("Build the rig anew from its rig file; if it stays so, look at hip, knee and ankle with instep measure")],
    )


def _bent_rate(leg: Reaching, flexion_deg: float) -> float:
    """The knee rate bound that a leg of these bones would have if its knee were bent so at rest."""
    p, q = leg.thigh, leg.shin
    rest = np.sqrt(p**2 + q**2 + 2 * p * q * np.cos(np.radians(flexion_deg)))
    zone = min(_wanted_soft(leg.subject, leg.leg.name), 0.9 * (leg.whole - float(rest)))
    return leg.rate_bound(leg.whole - zone)


def _wanted_soft(subject: Subject, leg: str) -> float:
    description = subject.rig.description
    options, solved = description.options.get(leg, LegOptions()), description.tuned.get(leg, TunedLeg())
    return chosen_soft(options, solved) * subject.unit


def _sampled(reaching: Reaching, count: int, word: str) -> FloatArray:
    """(count, 3) goals spread evenly over the directions and distances out to FARTHEST, from the hip."""
    u = sobol(count, 3, reaching.subject.salt(NAME, reaching.leg.name, word))
    z, around = 2.0 * u[:, 0] - 1.0, 2.0 * np.pi * u[:, 1]
    ring = np.sqrt(np.maximum(1.0 - z * z, 0.0))
    direction = np.stack([ring * np.cos(around), ring * np.sin(around), z], axis=1)
    return np.asarray(reaching.leg.hip.position + direction * (FARTHEST * reaching.whole * u[:, 2:]), dtype=np.float64)


def _on_goals(reaching: Reaching) -> list[Measure]:
    """No NaN; the ankle's error within reach, in the soft zone and beyond; bones keep their length."""
    subject, leg, unit = reaching.subject, reaching.leg, reaching.subject.unit
    dense = np.linspace(-0.01, 0.02, 64) * reaching.whole + reaching.whole
    line = (leg.ankle.position - leg.hip.position) / np.linalg.norm(leg.ankle.position - leg.hip.position)
    rows = reaching.to(
        np.concatenate(
            [_sampled(reaching, 2048, "goals"), leg.hip.position + dense[:, None] * line, leg.hip.position[None]]
        )
    )
    poses = subject.evaluate(rows)
    broken = ~(np.isfinite(poses.position).all(axis=(1, 2)) & np.isfinite(poses.rotation).all(axis=(1, 2)))
    at = int(broken.argmax())
    numbers = Measure(
        "poses with a joint that is no number", float(broken.sum()), 0.0, "poses", leg=leg.name,
        pose=subject.pose(rows[at]) if broken.any() else {}, place=subject.landmark(leg, "ankle"),
    )  # fmt: skip
    errors: list[tuple[str, Callable[[FloatArray], FloatArray], float]] = [
        ("ankle off a goal in reach", lambda r: _miss(reaching, r)[0], ANKLE_MEETS),
        (
            "ankle off a goal in the soft zone",
            lambda r: _miss(reaching, r)[1],
            0.5 * reaching.plan.soft / unit * (1.0 + 1e-6) + ANKLE_MEETS,
        ),
        ("ankle off the line to a goal beyond reach", lambda r: _miss(reaching, r)[2], ANKLE_MEETS),
        ("change of a bone's length", lambda r: _growth(reaching, r), 1e-6),
    ]
    measures = [numbers]
    for what, error, allowed in errors:
        figures = np.where(np.isnan(found := error(rows)), np.inf, found)
        at = int(figures.argmax())
        row, figure = rows[at], float(figures[at])
        if figure > 0.1 * allowed:
            worst = find_worst(subject, error, _around(reaching, row), count=64, words=(NAME, leg.name, what), base=row)
            row, figure = worst.row, worst.figure
        measures.append(
            Measure(
                what,
                bounded(figure),
                allowed,
                "of leg length",
                leg=leg.name,
                length=unit,
                pose=subject.pose(row),
                place=subject.landmark(leg, "knee" if "bone" in what else "ankle"),
            )
        )
    return measures


def _around(reaching: Reaching, row: FloatArray) -> dict[str, tuple[float, float]]:
    """Spans of a tenth of the leg to all sides of a row (C,)."""
    near = 0.1 * reaching.subject.unit
    at = {name: float(row[reaching.subject.numbers[name]]) for name in reaching.moves}
    return {name: (value - near, value + near) for name, value in at.items()}


def _miss(reaching: Reaching, rows: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance of the ankle from its goal (N,) in leg lengths: in reach, in the soft zone; off the line beyond it.

    0 where the goal is elsewhere. Nearer to the hip than the bones allow, and within a thousandth of the leg of the
    hip itself, no direction is asked for.
    """
    hip, _, ankle = reaching.joints(rows)
    goals, unit = reaching.goals(rows), reaching.subject.unit
    away = goals - hip
    distance = np.linalg.norm(away, axis=1)
    nearest = abs(reaching.thigh - reaching.shin) + 2.0 * LEAST_REACH * unit
    miss = np.linalg.norm(ankle - goals, axis=1) / unit
    inside: BoolArray = (distance > max(nearest, 2e-3 * unit)) & (distance <= reaching.start * (1.0 - 1e-9))
    zone: BoolArray = (distance > reaching.start) & (distance <= reaching.whole)
    beyond = distance > reaching.whole
    u = away / np.maximum(distance, 1e-300)[:, None]
    reached = ankle - hip
    aside = np.linalg.norm(reached - u * np.einsum("na,na->n", reached, u)[:, None], axis=1)
    # Beyond: on the line, not past the straight leg, and not short of the start of the soft zone.
    length = np.linalg.norm(reached, axis=1)
    outside = np.maximum(length - reaching.whole, 0.0) + np.maximum(reaching.start - length, 0.0)
    return (
        np.where(inside, miss, 0.0),
        np.where(zone, miss, 0.0),
        np.where(beyond, (aside + outside) / unit, 0.0),
    )


def _growth(reaching: Reaching, rows: FloatArray) -> FloatArray:
    """(N,) change of the thigh's or the shin's length, in leg lengths."""
    hip, knee, ankle = reaching.joints(rows)
    thigh = np.abs(np.linalg.norm(knee - hip, axis=1) - reaching.thigh)
    shin = np.abs(np.linalg.norm(ankle - knee, axis=1) - reaching.shin)
    # Too near to the hip the ankle stops before the goal; the bones still keep their length.
    return np.asarray(np.maximum(thigh, shin) / reaching.subject.unit, dtype=np.float64)


def _knee_rate(reaching: Reaching) -> tuple[Measure, bool]:
    """The greatest knee rate on the way out through full reach, against its bound; and whether there is no bound."""
    subject, leg, unit = reaching.subject, reaching.leg, reaching.subject.unit
    line = (leg.ankle.position - leg.hip.position) / np.linalg.norm(leg.ankle.position - leg.hip.position)
    zone = max(reaching.plan.soft, 1e-6 * unit)
    x = np.concatenate(
        [
            np.linspace(0.5 * reaching.whole, reaching.start - zone, 96),
            reaching.start
            + zone * np.concatenate([np.linspace(-1.0, 4.0, 257), np.geomspace(4.1, 0.3 * unit / zone + 5.0, 32)]),
        ]
    )
    y = reaching.knee_rate(reaching.to(leg.hip.position + x[:, None] * line))
    # Other ways out, where the leg's direction must make no difference.
    others = _sampled(reaching, 64, "directions") - leg.hip.position
    others /= np.linalg.norm(others, axis=1, keepdims=True)
    ways = leg.hip.position + others * (reaching.start + np.linspace(-0.2, 0.2, 64)[:, None] * zone)
    spread_rate = reaching.knee_rate(reaching.to(ways))
    rows = np.concatenate([reaching.to(leg.hip.position + x[:, None] * line), reaching.to(ways)])
    rates = np.concatenate([y, spread_rate])
    rates = np.where(np.isnan(rates), np.inf, rates)
    at = int(rates.argmax())
    steepest = _bent_rate(reaching, STRAIGHTEST_DEG)
    bound = reaching.rate_bound(min(reaching.start + TRAVEL * unit, reaching.whole))
    popping = bound > steepest
    order = np.argsort(x)
    kept = order[np.unique(np.linspace(0, len(order) - 1, 160).astype(np.int64))]
    curve = Curve(
        tuple(float(value) for value in x[kept] / unit), tuple(bounded(value) for value in y[kept]),
        "goal's distance from the hip", "of leg length", "degrees per 1 % of the leg",
    )  # fmt: skip
    allowed = bounded(min(bound, steepest) * (1.0 + KNEE_RATE_SLACK))
    measure = Measure(
        "knee's rate for the foot's travel", bounded(rates[at]), allowed,
        "degrees per 1 % of leg length", leg=leg.name, pose=subject.pose(rows[at]), place=subject.landmark(leg, "knee"),
        curve=curve,
    )  # fmt: skip
    return measure, popping


def _on_paths(reaching: Reaching) -> list[Measure]:
    """Jumps of the leg's turns and of the ankle's slope along straight paths between goals, through and past reach."""
    subject, leg, unit = reaching.subject, reaching.leg, reaching.subject.unit
    ends = _sampled(reaching, 256, "paths")
    # Paths keep clear of the hip and of straight above it, where a leg has no direction of its own.
    starts, stops = ends[:128], ends[128:]
    starts, stops = _clear(reaching, starts, stops)
    pick = [reaching.leg.thigh, reaching.leg.shin]

    def turns(rows: FloatArray) -> FloatArray:
        return rotation_matrices(subject.evaluate(rows).rotation[:, pick]).reshape(len(rows), -1)

    jump, row = find_jump(subject, turns, reaching.to(starts), reaching.to(stops))
    angle = 2.0 * np.arcsin(min(jump / (2.0 * np.sqrt(2.0)), 1.0))
    flip = Measure(
        "jump of thigh or shin along a path", bounded(np.degrees(angle)), float(np.degrees(CONTINUOUS)), "deg",
        leg=leg.name, pose=subject.pose(row), place=subject.landmark(leg, "knee"),
    )  # fmt: skip
    step = 1e-7 * unit

    def slope(rows: FloatArray) -> FloatArray:
        goals = reaching.goals(rows)
        away = goals - leg.hip.position
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        ahead = reaching.joints(reaching.to(goals + step * away))[2]
        behind = reaching.joints(reaching.to(goals - step * away))[2]
        return np.asarray(np.linalg.norm(ahead - behind, axis=1)[:, None] / (2.0 * step), dtype=np.float64)

    line = (leg.ankle.position - leg.hip.position) / np.linalg.norm(leg.ankle.position - leg.hip.position)
    out = leg.hip.position + line * np.array([[0.9], [1.0 - 1e-3]]) * reaching.start
    past = leg.hip.position + line * np.array([[1.3], [1.0 + 1e-3]]) * reaching.whole
    change, at = find_jump(subject, slope, reaching.to(out), reaching.to(past), steps=64, halvings=18)
    kink = Measure(
        "jump of the ankle's slope at full reach", bounded(change), 0.1, "of its travel", leg=leg.name,
        pose=subject.pose(at), place=subject.landmark(leg, "ankle"),
    )  # fmt: skip
    return [flip, kink]


def _clear(reaching: Reaching, starts: FloatArray, stops: FloatArray) -> tuple[FloatArray, FloatArray]:
    hip = reaching.leg.hip.position
    line = reaching.leg.ankle.position - hip
    line = line / np.linalg.norm(line)
    share = np.linspace(0.0, 1.0, 33)[:, None, None]
    along = starts + share * (stops - starts) - hip
    distance = np.linalg.norm(along, axis=2)
    up = np.einsum("sna,a->sn", along, line) / np.maximum(distance, 1e-300)
    clear = (distance.min(axis=0) > 0.05 * reaching.whole) & (up.min(axis=0) > -0.995)
    return starts[clear], stops[clear]


def _stretch(reaching: Reaching) -> Measure:
    """The greatest length of the stretched leg, of what its limit allows."""
    subject, leg = reaching.subject, reaching.leg
    limit = subject.rig.description.options.get(leg.name, LegOptions()).stretch_limit
    rows = subject.put(reaching.to(_sampled(reaching, 512, "stretch") * 1.0), {f"{leg.name}.leg.stretch": 1.0})
    far = reaching.leg.hip.position + (reaching.goals(rows) - reaching.leg.hip.position) * 2.0
    rows = np.concatenate([rows, subject.put(reaching.to(far), {f"{leg.name}.leg.stretch": 1.0})])
    hip, knee, ankle = reaching.joints(rows)
    factor = np.maximum(
        np.linalg.norm(knee - hip, axis=1) / reaching.thigh, np.linalg.norm(ankle - knee, axis=1) / reaching.shin
    )
    at = int(factor.argmax())
    return Measure(
        "stretch of a bone", bounded(factor[at]), limit * (1.0 + 1e-9), "times its length", leg=leg.name,
        pose=subject.pose(rows[at]), place=subject.landmark(leg, "knee"),
    )  # fmt: skip
