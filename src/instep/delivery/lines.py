"""Lines of ink: where one thing stands in front of another, where parts meet, where a surface is creased."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt, minimum_filter
from scipy.spatial import KDTree

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.delivery.paths import smoothed
from instep.delivery.raster import Raster
from instep.delivery.surface import Surface, weld

STEP: Final = 1.2
"""Drawing units. A break in depth smaller than this is no line, whatever its length."""

CLEAR: Final = 2.4
"""Drawing units. A line is drawn whole where some of it breaks in depth by this much."""

STEEPEST: Final = 20.0
"""Change of depth for one unit across, beyond which a surface seen edge-on no longer explains a break. The rim
of a ball of 400 pixels falls off by this much between its last two pixels."""

RIM: Final = 1.5
"""Drawing units from bare paper within which the outline stands for every other line."""

LONG: Final = 5.0
"""Pixels. Edges at least this long are drawn as they are; shorter ones belong to a dense mesh."""

NEAR: Final = 1.0
"""Pixels from a traced line to the edge that it stands for."""

TOOTH: Final = 3.0
"""Drawing units over which a crease is smoothed to see whether it is a sawtooth."""

CALM: Final = 0.75
"""Share of its length that a crease keeps when it is smoothed; a sawtooth keeps half."""

SHORTEST: Final = 5.0
"""Drawing units. Shorter lines are left out."""


def break_lines(
    surface: Surface, placed: FloatArray, raster: Raster, pixels: float, shortest: float = SHORTEST
) -> tuple[list[FloatArray], BoolArray]:
    """Lines where depth breaks or two parts meet, and the (H, W) pixels beside them.

    Between two neighbouring pixels depth breaks where neither face, carried on along its slope, explains the
    difference. The borders between pixels are then joined into lines, and smoothed. `placed` (V, 3) are the
    points in pixels.
    """
    mask = raster.mask
    part = np.where(mask, surface.part[np.maximum(raster.face, 0)], -9)
    beside = np.zeros(mask.shape, dtype=bool)
    place = weld(surface.points)
    width = mask.shape[1]
    segments: list[IntArray] = []
    strengths: list[FloatArray] = []
    for axis in (1, 0):
        one = (slice(None), slice(None, -1)) if axis == 1 else (slice(None, -1), slice(None))
        two = (slice(None), slice(1, None)) if axis == 1 else (slice(1, None), slice(None))
        both = mask[one] & mask[two]
        step = np.where(both, raster.depth[two], 0.0) - np.where(both, raster.depth[one], 0.0)
        slope = np.clip(raster.slope[0 if axis == 1 else 1], -STEEPEST, STEEPEST)
        upper = np.maximum(np.maximum(slope[one], slope[two]), 0.0)
        lower = np.minimum(np.minimum(slope[one], slope[two]), 0.0)
        jump = np.maximum(step - upper, lower - step) / pixels
        met = both & (part[one] != part[two])
        found = both & (jump > STEP) & ~met
        row, column = np.nonzero(found)
        here = surface.faces[raster.face[one][found]]
        there = surface.faces[raster.face[two][found]]
        # neighbours on the surface do not hide each other, however steep they are
        joined = (place[here][:, :, None] == place[there][:, None, :]).any(axis=(1, 2))
        found[row[joined], column[joined]] = False
        found |= met
        beside[one] |= found
        beside[two] |= found
        row, column = np.nonzero(found)
        strengths.append(np.where(met[found], CLEAR, jump[found]))
        if axis == 1:  # the border runs down, to the right of the pixel
            start, end = (row, column + 1), (row + 1, column + 1)
        else:
            start, end = (row + 1, column), (row + 1, column + 1)
        segments.append(np.stack([start[0] * (width + 1) + start[1], end[0] * (width + 1) + end[1]], axis=1))
    chains = _chains(np.concatenate(segments), np.concatenate(strengths))
    # at the rim a surface falls off without end: breaks that never leave it are the outline over again
    rim = 2 * int(np.ceil(RIM * pixels)) + 1
    deep = minimum_filter(np.pad(mask, ((0, 1), (0, 1))), size=rim, mode="constant", cval=0)
    lines: list[FloatArray] = []
    rims = Rims.of(surface, placed)
    for nodes, strength in chains:
        row, column = nodes // (width + 1), nodes % (width + 1)
        if strength < CLEAR or len(nodes) < shortest * pixels or not deep[row, column].any():
            continue
        corner = np.column_stack([column, row]).astype(np.float64)
        middle = 0.5 * (corner[1:] + corner[:-1])  # half the staircase of the corners
        ends = [] if nodes[0] == nodes[-1] else [corner[:1], corner[-1:]]
        line = np.concatenate([middle, middle[:1]]) if not ends else np.concatenate([ends[0], middle, ends[1]])
        lines.append(rims.snap(smoothed(line, 1.2 * pixels)) / pixels)
    return lines, beside


@dataclass(frozen=True, slots=True, eq=False)
class Rims:
    """Long edges at which a surface turns away from the viewer: what a traced line stands for, exactly.

    A line traced from pixels along a straight edge keeps a trace of their staircase. Moved on to the edge
    itself it is straight. Only edges of some length draw lines to themselves: those of a dense mesh zigzag
    about the form, and the smoothed line is the better one.
    """

    start: FloatArray
    end: FloatArray
    tree: KDTree | None
    owner: IntArray

    @staticmethod
    def of(surface: Surface, placed: FloatArray) -> Rims:
        """The rims of a surface whose points are `placed` (V, 3), in pixels."""
        tri = placed[surface.faces][..., :2]
        one, two = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
        facing = np.append(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0] < 0, False)
        sides = facing[surface.edge_faces]
        ends = placed[surface.edges[(sides[:, 0] != sides[:, 1]) | (surface.edge_faces[:, 1] < 0)]][..., :2]
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        ends, length = ends[length > LONG], length[length > LONG]
        count = np.ceil(length / 0.7).astype(np.int64) + 1
        owner = np.repeat(np.arange(len(ends)), count)
        t = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)) / (count[owner] - 1)
        at = ends[owner, 0] + t[:, None] * (ends[owner, 1] - ends[owner, 0])
        return Rims(ends[:, 0], ends[:, 1], KDTree(at) if len(at) else None, owner)

    def snap(self, line: FloatArray) -> FloatArray:
        """A line (n, 2) in pixels with those of its points moved on to a rim that lie within a pixel of it."""
        if self.tree is None:
            return line
        distance, index = self.tree.query(line, distance_upper_bound=NEAR)
        found = np.isfinite(distance)
        edge = self.owner[np.asarray(index, dtype=np.int64)[found]]
        start, along = self.start[edge], self.end[edge] - self.start[edge]
        t = np.einsum("na,na->n", line[found] - start, along) / np.einsum("na,na->n", along, along)
        moved = line.copy()
        moved[found] = start + np.clip(t, 0.0, 1.0)[:, None] * along
        return moved


def _chains(segments: IntArray, strengths: FloatArray) -> list[tuple[IntArray, float]]:
    """Segments (n, 2) between numbered nodes joined into chains, each with its greatest strength.

    Chains end where a node has one segment, or more than two.
    """
    if not len(segments):
        return []
    neighbours: dict[int, list[tuple[int, int]]] = {}
    for index, (a, b) in enumerate(segments.tolist()):
        neighbours.setdefault(a, []).append((b, index))
        neighbours.setdefault(b, []).append((a, index))
    used = bytearray(len(segments))
    strength = strengths.tolist()
    chains: list[tuple[IntArray, float]] = []

    def follow(start: int, node: int, index: int) -> None:
        nodes, most = [start, node], strength[index]
        used[index] = 1
        while len(neighbours[node]) == 2 and node != start:
            (next_a, a), (next_b, b) = neighbours[node]
            if used[a] and used[b]:
                break
            node, index = (next_b, b) if used[a] else (next_a, a)
            used[index] = 1
            most = max(most, strength[index])
            nodes.append(node)
        chains.append((np.array(nodes, dtype=np.int64), most))

    for node, around in neighbours.items():
        if len(around) != 2:
            for other, index in around:
                if not used[index]:
                    follow(node, other, index)
    for node, around in neighbours.items():
        for other, index in around:
            if not used[index]:
                follow(node, other, index)
    return chains


def crease_lines(
    surface: Surface,
    placed: FloatArray,
    raster: Raster,
    beside: BoolArray,
    pixels: float,
    shortest: float = SHORTEST,
) -> list[FloatArray]:
    """The visible stretches of the surface's creases, joined, in drawing units.

    `placed` (V, 3) are the points in pixels; `beside` the pixels beside other lines: no crease doubles a line
    that is there already, or the outline.
    """
    ends = placed[surface.creases]
    if not len(ends):
        return []
    length = np.linalg.norm(ends[:, 1, :2] - ends[:, 0, :2], axis=1)
    count = np.maximum(np.ceil(length).astype(np.int64), 1) + 1
    owner = np.repeat(np.arange(len(ends)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    t = place / (count[owner] - 1)
    at = ends[owner, 0] + t[:, None] * (ends[owner, 1] - ends[owner, 0])
    height, width = raster.depth.shape
    column = np.clip(np.floor(at[:, 0]).astype(np.int64), 0, width - 1)
    row = np.clip(np.floor(at[:, 1]).astype(np.int64), 0, height - 1)
    # the smallest depth round a pixel: an edge lies on two faces, and may fall just beside both
    nearest = minimum_filter(raster.depth, size=3, mode="nearest")
    clear = distance_transform_edt(np.pad(raster.mask & ~beside, 1))[1:-1, 1:-1]
    seen = at[:, 2] >= nearest[row, column] - 0.4 * pixels
    seen &= clear[row, column] > 1.2 * pixels
    same = np.diff(owner, prepend=-1) == 0
    starts = np.flatnonzero(seen & ~(np.roll(seen, 1) & same))
    stops = np.flatnonzero(seen & ~(np.roll(seen, -1) & np.roll(same, -1)))
    long = stops > starts
    starts, stops = starts[long], stops[long]
    if not len(starts):
        return []
    pieces = np.stack([at[starts, :2], at[stops, :2]], axis=1) / pixels
    # ends meet exactly only where they are the same corner: rounding joins them
    merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(np.round(pieces, 2))))
    lines = [shapely.get_coordinates(line) for line in shapely.get_parts(merged)]
    kept: list[FloatArray] = []
    for line in lines:
        length = _length(line)
        even = _even(line)
        calm = smoothed(even, TOOTH)
        if _length(calm) < CALM * length:
            continue  # a sawtooth: an accident of the meshing
        if length / (len(line) - 1) >= LONG / pixels:  # long edges are drawn as they are
            if length >= shortest:
                kept.append(line)
        elif length >= 3.0 * shortest:  # a short crease on a dense mesh is an accident too
            kept.append(calm)
    return kept


def _even(line: FloatArray) -> FloatArray:
    """A polyline (n, 2) with points about one drawing unit apart."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], max(int(np.ceil(along[-1])), 1) + 1)
    return np.stack([np.interp(at, along, line[:, axis]) for axis in range(2)], axis=1)


def _length(line: FloatArray) -> float:
    """Length of a polyline (n, 2)."""
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
