"""The sole plane: the floor that the foot would stand on, whichever way it is turned now.

The foot's convex hull touches a floor with its facets. Facets that face away from the leg and lie nearly
in one plane are the support that a foot offers: a flat sole is one of them, a heeled one is spanned between
its heel and its ball, a lumpy one has many small ones. The widest support is the sole. Nothing is random,
and a raised claw or a sprung toe, being above that plane, does not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from instep.character.arrays import FloatArray
from instep.tolerances import LEVEL_GAP, TREAD_BAND

WIDEST_TURN_DEG = 75.0
"""The sole faces away from the leg within this angle, also on a foot that hangs with its toes down."""
WINDOWS_DEG = (12.0, 6.0, 3.0, 1.0, 0.2)
"""Facets within these angles are taken together, in turn; a window is used as long as it keeps most of the
support: a flat sole narrows down to its one plane, a lumpy one stays an average."""
KEEPS = 0.6
UNCLEAR_DEG = 8.0
UNCLEAR_FLATNESS = 0.5
"""A sole with less than half of its support in one plane is round or lumpy: within 8 degrees it counts as
level, where the body stands level."""


@dataclass(frozen=True, slots=True, eq=False)
class SolePlane:
    """The plane ``normal . x = offset``; `normal` (3,) points up into the foot.

    `flatness` is the share of the support, all facets within 12 degrees and TREAD_BAND of the plane, that
    lies within 1 degree: 1 for a flat sole, lower for a lumpy or rounded one.
    """

    normal: FloatArray
    offset: float
    flatness: float

    def is_clear(self, up: FloatArray) -> bool:
        """Whether the plane can be told from the level one: a round paw stands on any plane within UNCLEAR_DEG."""
        near = float(self.normal @ up) > np.cos(np.radians(UNCLEAR_DEG))
        return not (near and self.flatness < UNCLEAR_FLATNESS)


def fit_sole(points: FloatArray, down: FloatArray) -> SolePlane | None:
    """Sole plane of a foot's vertices (N, 3); None if they have no volume.

    `down` is a (3,) unit vector roughly away from the leg, right to within 75 degrees.
    """
    if len(points) < 4 or np.linalg.matrix_rank(points - points[0], tol=_flat(points)) < 3:
        return None
    hull = ConvexHull(points)
    outward = hull.equations[:, :3]
    corner = points[hull.simplices]
    area = 0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
    below = (outward @ down > np.cos(np.radians(WIDEST_TURN_DEG))) & (area > 0)
    if not below.any():
        return None
    outward, area, middle = outward[below], area[below], corner[below].mean(axis=1)
    rim = points[hull.vertices]
    band = TREAD_BAND * float(np.linalg.norm(np.ptp(rim, axis=0)))

    def support(normals: FloatArray, window_deg: float) -> FloatArray:
        """(n, facets) area of each facet where it belongs to the floor with this outward normal."""
        floor = (normals @ rim.T).max(axis=1)
        same = normals @ outward.T > np.cos(np.radians(window_deg))
        touching = floor[:, None] - normals @ middle.T < band
        return np.where(same & touching, area, 0.0)

    widest = np.argsort(-area, kind="stable")[:200]
    start = support(outward[widest], WINDOWS_DEG[0]).sum(axis=1)
    # Equal supports are told apart by their direction, never by their order.
    normal = outward[widest[int(np.argmax(start + 1e-6 * start.max() * (outward[widest] @ down)))]]
    whole = start.max()
    reached = whole
    for window_deg in WINDOWS_DEG:
        for _ in range(8):
            share = support(normal[None], window_deg)[0]
            if share.sum() <= 0:
                break
            moved = share @ outward
            moved /= np.linalg.norm(moved)
            settled = float(np.linalg.norm(moved - normal)) < 1e-9
            if share.sum() < KEEPS * reached:
                break
            normal = moved
            if settled:
                break
        inside = float(support(normal[None], window_deg)[0].sum())
        if inside < KEEPS * reached:
            break
        reached = inside
    flatness = float(support(normal[None], 1.0)[0].sum() / support(normal[None], WINDOWS_DEG[0])[0].sum())
    return SolePlane(-normal, -float((rim @ normal).max()), flatness)


def stands_level(points: FloatArray, plane: SolePlane, up: FloatArray, along: FloatArray) -> bool:
    """Whether the foot touches a level floor with its rear as well as with its front half.

    Then the level plane is its sole: lumps alone must not tip it. `along` is a (3,) unit vector, roughly
    from heel to toe.
    """
    place = points @ along
    near = (points @ plane.normal - plane.offset) < TREAD_BAND * float(np.ptp(place))
    height = points[near] @ up
    place = place[near]
    middle = 0.5 * (place.min() + place.max())
    rear, front = height[place < middle], height[place >= middle]
    if not len(rear) or not len(front):
        return False
    return bool(abs(rear.min() - front.min()) < LEVEL_GAP * np.ptp(points @ along))


def level_sole(points: FloatArray, plane: SolePlane, up: FloatArray) -> SolePlane:
    """The sole plane turned level, at the height of its lowest vertex."""
    return SolePlane(up, float((points @ up).min()), plane.flatness)


def _flat(points: FloatArray) -> float:
    return float(1e-6 * np.linalg.norm(np.ptp(points, axis=0)) * np.sqrt(len(points)))
