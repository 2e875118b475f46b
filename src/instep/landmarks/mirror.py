"""The body's plane of symmetry, and which joint is the mirror image of which.

No name is read. A plane is proposed by every two joints of one depth and bone length; the plane about
which most of the joint tree, and then most of the skin, falls onto itself is the body's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.character.skeleton import Skeleton
from instep.landmarks.surface import Surface
from instep.tolerances import MIRROR

NO_PARTNER = -1


@dataclass(frozen=True, slots=True, eq=False)
class Mirror:
    """The plane ``normal . x = offset`` and the joints' images in it.

    Attributes
    ----------
    normal : (3,) unit vector, to one side of the body (which side is not known yet).
    offset : distance of the plane from the origin along `normal`, in the file's unit.
    partner : (J,) the joint that stands where the mirror shows this one; itself for a joint in the plane;
        NO_PARTNER where there is none, or where a joint and all below it carry no skin.
    """

    normal: FloatArray
    offset: float
    partner: IntArray

    def reflect(self, points: FloatArray) -> FloatArray:
        """(N, 3) images of (N, 3) points."""
        distance = points @ self.normal - self.offset
        return np.asarray(points - 2 * distance[:, None] * self.normal, dtype=np.float64)


def skin_below(skeleton: Skeleton, surface: Surface) -> FloatArray:
    """(J,) skin that each joint and all joints below it carry, as a sum of weights."""
    total = np.asarray(surface.weights.sum(axis=0), dtype=np.float64).ravel()
    for joint in range(len(skeleton) - 1, -1, -1):
        if skeleton.parents[joint] >= 0:
            total[skeleton.parents[joint]] += total[joint]
    return total


def find_mirror(skeleton: Skeleton, surface: Surface) -> Mirror | None:
    """The body's plane of symmetry; None where no two joints mirror each other."""
    alive = skin_below(skeleton, surface) > 0
    planes = _proposals(skeleton, surface, alive)
    if not len(planes):
        return None
    points = skeleton.positions[alive]
    near = MIRROR * surface.size
    normals, offsets = planes[:, :3], planes[:, 3]
    away = points @ normals.T - offsets
    images = points[:, None] - 2 * away[..., None] * normals
    distance, _ = cKDTree(points).query(images)
    matched = np.sum(np.asarray(distance) < near, axis=0)
    best = np.flatnonzero(matched >= 0.8 * matched.max())[:64]
    # Columns of a table mirror fore and aft as well as across: the skin decides between such planes.
    sample = surface.points[:: max(1, len(surface.points) // 400)]
    tree = cKDTree(surface.points)
    misfit = []
    for plane in best:
        image = sample - 2 * (sample @ normals[plane] - offsets[plane])[:, None] * normals[plane]
        misfit.append(np.minimum(np.asarray(tree.query(image)[0]) / surface.size, 10 * MIRROR).mean())
    score = matched[best] / matched.max() - np.array(misfit) / MIRROR
    chosen = best[int(np.argmax(score))]
    mirror = Mirror(normals[chosen], float(offsets[chosen]), np.full(len(skeleton), NO_PARTNER))
    for _ in range(2):
        mirror = _refined(skeleton, surface, alive, mirror)
    return mirror if np.any((mirror.partner >= 0) & (mirror.partner != np.arange(len(skeleton)))) else None


def _proposals(skeleton: Skeleton, surface: Surface, alive: BoolArray) -> FloatArray:
    """(P, 4) planes (normal, offset) halfway between two joints of one depth and bone length."""
    points = skeleton.positions
    depth = np.zeros(len(skeleton), dtype=np.int64)
    bone = np.zeros(len(skeleton))
    for joint, parent in enumerate(skeleton.parents):
        if parent >= 0:
            depth[joint] = depth[parent] + 1
            bone[joint] = np.linalg.norm(points[joint] - points[parent])
    one, two = np.triu_indices(len(skeleton), 1)
    difference = points[two] - points[one]
    length = np.linalg.norm(difference, axis=1)
    fits = alive[one] & alive[two] & (depth[one] == depth[two]) & (length > MIRROR * surface.size)
    fits &= np.abs(bone[one] - bone[two]) < MIRROR * surface.size
    if not fits.any():
        return np.zeros((0, 4))
    normal = difference[fits] / length[fits, None]
    middle = 0.5 * (points[one[fits]] + points[two[fits]])
    # The same plane seen from its two sides is one plane.
    largest = np.take_along_axis(normal, np.abs(normal).argmax(axis=1)[:, None], axis=1)
    normal = normal * np.sign(largest)
    planes = np.column_stack([normal, np.einsum("pi,pi->p", normal, middle)])
    _, first = np.unique(np.round(planes / [0.02, 0.02, 0.02, 0.005 * surface.size]), axis=0, return_index=True)
    return np.asarray(planes[np.sort(first)], dtype=np.float64)


def _refined(skeleton: Skeleton, surface: Surface, alive: BoolArray, mirror: Mirror) -> Mirror:
    """The mirror with partners matched down the tree, and its plane fitted to all pairs."""
    partner = _partners(skeleton, surface, alive, mirror)
    joints = np.arange(len(skeleton))
    one = joints[(partner > joints)]
    if not len(one):
        return Mirror(mirror.normal, mirror.offset, partner)
    points = skeleton.positions
    difference = points[one] - points[partner[one]]
    difference = difference * np.sign(difference @ mirror.normal)[:, None]
    normal = difference.sum(axis=0)
    normal /= np.linalg.norm(normal)
    offset = float((0.5 * (points[one] + points[partner[one]]) @ normal).mean())
    return Mirror(normal, offset, partner)


def _partners(skeleton: Skeleton, surface: Surface, alive: BoolArray, mirror: Mirror) -> IntArray:
    """(J,) partners, matched from the roots down: the children of partners are partners of each other.

    Two joints at one place (a thigh and its twist joint) are told apart by what hangs below them.
    """
    points = skeleton.positions
    count = len(skeleton)
    sums, sizes = points.copy(), np.ones(count)
    for joint in range(count - 1, -1, -1):
        parent = int(skeleton.parents[joint])
        if parent >= 0:
            sums[parent] += sums[joint]
            sizes[parent] += sizes[joint]
    middle = sums / sizes[:, None]
    cost_of = np.linalg.norm(mirror.reflect(points)[:, None] - points, axis=2)
    cost_of = cost_of + np.linalg.norm(mirror.reflect(middle)[:, None] - middle, axis=2)
    cost_of += 1e-3 * surface.size * np.abs(sizes[:, None] - sizes)
    near = 2 * MIRROR * surface.size
    partner = np.full(count, NO_PARTNER, dtype=np.int64)

    def match(one: list[int], two: list[int]) -> None:
        one, two = [j for j in one if alive[j]], [j for j in two if alive[j]]
        pairs = sorted((float(cost_of[a, b]), a, b) for a in one for b in two)
        for cost, a, b in pairs:
            if cost < near and partner[a] < 0 and partner[b] < 0:
                partner[a], partner[b] = b, a
                match(skeleton.children(a), skeleton.children(b))

    roots = [int(root) for root in np.flatnonzero(skeleton.parents < 0)]
    match(roots, roots)
    return partner
