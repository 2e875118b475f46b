"""Contents of rig sheets, made by code: the biped with a plain rigid roll of its feet."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from instep.character import Character
from instep.character.arrays import FloatArray
from instep.delivery import ChannelRow, LegRoll, SheetContent
from instep.landmarks import LegLandmarks, Measurement
from tests.measured import make_measured_biped

DEGREES = tuple(float(d) for d in np.arange(-25.0, 80.1, 5.0))

CHANNELS = tuple(
    ChannelRow(f"{side}.{control}", name, unit, low, high, default, "does what it says", moves)
    for side in ("left", "right")
    for control, name, unit, low, high, default, moves in (
        ("foot", "roll", "°", -25.0, 80.0, 0.0, "heel, ball, toes, knee, hip"),
        ("foot", "bank", "°", -30.0, 30.0, 0.0, "outer or inner edge"),
        ("foot", "across", "m", -0.3, 0.3, 0.0, "the whole foot"),
        ("foot", "up", "m", -0.3, 0.3, 0.0, "the whole foot"),
        ("toes", "hold", "", 0.0, 1.0, 0.94, "how far the toes undo the ball"),
        ("knee", "twist", "°", -90.0, 90.0, 0.0, "thigh and shin"),
    )
)


def rolled(character: Character, leg: LegLandmarks, up: FloatArray, roll_deg: float) -> FloatArray:
    """(V, 3) the mesh with one foot turned stiffly about its heel, or its ball: enough to be drawn."""
    mesh = character.mesh
    assert mesh is not None
    pivot = leg.heel.position if roll_deg < 0 else leg.ball.position
    R = Rotation.from_rotvec(np.cross(up, leg.axis) * np.deg2rad(roll_deg)).as_matrix()
    carried = [leg.foot, leg.shin, leg.thigh]
    share = np.where(np.isin(mesh.joints, carried), mesh.weights, 0.0).sum(axis=1, keepdims=True)
    turned = (mesh.positions - pivot) @ R.T + pivot
    return np.asarray(share * turned + (1 - share) * mesh.positions)


def sheet_of(character: Character, measurement: Measurement, **changes: Any) -> SheetContent:
    """A full sheet of a character with what was measured on it."""
    up = measurement.R_world_body[:, 1]
    leg = measurement.legs[0]
    roll = LegRoll(leg.name, DEGREES, np.stack([rolled(character, leg, up, d) for d in DEGREES]), 35.0, 62.0, 0.94)
    content: dict[str, Any] = {
        "title": "Biped",
        "file_name": "biped.glb",
        "rig_file_name": "biped.rig.toml",
        "date": "25 November 2026",
        "channels": CHANNELS,
        "rolls": (roll,),
    }
    return SheetContent(character=character, measurement=measurement, **(content | changes))


def biped_sheet(**options: Any) -> SheetContent:
    """The sheet of a biped; options as for `make_biped`."""
    return sheet_of(*make_measured_biped(**options))
