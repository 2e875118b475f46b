"""A figure over its range as a small graph, with the line of its allowance; or as a bar where it has no range."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from instep.character.arrays import FloatArray
from instep.checks.model import Curve, Finding
from instep.delivery.board import Anchor, Board, text_box
from instep.delivery.lengths import Lengths, number, shortest
from instep.delivery.lettering import NOTE
from instep.delivery.paths import path_data
from instep.delivery.proof.words import channel_words, printed_unit

BAR: Final = 0.44
"""Share of a bar's width at which the allowance stands."""

FARTHEST: Final = 40.0
"""Times the allowance that a graph reaches at most: a figure without bound would press all else on to its floor."""

HATCH: Final = 4.0
"""Drawing units between the crossed lines of what falls short."""


def bar(use: float, width: float, tall: float, short: bool, words: str) -> str:
    """How much of an allowance is used, as a bar on a line with a tick at the allowance."""
    board = Board()
    middle = tall - 9.0
    board.line([(0.0, middle), (width, middle)], "leader")
    at = BAR * width
    length = float(np.clip(use, 0.0, 1.0 / BAR)) * at
    length = max(length, 2.0)
    if short:
        board.add(f'<path class="used" d="M0 {middle:.1f}h{at:.1f}"/>')
        over = shapely.box(at, middle - 3.5, max(length, at + 6.0), middle + 3.5)
        board.add(f'<path class="crossed" d="{crossed(over)}"/>')
        board.line(shapely.get_coordinates(over)[:-1], "beyond", closed=True)
    else:
        board.add(f'<path class="used" d="M0 {middle:.1f}h{length:.1f}"/>')
    board.add(f'<path class="allowed" d="M{at:.1f} {middle - 6:.1f}v12"/>')
    return board.svg(width, tall, "Of its allowance", words)


def graph(finding: Finding, lengths: Lengths, width: float, height: float, detailed: bool) -> str:
    """The finding's curve over its range. Where `detailed` it bears its figures, otherwise only its lines."""
    curve = finding.curve
    assert curve is not None
    factor, unit = printed_unit(finding, lengths)
    x = np.asarray(curve.x, dtype=np.float64)
    y = np.asarray(curve.y, dtype=np.float64) * factor
    allowance = None if finding.allowance is None else finding.allowance * factor
    # a figure that the curve does not pass through exactly was sharpened by search: it is no part of the curve
    top = max(float(y.max(initial=0.0)), 1.6 * (allowance or 0.0), 1e-12) * (1.18 if detailed else 1.05)
    if allowance:
        top = min(top, FARTHEST * allowance)
    board = Board()
    box = (4.0, width - 4.0, 14.0, height - 34.0) if detailed else (0.0, width, 2.0, height - 4.0)
    left, right, high, low = box
    across = left + (x - x[0]) / max(float(x[-1] - x[0]), 1e-12) * (right - left)
    line = np.stack([across, low - np.clip(y, 0.0, top) / top * (low - high)], axis=1)
    level = None if allowance is None else float(low - min(allowance, top) / top * (low - high))
    if level is not None:
        beyond = _beyond(line, level, finding.sense == "at most", (low, high - 2))
        if not beyond.is_empty:
            board.add(f'<path class="crossed" d="{crossed(beyond)}"/>')
        board.line([(left, level), (right, level)], "limit")
    board.line([(left, low), (right, low)], "tick")
    board.line(line, "curve")
    if detailed:
        _axis(board, curve, finding.leg, box)
        worst = int(np.argmax(y) if finding.sense == "at most" else np.argmin(y))
        decimals = int(np.clip(1 - np.floor(np.log10(max(abs(allowance or y[worst]), 1e-12))), 0, 3))
        shown_unit = unit if len(unit) < 9 else ""
        place = float(across[worst])
        anchor: Anchor = "start" if place < 0.4 * width else "end" if place > 0.6 * width else "middle"
        peak = f"{number(float(y[worst]), decimals)}{shown_unit} at {x_words(curve, x[worst])}"
        board.text(place, max(float(line[worst, 1]) - 5.0, 11.0), peak, NOTE, anchor, "short")
        if level is not None and allowance is not None:
            words = f"allowed {number(allowance, decimals)}{shown_unit}"
            end = place < 0.5 * width  # on the side away from the worst place
            board.text(right if end else left, level - 4, words, NOTE, "end" if end else "start")
    words = f"{finding.what} over {axis_words(curve, finding.leg)}."
    return board.svg(width, height, "Over its range", words)


def _axis(board: Board, curve: Curve, leg: str, box: tuple[float, float, float, float]) -> None:
    """Ends of the range, its zero, and its name, in words under the graph."""
    left, right, _, low = box
    first, last = curve.x[0], curve.x[-1]
    board.text(left, low + 15, x_words(curve, first), NOTE)
    board.text(right, low + 15, x_words(curve, last), NOTE, "end")
    if first < 0.0 < last:
        zero = left - first / (last - first) * (right - left)
        board.line([(zero, low), (zero, low + 5)], "tick")
        if not board.taken(text_box(zero, low + 15, x_words(curve, 0.0), NOTE, "middle"), 6):
            board.text(zero, low + 15, x_words(curve, 0.0), NOTE, "middle")
    board.text(0.5 * (left + right), low + 30, channel_words(curve.x_label, leg), NOTE, "middle")


def _beyond(line: FloatArray, level: float, at_most: bool, ends: tuple[float, float]) -> shapely.Geometry:
    """The area between a curve and the line of its allowance, on the wrong side."""
    far = ends[0] + 1.0 if at_most else ends[1] - 1.0
    ring = np.concatenate([line, [[line[-1, 0], far], [line[0, 0], far]]])
    under = shapely.make_valid(shapely.polygons(ring))
    edge = ends[1] if at_most else ends[0]
    side = shapely.box(line[:, 0].min(), min(level, edge), line[:, 0].max(), max(level, edge))
    return shapely.intersection(under, side)


def crossed(area: shapely.Geometry, pitch: float = HATCH) -> str:
    """Path data of hatching in two directions within an area."""
    left, top, right, bottom = shapely.bounds(area)
    if not np.isfinite(left):
        return ""
    height = bottom - top
    strokes = []
    for rise in (1.0, -1.0):
        starts = np.arange(np.floor((left - height) / pitch), np.ceil((right + height) / pitch) + 1) * pitch
        lower, upper = (bottom, top) if rise > 0 else (top, bottom)
        ends = np.stack(
            [np.column_stack([starts, np.full(len(starts), lower)]),
             np.column_stack([starts + height, np.full(len(starts), upper)])], axis=1
        )  # fmt: skip
        if height > 0.0:
            strokes += [*shapely.get_parts(shapely.intersection(shapely.linestrings(ends), area))]
    lines = [shapely.get_coordinates(stroke) for stroke in strokes if shapely.get_dimensions(stroke) == 1]
    return path_data(lines)


def x_words(curve: Curve, value: float) -> str:
    """A value of the curve's range with its unit."""
    if curve.x_unit == "deg":
        return f"{shortest(value, 0)}°"
    if curve.x_unit.startswith("of "):
        return f"{shortest(100.0 * value, 0)} % {curve.x_unit}"
    return f"{shortest(value)} {curve.x_unit}".rstrip()


def axis_words(curve: Curve, leg: str) -> str:
    """What the curve runs over: "roll, −40° … 90°"."""
    low, high = x_words(curve, curve.x[0]), x_words(curve, curve.x[-1])
    if curve.x_unit.startswith("of "):
        low = low.partition(" % ")[0]
    return f"{channel_words(curve.x_label, leg)}, {low} … {high}"
