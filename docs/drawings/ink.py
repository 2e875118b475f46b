"""Ink on paper: projections of points in the world, and the few marks that the drawings are made of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

PAPER, INK, INK_2, INK_3 = "#f6f0e2", "#241d15", "#5c5142", "#8c806a"
LIGHT, SHADE = "#fdf9ef", "#e7dcc6"
SIDES = {"left": "#0b5960", "right": "#8a4609", "middle": INK}
WASHES = {"left": "#c9dcd6", "right": "#ecd4ae", "middle": "#ece3cf"}
DASHES = {"left": "", "right": "7 4", "middle": ""}
SERIF = "Alegreya, Georgia, serif"
SANS = "'Source Sans 3', 'Segoe UI', sans-serif"


def vector(*values: float) -> FloatArray:
    """A vector of floats."""
    return np.array(values, dtype=np.float64)


def turned(points: ArrayLike, pivot: FloatArray, axis: FloatArray, degrees: float) -> FloatArray:
    """(n, 3) points turned about an axis through `pivot`, by the right-hand rule (Rodrigues)."""
    offsets = np.atleast_2d(np.asarray(points, dtype=np.float64)) - pivot
    unit = axis / np.linalg.norm(axis)
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    along = np.outer(offsets @ unit, unit)
    return np.asarray(pivot + along + cos * (offsets - along) + sin * np.cross(unit, offsets), dtype=np.float64)


def smooth(points: ArrayLike, closed: bool = True, steps: int = 8) -> FloatArray:
    """A curve through points (n, k), as a polyline (Catmull-Rom); a point given twice is a corner."""
    p = np.asarray(points, dtype=np.float64)
    n = len(p)
    t = np.linspace(0.0, 1.0, steps, endpoint=False)[:, None]
    pieces = []
    for i in range(n if closed else n - 1):
        near, a, b, far = (
            p[[(i - 1) % n, i, (i + 1) % n, (i + 2) % n]] if closed else p[np.clip([i - 1, i, i + 1, i + 2], 0, n - 1)]
        )
        if np.array_equal(a, b):
            continue
        m_a = b - a if np.array_equal(near, a) else (b - near) / 2
        m_b = b - a if np.array_equal(far, b) else (far - a) / 2
        pieces.append(
            (2 * t**3 - 3 * t**2 + 1) * a
            + (t**3 - 2 * t**2 + t) * m_a
            + (3 * t**2 - 2 * t**3) * b
            + (t**3 - t**2) * m_b
        )
    if not closed:
        pieces.append(p[-1:])
    return np.concatenate(pieces)


@dataclass(frozen=True)
class View:
    """An orthographic view: the world's directions that point right and up on paper.

    A point p of the world goes to ``place + scale (right . p, -up . p)`` in the drawing's units.
    """

    right: FloatArray
    up: FloatArray
    scale: float
    place: FloatArray

    @property
    def towards(self) -> FloatArray:
        """The direction from the world to the eye."""
        return np.asarray(np.cross(self.right, self.up), dtype=np.float64)

    def __call__(self, points: ArrayLike) -> FloatArray:
        """(n, 2) on paper, of points (n, 3) in the world."""
        p = np.atleast_2d(np.asarray(points, dtype=np.float64))
        flat = np.stack([p @ self.right, -(p @ self.up)], axis=1)
        return np.asarray(self.place + self.scale * flat, dtype=np.float64)


def view_from(azimuth_deg: float, height_deg: float, scale: float, place: FloatArray) -> View:
    """Seen from `azimuth_deg` off the front towards the body's left, and from `height_deg` above."""
    a, e = np.radians(azimuth_deg), np.radians(height_deg)
    towards = vector(np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e))
    right = vector(np.cos(a), 0, -np.sin(a))
    return View(right, np.asarray(np.cross(towards, right), dtype=np.float64), scale, place)


