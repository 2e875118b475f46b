"""The skinned surface with its seams closed: vertices that stand at one place are one vertex.

Files double vertices along seams of texture and shading, and cut a body into parts. Whoever asks for
neighbours, areas or outlines must not see that. The order of the welded vertices depends on their
places alone, so that a file's order of vertices never shows in a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.character.mesh import Mesh
from instep.tolerances import STRAY_AREA, WELD


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """W welded vertices and the G triangles between them that still have an area.

    Attributes
    ----------
    points : (W, 3) in the world, in the file's unit.
    faces : (G, 3) welded vertex indices.
    weights : (W, J) sparse skin weights; each row sums to 1.
    area : (W,) a third of the triangles around each vertex, in the file's unit squared: with it a finely
        meshed place weighs no more than a coarsely meshed one.
    normal_area : (G, 3) outward normal of each triangle, as long as its area.
    welded : (V,) welded vertex of each vertex of the mesh.
    size : diagonal of the bounding box of what is solid, in the file's unit.
    solid : (W,) False for stray vertices: those on no triangle, or on a connected piece of the surface with
        less than STRAY_AREA of the whole area.
    """

    points: FloatArray
    faces: IntArray
    weights: csr_array
    area: FloatArray
    normal_area: FloatArray
    welded: IntArray
    size: float
    solid: BoolArray

    def mesh_vertices(self, chosen: IntArray) -> IntArray:
        """Indices into the mesh of all vertices at the welded vertices `chosen`, ascending."""
        inside = np.zeros(len(self.points), dtype=bool)
        inside[chosen] = True
        return np.flatnonzero(inside[self.welded])

    def carried_by(self, joints: list[int]) -> FloatArray:
        """(W,) share of each vertex's weight that lies on the given joints."""
        pick = np.zeros(self.weights.shape[1])
        pick[joints] = 1.0
        return np.asarray(self.weights @ pick, dtype=np.float64)


def weld(mesh: Mesh, joint_count: int) -> Surface:
    """The mesh as one surface: vertices nearer to each other than WELD of its size are one.

    Weights of vertices that are welded are averaged (along a seam they are equal).
    """
    positions = mesh.positions
    span = positions.max(axis=0) - positions.min(axis=0)
    size = float(np.linalg.norm(span))
    order = np.lexsort((positions[:, 2], positions[:, 1], positions[:, 0]))
    ordered = positions[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = np.any(ordered[1:] != ordered[:-1], axis=1)
    group = np.empty(len(order), dtype=np.int64)
    group[order] = np.cumsum(new) - 1
    points = ordered[new]
    near = cKDTree(points).query_pairs(WELD * size, output_type="ndarray")
    if len(near):
        links = coo_array((np.ones(len(near)), (near[:, 0], near[:, 1])), shape=(len(points),) * 2)
        count, label = connected_components(links, directed=False)
        first = np.full(count, len(points))
        np.minimum.at(first, label, np.arange(len(points)))
        points = points[first]
        group = label[group].astype(np.int64)

    used = mesh.weights > 0
    vertex = np.broadcast_to(np.arange(len(positions))[:, None], used.shape)[used]
    share = mesh.weights[used] / np.bincount(group, minlength=len(points))[group[vertex]]
    shape = (len(points), joint_count)
    weights = csr_array(coo_array((share, (group[vertex], mesh.joints[used])), shape=shape))

    faces = group[mesh.faces]
    corner = points[faces]
    normal_area = 0.5 * np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    solid = np.linalg.norm(normal_area, axis=1) > 0
    faces, normal_area = faces[solid], normal_area[solid]
    third = np.repeat(np.linalg.norm(normal_area, axis=1) / 3, 3)
    area = np.asarray(np.bincount(faces.ravel(), weights=third, minlength=len(points)), dtype=np.float64)
    solid = _solid(points, faces, area)
    if solid.any():
        size = float(np.linalg.norm(points[solid].max(axis=0) - points[solid].min(axis=0)))
    return Surface(points, faces, weights, area, normal_area, group, size, solid)


def pieces(count: int, faces: IntArray) -> IntArray:
    """(count,) number of the connected piece that each vertex belongs to."""
    ones = np.ones(2 * len(faces))
    edges = np.concatenate([faces[:, :2], faces[:, 1:]])
    links = coo_array((ones, (edges[:, 0], edges[:, 1])), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _solid(points: FloatArray, faces: IntArray, area: FloatArray) -> BoolArray:
    piece = pieces(len(points), faces)
    share = np.bincount(piece, weights=area)[piece]
    return np.asarray((share > STRAY_AREA * area.sum()) & (area > 0), dtype=np.bool_)
