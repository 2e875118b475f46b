"""From below: the sole with its tread, the landmarks on it, and the foot control's outline round it."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from instep.character.arrays import BoolArray, FloatArray
from instep.delivery.anatomy import pair_word, sole_piece
from instep.delivery.board import Board
from instep.delivery.content import SheetContent
from instep.delivery.ink import InkDrawing, draw_ink, outline_rings
from instep.delivery.labels import spread
from instep.delivery.lengths import Lengths
from instep.delivery.lettering import TEXT
from instep.delivery.paths import path_data
from instep.delivery.plates.plate import Plate
from instep.delivery.plates.side import foot_ends
from instep.delivery.surface import Surface
from instep.delivery.views import Frame, extent, looking
from instep.landmarks.model import LegLandmarks

WIDTH: Final = 330.0
TALLEST: Final = 360.0
WIDEST: Final = 190.0

MARGIN: Final = 0.04
"""Share of the foot's length by which the outline grows where the rig has brought no shape of its own."""

TREAD: Final = 0.012
"""Share of the foot's length. Skin no higher than this over the sole plane counts as tread: a rounded sole
has no edge, and its wash must end somewhere."""

FACING: Final = 0.3
"""Cosine. Walls of recesses are no tread."""


def below_plate(
    content: SheetContent,
    leg: LegLandmarks,
    lengths: Lengths,
    width: float = WIDTH,
    tallest: float = TALLEST,
    drawn: InkDrawing | None = None,
) -> Plate:
    """The sole, toes up, as seen square to the sole plane; `drawn` where it was drawn at another size."""
    mesh = content.character.mesh
    assert mesh is not None
    R_view_world = looking(-leg.sole_normal, leg.axis)
    surface = sole_piece(mesh, leg).surface(mesh.positions)
    control = control_outline(content, leg)
    ends = foot_ends(leg, mesh.positions)
    foot = np.concatenate([mesh.positions[leg.vertices], leg.outline])
    points = np.concatenate([surface.used_points(), *control])
    wide, tall = extent(points, R_view_world)
    scale = min(tallest / tall, min(WIDEST, width - 140) / wide)
    p_view = points @ R_view_world.T
    low, high = p_view.min(axis=0), p_view.max(axis=0)
    left = 0.5 * (low[0] + high[0]) - 0.5 * (width - 52) / scale  # the length's line needs room on the right
    frame = Frame(
        R_view_world,
        scale,
        float(left),
        float(high[1] + 20 / scale),
        width,
        float((high[1] - low[1]) * scale + 40),
    )
    board = Board()
    ink = drawn.within(frame) if drawn else draw_ink(surface, frame)
    board.add(f'<g class="sole">{ink.svg()}</g>')
    board.add(f'<path class="wash {leg.side}" transform="{ink.transform}" d="{tread_path(surface, ink, leg)}"/>')
    board.add(f'<g class="sole over">{ink.svg(lines_only=True)}</g>')
    for line in control:
        board.line(frame.place(line)[:, :2], f"control {leg.side}", closed=True)
    at = {name: frame.place(leg.landmarks[name].position)[:2] for name in ("heel", "tip", "inner", "outer")}
    rear, front = (frame.place(end)[:2] for end in ends)
    board.line([(front[0], front[1] - 16), (rear[0], rear[1] + 16)], f"axis {leg.side}")
    board.line([tuple(at["inner"]), tuple(at["outer"])], f"axis {leg.side}")
    edges = ((float(low[0]) - frame.left) * scale, (float(high[0]) - frame.left) * scale)
    _names(board, at, edges)
    for spot in at.values():
        board.mark(float(spot[0]), float(spot[1]), leg.side, "point")
    _dimensions(board, lengths, leg, frame, foot, (rear, front), low, high)
    bottom = max(box.bottom for _, box in board.boxes) + 6
    level = (mesh.positions[leg.sole] - leg.heel.position) @ leg.sole_normal if len(leg.sole) else np.zeros(1)
    points_seen = "1 point" if len(leg.sole) == 1 else f"{len(leg.sole):,} points"
    return Plate(
        "From below",
        f"the {leg.side} {pair_word(leg)}sole; the wash is its tread",
        f"The {leg.side} {pair_word(leg)}sole from below, toes up: the tread, the heel point, toe tip, inner "
        f"and outer edge, and the foot control's outline. {lengths.text(leg.foot_length)} long.",
        board,
        width,
        bottom,
        note=f"the tread is level to {lengths.text(float(np.ptp(level)), 1)}, from {points_seen}",
        ink=ink,
    )


