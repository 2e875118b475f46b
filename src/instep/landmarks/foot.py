"""The vertices that make up one foot: strays dropped, a heel that is partly weighted to the shin kept."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from instep.character.arrays import FloatArray, IntArray
from instep.landmarks.surface import Surface, pieces
from instep.tolerances import FOOT_PIECE_GAP


def gather_foot(
    surface: Surface, foot_joints: list[int], shin_joints: list[int], ankle: FloatArray, down: FloatArray
) -> tuple[IntArray, IntArray]:
    """Welded vertices of a foot, without and with what the shin carries of it.

    Parameters
    ----------
    foot_joints, shin_joints : the foot's joint and all below it; the shin's joint and its twist joints.
    ankle : (3,) the ankle joint's centre.
    down : (3,) unit vector, roughly from the ankle to the sole.

    Returns
    -------
    (n,) vertices weighted mostly to the foot; (m,) those and also the vertices weighted to foot and shin
    that lie in the lower half between the ankle and the foot's lowest place: heels are often shared so.
    """
    foot = surface.carried_by(foot_joints)
    own = _coherent(surface, np.flatnonzero((foot > 0.5) & surface.solid))
    if not len(own):
        return own, own
    depth = (surface.points - ankle) @ down
    lower = depth > 0.5 * max(float(depth[own].max()), 0.0)
    shared = (foot + surface.carried_by(shin_joints) > 0.5) & surface.solid & lower
    shared[own] = True
    near = _coherent(surface, np.flatnonzero(shared))
    return own, np.union1d(own, near)


def _coherent(surface: Surface, chosen: IntArray) -> IntArray:
    """The largest connected piece of the chosen vertices, and all pieces near to it or to one that is near.

    Toes, claws and soles may be pieces of their own; a hand's vertex that is weighted to the foot by mistake
    is a piece far away.
    """
    if not len(chosen):
        return chosen
    place = np.full(len(surface.points), -1)
    place[chosen] = np.arange(len(chosen))
    faces = place[surface.faces]
    piece = pieces(len(chosen), faces[np.all(faces >= 0, axis=1)])
    area = np.bincount(piece, weights=surface.area[chosen])
    kept = piece == np.argmax(area)
    points = surface.points[chosen]
    gap = FOOT_PIECE_GAP * float(np.linalg.norm(points[kept].max(axis=0) - points[kept].min(axis=0)))
    while not kept.all():
        near = np.zeros(len(chosen), dtype=bool)
        near[~kept] = cKDTree(points[kept]).query(points[~kept])[0] < gap
        joined = np.isin(piece, np.unique(piece[near])) & ~kept
        if not joined.any():
            break
        kept |= joined
    return np.asarray(chosen[kept], dtype=np.int64)
