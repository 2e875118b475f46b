"""From a field to an even, closed triangle mesh.

A coarse pass finds the blocks of a grid that the surface may cross; only those are evaluated finely. Marching
cubes (Lewiner et al. 2003, as in scikit-image) gives the triangles; then the vertices are evened out along
the surface and put back on it by Newton steps.

The grid may be finer near the floor than above: feet need a finer mesh than a back does, and one grid for
both keeps one closed surface. Only the half x >= 0 is made; a surface that crosses x = 0 ends there with
vertices at exactly 0, so that a mirror image can be welded to it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array, csr_array
from skimage.measure import marching_cubes

from examples.salt_ferry.fields import Field
from instep.character.arrays import BoolArray, FloatArray, IntArray

BLOCK = 8
"""Grid nodes along each side of a block."""

BATCH = 14.0
"""Side of the cells, in spacings, whose vertices are evaluated together: large enough that calling costs little,
small enough that most shapes are too far away to be evaluated."""

ON_FLOOR = 0.01
"""Fraction of the spacing. A vertex this close to y = 0 is put there: a flat tread is flat to the last bit."""

LEAST_CELLS = 6
"""Cells across the smallest side of a grid's box: a button stays a button when little detail is asked for."""

CLEARANCE = 0.12
"""Fraction of the spacing. A value closer to zero than this is moved there before marching: no vertex falls
on a corner of a cell, so no triangle has zero area. The Newton steps undo the shift."""


