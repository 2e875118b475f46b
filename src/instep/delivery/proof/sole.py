"""The sole at its worst, as a map on its own drawing: touching is washed, hovering has contours, sinking is crossed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import contourpy
import numpy as np
from scipy.ndimage import gaussian_filter

from instep.character.arrays import BoolArray, FloatArray
from instep.checks.model import SoleMap
from instep.delivery.anatomy import sole_piece
from instep.delivery.board import Board, text_box
from instep.delivery.content import SheetContent
from instep.delivery.hatching import hatch_lines
from instep.delivery.ink import InkDrawing, draw_ink
from instep.delivery.lengths import Lengths, shortest
from instep.delivery.lettering import LETTER, NOTE, VALUE
from instep.delivery.paths import path_data, regions, smoothed
from instep.delivery.views import fit, looking
from instep.landmarks.model import LegLandmarks

TOUCH: Final = 0.0025
"""Share of the foot's length. Skin nearer to the floor than this touches it: half of what a sole may sink."""

MOST_CONTOURS: Final = 7
"""Contours over the height of a map; more would be a pattern."""

STEPS: Final = (1.0, 2.0, 5.0)
"""Contours stand at these heights, times a power of ten, in the printed unit."""

PITCH: Final = 3.2
"""Drawing units between the crossed lines of what sinks."""


@dataclass(frozen=True, slots=True, eq=False)
class _Field:
    """Heights over the floor at each pixel of a sole's drawing, in the file's unit; NaN where none is known."""

    height: FloatArray
    known: BoolArray
    ink: InkDrawing


def touch_of(leg: LegLandmarks) -> float:
    """Height up to which a sole touches, in the file's unit."""
    return TOUCH * leg.foot_length


def contour_step(highest: float) -> float:
    """The distance of the contours, in the printed unit, for soles that hover up to `highest`."""
    power = 10.0 ** np.floor(np.log10(max(highest / MOST_CONTOURS, 1e-12)))
    return next(float(step * power) for step in (*STEPS, 10.0) if highest / (step * power) <= MOST_CONTOURS + 1e-9)


def step_for(soles: Sequence[SoleMap], lengths: Lengths) -> float:
    """One distance of contours, in the printed unit, for several maps."""
    return contour_step(max((max(sole.heights, default=0.0) for sole in soles), default=0.0) * lengths.factor)


def draw_soles(
    content: SheetContent,
    soles: Sequence[SoleMap],
    lengths: Lengths,
    width: float,
    tallest: float,
    detailed: bool,
    about: str = "",
) -> str:
    """Maps of a pair side by side, toes up: seen from below, so that the left sole stands on the right.

    The pair is that of the leg `about`, the first one where that has no map.
    """
    legs = {leg.name: leg for leg in content.measurement.legs}
    shown = pair_of(soles, legs, about)
    step = step_for(shown, lengths)
    room = width / max(len(shown), 1)
    foot = 24.0 if detailed else 2.0  # under the map, for its words
    fields = [_field(content, legs[sole.leg], sole, room - 42.0, tallest - foot - 2.0, detailed) for sole in shown]
    tall = max((field.ink.frame.height for field in fields), default=0.0) + 2.0 if detailed else tallest - foot
    board = Board()
    words = []
    for number, (sole, field) in enumerate(zip(shown, fields, strict=True)):
        leg = legs[sole.leg]
        place = (room * (number + 0.5) - 0.5 * field.ink.frame.width, tall - field.ink.frame.height)
        _draw(board, content, leg, sole, field, lengths, step, place, detailed)
        told = worst_words(sole, leg, lengths)
        if detailed:
            sinks = "short" if told.startswith("sinks") else ""
            board.text(room * (number + 0.5), tall + 17.0, told, VALUE, "middle", sinks)
        words.append(f"{leg.name}: {told}")
    return board.svg(width, tall + foot, "The soles at their worst", "; ".join(words) + ".")


def pair_of(soles: Sequence[SoleMap], legs: Mapping[str, LegLandmarks], about: str) -> list[SoleMap]:
    """The maps of one pair of legs, right before left."""
    known = [sole for sole in soles if sole.leg in legs]
    names = [sole.leg for sole in known]
    if not names:
        return []
    pair = (about if about in names else names[0]).partition(".")[2]
    shown = [sole for sole in known if sole.leg.partition(".")[2] == pair]
    return sorted(shown, key=lambda sole: legs[sole.leg].side == "left")


def worst_words(sole: SoleMap, leg: LegLandmarks, lengths: Lengths) -> str:
    """What a map shows, in a few words: how deep it sinks, or how high its lowest place hovers."""
    lowest = min(sole.heights, default=0.0)
    more = 1 if lengths.unit == "mm" else 0
    if lowest < -touch_of(leg):
        return f"sinks {lengths.text(-lowest, more)}"
    if lowest > touch_of(leg):
        return f"hovers {lengths.text(lowest, more)}"
    return "touches the floor"


