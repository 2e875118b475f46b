"""The body above the cut of the legs, as a faint outline: so that the hips' marks lie in something."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.character import Mesh
from instep.character.arrays import FloatArray
from instep.delivery.anatomy import leg_joints, pelvis_piece
from instep.delivery.board import Board
from instep.delivery.ink import outline_rings, pixels_per_unit
from instep.delivery.raster import rasterise
from instep.delivery.views import Frame
from instep.landmarks.model import LegLandmarks, Measurement

OVER_HIP: Final = 0.16
"""Share of the leg: how far over the hips the outline is drawn, where there is room."""


def draw_above(
    board: Board, mesh: Mesh, measurement: Measurement, legs: tuple[LegLandmarks, ...], frame: Frame
) -> None:
    """The outline of pelvis and legs in a fine quiet line, up to a little over the hips and within the frame."""
    up = measurement.R_world_body[:, 1]
    hip = max(float(leg.hip.position @ up) for leg in legs)
    joints = np.unique(np.concatenate([[measurement.pelvis], *(leg_joints(leg) for leg in legs)]))
    piece = pelvis_piece(mesh, joints, up, hip + OVER_HIP * measurement.leg_length)
    if not len(piece.faces):
        return
    pixels = pixels_per_unit(frame)
    points = frame.place(np.asarray(piece.blend @ mesh.positions)) * pixels
    width, height = int(np.ceil(frame.width * pixels)), int(np.ceil(frame.height * pixels))
    mask = rasterise(points, piece.faces, width, height).mask
    edge = float(points[:, 1].min()) / pixels
    for ring in outline_rings(mask.astype(np.float64), pixels, least_area=20.0):
        for line in _below(ring, max(edge, 0.0) + 2.5):
            board.line(line, "above")


def _below(ring: FloatArray, top: float) -> list[FloatArray]:
    """The stretches of a closed ring that lie below a height, in drawing units: not along its cut."""
    kept = ring[:, 1] > top
    if kept.all():
        return [ring]
    turned = np.roll(ring[:-1], -int(np.argmin(kept[:-1])), axis=0)
    kept = np.append(turned[:, 1] > top, False)
    starts = np.flatnonzero(kept[1:] & ~kept[:-1]) + 1
    ends = np.flatnonzero(kept[:-1] & ~kept[1:]) + 1
    return [turned[start:end] for start, end in zip(starts, ends, strict=True) if end - start > 2]
