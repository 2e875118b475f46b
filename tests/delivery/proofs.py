"""Proofs made by code: what checks might have found on the biped, whole with poses and maps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from instep.character import Character
from instep.checks.model import (
    REPORT_VERSION,
    Cure,
    Curve,
    Finding,
    Measure,
    Place,
    Report,
    SoleMap,
    conclude,
    inapplicable,
)
from instep.delivery.content import SheetContent, WorstPose
from instep.landmarks import LegLandmarks, Measurement
from tests.delivery.sheets import biped_sheet, rolled

ROLL = tuple(float(x) for x in np.linspace(-25.0, 80.0, 43))


def sinking(leg: LegLandmarks, figure: float, allowance: float = 0.005) -> Measure:
    """A sole that sinks most at a roll of 40 degrees."""
    y = tuple(float(v) for v in figure * np.exp(-(((np.array(ROLL) - 40.0) / 20.0) ** 2)))
    return Measure(
        "sinking through the roll", figure, allowance, "of foot length", leg=leg.name, length=leg.foot_length,
        pose={f"{leg.name}.foot.up": 0.2, f"{leg.name}.foot.roll": 40.0},
        place=Place("vertex", str(int(leg.sole[0])), (0.0, 0.0, 0.0)),
        curve=Curve(ROLL, y, f"{leg.name}.foot.roll", "deg", "of foot length"),
    )  # fmt: skip


def sole_map(leg: LegLandmarks, heights: Sequence[float] | None = None) -> SoleMap:
    """The map of a leg's sole; flat on the floor without heights."""
    vertices = tuple(int(vertex) for vertex in leg.sole)
    flat = tuple(float(h) for h in (np.zeros(len(vertices)) if heights is None else heights))
    return SoleMap(leg.name, {f"{leg.name}.foot.roll": 40.0}, vertices, flat)


def findings(measurement: Measurement, deepest: float = 0.02) -> tuple[Finding, ...]:
    """One finding of each verdict, and one of each kind of drawing; the floor falls short from `deepest` 0.005 on."""
    left, right = measurement.legs[:2]
    unit = measurement.leg_length
    off = Measure("departure from the bind pose", 2e-16, 1e-9, "of leg length", length=unit)
    heights = [np.linspace(-deepest, 0.3, len(leg.sole)) * leg.foot_length for leg in (left, right)]
    drift = Measure(
        "drift at the heel", 4e-4, 1e-3, "of foot length", leg="left", length=left.foot_length,
        pose={"left.foot.roll": -12.0, "left.foot.bank": 9.0}, place=Place("landmark", "left.heel", (0.0, 0.0, 0.0)),
        curve=Curve(ROLL, tuple(4e-4 for _ in ROLL), "left.foot.roll", "deg", "of foot length"),
    )  # fmt: skip
    return (
        conclude("rest", "At rest it stands in its bind pose.", [off]),
        conclude("carry", "The root carries every joint.", [replace(off, what="departure", pose={"root.yaw": 30.0})]),
        conclude("plant", "Contacts stay.", [drift], notes=["the heel is nearly round"]),
        conclude(
            "floor", "Each sole keeps the floor.",
            [sinking(left, deepest), sinking(right, 0.5 * deepest),
             Measure("float through the bank", 0.03, 0.015 if deepest > 0.005 else 0.1, "of foot length", leg="right",
                     length=right.foot_length)],
            soles=[sole_map(left, tuple(heights[0])), sole_map(right, tuple(heights[1]))],
            cause="Six vertices of the toe pad follow the foot.",
            cures=[Cure("Give the pad to the toes", 2e-4), Cure("Move the ball in the model.")],
        ),
        conclude(
            "range", "Ranges are those of people.", [Measure("knee flexion", 178.0, None, "deg", leg="left")],
            notes=["knee flexion: 178 degrees here, 130 on people"], cures=[Cure("Give it a range")], advice=True,
        ),
        conclude("skeleton", "Knees bend.", [Measure("bend of the knee", 2.0, 1.0, "deg", "at least", leg="left")]),
        inapplicable("switch", "Switches do not jump.", "There is nothing to switch."),
    )  # fmt: skip


def worst_poses(character: Character, measurement: Measurement, found: Sequence[Finding]) -> tuple[WorstPose, ...]:
    """Feet rolled stiffly, root and feet where they were."""
    up = measurement.R_world_body[:, 1]
    leg = measurement.legs[0]
    stay = np.eye(3, 4)
    return tuple(
        WorstPose(
            finding.check,
            rolled(character, leg, up, finding.pose.get(f"{leg.name}.foot.roll", 0.0)),
            character.skeleton.positions,
            stay,
            {leg.name: stay for leg in measurement.legs},
            None if finding.place is None else leg.heel.position,
        )
        for finding in found
        if finding.verdict != "does not apply"
    )


def report_of(measurement: Measurement, found: Sequence[Finding]) -> Report:
    """A report of some findings."""
    feet = {leg.name: leg.foot_length for leg in measurement.legs}
    return Report(REPORT_VERSION, "biped.glb", measurement.leg_length, feet, 0, tuple(found))


def proved_sheet(deepest: float = 0.02, **options: Any) -> SheetContent:
    """The biped's sheet with its proof."""
    sheet = biped_sheet(**options)
    found = findings(sheet.measurement, deepest)
    return replace(
        sheet,
        proof=report_of(sheet.measurement, found),
        worst=worst_poses(sheet.character, sheet.measurement, found),
    )
