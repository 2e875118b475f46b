"""The surface that a drawing is made of: seams welded, normals at the corners, cut by a plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from instep.character.arrays import BoolArray, FloatArray, IntArray

CREASE_RAD: Final = np.deg2rad(38.0)
"""Two faces that meet at more than this show a crease; below it the surface counts as one smooth skin."""

SEAM: Final = 1e-6
"""Fraction of the mesh's size. Vertices closer than this are one place: a seam of the texture, not a gap."""

CAP: Final = -2
"""Part number of the faces that close a cut."""


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Triangles ready to be drawn.

    Attributes
    ----------
    points : (V, 3) in the world.
    faces : (F, 3) indices into `points`.
    part : (F,) number of the connected piece of a part that each face belongs to; CAP where a cut was closed.
    corner_normals : (F, 3, 3) unit normals at each face's corners, smooth within CREASE_RAD.
    creases : (n, 2) indices into `points` of edges that are sharp, or the border of an open surface.
    edges : (E, 2) indices into `points` of every edge between two faces, or of a border.
    edge_faces : (E, 2) the faces on its two sides, -1 for none.
    """

    points: FloatArray
    faces: IntArray
    part: IntArray
    corner_normals: FloatArray
    creases: IntArray
    edges: IntArray
    edge_faces: IntArray

    def used_points(self) -> FloatArray:
        """(n, 3) the points that belong to a face."""
        return self.points[np.unique(self.faces)]


def weld(points: FloatArray) -> IntArray:
    """(V,) for each point the number of its place; points at one place share the number."""
    step = SEAM * max(float(np.ptp(points, axis=0).max()), 1e-300)
    cells = np.round((points - points.min(axis=0)) / step).astype(np.int64)
    mixed = (cells[:, 0] * 2_097_169 + cells[:, 1]) * 2_097_169 + cells[:, 2]
    return np.unique(mixed, return_inverse=True)[1].astype(np.int64).reshape(-1)


def prepare(points: FloatArray, faces: IntArray, part: IntArray) -> Surface:
    """A surface of (V, 3) points, (F, 3) faces and (F,) part numbers. Faces without area are left out."""
    place = weld(points)
    corners = points[faces]
    area_normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    doubled = np.linalg.norm(area_normal, axis=1)
    solid = doubled > 1e-12 * max(float(doubled.max(initial=0.0)), 1e-300)
    faces, part, area_normal = faces[solid], part[solid], area_normal[solid]
    normals = area_normal / doubled[solid, None]
    edges, edge_faces = _edges(place[faces], faces)
    return Surface(
        points,
        faces,
        _pieces(place[faces], part),
        _corner_normals(place[faces], normals, area_normal, part),
        edges[_sharp(edge_faces, normals, part)],
        edges,
        edge_faces,
    )


def _pieces(places: IntArray, part: IntArray) -> IntArray:
    """(F,) number of each face's connected piece within its part; CAP stays.

    Shells of one part that run into each other share no edge; as pieces they get a line where they meet.
    """
    owner = part - part.min(initial=0)
    node = (places * (int(owner.max(initial=0)) + 1) + owner[:, None]).astype(np.int64)
    unique, inverse = np.unique(node, return_inverse=True)
    corner = inverse.reshape(-1, 3)
    rows, columns = corner[:, [0, 1]].reshape(-1), corner[:, [1, 2]].reshape(-1)
    graph = sparse.coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(unique), len(unique)))
    _, piece = connected_components(graph, directed=False)
    return np.where(part == CAP, CAP, piece[corner[:, 0]]).astype(np.int64)


def _corner_normals(faces: IntArray, normals: FloatArray, area_normal: FloatArray, part: IntArray) -> FloatArray:
    """(F, 3, 3) mean of the normals of the faces round each corner that lie within CREASE_RAD of its own.

    Where all faces round a place lie within half that angle of their mean, they all lie within it of each
    other, and the mean serves them all; only the other places need a look at every pair of faces.
    """
    place = faces.reshape(-1)
    if not len(place):
        return np.zeros((0, 3, 3))
    owner = np.repeat(np.arange(len(faces)), 3)
    order = np.argsort(place, kind="stable")
    _, start, count = np.unique(place[order], return_index=True, return_counts=True)
    sorted_owner = owner[order]
    mean = np.add.reduceat(area_normal[sorted_owner], start, axis=0)
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    spread = np.einsum("na,na->n", normals[sorted_owner], np.repeat(mean, count, axis=0))
    sorted_part = part[sorted_owner]
    smooth = np.minimum.reduceat(spread, start) > np.cos(0.5 * CREASE_RAD)
    smooth &= np.minimum.reduceat(sorted_part, start) == np.maximum.reduceat(sorted_part, start)
    result = np.empty((len(order), 3))
    result[order] = np.repeat(mean, count, axis=0)
    rough = np.flatnonzero(~smooth)
    if len(rough):
        chosen = np.repeat(~smooth, count)
        corners = order[chosen]
        result[corners] = _pairwise(owner[corners], count[rough], normals, area_normal, part)
    return result.reshape(-1, 3, 3)


def _pairwise(
    owner: IntArray, count: IntArray, normals: FloatArray, area_normal: FloatArray, part: IntArray
) -> FloatArray:
    """(n, 3) unit normals of corners, place by place, `count` corners at each; `owner` (n,) their faces."""
    per_corner = np.repeat(count, count)
    first = np.repeat(np.cumsum(count) - count, count)
    one = np.repeat(np.arange(len(owner)), per_corner)
    offset = np.arange(len(one)) - np.repeat(np.cumsum(per_corner) - per_corner, per_corner)
    face_one, face_other = owner[one], owner[first[one] + offset]
    alike = np.einsum("na,na->n", normals[face_one], normals[face_other]) > np.cos(CREASE_RAD)
    alike &= part[face_one] == part[face_other]
    summed = np.stack(
        [np.bincount(one, weights=area_normal[face_other, axis] * alike, minlength=len(owner)) for axis in range(3)],
        axis=1,
    )
    length = np.linalg.norm(summed, axis=1, keepdims=True)
    return np.where(length > 1e-300, summed / np.maximum(length, 1e-300), normals[owner])


def _edges(places: IntArray, faces: IntArray) -> tuple[IntArray, IntArray]:
    """(E, 2) vertices and (E, 2) faces of the edges that one or two faces share; others have no two sides."""
    ends = places[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    vertices = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(faces)), 3)
    low, high = ends.min(axis=1), ends.max(axis=1)
    key = low * (int(places.max(initial=0)) + 1) + high
    order = np.argsort(key, kind="stable")
    _, start, count = np.unique(key[order], return_index=True, return_counts=True)
    lone = order[start[count == 1]]
    one, two = order[start[count == 2]], order[start[count == 2] + 1]
    edges = np.concatenate([vertices[one], vertices[lone]])
    sides = np.concatenate(
        [np.stack([owner[one], owner[two]], axis=1), np.stack([owner[lone], np.full(len(lone), -1)], axis=1)]
    )
    return edges, sides.astype(np.int64)


def _sharp(edge_faces: IntArray, normals: FloatArray, part: IntArray) -> BoolArray:
    """(E,) where two faces of a part meet sharply, or where a surface ends."""
    one, two = edge_faces.T
    bend = np.einsum("na,na->n", normals[one], normals[two])
    return np.asarray((two < 0) | ((bend < np.cos(CREASE_RAD)) & (part[one] == part[two])))


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A mesh cut by a plane in one pose, ready to be posed again.

    Attributes
    ----------
    blend : (W, V) sparse: each new point as a mean of old ones, so that ``blend @ points`` cuts any pose.
    faces : (G, 3) indices into the new points; those that close the cut come last.
    origin : (G,) index of the old face; CAP where a face closes the cut.
    """

    blend: sparse.csr_array
    faces: IntArray
    origin: IntArray


