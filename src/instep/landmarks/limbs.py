"""Limbs: mirrored pairs of branches of the joint tree, with what hangs in the wrong place put back.

Feet often hang under the skeleton's root (so that they can be posed apart), though their skin continues
that of the shin. What continues whose skin is seen from the skin, and the tree is read accordingly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from instep.character.arrays import FloatArray, IntArray
from instep.character.skeleton import Skeleton
from instep.landmarks.mirror import Mirror
from instep.landmarks.surface import Surface
from instep.tolerances import SKIN_GAP

CARRIES = 0.3
"""A joint's skin is where it has at least this share of the weight."""


@dataclass(frozen=True, slots=True, eq=False)
class Limb:
    """One side of a mirrored pair of branches.

    Attributes
    ----------
    root : the topmost joint of the branch.
    joints : `root` and all joints below it, as the tree is read here.
    parent : the joint that both sides hang from; -1 for none.
    """

    root: int
    joints: tuple[int, ...]
    parent: int


@dataclass(frozen=True, slots=True, eq=False)
class LimbPair:
    """A limb on the side to which the mirror's normal points, and its partner on the other."""

    here: Limb
    there: Limb


def children_of(parents: IntArray) -> list[list[int]]:
    """For each joint the joints whose parent it is."""
    children: list[list[int]] = [[] for _ in parents]
    for joint, parent in enumerate(parents):
        if parent >= 0:
            children[int(parent)].append(joint)
    return children


def branch(parents: IntArray, root: int) -> list[int]:
    """`root` and all joints below it, nearest first."""
    children = children_of(parents)
    found = [root]
    for joint in found:
        found.extend(children[joint])
    return found


def read_tree(skeleton: Skeleton, surface: Surface, mirror: Mirror) -> IntArray:
    """(J,) parents as the skin has them: a branch whose skin continues the end of another hangs there.

    A paired branch is moved if its own skin lies apart from its parent's, or its parent carries none,
    while it touches the skin of a joint on its side that ends another paired branch.
    """
    parents = skeleton.parents.copy()
    mass = np.asarray(surface.weights.sum(axis=0)).ravel()
    by_joint = surface.weights.tocsc()
    skins: dict[int, FloatArray] = {}
    for joint in np.flatnonzero(mass > 0):
        rows = slice(by_joint.indptr[joint], by_joint.indptr[joint + 1])
        skins[int(joint)] = surface.points[by_joint.indices[rows][by_joint.data[rows] >= CARRIES]]
    pairs = limb_pairs(skeleton, mirror, parents)
    moved = parents.copy()
    for pair in pairs:
        for limb, other_side in ((pair.here, False), (pair.there, True)):
            own = _skin(skins, limb.joints)
            if not len(own) or len(limb.joints) == len(skeleton):
                continue
            tree = cKDTree(own)
            if limb.parent >= 0 and _gap(tree, skins.get(limb.parent)) < SKIN_GAP * surface.size:
                continue
            best, reach = -1, SKIN_GAP * surface.size
            for target in pairs:
                candidate = target.there if other_side else target.here
                if candidate.root == limb.root:
                    continue
                end = _end_of(parents, candidate, skins)
                gap = _gap(tree, skins.get(end)) if end >= 0 else np.inf
                if gap < reach and _is_smaller(skeleton, limb, candidate):
                    best, reach = end, gap
            if best >= 0:
                moved[limb.root] = best
    return moved


def limb_pairs(skeleton: Skeleton, mirror: Mirror, parents: IntArray) -> list[LimbPair]:
    """All mirrored pairs of branches whose two sides hang from one joint, or from none."""
    pairs = []
    side = skeleton.positions @ mirror.normal
    for one, two in enumerate(mirror.partner):
        other = int(two)
        if other <= one or (parents[one] != parents[other]):
            continue
        here, there = (one, other) if side[one] > side[other] else (other, one)
        parent = int(parents[one])
        pairs.append(
            LimbPair(
                Limb(here, tuple(branch(parents, here)), parent),
                Limb(there, tuple(branch(parents, there)), parent),
            )
        )
    return pairs


def _skin(skins: dict[int, FloatArray], joints: tuple[int, ...]) -> FloatArray:
    found = [skins[joint] for joint in joints if joint in skins]
    return np.concatenate(found) if found else np.zeros((0, 3))


def _gap(tree: cKDTree, other: FloatArray | None) -> float:
    if other is None or not len(other):
        return np.inf
    return float(np.min(tree.query(other)[0]))


def _end_of(parents: IntArray, limb: Limb, skins: dict[int, FloatArray]) -> int:
    """The deepest joint with skin, if the branch runs down to it without forking; otherwise -1."""
    children = children_of(parents)
    end = -1
    joint = limb.root
    while True:
        if len(skins.get(joint, ())):
            end = joint
        below = [child for child in children[joint] if any(len(skins.get(j, ())) for j in branch(parents, child))]
        # Twist joints are leaves beside the next bone: the longest branch is the way down.
        below.sort(key=lambda child: len(branch(parents, child)))
        if not below:
            return end
        joint = below[-1]


def _is_smaller(skeleton: Skeleton, limb: Limb, other: Limb) -> bool:
    """Whether the limb's joints span less than the other's: a foot hangs on a leg, not a leg on a foot."""

    def span(joints: tuple[int, ...]) -> float:
        points = skeleton.positions[list(joints)]
        return float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))

    return span(limb.joints) < span(other.joints)
