"""Regions and lines of a raster as short SVG path data."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import contourpy
import numpy as np
import shapely
from scipy.ndimage import gaussian_filter1d

from instep.character.arrays import FloatArray

FIT: Final = 0.14
"""Drawing units. A path leaves its traced curve by no more than this: 0.02 mm on a printed sheet."""


def regions(field: FloatArray, level: float, pixels: float, least_area: float) -> list[FloatArray]:
    """Closed rings (n, 2), in drawing units, round where an (H, W) field lies below `level`.

    `pixels` is the number of raster pixels to a drawing unit; rings that enclose less than `least_area`
    square units, holes included, are left out.
    """
    padded = np.pad(field, 1, constant_values=np.inf)
    padded = np.minimum(padded, level + 1.0)
    traced = contourpy.contour_generator(z=padded, name="serial", line_type=contourpy.LineType.Separate)
    rings: list[FloatArray] = []
    for line in traced.lines(level):
        ring = (np.asarray(line) - 0.5) / pixels
        if len(ring) > 3 and abs(_area(ring)) >= least_area:
            rings.append(ring)
    return rings


def _area(ring: FloatArray) -> float:
    """Signed area of a closed ring (n, 2)."""
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def smoothed(line: FloatArray, sigma: float) -> FloatArray:
    """A polyline (n, 2) without its staircase: each coordinate blurred along it, ends kept; rings stay closed."""
    if len(line) < 4:
        return line
    closed = bool(np.all(line[0] == line[-1]))
    if closed:
        ring = gaussian_filter1d(line[:-1], sigma, axis=0, mode="wrap")
        return np.concatenate([ring, ring[:1]])
    # point reflection about the ends keeps them where they are
    sigma = min(sigma, 0.25 * (len(line) - 1))
    pad = min(len(line) - 1, int(4 * sigma) + 1)
    head = 2 * line[0] - line[pad:0:-1]
    tail = 2 * line[-1] - line[-2 : -pad - 2 : -1]
    whole = gaussian_filter1d(np.concatenate([head, line, tail]), sigma, axis=0, mode="nearest")
    kept: FloatArray = whole[pad : pad + len(line)]
    return kept


def path_data(lines: Iterable[FloatArray], closed: bool = False, tolerance: float = FIT) -> str:
    """SVG path data of polylines (n, 2) in drawing units: simplified, one decimal, relative steps."""
    lines = [line for line in lines if len(line) > 1]
    if not lines:
        return ""
    counts = [len(line) for line in lines]
    rounded = np.round(np.concatenate(lines), 3)
    strings = shapely.linestrings(rounded, indices=np.repeat(np.arange(len(lines)), counts))
    thinned = shapely.simplify(strings, tolerance, preserve_topology=False)
    points, index = shapely.get_coordinates(thinned, return_index=True)
    tenths = np.round(points * 10).astype(np.int64)
    parts: list[str] = []
    for ring in np.split(tenths, np.flatnonzero(np.diff(index)) + 1):
        if closed and len(ring) < 4:
            continue
        moves = np.diff(ring[:-1] if closed else ring, axis=0)
        moves = moves[np.any(moves != 0, axis=1)]
        if not len(moves):
            continue
        steps = "".join(_pair(int(dx), int(dy)) for dx, dy in moves)
        start = _pair(int(ring[0, 0]), int(ring[0, 1])).lstrip()
        parts.append(f"M{start}l{steps.lstrip()}" + ("z" if closed else ""))
    return "".join(parts)


def _pair(x: int, y: int) -> str:
    """Two numbers of tenths, as short as SVG allows, with what sets them apart from the number before."""
    first, second = _number(x), _number(y)
    return (first if first[0] == "-" else " " + first) + (second if second[0] == "-" else " " + second)


def _number(tenths: int) -> str:
    """``-3`` as ``-.3``, ``120`` as ``12``."""
    whole, rest = divmod(abs(tenths), 10)
    text = (f"{whole}.{rest}" if whole else f".{rest}") if rest else str(whole)
    return "-" + text if tenths < 0 else text
