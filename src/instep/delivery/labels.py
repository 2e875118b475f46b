"""Labels beside a drawing, each with a leader to its place: in order, apart, and without crossing leaders."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Final, Literal

import numpy as np

from instep.character.arrays import FloatArray
from instep.delivery.board import Board
from instep.delivery.lettering import NAME, VALUE, text_width

ROW: Final = 35.0
"""Drawing units from one label to the next: a name, its value under it, and air."""


@dataclass(frozen=True, slots=True)
class Label:
    """A name and a value for the place (x, y) of a drawing. `style` is the class of its words, if any."""

    name: str
    value: str
    x: float
    y: float
    style: str = ""


def label_width(label: Label) -> float:
    """Width of the wider of its two lines."""
    return max(text_width(label.name, NAME), text_width(label.value, VALUE))


def place_column(
    board: Board,
    labels: list[Label],
    edge: float,
    side: Literal["left", "right"],
    low: float,
    high: float,
) -> None:
    """Write labels in a column whose near edge stands at x = `edge`, between the heights `low` and `high`.

    Of all orders the one is taken whose leaders cross least and, among those, are shortest.
    """
    if not labels:
        return
    orders = permutations(range(len(labels))) if len(labels) <= 6 else [_by_height(labels)]
    best: tuple[float, FloatArray, tuple[int, ...]] | None = None
    for order in orders:
        wanted = np.array([labels[k].y for k in order])
        heights = spread(wanted, ROW, low, high)
        ends = [(edge, float(h)) for h in heights]
        starts = [(labels[k].x, labels[k].y) for k in order]
        crossings = sum(
            _cross(starts[i], ends[i], starts[j], ends[j]) for i in range(len(order)) for j in range(i + 1, len(order))
        )
        cost = 1e4 * crossings + float(np.abs(heights - wanted).sum())
        if best is None or cost < best[0] - 1e-9:
            best = (cost, heights, tuple(order))
    assert best is not None
    sign = -1.0 if side == "left" else 1.0
    for k, height in zip(best[2], best[1], strict=True):
        label = labels[k]
        x, y = edge, float(height)
        board.line([(label.x, label.y), (x, y), (x + sign * 10, y)], "leader")
        anchor: Literal["start", "end"] = "end" if side == "left" else "start"
        at = x + sign * 14
        board.text(at, y + 1, label.name, NAME, anchor, label.style)
        board.text(at, y + 16, label.value, VALUE, anchor, label.style)


def _by_height(labels: list[Label]) -> tuple[int, ...]:
    return tuple(sorted(range(len(labels)), key=lambda k: labels[k].y))


def spread(wanted: FloatArray, row: float, low: float, high: float) -> FloatArray:
    """Heights in this order, at least `row` apart and between `low` and `high`, as near as possible to the
    wanted ones (least squares).

    Without its gaps the order is a monotone regression, solved by pooling neighbours.
    """
    gaps = row * np.arange(len(wanted))
    blocks: list[tuple[float, int]] = []
    for value in wanted - gaps:
        mean, count = float(value), 1
        while blocks and blocks[-1][0] > mean:
            before, number = blocks.pop()
            mean, count = (before * number + mean * count) / (number + count), number + count
        blocks.append((mean, count))
    level = np.concatenate([np.full(count, mean) for mean, count in blocks])
    top = max(high - float(gaps[-1]), low)
    return np.asarray(np.clip(level, low, top) + gaps)


def _cross(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]) -> bool:
    """Whether the segments a-b and c-d cross."""

    def turn(p: tuple[float, float], q: tuple[float, float], r: tuple[float, float]) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0
