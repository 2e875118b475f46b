"""Skeleton: is the model fit for legs? Each fault with what it does to the rig and how to mend it in the model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Edit, Finding, Measure, bounded, conclude, told_of
from instep.checks.subject import Subject, partner
from instep.landmarks import LegLandmarks
from instep.tolerances import (
    BALL_HEIGHT,
    JOINT_OUTSIDE,
    KNEE_PLANE_DEG,
    LEVEL_FOOT_DEG,
    SAME_LENGTH,
    STRAIGHTEST_DEG,
)

NAME = "skeleton"
CLAIM = "Knees bend to where the feet point, joints lie in the mesh, feet stand level, both sides are of one length."


@dataclass(frozen=True, slots=True)
class Fault:
    """What a measure that falls short does to the rig, and how to mend it."""

    does: str
    mend: str
    landmark: str = ""


FAULTS: Final[dict[str, Fault]] = {
    "bend of the knee": Fault(
        "the knee is straight at rest: which way it bends is taken from the foot, and it pops at full reach",
        "bend the knee by 5 degrees to where it shall bend, in the bind pose",
    ),
    "knee out of the leg's plane": Fault(
        "the knee bends across the foot: it swings sideways when the foot is raised",
        "move the knee joint so that hip, knee and ankle lie in the plane that the foot points in",
        "knee",
    ),
    "ball joint under the sole": Fault(
        "the ball joint lies under the sole: the toes sink as the heel lifts",
        "raise the joint into the foot",
        "ball",
    ),
    "height of the ball joint": Fault(
        "the ball joint stands high over the sole: the tread slides forward as the toes bend",
        "lower the joint to the tread's bones, about a tenth of the foot's length over the sole",
        "ball",
    ),
    "joint outside its mesh": Fault(
        "the joint lies outside the mesh: the skin around it shears as it turns",
        "move the joint into the middle of its limb",
    ),
    "difference in length of the sides": Fault(
        "one leg is longer: planted on level floor, one knee is straighter than the other",
        "give both sides one length, or mirror one side's joints in the model",
    ),
    "lean of the sole": Fault(
        "the foot does not stand level: roll and bank start from a foot that touches the floor on one side only",
        "stand the foot level in the bind pose, or set the sole's landmarks by hand",
        "heel",
    ),
}


def check_skeleton(subject: Subject) -> Finding:
    """Angles and distances between the landmarks and the mesh, in the bind pose."""
    measures: list[Measure] = []
    lengths: dict[str, float] = {}
    for leg, plan in subject.legs:
        hip, knee, ankle = (np.asarray(leg.landmarks[name].position) for name in ("hip", "knee", "ankle"))
        lengths[leg.name] = float(np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee))
        measures += _knee(subject, leg, hip, knee, ankle)
        if plan.has_toes:
            measures += _ball(subject, leg)
        lean = float(np.degrees(np.arccos(np.clip(leg.sole_normal @ subject.axes[:, 1], -1.0, 1.0))))
        measures.append(
            Measure(
                "lean of the sole",
                bounded(lean),
                LEVEL_FOOT_DEG,
                "deg",
                leg=leg.name,
                place=subject.landmark(leg, "heel"),
            )
        )
        if subject.mesh is not None:
            measures.append(_outside(subject, leg))
    for name, length in lengths.items():
        other = partner(name)
        if name.startswith("left") and other in lengths:
            measures.append(
                Measure(
                    "difference in length of the sides",
                    bounded(abs(length - lengths[other]) / subject.unit),
                    SAME_LENGTH,
                    "of leg length",
                    leg=name,
                    length=subject.unit,
                )
            )
    cause, kinds = told_of(measures, {kind: fault.does for kind, fault in FAULTS.items()})
    cures = [Cure(f"In the model, {FAULTS[kind].mend}; bind the skin again") for kind in kinds]
    short = [measure for measure in measures if not measure.holds]
    hand = [m for m in short if FAULTS[m.what].landmark and m.place is not None]
    for measure in hand[:1]:
        assert measure.place is not None
        name = f"{measure.leg}.{FAULTS[measure.what].landmark}"
        edit = Edit(("by_hand", "landmarks", name), measure.place.position)
        cures.append(Cure(f"Or set {name} by hand, starting from where it was measured", edits=(edit,)))
    return conclude(NAME, CLAIM, measures, cause=cause, cures=cures, head="bend of the knee")


def _knee(subject: Subject, leg: LegLandmarks, hip: FloatArray, knee: FloatArray, ankle: FloatArray) -> list[Measure]:
    a, b = knee - hip, ankle - knee
    flexion = float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))
    place = subject.landmark(leg, "knee")
    measures = [
        Measure("bend of the knee", bounded(flexion), STRAIGHTEST_DEG, "deg", "at least", leg.name, place=place)
    ]
    if flexion >= STRAIGHTEST_DEG:
        line = (ankle - hip) / np.linalg.norm(ankle - hip)
        bend = knee - hip - line * (line @ (knee - hip))
        points = leg.axis - line * (line @ leg.axis)
        angle = float(
            np.degrees(np.arccos(np.clip(bend @ points / np.linalg.norm(bend) / np.linalg.norm(points), -1.0, 1.0)))
        )
        # A bird's knee, or a fore leg's, bends backward in the same plane.
        away = min(angle, 180.0 - angle)
        measures.append(
            Measure("knee out of the leg's plane", bounded(away), KNEE_PLANE_DEG, "deg", leg=leg.name, place=place)
        )
    return measures


def _ball(subject: Subject, leg: LegLandmarks) -> list[Measure]:
    height = float((leg.ball.position - leg.heel.position) @ leg.sole_normal) / leg.foot_length
    place = subject.landmark(leg, "ball")
    common = {"leg": leg.name, "length": leg.foot_length, "place": place}
    return [
        Measure("ball joint under the sole", bounded(max(-height, 0.0)), 0.0, "of foot length", **common),  # type: ignore[arg-type]
        Measure("height of the ball joint", bounded(max(height, 0.0)), BALL_HEIGHT, "of foot length", **common),  # type: ignore[arg-type]
    ]


def _outside(subject: Subject, leg: LegLandmarks) -> Measure:
    """The joint of the leg that lies farthest outside the mesh."""
    mesh = subject.mesh
    assert mesh is not None
    joints = [joint for joint in (leg.thigh, leg.shin, leg.foot, leg.toes) if joint is not None]
    positions = subject.rig.character.skeleton.positions[joints]
    inside = np.abs(_winding(positions, mesh.positions[mesh.faces])) > 0.5
    away = np.array([float(np.linalg.norm(mesh.positions - position, axis=1).min()) for position in positions])
    away = np.where(inside, 0.0, away / subject.unit)
    worst = int(away.argmax())
    return Measure(
        "joint outside its mesh", bounded(away[worst]), JOINT_OUTSIDE, "of leg length", leg=leg.name,
        length=subject.unit, place=subject.joint(joints[worst]),
    )  # fmt: skip


def _winding(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """(P,) how often the triangles (F, 3, 3) go round each point: 1 inside a closed surface, 0 outside.

    Sum of solid angles over 4 pi (van Oosterom & Strackee 1983, IEEE Trans. Biomed. Eng. 30:125); for surfaces
    with holes it falls off smoothly (Jacobson, Kavan & Sorkine 2013, ACM TOG 32:33).
    """
    total = []
    for point in points:
        a, b, c = np.moveaxis(triangles - point, 1, 0)
        la, lb, lc = (np.linalg.norm(edge, axis=1) for edge in (a, b, c))
        volume = np.einsum("fa,fa->f", a, np.cross(b, c))
        dots = (np.einsum("fa,fa->f", one, two) for one, two in ((a, b), (b, c), (c, a)))
        ab, bc, ca = dots
        total.append(2.0 * np.arctan2(volume, la * lb * lc + ab * lc + bc * la + ca * lb).sum() / (4.0 * np.pi))
    return np.array(total)
