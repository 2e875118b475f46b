"""The feet of one character as they stand in its row of the cast: from the side, and both soles from below."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.delivery.anatomy import foot_piece, pairs, sole_piece
from instep.delivery.board import Board
from instep.delivery.ink import InkDrawing, draw_ink
from instep.delivery.surface import Surface
from instep.delivery.views import extent, fit, looking
from instep.landmarks import LegLandmarks
from instep.rig import Rig

TALL: Final = 108.0
"""Drawing units: height of a row's drawings."""

WIDEST: Final = 170.0
GAP: Final = 12.0
FINENESS: Final = 0.55


def draw_feet(rig: Rig) -> str:
    """An SVG of the first pair's feet. The character must have a mesh."""
    mesh = rig.character.mesh
    assert mesh is not None
    up = np.asarray(rig.measurement.R_world_body[:, 1], dtype=np.float64)
    first = pairs(rig.measurement)[0]
    board = Board()
    x = 0.0
    drawings = [_side(first[0], foot_piece(mesh, first[0]).surface(mesh.positions), up)]
    # From below with the toes up, the left foot lies on the right.
    for leg in reversed(first):
        drawings.append(_ink(sole_piece(mesh, leg).surface(mesh.positions), looking(-leg.sole_normal, leg.axis)))
    tallest = max(ink.frame.height for ink in drawings)
    for ink in drawings:
        board.add(f'<g transform="translate({x:.1f} {tallest - ink.frame.height:.1f})">{ink.svg()}</g>')
        x += ink.frame.width + GAP
    board.line([(0.0, tallest - 2.0), (drawings[0].frame.width, tallest - 2.0)], "floor")
    title = "Feet"
    return board.svg(
        x - GAP, tallest + 2.0, title, f"The {first[0].side} foot from its outer side; the soles from below"
    )


def _side(leg: LegLandmarks, surface: Surface, up: FloatArray) -> InkDrawing:
    outward = np.cross(up, leg.axis) * (1.0 if leg.side == "left" else -1.0)
    return _ink(surface, looking(outward, up))


def _ink(surface: Surface, R_view_world: FloatArray) -> InkDrawing:
    points = surface.used_points()
    wide, tall = extent(points, R_view_world)
    scale = min(TALL / max(tall, 1e-300), WIDEST / max(wide, 1e-300))
    return draw_ink(surface, fit(points, R_view_world, scale), FINENESS)
