"""The whole character as one drawing: on the page's head, in a README, the cast side by side."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

import numpy as np

from instep.character import Character
from instep.character.arrays import FloatArray
from instep.delivery.advances import SERIF_ITALIC
from instep.delivery.anatomy import whole
from instep.delivery.ink import InkDrawing, draw_ink
from instep.delivery.lettering import Type, text_width
from instep.delivery.views import body_view, extent, fit

INK_STYLE: Final = (
    ".ink path{fill-rule:evenodd}.t0{fill:#fdf9ef}.t1{fill:#f4ecdb}.t2{fill:#e7dcc6}.t3{fill:#d6c8ae}"
    ".hatch,.crease,.break,.outline{fill:none;stroke:#241d15;stroke-linecap:round;stroke-linejoin:round}"
    ".hatch{stroke-width:.45;stroke-opacity:.62}.crease{stroke-width:.7}.break{stroke-width:1.05}"
    ".outline{stroke-width:1.6}text{font:italic 20px Alegreya,Georgia,serif;fill:#5c5142;text-anchor:middle}"
)
"""The style of a drawing that stands alone, outside the page."""

NAME: Final = Type("cast", 20.0, SERIF_ITALIC)


def ink_of(character: Character, R_view_world: FloatArray, size: float) -> InkDrawing:
    """A character drawn `size` drawing units tall, as seen."""
    assert character.mesh is not None
    surface = whole(character.mesh)
    _, tall = extent(surface.used_points(), R_view_world)
    frame = fit(surface.used_points(), R_view_world, size / tall)
    return draw_ink(surface, frame, fineness_of(size))


def fineness_of(size: float) -> float:
    """How fine the lines of a drawing of this size shall be: 1 from 420 units on."""
    return float(np.clip(size / 420.0, 0.4, 1.0))


def draw_figure(
    character: Character, view: str = "quarter", size: float = 600.0, R_world_body: FloatArray | None = None
) -> str:
    """A stand-alone SVG of the character in the bind pose, `size` drawing units tall.

    `view` is one of "before", "behind", "left", "right", "below", "quarter"; `R_world_body` as measured, the
    identity where it is not given. Raises KeyError for another view.
    """
    R_view_world = body_view(np.eye(3) if R_world_body is None else R_world_body, view)
    ink = ink_of(character, R_view_world, size)
    return _alone(ink.frame.width, ink.frame.height, character.name, ink.svg())


def draw_cast(
    cast: Sequence[tuple[str, Character]], view: str = "quarter", size: float = 600.0, gap: float = 40.0
) -> str:
    """A stand-alone SVG of several characters on one floor, at one scale, with their names under them.

    The tallest is `size` drawing units tall.
    """
    R_view_world = body_view(np.eye(3), view)
    surfaces = [whole(character.mesh) for _, character in cast if character.mesh is not None]
    tallest = max(extent(surface.used_points(), R_view_world)[1] for surface in surfaces)
    scale = size / tallest
    drawn = [
        draw_ink(surface, fit(surface.used_points(), R_view_world, scale), fineness_of(size)) for surface in surfaces
    ]
    floor = max(ink.frame.height for ink in drawn) + 0.5 * gap
    x = gap
    parts: list[str] = []
    for (name, _), ink in zip(cast, drawn, strict=True):
        width = max(ink.frame.width, text_width(name, NAME))
        left = x + 0.5 * (width - ink.frame.width)
        parts.append(f'<g transform="translate({left:.1f} {floor - ink.frame.height:.1f})">{ink.svg()}</g>')
        parts.append(f'<text x="{x + 0.5 * width:.1f}" y="{floor + 30:.1f}">{escape(name)}</text>')
        x += width + gap
    title = ", ".join(name for name, _ in cast)
    return _alone(x, floor + 46, title, "".join(parts))


def _alone(width: float, height: float, title: str, content: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{width:.0f}" height="{height:.0f}" '
        f'viewBox="0 0 {width:.1f} {height:.1f}"><title>{escape(title)}</title><style>{INK_STYLE}</style>'
        f'<rect width="100%" height="100%" fill="#f6f0e2"/>{content}</svg>\n'
    )