def _draw(
    board: Board,
    content: SheetContent,
    leg: LegLandmarks,
    sole: SoleMap,
    field: _Field,
    lengths: Lengths,
    step: float,
    place: tuple[float, float],
    detailed: bool,
) -> None:
    """One map with its upper left corner at `place`."""
    ink = field.ink
    x, y = place
    board.add(f'<g transform="translate({x:.1f} {y:.1f})">')
    board.add(f'<g class="sole">{ink.svg()}</g>')
    board.add(f'<g transform="{ink.transform}">')
    touch = touch_of(leg)
    least = 3.0 if detailed else 1.5
    far = np.where(field.known, np.abs(field.height) - touch, np.inf)
    board.add(f'<path class="wash {leg.side}" d="{path_data(regions(far, 0.0, ink.pixels, least), closed=True)}"/>')
    _contours(board, field, leg, lengths, step, (x + ink.shift[0], y + ink.shift[1]), detailed)
    # in units so small that the ragged ends of hatching do not count
    deep = np.where(field.known, (field.height + touch) / (1e-4 * leg.foot_length), np.inf)
    if np.any(deep < 0.0):
        for angle in (45.0, -45.0):
            board.add(f'<path class="crossed" d="{path_data(hatch_lines(deep, 0.0, angle, ink.pixels, PITCH))}"/>')
        board.add(f'<path class="beyond" d="{path_data(regions(deep, 0.0, ink.pixels, 0.5), closed=True)}"/>')
    board.add("</g>")
    board.add(f'<g class="sole over">{ink.svg(lines_only=True)}</g>')
    if detailed:
        mesh = content.character.mesh
        assert mesh is not None
        lowest = int(np.argmin(sole.heights))
        spot = ink.frame.place(mesh.positions[sole.vertices[lowest]][None])[0, :2] + np.array(ink.shift)
        mark = "worst" if sole.heights[lowest] < -touch else "lowest"
        board.add(f'<circle class="{mark}" cx="{spot[0]:.1f}" cy="{spot[1]:.1f}" r="5"/>')
    board.add("</g>")
    right = leg.side == "right"
    edge = x - 4 if right else x + ink.frame.width + 4
    board.text(edge, y + 20, leg.side[0].upper(), LETTER, "end" if right else "start", leg.side)


def _field(content: SheetContent, leg: LegLandmarks, sole: SoleMap, room: float, tall: float, detailed: bool) -> _Field:
    """Heights of the vertices, spread over the faces between them, in the drawing of the sole at rest."""
    mesh = content.character.mesh
    assert mesh is not None
    piece = sole_piece(mesh, leg)
    surface = piece.surface(mesh.positions)
    R_view_world = looking(-leg.sole_normal, leg.axis)
    size = np.ptp(surface.used_points() @ R_view_world.T, axis=0)
    scale = min((tall - 8) / size[1], (room - 8) / size[0])
    ink = draw_ink(surface, fit(surface.used_points(), R_view_world, float(scale)), 0.9 if detailed else 0.5)
    heights, known = np.zeros(len(mesh)), np.zeros(len(mesh))
    vertices = np.array(sole.vertices, dtype=np.int64)
    heights[vertices], known[vertices] = sole.heights, 1.0
    corner_height, corner_known = piece.blend @ heights, piece.blend @ known
    face = ink.raster.face[ink.raster.mask]
    weights = ink.raster.weights
    corners = surface.faces[face]
    share = (corner_known[corners] * weights).sum(axis=1)
    value = (corner_height[corners] * weights).sum(axis=1)
    field, mask = np.full(ink.raster.mask.shape, np.nan), np.zeros(ink.raster.mask.shape, dtype=bool)
    field[ink.raster.mask] = np.where(share > 0.5, value / np.maximum(share, 1e-9), np.nan)
    mask[ink.raster.mask] = share > 0.5
    return _Field(_smoothed(field, mask, 0.8 * ink.pixels), mask, ink)


def _smoothed(field: FloatArray, known: BoolArray, sigma: float) -> FloatArray:
    """The field without the facets of its triangles; only known pixels count."""
    weight = gaussian_filter(known.astype(np.float64), sigma)
    value = gaussian_filter(np.where(known, field, 0.0), sigma) / np.maximum(weight, 1e-9)
    return np.where(known, value, np.nan)


def _contours(
    board: Board,
    field: _Field,
    leg: LegLandmarks,
    lengths: Lengths,
    step: float,
    origin: tuple[float, float],
    detailed: bool,
) -> None:
    """Lines of equal height where the sole hovers, each `step` of the printed unit, the longest numbered."""
    if not field.known.any():
        return
    ink = field.ink
    printed = np.ma.masked_invalid(field.height * lengths.factor)
    highest = float(printed.max())
    levels = np.arange(1, int(highest / step) + 1) * step
    traced = contourpy.contour_generator(z=printed, name="serial", line_type=contourpy.LineType.Separate)
    for level in levels[levels > touch_of(leg) * lengths.factor]:
        lines = [smoothed((np.asarray(line) + 0.5) / ink.pixels, 1.0 * ink.pixels) for line in traced.lines(level)]
        lines = [line for line in lines if len(line) > 1 and _length(line) > (8.0 if detailed else 5.0)]
        if not lines:
            continue
        board.add(f'<path class="contour {leg.side}" d="{path_data(lines)}"/>')
        longest = max(lines, key=_length)
        if detailed and _length(longest) > 34.0:
            spot = longest[len(longest) // 2]
            at = (float(spot[0]), float(spot[1]) + 4.0)
            words = shortest(float(level))
            box = text_box(origin[0] + at[0], origin[1] + at[1], words, NOTE, "middle")
            if not board.taken(box, 3.0):
                board.text(origin[0] + at[0], origin[1] + at[1], words, NOTE, "middle", "lifted")
                # words are placed on the board, lines within the drawing: undo the drawing's own place
                board.elements[-1] = (
                    f'<g transform="translate({-origin[0]:.1f} {-origin[1]:.1f})">{board.elements[-1]}</g>'
                )


def _length(line: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
