"""The roll: one foot at a sequence of roll values, standing along a rocker from heel to tip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.delivery.anatomy import Piece, foot_piece, pair_word
from instep.delivery.board import Board, text_box
from instep.delivery.content import LegRoll, SheetContent
from instep.delivery.ink import draw_ink
from instep.delivery.lengths import shortest
from instep.delivery.lettering import NOTE, TEXT, VALUE
from instep.delivery.plates.plate import Plate
from instep.delivery.plates.rocker import TILT, Rocker, choose, rocker_of_width
from instep.delivery.surface import prepare
from instep.delivery.views import extent, fit, looking
from instep.landmarks.model import LegLandmarks

WIDTH: Final = 1184.0
SLIM: Final = 740.0
"""Width on paper and in a narrow window, where the wide drawing's words would shrink: with fewer feet."""

TALLEST: Final = 122.0
WIDEST: Final = 108.0

TOUCH: Final = 0.015
"""Share of the foot's length. What is lower than this over the floor bears the foot."""

GAP: Final = 9.0
"""Drawing units between two feet."""

MOST: Final = 9
"""Feet besides the one at rest. More would be a pattern and no longer a sequence."""


@dataclass(frozen=True, slots=True, eq=False)
class _Standing:
    """A posed foot before it is drawn.

    Attributes
    ----------
    points : (n, 3) in the world.
    pivot : (3,) the middle of what touches the floor, on the floor.
    left, right, rise : how far its drawing reaches from the pivot once it is tilted, in drawing units.
    """

    points: FloatArray
    pivot: FloatArray
    left: float
    right: float
    rise: float


def roll_plate(
    content: SheetContent,
    leg: LegLandmarks,
    sequence: LegRoll,
    width: float = WIDTH,
    feet: dict[int, str] | None = None,
) -> Plate:
    """The foot over its rocker, heel on the left.

    `feet` keeps what was drawn; given again, the same roll at another width is made of those feet alone.
    """
    feet = {} if feet is None else feet
    mesh = content.character.mesh
    assert mesh is not None
    up = content.measurement.R_world_body[:, 1]
    R_view_world = looking(-np.cross(up, leg.axis), up)  # toes to the right
    piece = foot_piece(mesh, leg)
    rest = np.asarray(piece.blend @ mesh.positions)
    wide, tall = extent(rest, R_view_world)
    scale = min(TALLEST / tall, WIDEST / wide)
    degrees = np.asarray(sequence.degrees, dtype=np.float64)
    low, high = min(float(degrees[0]), 0.0), max(float(degrees[-1]), 0.0)
    slope = np.deg2rad(TILT * degrees)
    standing = [
        _stand(np.asarray(piece.blend @ pose), leg, content.measurement.floor, R_view_world, scale, tilt)
        for pose, tilt in zip(sequence.vertices, slope, strict=True)
    ]
    # both ends keep room for the foot that stands there and for the last degree's figure
    room_left, room_right = max(standing[0].left, 16.0) + 4, max(standing[-1].right, 16.0) + 4
    rocker = rocker_of_width(low, high, wide * scale, width - room_left - room_right)
    x, y, _ = rocker.at(degrees)
    reach_left = np.array([foot.left for foot in standing])
    reach_right = np.array([foot.right for foot in standing])
    among = np.array(sorted(feet)) if feet else np.arange(len(degrees))
    chosen = choose(rocker, degrees[among], reach_left[among], reach_right[among], GAP, MOST)
    drawn = [int(among[k]) for k in chosen]
    line = rocker.line()
    origin_x = room_left - line[0, 0]
    base = max(float(y[k]) + standing[k].rise for k in drawn) + 6
    board = Board()
    for k in drawn:
        if k not in feet:
            feet[k] = _drawn_foot(standing[k], piece, R_view_world, scale, slope[k])
        board.add(f'<g transform="translate({origin_x + x[k]:.1f} {base - y[k]:.1f})">{feet[k]}</g>')
    board.line(np.stack([origin_x + line[:, 0], base - line[:, 1]], axis=1), "rocker")
    _marks(board, rocker, sequence, origin_x, base)
    bottom = max(box.bottom for _, box in board.boxes) + 6
    word = f"{leg.side} {pair_word(leg)}foot"
    shown = ", ".join(f"{shortest(float(degrees[k]))}°" for k in drawn)
    return Plate(
        "The roll",
        f"the {word} over its rocker, from the heel to the tip",
        f"The {word} at roll {shown}. The ball gives out at {shortest(sequence.break_deg)}°, "
        f"the tip takes over at {shortest(sequence.tip_deg)}°.",
        board,
        width,
        bottom,
    )