@dataclass
class Sheet:
    """A drawing that is being made: marks in the order in which they are laid down."""

    width: int
    height: int
    title: str
    description: str
    marks: list[str] = field(default_factory=list)

    def path(self, points: ArrayLike, *, closed: bool = False, **style: object) -> None:
        """A polyline through points (n, 2)."""
        p = np.asarray(points, dtype=np.float64)
        d = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in p + 0.0) + (" Z" if closed else "")
        merged = {"fill": "none", "stroke": INK, "stroke_width": 1.7} | style
        self.marks.append(f'<path d="{d}"{_attributes(merged)}/>')

    def circle(self, centre: ArrayLike, radius: float, **style: object) -> None:
        """A circle round a point (2,)."""
        x, y = np.asarray(centre, dtype=np.float64).reshape(2)
        merged = {"fill": PAPER, "stroke": INK, "stroke_width": 1.3} | style
        self.marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}"{_attributes(merged)}/>')

    def arrow(
        self, points: ArrayLike, *, color: str = INK, width: float = 1.7, dash: str = "", head: float = 9
    ) -> None:
        """A polyline (n, 2) with a filled head at its end."""
        p = np.asarray(points, dtype=np.float64)
        lengths = np.linalg.norm(p - p[-1], axis=1)
        behind = p[np.flatnonzero(lengths >= head)[-1]] if np.any(lengths >= head) else p[0]
        direction = (p[-1] - behind) / np.linalg.norm(p[-1] - behind)
        across = vector(-direction[1], direction[0])
        base = p[-1] - head * direction
        kept = p[lengths > 0.7 * head]
        self.path([*kept, base], stroke=color, stroke_width=width, stroke_dasharray=dash)
        self.path(
            [p[-1], base + 0.38 * head * across, base - 0.38 * head * across],
            closed=True,
            fill=color,
            stroke="none",
        )

    def text(
        self,
        at: ArrayLike,
        words: str,
        *,
        size: float = 14,
        color: str = INK,
        anchor: str = "start",
        family: str = SANS,
        italic: bool = False,
        bold: bool = False,
    ) -> None:
        """Words whose baseline starts (or has its middle, or ends) at a point (2,)."""
        x, y = np.asarray(at, dtype=np.float64).reshape(2)
        style: dict[str, object] = {
            "font_family": family,
            "font_size": size,
            "fill": color,
            "text_anchor": anchor,
            "font_style": "italic" if italic else "",
            "font_weight": 600 if bold else "",
            "stroke": PAPER,  # a rim of paper keeps words clear of the lines under them
            "stroke_width": 4,
            "stroke_linejoin": "round",
            "paint_order": "stroke",
        }
        self.marks.append(f'<text x="{x:.1f}" y="{y:.1f}"{_attributes(style)}>{escape(words)}</text>')

    def letter(self, at: ArrayLike, side: str) -> None:
        """The letter of a side, in its colour."""
        self.text(at, side[0].upper(), size=24, color=SIDES[side], anchor="middle", family=SERIF)

    def heading(self, at: ArrayLike, name: str, caption: str) -> None:
        """A figure's name, with a quiet line below it."""
        x, y = np.asarray(at, dtype=np.float64).reshape(2)
        self.text((x, y), name, size=20, family=SERIF)
        self.text((x, y + 19), caption, size=14, color=INK_2, family=SERIF, italic=True)

    def svg(self) -> str:
        """The drawing as an SVG document."""
        lines: Iterable[str] = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" '
            f'width="{self.width}" height="{self.height}" role="img" aria-labelledby="title description">',
            f'<title id="title">{escape(self.title)}</title>',
            f'<desc id="description">{escape(self.description)}</desc>',
            f'<rect width="{self.width}" height="{self.height}" fill="{PAPER}"/>',
            '<g stroke-linejoin="round" stroke-linecap="round">',
            *self.marks,
            "</g>",
            "</svg>",
        )
        return "\n".join(lines) + "\n"


def _attributes(style: dict[str, object]) -> str:
    return "".join(f' {key.replace("_", "-")}="{value}"' for key, value in style.items() if value != "")


def circular(pivot: FloatArray, start: FloatArray, axis: FloatArray, degrees: float, steps: int = 40) -> FloatArray:
    """(n, 3) the way of a point `start` while it turns by `degrees` about an axis through `pivot`."""
    return np.concatenate([turned(start, pivot, axis, angle) for angle in np.linspace(0.0, degrees, steps)])
