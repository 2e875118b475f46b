"""A drawing with its lettering: SVG elements in order, and the box of every word on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Literal

import numpy as np

from instep.character.arrays import FloatArray
from instep.delivery.lettering import FALL, RISE, VALUE, Type, text_width
from instep.delivery.paths import path_data

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in drawing units."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box, gap: float = 0.0) -> bool:
        """Whether two boxes overlap, or come closer than `gap`."""
        return (
            self.left < other.right + gap
            and other.left < self.right + gap
            and self.top < other.bottom + gap
            and other.top < self.bottom + gap
        )


@dataclass(slots=True)
class Board:
    """What is drawn so far. `boxes` holds the box of each word, for whoever places the next."""

    elements: list[str] = field(default_factory=list)
    boxes: list[tuple[str, Box]] = field(default_factory=list)

    def add(self, element: str) -> None:
        """Any SVG element."""
        self.elements.append(element)

    def line(self, points: FloatArray | list[tuple[float, float]], style: str, closed: bool = False) -> None:
        """A polyline through (n, 2) points."""
        points = np.asarray(points, dtype=np.float64)
        if closed:
            points = np.concatenate([points, points[:1]])
        data = path_data([points], closed=closed, tolerance=0.05)
        if data:
            self.add(f'<path class="{style}" d="{data}"/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        style: Type,
        anchor: Anchor = "start",
        classes: str = "",
        upright: bool = True,
    ) -> None:
        """Words on a base line through (x, y); turned to read upwards where not `upright`."""
        box = text_box(x, y, words, style, anchor)
        turn = ""
        if not upright:
            turn = f' transform="rotate(-90 {x:.1f} {y:.1f})"'
            # a quarter turn to the left about (x, y): (u, v) -> (v, -u)
            box = Box(x + box.top - y, y - (box.right - x), x + box.bottom - y, y - (box.left - x))
        self.boxes.append((words, box))
        name = f"{style.name} {classes}".strip()
        self.add(f'<text class="{name}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{turn}>{escape(words)}</text>')

    def mark(self, x: float, y: float, style: str, kind: Literal["joint", "point"]) -> None:
        """A place on the body: a ring with four ticks for a joint, a ring with a dot for a point on the sole."""
        if kind == "joint":
            ticks = "".join(f"M{x + 3.6 * a:.1f} {y + 3.6 * b:.1f}l{3 * a} {3 * b}" for a, b in _CROSS)
            self.add(f'<path class="{style} tickmark" d="{ticks}"/>')
            self.add(f'<circle class="{style} ring" cx="{x:.1f}" cy="{y:.1f}" r="3.6"/>')
        else:
            self.add(f'<circle class="{style} ring" cx="{x:.1f}" cy="{y:.1f}" r="4"/>')
            self.add(f'<circle class="{style} dot" cx="{x:.1f}" cy="{y:.1f}" r="1.4"/>')

    def across(
        self,
        x0: float,
        x1: float,
        y: float,
        words: str,
        extend_from: float | None = None,
        overflow: Literal["over", "left", "right"] = "over",
    ) -> None:
        """A dimension line from x0 to x1 at height y, its words over it.

        Where it is shorter than its words they stand clear over it, or beyond its left or right end.
        """
        x0, x1 = min(x0, x1), max(x0, x1)
        self.line([(x0, y), (x1, y)], "dimension")
        for x in (x0, x1):
            self.add(f'<path class="dimension firm" d="M{x - 3:.1f} {y + 3:.1f}l6 -6"/>')
            if extend_from is not None:
                self.line([(x, extend_from), (x, y + (4 if y > extend_from else -4))], "leader")
        middle = 0.5 * (x0 + x1)
        if text_width(words, VALUE) + 12 < x1 - x0:
            self.text(middle, y - 5, words, VALUE, "middle")
        elif overflow == "over":
            self.text(middle, y - 8, words, VALUE, "middle")
        elif overflow == "left":
            self.text(x0 - 8, y + 5, words, VALUE, "end")
        else:
            self.text(x1 + 8, y + 5, words, VALUE, "start")

    def upwards(self, x: float, y0: float, y1: float, words: str, extend_from: float | None = None) -> None:
        """A dimension line from y0 to y1 at x, its words on the left of it, read upwards."""
        y0, y1 = min(y0, y1), max(y0, y1)
        self.line([(x, y0), (x, y1)], "dimension")
        for y in (y0, y1):
            self.add(f'<path class="dimension firm" d="M{x - 3:.1f} {y + 3:.1f}l6 -6"/>')
            if extend_from is not None:
                self.line([(extend_from, y), (x + (4 if x > extend_from else -4), y)], "leader")
        self.text(x - 5, 0.5 * (y0 + y1), words, VALUE, "middle", upright=False)

    def taken(self, box: Box, gap: float = 1.0) -> bool:
        """Whether words stand there already."""
        return any(box.meets(other, gap) for _, other in self.boxes)

    def svg(self, width: float, height: float, title: str, description: str, top: float = 0.0) -> str:
        """The whole drawing, for a page with the drawing classes; scaled by the page's own measure."""
        return (
            f'<svg role="img" viewBox="0 {top:.1f} {width:.1f} {height:.1f}" '
            f'style="--w:{width:.0f};--h:{height:.0f}">'
            f"<title>{escape(title)}</title><desc>{escape(description)}</desc>{''.join(self.elements)}</svg>"
        )


_CROSS = ((1, 0), (-1, 0), (0, 1), (0, -1))


def text_box(x: float, y: float, words: str, style: Type, anchor: Anchor = "start") -> Box:
    """The box of words on a base line through (x, y)."""
    width = text_width(words, style)
    left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width
    return Box(left, y - RISE * style.size, left + width, y + FALL * style.size)
