"""The outline of the sole in its plane, for control shapes and drawings: tread, waist and sprung toes."""

from __future__ import annotations

import numpy as np
from shapely import MultiPoint, Polygon, linestrings, polygonize, union_all

from instep.character.arrays import FloatArray, IntArray
from instep.landmarks.tread import FootFrame

NEAR_TREAD = 0.07
"""Foot lengths over the sole plane (over the heel's height at a heeled foot): sprung toes, rounded sides and
the waist belong to the outline, ankles and claws do not."""
CLOSING = 0.04
"""Foot lengths: gaps narrower than twice this, between toes, are closed."""
OPENING = 0.025
"""Foot lengths: what is narrower than twice this, a claw or a spur, is cut off. A child's toe is 0.065 wide."""
SMOOTHING = 0.002
"""Foot lengths: the outline is simplified to within this."""


def sole_outline(p_foot: FloatArray, faces: IntArray, frame: FootFrame, raised: float) -> FloatArray:
    """(n, 3) in the world, in the sole plane, counter-clockwise seen from above.

    The shadow of all low triangles that face down, from the edges that bound them (the union of the triangles
    themselves takes 4 s for 15,000, this 10 ms). A mesh without an underside gets the hull of its low vertices;
    concave hulls of the vertices alone were tried and cut into coarsely meshed soles.

    Parameters
    ----------
    p_foot : (N, 3) vertices: left, height, along.
    faces : (G, 3) triangles between them.
    raised : height of the heel.
    """
    ceiling = NEAR_TREAD * frame.length + raised
    corner = p_foot[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    below = (-normal[:, 1] > 0.1 * np.linalg.norm(normal, axis=1)) & np.all(corner[:, :, 1] < ceiling, axis=1)
    reach = CLOSING * frame.length
    edges = np.sort(np.concatenate([faces[below][:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    keys, met = np.unique(edges[:, 0] * len(p_foot) + edges[:, 1], return_counts=True)
    bounds = np.stack(np.divmod(keys[met == 1], len(p_foot)), axis=1)
    # (along, left) is counter-clockwise seen from above.
    border = union_all(linestrings(p_foot[bounds][:, :, [2, 0]]))
    shape = union_all(polygonize([border]))
    opening = OPENING * frame.length
    # What is narrow goes first: closing would fill its corners.
    shape = shape.buffer(-opening).buffer(opening + reach).buffer(-reach)
    if not isinstance(shape, Polygon) or shape.is_empty:
        shape = MultiPoint(p_foot[p_foot[:, 1] < ceiling][:, [2, 0]]).convex_hull
    shape = shape.simplify(SMOOTHING * frame.length)
    ring = np.asarray(shape.exterior.coords)[:-1]
    if not shape.exterior.is_ccw:
        ring = ring[::-1]
    return np.asarray(frame.origin + ring[:, 1:] * frame.R_world_foot[:, 0] + ring[:, :1] * frame.R_world_foot[:, 2])