def cut(faces: IntArray, height: FloatArray, place: IntArray) -> Cut:
    """Keep what lies below zero of (V,) `height` of each vertex, and close the cut with fans.

    `place` (V,) numbers the vertices by place (see `weld`): the line of the cut runs on across seams.

    Each closed line of the cut is filled from its middle: right for convex sections, near enough for the
    others since a cut is seen along its plane.
    """
    count = len(height)
    below = height < 0.0
    inside = below[faces].sum(axis=1)
    whole = np.flatnonzero(inside == 3)
    ones, twos = np.flatnonzero(inside == 1), np.flatnonzero(inside == 2)
    turned_one = _turn(faces[ones], np.argmax(below[faces[ones]], axis=1))
    turned_two = _turn(faces[twos], np.argmin(below[faces[twos]], axis=1))
    a, b, c = turned_one.T
    d, e, f = turned_two.T  # d lies above, e and f below
    pairs = np.concatenate([np.stack(pair, axis=1) for pair in ((a, b), (a, c), (e, d), (f, d))])
    unique_pairs, inverse = np.unique(pairs, axis=0, return_inverse=True)
    ids = count + inverse.reshape(-1)
    n1, n2 = len(ones), len(twos)
    ab, ac, ed, fd = ids[:n1], ids[n1 : 2 * n1], ids[2 * n1 : 2 * n1 + n2], ids[2 * n1 + n2 :]
    kept = [
        faces[whole],
        np.stack([a, ab, ac], axis=1),
        np.stack([ed, e, f], axis=1),
        np.stack([ed, f, fd], axis=1),
    ]
    origin = [whole, ones, twos, twos]
    segments = np.concatenate([np.stack([ac, ab], axis=1), np.stack([ed, fd], axis=1)]) - count
    _, crossing_place = np.unique(place[unique_pairs], axis=0, return_inverse=True)
    caps, hub_rows = _caps(segments, crossing_place.reshape(-1), count)
    below_end, above_end = unique_pairs[:, 0], unique_pairs[:, 1]
    t = height[below_end] / (height[below_end] - height[above_end])
    new = len(unique_pairs)
    crossing = sparse.csr_array(
        (
            np.concatenate([1 - t, t]),
            (np.tile(np.arange(new), 2), np.concatenate([below_end, above_end])),
        ),
        shape=(new, count),
    )
    rows = [sparse.eye_array(count, format="csr"), crossing]
    if hub_rows is not None:
        rows.append(sparse.csr_array(hub_rows @ crossing))
    blend = sparse.csr_array(sparse.vstack(rows, format="csr"))
    return Cut(
        blend,
        np.concatenate([*kept, caps]).astype(np.int64),
        np.concatenate([*origin, np.full(len(caps), CAP)]).astype(np.int64),
    )


def _turn(faces: IntArray, first: IntArray) -> IntArray:
    """Faces with their corners turned so that corner `first` comes first."""
    return np.asarray(np.take_along_axis(faces, (first[:, None] + np.arange(3)) % 3, axis=1))


def _caps(segments: IntArray, place: IntArray, count: int) -> tuple[IntArray, sparse.csr_array | None]:
    """Fans over the loops of a cut, and the rows that make each fan's hub out of the crossings.

    `place` numbers the crossings by place.
    """
    if not len(segments):
        return np.zeros((0, 3), dtype=np.int64), None
    crossings, places = len(place), int(place.max()) + 1
    ends = place[segments]
    graph = sparse.coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(places, places))
    loops, loop_of_place = connected_components(graph, directed=False)
    loop_of = loop_of_place[place]
    size = np.bincount(loop_of, minlength=loops)
    hubs = sparse.csr_array((1.0 / size[loop_of], (loop_of, np.arange(crossings))), shape=(loops, crossings))
    hub_id = count + crossings + loop_of[segments[:, 0]]
    return np.column_stack([segments + count, hub_id]).astype(np.int64), hubs
