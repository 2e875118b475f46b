"""Which limbs the body stands on, and which way is up, decided together from the shape.

A body that stands rests on the floor with the undersides of a mirrored pair of limbs, which run from
there up to the joint they hang from. Each way in which the body's silhouette, seen from the side, can
rest on a floor is tried with each pair of limbs. Names are not read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from instep.character.arrays import FloatArray
from instep.character.skeleton import Skeleton
from instep.landmarks.limbs import LimbPair
from instep.landmarks.mirror import Mirror
from instep.landmarks.surface import Surface
from instep.tolerances import GROUND_BAND

FILE_UP_BONUS = 1.5
"""glTF says that +Y is up: a body that can as well stand in another way stands in this one."""
FILE_UP_ANGLE_DEG = 10.0
OTHER_LEGS = 0.1
"""Further pairs are legs too if they have at least this share of the best pair's tread."""
LEAST_DESCENT = 0.5
"""A leg comes down by at least half of its own length; an arm held out to the side does not."""


@dataclass(frozen=True, slots=True, eq=False)
class Stance:
    """The pairs of legs, best first, and the direction (3,) that is up for a body standing on them."""

    pairs: tuple[LimbPair, ...]
    up: FloatArray


def find_stance(skeleton: Skeleton, surface: Surface, mirror: Mirror, pairs: list[LimbPair]) -> Stance | None:
    """The pairs of limbs that the body stands on; None where it stands on none."""
    best: Stance | None = None
    best_score = 0.0
    if not pairs:
        return None
    here = np.array([surface.carried_by([*pair.here.joints]) for pair in pairs])
    there = np.array([surface.carried_by([*pair.there.joints]) for pair in pairs])
    for up in _directions(surface, mirror):
        tread = tread_area(surface, up)
        if tread.sum() <= 0:
            continue
        bonus = FILE_UP_BONUS if up[1] > np.cos(np.radians(FILE_UP_ANGLE_DEG)) else 1.0
        # The smaller of the two sides counts: one limb alone is no stance.
        near = np.flatnonzero(tread)
        treads = np.minimum((here[:, near] * tread[near]).sum(axis=1), (there[:, near] * tread[near]).sum(axis=1))
        descents = np.array([_descent(skeleton, pair, up) for pair in pairs])
        valid = (descents > LEAST_DESCENT) & (treads > 0)
        if not valid.any():
            continue
        scores = np.where(valid, np.sqrt(treads) / surface.size * descents * bonus, 0.0)
        order = np.argsort(-scores, kind="stable")
        if scores[order[0]] > best_score:
            best_score = float(scores[order[0]])
            legs = [pairs[i] for i in order if valid[i] and treads[i] > OTHER_LEGS * treads[order[0]]]
            best = Stance(tuple(legs), up)
    return best


def _directions(surface: Surface, mirror: Mirror) -> list[FloatArray]:
    """Unit vectors in the body's plane: ways up for a silhouette that rests on a floor, and the file's axes."""
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    axes = axes - np.outer(axes @ mirror.normal, mirror.normal)
    axes = axes[np.linalg.norm(axes, axis=1) > 0.999]
    found = list(axes / np.linalg.norm(axes, axis=1)[:, None])
    first = np.linalg.svd(mirror.normal[None])[2][1]
    plane = np.stack([first, np.cross(mirror.normal, first)])
    flat = surface.points[surface.solid] @ plane.T
    hull = ConvexHull(flat)
    edge = flat[hull.simplices[:, 0]] - flat[hull.simplices[:, 1]]
    length = np.linalg.norm(edge, axis=1)
    for i in np.argsort(-length):
        up = -hull.equations[i, :2] @ plane
        if length[i] > GROUND_BAND * surface.size and all(up @ other < np.cos(np.radians(1.0)) for other in found):
            found.append(up)
    return found


def tread_area(surface: Surface, up: FloatArray) -> FloatArray:
    """(W,) area, seen from below, of the underside close to the floor, by vertex."""
    height = surface.points @ up
    low = height < height[surface.solid].min() + GROUND_BAND * surface.size
    faces = np.flatnonzero(np.all(low[surface.faces], axis=1))
    down = np.maximum(0.0, -(surface.normal_area[faces] @ up))
    share = np.repeat(down / 3, 3)
    area = np.bincount(surface.faces[faces].ravel(), weights=share, minlength=len(surface.points))
    return np.asarray(area, dtype=np.float64)


def _descent(skeleton: Skeleton, pair: LimbPair, up: FloatArray) -> float:
    """How far the limbs come down from their topmost joint, as a share of their own reach."""
    total = 0.0
    for limb in (pair.here, pair.there):
        root = skeleton.positions[limb.root]
        joints = skeleton.positions[list(limb.joints)]
        reach = float(np.linalg.norm(joints - root, axis=1).max())
        if reach <= 0:
            return 0.0
        total += 0.5 * float(((root - joints) @ up).max()) / reach
    return total
