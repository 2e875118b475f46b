"""A mesh as a drawing in ink: flat paper tones, hatching, lines, and a heavier outline.

The drawing is made from a raster (depth, face, normal) at two to three times its size, and then traced: so
hidden parts are hidden exactly, a dense organic mesh costs no more than a boxy one, and the paths stay short.
Lines along mesh edges were tried for outlines too; on dense meshes they follow the triangles and not the form.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter

from instep.character.arrays import FloatArray
from instep.delivery.hatching import ANGLES_DEG, PITCH, hatch_lines
from instep.delivery.lines import SHORTEST, Rims, break_lines, crease_lines
from instep.delivery.paths import path_data, regions, smoothed
from instep.delivery.raster import Raster, rasterise
from instep.delivery.shading import HATCHES, TONES, shade_field
from instep.delivery.surface import Surface
from instep.delivery.views import Frame

RASTER: Final = 1150.0
"""Pixels along the longer side of the raster, about: the sharpness of a drawing, and its cost."""


@dataclass(frozen=True, slots=True, eq=False)
class InkDrawing:
    """Layers of a drawing as SVG path data in drawing units, from the paper up.

    Attributes
    ----------
    frame : the projection that was traced: the asked one, cropped to the figure.
    shift : right and down, from the asked frame's corner to this one's.
    figure : the whole figure filled with the lightest tone.
    tones : three regions, each darker than the one before and lying on it.
    hatching : strokes of the first and of the second direction.
    creases, breaks : fine lines, and lines where something stands in front.
    outline : the figure's outline.
    raster, pixels : what it was traced from, and the raster's pixels to a drawing unit of `frame`.
    zoom : size at which it stands in the asked frame: other than 1 where it was drawn for another one.
    """

    frame: Frame
    shift: tuple[float, float]
    figure: str
    tones: tuple[str, str, str]
    hatching: tuple[str, str]
    creases: str
    breaks: str
    outline: str
    raster: Raster
    pixels: float
    zoom: float = 1.0

    def within(self, frame: Frame) -> InkDrawing:
        """The same drawing at its place and size in another frame of the same view: nothing is drawn anew."""
        corner = (self.frame.left, self.frame.top)
        shift = ((corner[0] - frame.left) * frame.scale, (frame.top - corner[1]) * frame.scale)
        return replace(self, shift=shift, zoom=frame.scale / self.frame.scale)

    def svg(self, lines_only: bool = False) -> str:
        """A ``<g>`` of the drawing in the asked frame, for an ``<svg>`` with the page's drawing classes."""
        layers = [("t0", self.figure)]
        if not lines_only:
            layers += [(f"t{k + 1}", d) for k, d in enumerate(self.tones)]
            layers += [("hatch", d) for d in self.hatching]
        layers += [("crease", self.creases), ("break", self.breaks), ("outline", self.outline)]
        paths = "".join(f'<path class="{name}" d="{d}"/>' for name, d in layers if d)
        return f'<g class="ink" transform="{self.transform}">{paths}</g>'

    @property
    def transform(self) -> str:
        """SVG transform from the traced frame to the asked one."""
        size = "" if self.zoom == 1.0 else f" scale({self.zoom:.4f})"
        return f"translate({self.shift[0]:.1f} {self.shift[1]:.1f}){size}"


def pixels_per_unit(frame: Frame) -> float:
    """Raster pixels to a drawing unit: 2 to 3.2, fewer for large drawings."""
    return float(np.clip(RASTER / max(frame.width, frame.height, 1.0), 2.0, 3.2))


def draw_ink(surface: Surface, frame: Frame, fineness: float = 1.0) -> InkDrawing:
    """Draw a surface as seen in a frame.

    `fineness` scales the least length of lines and the distance of hatching: below 1 for small drawings, which
    would lose their detail otherwise.
    """
    frame, shift = _cropped(frame, surface)
    pixels = pixels_per_unit(frame)
    width, height = int(np.ceil(frame.width * pixels)), int(np.ceil(frame.height * pixels))
    placed = frame.place(surface.points) * pixels
    raster = rasterise(placed, surface.faces, width, height)
    shade = shade_field(surface, raster, frame.R_view_world, pixels)
    least_area = 7.0 * fineness**2
    rims = Rims.of(surface, placed)
    outline = [
        rims.snap(ring * pixels) / pixels
        for ring in outline_rings(raster.mask.astype(np.float64), pixels, least_area=2.0 * fineness)
    ]
    breaks, beside = break_lines(surface, placed, raster, pixels, SHORTEST * fineness)
    creases = crease_lines(surface, placed, raster, beside, pixels, SHORTEST * fineness)
    rings = path_data(outline, closed=True)
    return InkDrawing(
        frame=frame,
        shift=shift,
        figure=rings,
        tones=(
            path_data(regions(shade, TONES[0], pixels, least_area), closed=True),
            path_data(regions(shade, TONES[1], pixels, least_area), closed=True),
            path_data(regions(shade, TONES[2], pixels, least_area), closed=True),
        ),
        hatching=(
            path_data(hatch_lines(shade, HATCHES[0], ANGLES_DEG[0], pixels, PITCH * fineness)),
            path_data(hatch_lines(shade, HATCHES[1], ANGLES_DEG[1], pixels, PITCH * fineness)),
        ),
        creases=path_data(creases),
        breaks=path_data(breaks),
        outline=rings,
        raster=raster,
        pixels=pixels,
    )


def _cropped(frame: Frame, surface: Surface) -> tuple[Frame, tuple[float, float]]:
    """The part of a frame that the surface fills, and how far its corner lies from the frame's: no pixel of
    bare paper is worked on in vain. The shift is in whole tenths, as paths are written."""
    placed = frame.place(surface.used_points())[:, :2]
    low = np.floor((np.maximum(placed.min(axis=0), 0.0) - 2.5) * 10) / 10
    high = np.minimum(placed.max(axis=0), (frame.width, frame.height)) + 2.5
    x, y = float(low[0]), float(low[1])
    inner = replace(
        frame,
        left=frame.left + x / frame.scale,
        top=frame.top - y / frame.scale,
        width=max(float(high[0]) - x, 1.0),
        height=max(float(high[1]) - y, 1.0),
    )
    return inner, (x, y)


def outline_rings(mask: FloatArray, pixels: float, least_area: float) -> list[FloatArray]:
    """Smooth closed rings (n, 2), in drawing units, round where an (H, W) mask is 1."""
    soft = gaussian_filter(np.pad(mask, 4), 0.35 * pixels)
    rings = regions(-soft, -0.5, pixels, least_area)
    return [smoothed(ring - 4.0 / pixels, 0.3 * pixels) for ring in rings]
