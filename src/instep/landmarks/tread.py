"""The tread: what of the sole bears the foot, as it stands or as it begins to tip.

The end of a tread is where the foot would stand if it tipped by TREAD_SLOPE_DEG in that direction. On a sharp
edge that is the edge; on a rounded one it lies a little up the rounding; under sprung toes it is where the
spring begins; between lumps it is the outermost lump.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from instep.character.arrays import FloatArray, IntArray
from instep.landmarks.sole import SolePlane
from instep.tolerances import TREAD_BAND

TREAD_SLOPE_DEG = 10.0
"""A sole that rises more steeply is no tread: toes are sprung by 10 to 20 degrees, rocker soles by less."""
TOUCHING = 0.003
"""Foot lengths over the sole plane: what is lower treads, whatever its slope. A toe's pad meets the floor in a
small round, on which the slope alone stops 0.01 short; on a sprung sole this adds 0.011 at 15 degrees."""
DIRECTIONS = 144
CEILING = 0.06
"""Foot lengths over the sole plane: no tread is higher, however gently the sole rises (the ends of a rocker
sole of radius 3 are at 0.042)."""


@dataclass(frozen=True, slots=True, eq=False)
class FootFrame:
    """Coordinates on the sole: along (heel to toe), leftward, and height over the plane.

    Attributes
    ----------
    R_world_foot : (3, 3) columns left, up (the sole's normal), along.
    origin : (3,) on the sole plane, in the world.
    length : from the rearmost to the foremost point of the foot, in the file's unit.
    """

    R_world_foot: FloatArray
    origin: FloatArray
    length: float

    def into(self, points: FloatArray) -> FloatArray:
        """(..., 3) left, height, along of points (..., 3) in the world."""
        return np.asarray((points - self.origin) @ self.R_world_foot, dtype=np.float64)

    def world(self, left: float, height: float, along: float) -> FloatArray:
        """(3,) point in the world."""
        return np.asarray(self.origin + self.R_world_foot @ [left, height, along], dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Tread:
    """Attributes
    ----------
    polygon : (n, 2) left, along: convex outline of the tread, counter-clockwise seen from below.
    touching : (m, 2) left, along of places lower than TOUCHING.
    vertices : rows of the foot's vertices that are within TREAD_BAND of the plane and inside the polygon.
    """

    polygon: FloatArray
    touching: FloatArray
    vertices: IntArray

    @property
    def rear(self) -> float:
        """Place of the rearmost tread along the foot."""
        return float(self.polygon[:, 1].min())

    @property
    def front(self) -> float:
        """Place of the foremost tread along the foot."""
        return float(self.polygon[:, 1].max())

    @property
    def length(self) -> float:
        """Distance of the two."""
        return self.front - self.rear

    def chord(self, along: float) -> tuple[float, float]:
        """Right and left end of the tread's section across the foot at this place."""
        a, b = self.polygon, np.roll(self.polygon, -1, axis=0)
        along = float(np.clip(along, self.rear, self.front))
        low, high = np.minimum(a[:, 1], b[:, 1]), np.maximum(a[:, 1], b[:, 1])
        crossed = (low <= along) & (along <= high)
        a, b = a[crossed], b[crossed]
        rise = b[:, 1] - a[:, 1]
        t = np.where(rise == 0, 0.0, (along - a[:, 1]) / np.where(rise == 0, 1.0, rise))
        left = np.concatenate([a[:, 0] + t * (b[:, 0] - a[:, 0]), b[rise == 0, 0]])
        return float(left.min()), float(left.max())

    def middle(self, along: float) -> float:
        """Middle of the chord."""
        return 0.5 * sum(self.chord(along))


def foot_frame(points: FloatArray, plane: SolePlane, along: FloatArray) -> FootFrame:
    """Frame of a foot (N, 3) on its sole plane, with `along` laid into the plane."""
    up = plane.normal
    flat = along - (along @ up) * up
    flat = flat / np.linalg.norm(flat)
    middle = points.mean(axis=0)
    origin = middle - (middle @ up - plane.offset) * up
    place = points @ flat
    return FootFrame(np.stack([np.cross(up, flat), up, flat], axis=1), origin, float(np.ptp(place)))


def find_tread(p_foot: FloatArray, edges: IntArray, frame: FootFrame) -> Tread | None:
    """Tread of a foot of vertices (N, 3) in `frame`; None where it has no extent in two directions.

    `edges` is (E, 2), the edges between them.
    """
    low = p_foot[:, 1] < CEILING * frame.length
    flat, height = p_foot[low][:, [0, 2]], p_foot[low, 1]
    angle = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
    slope = np.tan(np.radians(TREAD_SLOPE_DEG))
    reach = np.stack([np.cos(angle), np.sin(angle)]).T @ flat.T * slope - height
    touching = _touching(p_foot, edges, TOUCHING * frame.length)
    ends = np.unique(np.concatenate([flat[np.argmax(reach, axis=1)], touching]), axis=0)
    if len(ends) < 3 or np.linalg.matrix_rank(ends - ends[0], tol=1e-4 * frame.length) < 2:
        return None
    polygon = ends[ConvexHull(ends).vertices]
    a, b = polygon, np.roll(polygon, -1, axis=0)
    normal = np.stack([b[:, 1] - a[:, 1], a[:, 0] - b[:, 0]], axis=1)
    beyond = np.einsum("ei,nei->ne", normal, flat[:, None] - a[None]).max(axis=1)
    inside = beyond <= 1e-9 * frame.length**2
    return Tread(polygon, touching, np.flatnonzero(low)[inside & (height < TREAD_BAND * frame.length)])


def _touching(p_foot: FloatArray, edges: IntArray, level: float) -> FloatArray:
    """(n, 2) left, along of what lies at or under a level: vertices, and where edges pass through it."""
    a, b = p_foot[edges[:, 0]], p_foot[edges[:, 1]]
    passing = (a[:, 1] > level) != (b[:, 1] > level)
    a, b = a[passing], b[passing]
    t = (level - a[:, 1]) / (b[:, 1] - a[:, 1])
    return np.concatenate([p_foot[p_foot[:, 1] <= level], a + t[:, None] * (b - a)])[:, [0, 2]]


def edges_of(faces: IntArray, count: int) -> IntArray:
    """(E, 2) edges of triangles (G, 3) between `count` vertices, each once."""
    ends = np.sort(np.concatenate([faces[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    keys = np.unique(ends[:, 0] * count + ends[:, 1])
    return np.stack(np.divmod(keys, count), axis=1)
