"""Hatching as lines of ink, not as a pattern: sharp at any size, and thinned where a region is small."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.character.arrays import FloatArray

ANGLES_DEG: Final = (38.0, -32.0)
"""Rise of the two directions of hatching, from the left up to the right (negative: down)."""

PITCH: Final = 4.4
"""Drawing units between lines."""

RAGGED: Final = 0.045
"""Shade by which lines end sooner or later than their neighbours, so that hatching fades at its border."""

LEAST: Final = 4.0
"""Drawing units. Shorter strokes are left out: they would be dots, and crowd at the walls of recesses."""


def hatch_lines(shade: FloatArray, level: float, angle_deg: float, pixels: float, pitch: float = PITCH) -> FloatArray:
    """(n, 2, 2) strokes in drawing units over where an (H, W) field lies below `level`.

    `pixels` is the number of raster pixels to a drawing unit.
    """
    height, width = shade.shape
    angle = np.deg2rad(angle_deg)
    along = np.array([np.cos(angle), -np.sin(angle)])
    across = np.array([np.sin(angle), np.cos(angle)])
    corners = np.array([[0.0, 0.0], [width, 0.0], [0.0, height], [width, height]])
    low, high = np.min(corners @ across), np.max(corners @ across)
    number = np.arange(np.ceil(low / (pitch * pixels)), np.floor(high / (pitch * pixels)) + 1)
    step = 0.75
    t = np.arange(np.min(corners @ along), np.max(corners @ along), step)
    if not len(number) or not len(t):
        return np.zeros((0, 2, 2))
    start = number[:, None] * pitch * pixels * across
    x = start[:, None, 0] + t[None, :] * along[0]
    y = start[:, None, 1] + t[None, :] * along[1]
    column, row = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    on = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    value = np.where(on, shade[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)], np.inf)
    # a fixed, well spread offset for each line (multiples of the golden ratio)
    offset = RAGGED * (2.0 * np.mod(number * 0.6180339887498949, 1.0) - 1.0)
    dark = np.pad(value < level + offset[:, None], ((0, 0), (1, 1)))
    turn = np.diff(dark.astype(np.int8), axis=1)
    line, first = np.nonzero(turn == 1)
    last = np.nonzero(turn == -1)[1] - 1
    long_enough = (last - first) * step >= LEAST * pixels
    line, first, last = line[long_enough], first[long_enough], last[long_enough]
    ends = np.stack([t[first], t[last]], axis=1)
    strokes = start[line][:, None, :] + ends[..., None] * along
    return np.asarray(strokes / pixels, dtype=np.float64)