def _stand(
    points: FloatArray,
    leg: LegLandmarks,
    floor: float,
    R_view_world: FloatArray,
    scale: float,
    tilt: float,
) -> _Standing:
    """Where a posed foot touches the floor, and how far it reaches from there on a tilted line."""
    p_view = points @ R_view_world.T
    height = p_view[:, 1] - min(floor, float(p_view[:, 1].min()))
    # a foot whose rig lifts it a little still stands on its lowest places
    bearing = p_view[height <= float(height.min()) + TOUCH * leg.foot_length, 0]
    middle = 0.5 * float(bearing.min() + bearing.max())
    pivot = np.array([middle, floor, float(p_view[:, 2].mean())])
    flat = (p_view - pivot)[:, :2] * scale
    across = np.cos(tilt) * flat[:, 0] - np.sin(tilt) * flat[:, 1]
    upward = np.sin(tilt) * flat[:, 0] + np.cos(tilt) * flat[:, 1]
    return _Standing(points, R_view_world.T @ pivot, float(-across.min()), float(across.max()), float(upward.max()))


def _drawn_foot(foot: _Standing, piece: Piece, R_view_world: FloatArray, scale: float, tilt: float) -> str:
    """One foot with its pivot at the origin, turned with the rocker's slope."""
    surface = prepare(foot.points, piece.faces, piece.part)
    frame = fit(foot.points, R_view_world, scale, pad=2.0)
    pivot = frame.place(foot.pivot)
    move = f"rotate({-np.rad2deg(tilt):.2f}) translate({-pivot[0]:.1f} {-pivot[1]:.1f})"
    return f'<g transform="{move}">{draw_ink(surface, frame, 0.6).svg()}</g>'


def _marks(board: Board, rocker: Rocker, sequence: LegRoll, origin_x: float, base: float) -> None:
    """Ticks, the flat, and below them the wedges with their words in a lane of their own."""

    def at(degrees: float, down: float) -> tuple[float, float]:
        x, y, slope = (float(v) for v in rocker.at(np.array(degrees)))
        return origin_x + x + down * np.sin(slope), base - y + down * np.cos(slope)

    wedges = [("ball gives out", sequence.break_deg), ("tip takes over", sequence.tip_deg)]
    wedges = [(words, d) for words, d in wedges if rocker.low_deg <= d <= rocker.high_deg]
    for words, degrees in wedges:
        tip, left, right = at(degrees, 3), at(degrees, 15), at(degrees, 15)
        board.line([tip, (left[0] - 5, left[1]), (right[0] + 5, right[1])], "wedge", closed=True)
        start, end = at(degrees, 15), at(degrees, 34)
        board.line([start, end], "leader")
        y = end[1] + 14
        while board.taken(text_box(end[0], y, words, TEXT, "middle"), 4) or board.taken(
            text_box(end[0], y + 17, words, VALUE, "middle"), 4
        ):
            y += 6
        board.text(end[0], y, words, TEXT, "middle")
        board.text(end[0], y + 17, f"{shortest(degrees)}°", VALUE, "middle")
    half = 0.5 * rocker.flat
    for x in (-half, half):
        board.line([(origin_x + x, base + 2), (origin_x + x, base + 8)], "tick")
    board.line([(origin_x - half, base + 5), (origin_x + half, base + 5)], "tick")
    for tick in range(int(np.ceil(rocker.low_deg / 5)) * 5, int(np.floor(rocker.high_deg / 5)) * 5 + 1, 5):
        if tick != 0:
            board.line([at(tick, 1), at(tick, 9 if tick % 10 == 0 else 6)], "tick")
        if tick % 10 == 0:
            x, y = at(tick, 24)
            words = f"{shortest(float(tick))}°"
            near = any(abs(at(d, 20)[0] - x) < 20 for _, d in wedges)
            if not near and not board.taken(text_box(x, y, words, NOTE, "middle"), 3):
                board.text(x, y, words, NOTE, "middle")
