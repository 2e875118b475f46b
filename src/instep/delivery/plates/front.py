"""From before: a pair of legs side by side, with the distance of their hips."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.delivery.anatomy import leg_piece
from instep.delivery.board import Board
from instep.delivery.content import SheetContent
from instep.delivery.ink import InkDrawing, draw_ink
from instep.delivery.lengths import Lengths
from instep.delivery.lettering import LETTER
from instep.delivery.plates.above import draw_above
from instep.delivery.plates.plate import Plate
from instep.delivery.views import Frame, body_view, extent
from instep.landmarks.model import LegLandmarks

WIDTH: Final = 250.0
TALLEST: Final = 330.0
WIDEST: Final = 210.0


def front_plate(
    content: SheetContent,
    legs: tuple[LegLandmarks, ...],
    lengths: Lengths,
    width: float = WIDTH,
    tallest: float = TALLEST,
    drawn: InkDrawing | None = None,
) -> Plate:
    """The legs as seen by someone whom the character faces: its left leg stands on the right.

    `drawn` where they were drawn at another size.
    """
    measurement, mesh = content.measurement, content.character.mesh
    assert mesh is not None
    R_view_world = body_view(measurement.R_world_body, "before")
    up = measurement.R_world_body[:, 1]
    surface = leg_piece(mesh, legs).surface(mesh.positions)
    hips = np.stack([leg.hip.position for leg in legs])
    points = np.concatenate([surface.used_points(), hips])
    wide, tall = extent(points, R_view_world)
    scale = min(tallest / tall, min(WIDEST, width - 40) / wide)
    p_view = points @ R_view_world.T
    low, high = p_view.min(axis=0), p_view.max(axis=0)
    left = 0.5 * (low[0] + high[0]) - 0.5 * width / scale
    top = float(high[1] + 36 / scale)
    floor_y = (top - measurement.floor) * scale
    frame = Frame(R_view_world, scale, float(left), top, width, max((top - low[1]) * scale, floor_y) + 4)
    board = Board()
    draw_above(board, mesh, measurement, legs, frame)
    ink = drawn.within(frame) if drawn else draw_ink(surface, frame, 0.7)
    board.add(ink.svg())
    x_low, x_high = (low[0] - left) * scale, (high[0] - left) * scale
    board.line([(max(x_low - 22, 0), floor_y), (min(x_high + 22, width), floor_y)], "floor")
    at: list[tuple[float, float]] = []
    for leg in legs:
        chain = np.array([frame.place(mark.position)[:2] for mark in (leg.hip, leg.knee, leg.ankle)])
        board.line(chain, f"bone {leg.side}")
        for x, y in chain:
            board.mark(float(x), float(y), leg.side, "joint")
        at.append((float(chain[0, 0]), float(chain[0, 1])))
        letter_x = float(frame.place(leg.ankle.position)[0])
        board.text(letter_x, floor_y + 31, leg.side[0].upper(), LETTER, "middle", leg.side)
    bottom = floor_y + 40
    description = "The legs from before."
    if len(legs) == 2:
        apart = float(np.linalg.norm((hips[1] - hips[0]) - ((hips[1] - hips[0]) @ up) * up))
        board.across(at[0][0], at[1][0], 22, lengths.text(apart), min(at[0][1], at[1][1]) - 8)
        description = f"Both legs from before; the hips are {lengths.text(apart)} apart."
    title = "From before" if legs[0].name.partition(".")[2] != "fore" else "The fore pair"
    caption = "both legs, R and L as they face you" if len(legs) == 2 else f"the {legs[0].side} leg"
    return Plate(title, caption, description, board, width, bottom, ink=ink)
