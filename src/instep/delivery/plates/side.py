"""From the outer side: one leg with its joints, their heights, and the foot's lengths on the floor."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.delivery.anatomy import leg_piece, pair_word
from instep.delivery.board import Board
from instep.delivery.content import SheetContent
from instep.delivery.ink import InkDrawing, draw_ink
from instep.delivery.labels import Label, label_width, place_column
from instep.delivery.lengths import Lengths
from instep.delivery.plates.above import draw_above
from instep.delivery.plates.plate import Plate
from instep.delivery.plates.shapes import draw_shapes
from instep.delivery.views import Frame, extent, looking
from instep.landmarks.model import LegLandmarks

WIDTH: Final = 490.0
SLIM: Final = 400.0
"""Width on paper, where the sole stands beside it."""

TALLEST: Final = 410.0
WIDEST: Final = 300.0
TOP: Final = 26.0
"""Drawing units over the leg, for what little is shown of the body."""

NAMES: Final = {"toe": "toe joint"}


def side_plate(
    content: SheetContent,
    leg: LegLandmarks,
    lengths: Lengths,
    width: float = WIDTH,
    tallest: float = TALLEST,
    drawn: InkDrawing | None = None,
) -> Plate:
    """The leg as seen square to its foot's axis, from its outer side; `drawn` where it was drawn at another size."""
    measurement = content.measurement
    mesh = content.character.mesh
    assert mesh is not None
    up = measurement.R_world_body[:, 1]
    outward = np.cross(up, leg.axis) * (1.0 if leg.side == "left" else -1.0)
    R_view_world = looking(outward, up)
    surface = leg_piece(mesh, (leg,)).surface(mesh.positions)
    points = surface.used_points()
    places = np.stack([mark.position for mark in leg.landmarks.values()])
    wide, tall = extent(np.concatenate([points, places]), R_view_world)
    scale = min(tallest / tall, min(WIDEST, width - 190) / wide)
    p_view = np.concatenate([points, places]) @ R_view_world.T
    low, high = p_view.min(axis=0), p_view.max(axis=0)
    left = 0.5 * (low[0] + high[0]) - 0.5 * width / scale
    top = high[1] + TOP / scale
    floor_y = (top - measurement.floor) * scale
    frame = Frame(R_view_world, scale, float(left), float(top), width, max((top - low[1]) * scale, floor_y) + 4)
    board = Board()
    draw_above(board, mesh, measurement, (leg,), frame)
    ink = drawn.within(frame) if drawn else draw_ink(surface, frame, 0.85 if scale * tall < 250 else 1.0)
    board.add(ink.svg())
    at = {name: frame.place(mark.position)[:2] for name, mark in leg.landmarks.items()}
    figure_left, figure_right = (low[0] - left) * scale, (high[0] - left) * scale
    board.line([(figure_left - 62, floor_y), (figure_right + 62, floor_y)], "floor")

    draw_shapes(board, content, leg, ink, frame)
    style = leg.side
    chain = [at[name] for name in ("hip", "knee", "ankle", "ball", "toe") if name in at]
    board.line(np.array(chain), f"bone {style}")
    columns: dict[str, list[Label]] = {"left": [], "right": []}
    for name in ("hip", "knee", "ankle", "ball", "toe"):
        if name in at:
            height = float(leg.landmarks[name].position @ up) - measurement.floor
            label = Label(NAMES.get(name, name), lengths.text(height), float(at[name][0]), float(at[name][1]))
            heel_side = name in ("hip", "knee", "ankle")
            # the heel lies away from the toes: on the right for a left leg seen from outside
            right = heel_side == (at["heel"][0] > at["tip"][0])
            columns["right" if right else "left"].append(label)
    for side, edge in (("left", figure_left - 34), ("right", figure_right + 34)):
        if columns[side]:
            room = max(label_width(label) for label in columns[side]) + 16
            edge = max(edge, room) if side == "left" else min(edge, width - room)
            place_column(board, columns[side], edge, "left" if side == "left" else "right", 14, floor_y - 26)
    for name in ("hip", "knee", "ankle", "ball", "toe"):
        if name in at:
            board.mark(float(at[name][0]), float(at[name][1]), style, "joint")
    for name in ("heel", "tip"):
        board.mark(float(at[name][0]), float(at[name][1]), style, "point")
    ends = foot_ends(leg, mesh.positions)
    bottom = _lengths_below(board, leg, lengths, frame, floor_y, ends)
    return Plate(
        "From the outer side",
        f"the {leg.side} {pair_word(leg)}leg",
        f"The {leg.side} {pair_word(leg)}leg from its outer side. "
        + ", ".join(f"{label.name} {label.value} over the floor" for side in columns.values() for label in side)
        + f". The foot is {lengths.text(leg.foot_length)} long.",
        board,
        width,
        bottom,
        ink=ink,
    )


def _lengths_below(
    board: Board,
    leg: LegLandmarks,
    lengths: Lengths,
    frame: Frame,
    floor_y: float,
    ends: tuple[FloatArray, FloatArray],
) -> float:
    """Dimension lines under the floor: heel to ball, ball to tip, and the whole foot; returns their end."""
    heel, ball, tip = (leg.landmarks[name].position for name in ("heel", "ball", "tip"))
    x = {name: float(frame.place(leg.landmarks[name].position)[0]) for name in ("heel", "ball", "tip")}
    row = floor_y + 25
    heel_right = x["heel"] > x["tip"]
    for one, two, length, right in (
        ("heel", "ball", float((ball - heel) @ leg.axis), heel_right),
        ("ball", "tip", float((tip - ball) @ leg.axis), not heel_right),
    ):
        board.across(x[one], x[two], row, lengths.text(length), floor_y + 5, overflow="right" if right else "left")
    low, high = (float(frame.place(end)[0]) for end in ends)
    row += 28
    board.across(low, high, row, lengths.text(leg.foot_length), floor_y + 5, overflow="right")
    return max(row + 12, max(box.bottom for _, box in board.boxes) + 4)


def foot_ends(leg: LegLandmarks, positions: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(3,) points at the foot's rear and front on the axis through the heel point, foot_length apart.

    Taken from the foot's vertices; where stray vertices reach further than the measured foot, the length is
    laid evenly over the tread instead.
    """
    heel = leg.heel.position
    along = (positions[leg.vertices] - heel) @ leg.axis
    rear, front = float(along.min(initial=0.0)), float(along.max(initial=0.0))
    if abs((front - rear) - leg.foot_length) > 0.01 * leg.foot_length:
        over = leg.foot_length - float((leg.tip.position - heel) @ leg.axis)
        rear, front = -0.5 * over, leg.foot_length - 0.5 * over
    return heel + rear * leg.axis, heel + front * leg.axis