class OutsideGridError(Exception):
    """A surface reaches out of the grid that was laid for it."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Where a field is sampled.

    Attributes
    ----------
    low, high : corners of the box, metres. `low[0]` is 0 for a surface that crosses the middle.
    spacing : distance of nodes in metres, above `coarse_above`.
    fine : ratio of the spacing below `fine_below` to `spacing`; 1 for an even grid.
    fine_below, coarse_above : heights between which the spacing passes over.
    middle : the place (x, z) towards which the finer cells draw in: x is 0 for a surface that crosses the
        middle, otherwise about the middle of what is to be fine, or the cells lean over.
    """

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    spacing: float
    fine: float = 1.0
    fine_below: float = 0.0
    coarse_above: float = 1.0
    middle: tuple[float, float] = (0.0, 0.0)

    def ratio(self, y: FloatArray) -> FloatArray:
        """(n,) ratio of the spacing at heights y to `spacing`."""
        t = np.clip((y - self.fine_below) / (self.coarse_above - self.fine_below), 0.0, 1.0)
        return np.asarray(self.fine + (1.0 - self.fine) * t * t * (3.0 - 2.0 * t))

    def heights(self) -> FloatArray:
        """Heights of the grid's layers. The first starts half a cell off the box, so that none is at 0."""
        y = [self.low[1] - 0.37 * self.spacing * float(self.ratio(np.array([self.low[1]]))[0])]
        while y[-1] < self.high[1]:
            y.append(y[-1] + self.spacing * float(self.ratio(np.array([y[-1]]))[0]))
        return np.array(y)


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Half of a closed surface: `positions` (V, 3), `faces` (F, 3), outward counter-clockwise."""

    positions: FloatArray
    faces: IntArray


def mesh_field(field: Field, grid: Grid, *, rounds: int = 5) -> Surface:
    """The surface of a field in a grid's box, with vertices evened out in `rounds` rounds.

    Raises OutsideGridError where the surface does not close inside the box.
    """
    least_side = min(high - low for low, high in zip(grid.low, grid.high, strict=True))
    grid = replace(grid, spacing=min(grid.spacing, least_side / LEAST_CELLS))
    y = grid.heights()
    ratio = grid.ratio(y)
    starts_at_middle = grid.low[0] == 0.0
    # In grid space x and z are divided by the ratio: find the box that holds the wanted one at every height.
    assert not starts_at_middle or grid.middle[0] == 0.0
    first = []
    counts = []
    for axis, centre in ((0, grid.middle[0]), (2, grid.middle[1])):
        low, high = ((end[axis] - centre) / ratio.min() for end in (grid.low, grid.high))
        first.append(low)
        counts.append(int((high - low) / grid.spacing) + 2)

    def place(i: FloatArray, j: FloatArray, k: FloatArray) -> FloatArray:
        r = np.interp(j, np.arange(len(y)), ratio)
        return np.stack(
            [
                grid.middle[0] + (first[0] + grid.spacing * i) * r,
                np.interp(j, np.arange(len(y)), y),
                grid.middle[1] + (first[1] + grid.spacing * k) * r,
            ],
            axis=1,
        )

    # What touches the box's sides would be cut open there; only the middle may cut.
    volume = _sample(field, place, (counts[0], len(y), counts[1]), grid)
    sides = [volume[-1], volume[:, 0], volume[:, -1], volume[:, :, 0], volume[:, :, -1]]
    if any((side < 0.0).any() for side in (sides if starts_at_middle else [volume[0], *sides])):
        raise OutsideGridError
    march: Callable[..., tuple[FloatArray, IntArray, FloatArray, FloatArray]] = marching_cubes
    nodes, faces, _, _ = march(volume, 0.0, gradient_direction="ascent")
    nodes = nodes.astype(np.float64)
    middle = starts_at_middle & (nodes[:, 0] == 0.0)
    positions = place(nodes[:, 0], nodes[:, 1], nodes[:, 2])
    faces = faces.astype(np.int64)
    size = grid.spacing * grid.ratio(positions[:, 1])
    if grid.low[0] > 0.0 and positions[:, 0].min() <= 0.0:
        raise OutsideGridError
    positions = _even_out(field, positions, faces, middle, size, rounds)
    if _volume(positions, faces) < 0.0:
        faces = faces[:, ::-1].copy()
    return Surface(positions, faces)


def _sample(
    field: Field,
    place: Callable[[FloatArray, FloatArray, FloatArray], FloatArray],
    shape: tuple[int, int, int],
    grid: Grid,
) -> FloatArray:
    """Values at all nodes near the surface, and the right sign at all others."""
    padded = [-(-n // BLOCK) for n in shape]
    corner = np.stack(np.meshgrid(*(BLOCK * np.arange(n) for n in padded), indexing="ij"), axis=-1).reshape(-1, 3)
    centre = place(*(corner + 0.5 * (BLOCK - 1)).T)
    far = place(*(corner - 1.0).T), place(*(corner + float(BLOCK)).T)
    radius = np.maximum(np.linalg.norm(far[0] - centre, axis=1), np.linalg.norm(far[1] - centre, axis=1))
    at_centre = in_batches(field, centre, 3.0 * grid.spacing * BLOCK)
    volume = np.empty([BLOCK * n for n in padded], dtype=np.float64)
    step = np.stack(np.meshgrid(*[np.arange(BLOCK)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    for (i, j, k), value, size in zip(corner, at_centre, radius, strict=True):
        block = np.s_[i : i + BLOCK, j : j + BLOCK, k : k + BLOCK]
        if abs(value) > 1.35 * size:
            volume[block] = value
            continue
        values = field(place(*(step + np.array([i, j, k])).astype(np.float64).T))
        least = CLEARANCE * grid.spacing * grid.fine
        values = np.where(np.abs(values) < least, np.copysign(least, values), values)
        volume[block] = values.reshape(BLOCK, BLOCK, BLOCK)
    return volume[: shape[0], : shape[1], : shape[2]]


def in_batches(field: Field, points: FloatArray, size: float) -> FloatArray:
    """(n,) values of a field, in batches of points that lie close together (within about `size` metres)."""
    cell = np.floor(points / size).astype(np.int64)
    order = np.lexsort((cell[:, 2], cell[:, 0], cell[:, 1]))
    found = cell[order]
    breaks = np.flatnonzero(np.any(np.diff(found, axis=0) != 0, axis=1)) + 1
    values = np.empty(len(points))
    for some in np.split(order, breaks):
        if len(some):
            values[some] = field(points[some])
    return values


def gradient(field: Field, points: FloatArray, step: float, batch: float) -> tuple[FloatArray, FloatArray]:
    """Value (n,) and gradient (n, 3), from four values at the corners of a small tetrahedron."""
    corners = np.array([[1, -1, -1], [-1, -1, 1], [-1, 1, -1], [1, 1, 1]], dtype=np.float64)
    around = (points[:, None] + step * corners).reshape(-1, 3)
    values = in_batches(field, around, batch).reshape(-1, 4)
    return values.mean(axis=1), values @ corners / (4.0 * step)


def project(
    field: Field, points: FloatArray, size: FloatArray, middle: BoolArray, steps: int = 1
) -> tuple[FloatArray, FloatArray]:
    """Points put on the surface by Newton steps of at most half a cell each, and unit normals there."""
    normals = np.zeros_like(points)
    for _ in range(steps):
        value, slope = gradient(field, points, 0.01 * float(size.min()), BATCH * float(size.max()))
        slope[middle, 0] = 0.0
        square = np.maximum(np.einsum("ij,ij->i", slope, slope), 0.05)
        move = slope * (-value / square)[:, None]
        length = np.sqrt(np.einsum("ij,ij->i", move, move))
        move *= np.minimum(1.0, 0.5 * size / np.maximum(length, 1e-30))[:, None]
        points = points + move
        normals = slope / np.sqrt(square)[:, None]
    return points, normals


def _even_out(
    field: Field, points: FloatArray, faces: IntArray, middle: BoolArray, size: FloatArray, rounds: int
) -> FloatArray:
    """Each vertex moved towards the mean of its neighbours, along the surface only, and back on to it."""
    mean = _neighbours(faces, len(points))
    points, normals = project(field, points, size, middle, steps=2)
    for _ in range(rounds):
        move = 0.6 * (mean @ points - points)
        move -= (move * normals).sum(axis=1)[:, None] * normals
        move[middle, 0] = 0.0
        points, normals = project(field, points + move, size, middle)
    points, _ = project(field, points, size, middle, steps=2)
    points[middle, 0] = 0.0
    points[np.abs(points[:, 1]) < ON_FLOOR * size, 1] = 0.0
    if middle.any():  # a vertex beside the middle must not be pulled across it
        beside = ~middle
        points[beside, 0] = np.maximum(points[beside, 0], 0.05 * size[beside])
    return points


def _neighbours(faces: IntArray, count: int) -> csr_array:
    """(V, V) matrix that takes vertices to the means of their neighbours."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    rows = np.concatenate([edges[:, 0], edges[:, 1]])
    columns = np.concatenate([edges[:, 1], edges[:, 0]])
    degree = np.bincount(rows, minlength=count)
    return csr_array(coo_array((1.0 / degree[rows], (rows, columns)), shape=(count, count)))


def _volume(positions: FloatArray, faces: IntArray) -> float:
    """Signed volume, for a half surface with the plane x = 0 as its lid."""
    a, b, c = (positions[faces[:, i]] for i in range(3))
    return float((a * np.cross(b, c)).sum()) / 6.0
