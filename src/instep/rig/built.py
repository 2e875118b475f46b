"""A rig's built form: all that is needed to evaluate and draw it, as plain data, without CasADi or the mesh."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from instep.formats.whole import write_whole
from instep.rig.rig import Rig
from instep.rig.shapes import ControlShape, control_shapes

BUILT_VERSION: Final = 1
"""Of the built form's layout."""


def to_built(rig: Rig, shapes: Sequence[ControlShape] | None = None) -> dict[str, Any]:
    """The built form: channels, the rig's program, its joints, its controls' frames and shapes.

    `shapes` are the rig's control shapes, where they have been worked out already.

    Each joint follows one driver: joint j stands at ``scale R_d (bind_j - point_d) + place_d`` and has turned by
    ``R_d`` from its bind pose, with driver d = ``followers[j]``.
    """
    plan = rig.plan
    decimals = 5 - math.floor(math.log10(plan.unit))  # of the shapes alone: a hundred-thousandth of the leg
    return {
        "instep": BUILT_VERSION,
        "character": rig.description.character,
        "leg_length": plan.unit,
        "channels": [
            {
                "name": channel.name,
                "unit": channel.unit,
                "low": channel.low,
                "high": channel.high,
                "default": channel.default,
                "sentence": channel.sentence,
            }
            for channel in rig.channels
        ],
        "drivers": [
            {"name": name, "point": point.tolist()} for name, point in zip(plan.drivers, plan.points, strict=True)
        ],
        "joints": [
            {"name": name, "follows": int(driver), "bind": bind.tolist()}
            for name, driver, bind in zip(
                rig.character.skeleton.names, plan.followers, rig.character.skeleton.positions, strict=True
            )
        ],
        "program": rig.program.to_data(),
        "control_frames": rig.control_frames.to_data(),
        "shapes": [
            {
                "control": shape.control,
                "side": shape.side,
                "letter": shape.letter,
                "line": shape.line,
                "kind": shape.kind,
                "polylines": [np.round(line, decimals).tolist() for line in shape.polylines],
            }
            for shape in (control_shapes(rig) if shapes is None else shapes)
        ],
    }


def write_built(rig: Rig, path: Path, shapes: Sequence[ControlShape] | None = None) -> None:
    """Write the built form as JSON, whole or not at all; raises OutputError. `shapes` as for `to_built`."""
    write_whole(path, json.dumps(to_built(rig, shapes), separators=(",", ":")).encode() + b"\n")