def control_outline(content: SheetContent, leg: LegLandmarks) -> list[FloatArray]:
    """(n, 3) lines of the foot control: as the rig brings them, otherwise the sole's outline grown."""
    for control in content.controls:
        if control.control == f"{leg.name}.foot":
            return [np.asarray(line, dtype=np.float64) for line in control.polylines]
    if len(leg.outline) < 3:
        return []
    across = np.cross(leg.sole_normal, leg.axis)
    flat = np.stack([(leg.outline - leg.heel.position) @ across, (leg.outline - leg.heel.position) @ leg.axis], axis=1)
    # grown further and back again: what is narrower than a toe is bridged
    margin = MARGIN * leg.foot_length
    grown = shapely.buffer(shapely.buffer(shapely.polygons(flat), 3.0 * margin), -2.0 * margin)
    ring = shapely.get_coordinates(shapely.get_exterior_ring(grown))
    return [leg.heel.position + ring[:, :1] * across + ring[:, 1:] * leg.axis]


def tread_mask(surface: Surface, ink: InkDrawing, leg: LegLandmarks) -> BoolArray:
    """(H, W) pixels of a view from below that lie on the tread."""
    raster, frame = ink.raster, ink.frame
    plane = float(frame.place(leg.heel.position[None, :])[0, 2]) * ink.pixels
    above = np.where(raster.mask, plane - raster.depth, np.inf)
    reach = TREAD * leg.foot_length * frame.scale * ink.pixels
    tri = surface.points[surface.faces] @ frame.R_view_world.T
    normal = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    facing = np.abs(normal[:, 2]) > FACING * np.linalg.norm(normal, axis=1)
    return np.asarray((above < reach) & facing[np.maximum(raster.face, 0)] & raster.mask)


def tread_path(surface: Surface, ink: InkDrawing, leg: LegLandmarks) -> str:
    """The tread as SVG path data."""
    mask = tread_mask(surface, ink, leg).astype(np.float64)
    return path_data(outline_rings(mask, ink.pixels, least_area=6.0), closed=True)


def _names(board: Board, at: dict[str, FloatArray], edges: tuple[float, float]) -> None:
    """The four landmarks' names outside the outline, each level with its mark, with a leader to it."""
    words = {"tip": "toe tip", "heel": "heel", "inner": "inner", "outer": "outer"}
    left_one = "inner" if at["inner"][0] < at["outer"][0] else "outer"
    right = sorted((name for name in words if name != left_one), key=lambda name: float(at[name][1]))
    heights = spread(np.array([float(at[name][1]) for name in right]), 20.0, -np.inf, np.inf)
    for name, y in zip(right, heights, strict=True):
        x = edges[1] + 12
        board.line([tuple(at[name]), (x - 6, float(y)), (x, float(y))], "leader")
        board.text(x + 3, float(y) + 4.5, words[name], TEXT)
    spot = at[left_one]
    x = edges[0] - 12
    board.line([tuple(spot), (x, float(spot[1]))], "leader")
    board.text(x - 3, float(spot[1]) + 4.5, words[left_one], TEXT, "end")


def _dimensions(
    board: Board,
    lengths: Lengths,
    leg: LegLandmarks,
    frame: Frame,
    foot: FloatArray,
    ends: tuple[FloatArray, FloatArray],
    low: FloatArray,
    high: FloatArray,
) -> None:
    """The foot's length on the right, its greatest width below."""
    rear, front = ends
    right = (float(high[0]) - frame.left) * frame.scale
    board.upwards(right + 84, float(front[1]), float(rear[1]), lengths.text(leg.foot_length), right + 66)
    x = np.sort(frame.place(foot)[:, 0])
    bottom = (frame.top - float(low[1])) * frame.scale
    width = float(x[-1] - x[0]) / frame.scale
    board.across(float(x[0]), float(x[-1]), bottom + 36, lengths.text(width), bottom + 6)
