"""Switch: from inverse to forward kinematics and back, and between spaces, nothing moves."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Edit, Finding, Measure, bounded, conclude, inapplicable
from instep.checks.rest import turn_between
from instep.checks.search import spread
from instep.checks.subject import Subject
from instep.rig.channels import Channel
from instep.rig.matching import match_forward, match_inverse, switch_space
from instep.tolerances import SWITCHED, SWITCHED_DEG

NAME = "switch"
CLAIM = "A leg goes from inverse to forward kinematics and back, and a foot from space to space, without moving."

POSES = 256


def check_switch(subject: Subject) -> Finding:
    """Compare poses before and after each change of how a leg is posed."""
    measures: list[Measure] = []
    for leg, plan in subject.legs:
        foot = f"{leg.name}.foot"
        own = [f"{leg.name}.leg.forward", *(f"{leg.name}.{part}.yaw" for part in ("thigh", "shin", "ankle"))]
        rows = _rows(subject, leg.name)
        if subject.has(*own, f"{leg.name}.leg.soft", f"{leg.name}.knee.pin", f"{leg.name}.knee.slide"):
            forward = match_forward(subject.rig, rows, leg.name)
            measures += _residual(subject, leg.name, rows, forward, "inverse to forward")
            back = match_inverse(subject.rig, forward, leg.name)
            measures += _residual(subject, leg.name, rows, back, "there and back")
        if subject.has(f"{foot}.follow_world", *(f"{foot}.follow_{name}" for name in plan.spaces)):
            for space in ("root", "world", *plan.spaces):
                switched = switch_space(subject.rig, rows, leg.name, space)
                measures += _residual(subject, leg.name, rows, switched, f"foot to {space} space")
    if not measures:
        return inapplicable(
            NAME, CLAIM, "The essential controls have no forward kinematics and no spaces to switch between.",
            [Cure("Ask for the full controls to have them", edits=(Edit(("controls",), "full"),))],
        )  # fmt: skip
    worst = max(measures, key=lambda measure: (not measure.holds, measure.use))
    cause = (
        f"After the change {worst.what.partition(': ')[0]} the {worst.leg} leg stands elsewhere: the channels that "
        "it is given "
        "are worked out from other parts than those that pose it."
    )
    return conclude(NAME, CLAIM, measures, cause=cause, cures=[Cure("Build the rig anew from its rig file")])


def _rows(subject: Subject, leg: str) -> FloatArray:
    """Rows with turns within a quarter of their range, moves within a fifth of the leg, bones at their rest length.

    A leg that is stretched, or whose knee is pinned or slid, has no equal in forward kinematics.
    """
    spans = {}
    for channel in subject.rig.channels:
        if channel.control.partition(".")[0] in ("root", "pelvis") or channel.control.startswith(f"{leg}."):
            ends = _ends(subject, channel)
            if ends is not None:
                spans[channel.name] = ends
    return spread(subject, spans, POSES, subject.salt(NAME, leg))


def _ends(subject: Subject, channel: Channel) -> tuple[float, float] | None:
    if channel.unit == "length":
        return max(channel.low, -0.2 * subject.unit), min(channel.high, 0.2 * subject.unit)
    if channel.quantity in {"forward", "pin", "slide", "stretch", "scale"}:
        return None
    wide = 0.25 * (channel.high - channel.low)
    return max(channel.low, channel.default - wide), min(channel.high, channel.default + wide)


def _residual(subject: Subject, leg: str, rows: FloatArray, changed: FloatArray, what: str) -> list[Measure]:
    before, after = subject.evaluate(rows), subject.evaluate(changed)
    place = np.linalg.norm(before.position - after.position, axis=2) / (subject.unit * before.scale[:, None])
    turn = np.degrees(turn_between(before.rotation, after.rotation))
    measures = []
    for kind, table, allowed, unit in (
        ("move", place, SWITCHED, "of leg length"),
        ("turn", turn, SWITCHED_DEG, "deg"),
    ):
        table = np.where(np.isnan(table), np.inf, table)
        row, joint = np.unravel_index(int(table.argmax()), table.shape)
        measures.append(
            Measure(
                f"{what}: {kind} of a joint",
                bounded(table[row, joint]),
                allowed,
                unit,
                leg=leg,
                length=subject.unit if kind == "move" else None,
                pose=subject.pose(rows[row]),
                place=subject.joint(int(joint)),
            )
        )
    return measures
