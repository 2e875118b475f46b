"""A depth buffer in NumPy: which face is seen at each pixel, and how far towards the viewer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from instep.character.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """What is seen at each pixel of a drawing.

    Attributes
    ----------
    face : (H, W) index of the foremost face, -1 on bare paper.
    depth : (H, W) towards the viewer, in pixels; -inf on bare paper.
    slope : (2, H, W) change of depth for one pixel right and one pixel down, along the face seen.
    weights : (n, 3) shares of the three corners at each inked pixel, in row order.
    """

    face: IntArray
    depth: FloatArray
    slope: FloatArray
    weights: FloatArray

    @property
    def mask(self) -> BoolArray:
        """(H, W) true where there is something to be seen."""
        return self.face >= 0


def rasterise(points: FloatArray, faces: IntArray, width: int, height: int) -> Raster:
    """Draw (F, 3) `faces` of (V, 3) `points` (right, down, towards the viewer, in pixels).

    Each triangle becomes the pixels' rows that it crosses, each row a span between the two edges, and each
    span its pixels: exact for triangles of any size, with no loop over triangles.
    """
    tri = points[faces]
    x, y, z = tri[..., 0], tri[..., 1], tri[..., 2]
    area = (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])
    top = np.maximum(np.ceil(y.min(axis=1) - 0.5), 0).astype(np.int64)
    bottom = np.minimum(np.floor(y.max(axis=1) - 0.5), height - 1).astype(np.int64)
    seen = np.flatnonzero((np.abs(area) > 1e-12) & (bottom >= top))
    x, y, z, area, top, bottom = x[seen], y[seen], z[seen], area[seen], top[seen], bottom[seen]
    # share of corner i at (u, v): a_i u + b_i v + c_i
    after, last = [1, 2, 0], [2, 0, 1]
    a = (y[:, after] - y[:, last]) / area[:, None]
    b = (x[:, last] - x[:, after]) / area[:, None]
    c = (x[:, after] * y[:, last] - x[:, last] * y[:, after]) / area[:, None]
    za, zb, zc = ((k * z).sum(axis=1) for k in (a, b, c))

    rows = bottom - top + 1
    owner = np.repeat(np.arange(len(seen)), rows)
    row = np.arange(len(owner)) - np.repeat(np.cumsum(rows) - rows, rows) + top[owner]
    start, end = _span(a[owner], b[owner], c[owner], row + 0.5, width)
    filled = end >= start
    owner, row, start, end = owner[filled], row[filled], start[filled], end[filled]
    lengths = end - start + 1
    span = np.repeat(np.arange(len(owner)), lengths)
    column = np.arange(len(span)) - np.repeat(np.cumsum(lengths) - lengths, lengths) + start[span]
    own = owner[span]
    depth_at = za[own] * (column + 0.5) + (zb[owner] * (row + 0.5) + zc[owner])[span]
    pixel = row[span] * width + column

    depth = np.full(height * width, -np.inf)
    np.maximum.at(depth, pixel, depth_at)
    foremost = depth_at >= depth[pixel]
    face = np.full(height * width, -1, dtype=np.int64)
    local = np.full(height * width, -1, dtype=np.int64)
    local[pixel[foremost]] = own[foremost]
    inked = np.flatnonzero(local >= 0)
    at = local[inked]
    face[inked] = seen[at]
    u, v = inked % width + 0.5, inked // width + 0.5
    weights = a[at] * u[:, None] + b[at] * v[:, None] + c[at]
    slope = np.zeros((2, height * width))
    slope[0, inked], slope[1, inked] = za[at], zb[at]
    shape = (height, width)
    return Raster(face.reshape(shape), depth.reshape(shape), slope.reshape(2, *shape), weights)


def _span(a: FloatArray, b: FloatArray, c: FloatArray, v: NDArray[np.float64], width: int) -> tuple[IntArray, IntArray]:
    """First and last pixel of each row of a triangle: where all three shares are at least zero."""
    rest = b * v[:, None] + c
    with np.errstate(divide="ignore", invalid="ignore"):
        bound = -rest / a
    flat = np.abs(a) < 1e-12
    low = np.where((a > 0) & ~flat, bound, -np.inf).max(axis=1)
    high = np.where((a < 0) & ~flat, bound, np.inf).min(axis=1)
    missed = (flat & (rest < -1e-9)).any(axis=1)
    hair = 1e-7  # neighbours that share an edge both take a pixel that lies on it: no gaps
    start = np.ceil(np.clip(low, 0, width + 1) - 0.5 - hair).astype(np.int64)
    end = np.floor(np.clip(high, -1, width) - 0.5 + hair).astype(np.int64)
    start, end = np.maximum(start, 0), np.minimum(end, width - 1)
    return start, np.where(missed, -1, end)
