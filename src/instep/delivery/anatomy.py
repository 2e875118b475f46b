"""The parts of a character that a plate shows: the whole figure, one leg alone, one foot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from instep.character import Mesh
from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.delivery.surface import CAP, Surface, cut, prepare, weld
from instep.landmarks.model import LegLandmarks, Measurement

OWN: Final = 0.4
"""Share of a vertex's weights. Skin belongs to a leg where the leg's joints carry more than this."""

CRUMB: Final = 0.03
"""Share of the leg's faces. Loose pieces smaller than this that the cut has left over are not drawn."""

SOLE_SHOWN: Final = 0.35
"""Share of the foot's length over the sole plane that is drawn from below, where the ankle is not lower:
calves and hocks would stand out behind the heel."""

SHIN_SHOWN: Final = 0.42
"""Share of the shin, from the ankle up, that is drawn with a rolled foot."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A piece of a mesh that can be posed: ``blend @ vertices`` gives its points in any pose.

    Attributes
    ----------
    blend : (W, V) sparse.
    faces : (G, 3) indices into the W points.
    part : (G,) part number of each face.
    """

    blend: sparse.csr_array
    faces: IntArray
    part: IntArray

    def surface(self, vertices: FloatArray) -> Surface:
        """The piece as it stands when the whole mesh stands at (V, 3) `vertices`."""
        return prepare(np.asarray(self.blend @ vertices, dtype=np.float64), self.faces, self.part)


def part_numbers(mesh: Mesh) -> IntArray:
    """(F,) number of the part that each face belongs to."""
    part = np.zeros(len(mesh.faces), dtype=np.int64)
    for number, piece in enumerate(mesh.parts):
        part[piece.faces] = number
    return part


def whole(mesh: Mesh) -> Surface:
    """The whole character in the bind pose."""
    return prepare(mesh.positions, mesh.faces, part_numbers(mesh))


def leg_joints(leg: LegLandmarks) -> IntArray:
    """All joints of a leg."""
    joints = {leg.thigh, leg.shin, leg.foot, *(joint for joint, _ in leg.joints)}
    joints.update(joint for joint in (leg.toes, leg.toe_end) if joint is not None)
    return np.array(sorted(joints), dtype=np.int64)


def weight_on(mesh: Mesh, joints: IntArray) -> FloatArray:
    """(V,) sum of each vertex's weights on any of `joints`."""
    return np.asarray(np.where(np.isin(mesh.joints, joints), mesh.weights, 0.0).sum(axis=1))


def leg_piece(mesh: Mesh, legs: tuple[LegLandmarks, ...]) -> Piece:
    """The skin of some legs alone, cut off where it begins to follow the body instead, the cut closed."""
    field = np.max([weight_on(mesh, leg_joints(leg)) for leg in legs], axis=0)
    return _severed(mesh, _identity(mesh), OWN - field)


def pelvis_piece(mesh: Mesh, joints: IntArray, up: FloatArray, limit: float) -> Piece:
    """The skin that follows some joints, below a height `limit` along `up`."""
    field = weight_on(mesh, joints)
    height = (mesh.positions @ up - limit) / max(float(np.ptp(mesh.positions @ up)), 1e-300)
    return _severed(mesh, _identity(mesh), np.maximum(OWN - field, height))


def foot_piece(mesh: Mesh, leg: LegLandmarks) -> Piece:
    """A foot with the lower part of its shin, cut square to the shin."""
    piece = leg_piece(mesh, (leg,))
    shin = leg.knee.position - leg.ankle.position
    length = float(np.linalg.norm(shin))
    points = np.asarray(piece.blend @ mesh.positions)
    up = (points - leg.ankle.position) @ (shin / max(length, 1e-300))
    return _severed(mesh, piece, up - SHIN_SHOWN * length)


def sole_piece(mesh: Mesh, leg: LegLandmarks) -> Piece:
    """The lower part of a foot, for the view from below."""
    piece = leg_piece(mesh, (leg,))
    points = np.asarray(piece.blend @ mesh.positions)
    up = (points - leg.heel.position) @ leg.sole_normal
    ankle = float((leg.ankle.position - leg.heel.position) @ leg.sole_normal)
    shown = SOLE_SHOWN * leg.foot_length
    if ankle > 0.2 * leg.foot_length:
        shown = min(shown, ankle)
    return _severed(mesh, piece, up - shown)


def _identity(mesh: Mesh) -> Piece:
    eye = sparse.csr_array(sparse.eye_array(len(mesh), format="csr"))
    return Piece(eye, mesh.faces, part_numbers(mesh))


def _severed(mesh: Mesh, piece: Piece, height: FloatArray) -> Piece:
    """The piece below zero of (W,) `height`, without the crumbs that the cut leaves."""
    done = cut(piece.faces, height, weld(np.asarray(piece.blend @ mesh.positions)))
    blend = sparse.csr_array(done.blend @ piece.blend)
    part = np.where(done.origin >= 0, piece.part[np.maximum(done.origin, 0)], CAP)
    kept = _without_crumbs(np.asarray(blend @ mesh.positions), done.faces, part)
    return _compact(blend, done.faces[kept], part[kept])


def _without_crumbs(points: FloatArray, faces: IntArray, part: IntArray) -> BoolArray:
    """(G,) false for faces of small pieces that were cut; uncut pieces stay, however small."""
    if not len(faces):
        return np.zeros(0, dtype=bool)
    place = weld(points)[faces]
    count = int(place.max()) + 1
    rows, columns = place[:, [0, 1]].reshape(-1), place[:, [1, 2]].reshape(-1)
    graph = sparse.coo_array((np.ones(len(rows)), (rows, columns)), shape=(count, count))
    _, component = connected_components(graph, directed=False)
    of_face = component[place[:, 0]]
    size = np.bincount(of_face)
    was_cut = np.zeros(len(size), dtype=bool)
    was_cut[of_face[part == CAP]] = True
    small = size < max(CRUMB * len(faces), 1.0)
    return np.asarray(~(was_cut & small)[of_face])


def _compact(blend: sparse.csr_array, faces: IntArray, part: IntArray) -> Piece:
    """Only the points that are used."""
    used, inverse = np.unique(faces, return_inverse=True)
    return Piece(sparse.csr_array(blend[used]), inverse.reshape(-1, 3).astype(np.int64), part)


def pairs(measurement: Measurement) -> list[tuple[LegLandmarks, ...]]:
    """Legs by pair, left before right: the first pair first; a lone leg makes a pair of one."""
    found: dict[str, list[LegLandmarks]] = {}
    for leg in measurement.legs:
        found.setdefault(leg.name.partition(".")[2], []).append(leg)
    return [tuple(sorted(legs, key=lambda leg: leg.side)) for legs in found.values()]


def pair_word(leg: LegLandmarks) -> str:
    """ "hind " or "fore " with a space after it, or nothing where there is one pair."""
    word = leg.name.partition(".")[2]
    return f"{word} " if word else ""
