"""What an animator grabs, on a drawing of the body: control shapes with their hidden parts left out."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from instep.character.arrays import BoolArray, FloatArray
from instep.delivery.board import Board, Box
from instep.delivery.content import SheetContent
from instep.delivery.ink import InkDrawing
from instep.delivery.views import Frame
from instep.landmarks.model import LegLandmarks

SHOWN: Final = ("ball", "toes", "knee")
"""Controls of a leg whose shapes stand on the body. The foot's lies on the floor, and is drawn from below."""

STEP: Final = 1.0
"""Drawing units between two places of a shape that are looked at."""

BEHIND: Final = 1.0
"""Drawing units that a place may lie behind the skin and still be drawn: shapes stand off the skin by little."""


def draw_shapes(board: Board, content: SheetContent, leg: LegLandmarks, ink: InkDrawing, frame: Frame) -> None:
    """The shapes of a leg's controls in a frame whose drawing is `ink`. One that would leave the frame is left out."""
    for control in content.controls:
        if control.control not in [f"{leg.name}.{name}" for name in SHOWN]:
            continue
        placed = [_even(frame.place(np.asarray(line, dtype=np.float64))) for line in control.polylines]
        if any(line[:, 0].min() < 2.0 or line[:, 0].max() > frame.width - 2.0 for line in placed):
            continue
        for line in placed:
            low, high = line[:, :2].min(axis=0), line[:, :2].max(axis=0)
            if board.taken(Box(float(low[0]), float(low[1]), float(high[0]), float(high[1]))):
                continue
            for stretch in _stretches(line, _seen(line, ink)):
                board.line(stretch, f"control shape {leg.side}")


def _even(line: FloatArray) -> FloatArray:
    """A placed polyline (n, 3) with a place about each STEP of it, its corners kept."""
    parts = [line[:1]]
    for one, two in pairwise(line):
        count = max(int(np.ceil(np.linalg.norm(two[:2] - one[:2]) / STEP)), 1)
        t = np.arange(1, count + 1)[:, None] / count
        parts.append(one + t * (two - one))
    return np.concatenate(parts)


def _seen(line: FloatArray, ink: InkDrawing) -> BoolArray:
    """(n,) whether nothing of the drawing stands before a place."""
    height, width = ink.raster.depth.shape
    pixels = ink.pixels / ink.zoom
    column = np.floor((line[:, 0] - ink.shift[0]) * pixels).astype(np.int64)
    row = np.floor((line[:, 1] - ink.shift[1]) * pixels).astype(np.int64)
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    skin = np.where(
        inside, ink.raster.depth[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)] / pixels, -np.inf
    )
    return np.asarray(line[:, 2] >= skin - BEHIND)


def _stretches(line: FloatArray, seen: BoolArray) -> list[FloatArray]:
    """The runs of places that are seen, two places or more each, right and down only."""
    starts = np.flatnonzero(seen & ~np.concatenate([[False], seen[:-1]]))
    ends = np.flatnonzero(seen & ~np.concatenate([seen[1:], [False]])) + 1
    return [line[start:end, :2] for start, end in zip(starts, ends, strict=True) if end - start > 1]
