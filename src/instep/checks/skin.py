"""Skin: weights are whole and go to the right leg, and the foot neither folds nor loses its volume as it bends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from instep.character import Poses
from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.character.pose import rotation_matrices
from instep.checks.model import Cure, Finding, Measure, bounded, conclude, inapplicable, told_of
from instep.checks.search import Figure, find_worst, span
from instep.checks.subject import LIFT, Skinned, Subject
from instep.landmarks import LegLandmarks
from instep.tolerances import (
    FOLDED_SKIN,
    FOOT_VOLUME,
    SKIN_SUM,
    SOLE_LEFT_BEHIND,
    STRAY_WEIGHT,
)

NAME = "skin"
CLAIM = "Weights sum to one and stay on their own leg, and the foot keeps its skin and its volume as it bends."

ANKLE_DEG: Final = (-20.0, 50.0)
"""What an ankle does: 20 degrees of dorsiflexion to 50 of plantarflexion (published ranges of motion)."""

TOES_DEG: Final = (-80.0, 45.0)
"""What toes do: 80 degrees of extension to 45 of flexion (published ranges of motion). The whole roll is asked too."""

CAUSES = {
    "sum of weights": (
        "weights that do not sum to one scale the skin towards the world's origin",
        "Normalise the weights in the model and export again",
    ),
    "weight on a strange joint": (
        "a vertex of a shin or a foot follows a joint that is not of its leg: it is dragged along when that joint "
        "moves",
        "In the model, remove the weights of other joints from this leg's skin",
    ),
    "weight of the sole above the ankle": (
        "part of the sole follows the shin: it stays behind when the foot turns",
        "In the model, give the sole's weights to the foot and the toes alone",
    ),
    "skin folded or collapsed": (
        "triangles at the ankle or the ball turn inside out or shrink to nothing at the end of the range",
        "In the model, spread the weights at the crease over a wider band, or narrow the range under by_hand.ranges",
    ),
    "change of the foot's volume": (
        "the foot shrinks or swells as it bends: linear blending pulls the skin across the bend",
        "In the model, narrow the band in which foot and toes share their weights, or add a joint inside the foot",
    ),
}


def check_skin(subject: Subject) -> Finding:
    """Weights as they are, then the surface of each foot over its range."""
    mesh = subject.mesh
    if mesh is None:
        return inapplicable(NAME, CLAIM, "The file has no mesh.")
    off = np.maximum(np.abs(mesh.weights.sum(axis=1) - 1.0), -mesh.weights.min(axis=1))
    at = int(off.argmax())
    measures = [Measure("sum of weights", bounded(off[at]), SKIN_SUM, "away from 1", place=subject.vertex(at))]
    for leg, _ in subject.legs:
        measures += _strays(subject, leg)
        if len(leg.vertices):
            measures += _surface(subject, leg)
    cause, kinds = told_of(measures, {kind: does for kind, (does, _) in CAUSES.items()})
    cures = [Cure(CAUSES[kind][1]) for kind in kinds]
    return conclude(NAME, CLAIM, measures, cause=cause, cures=cures, head="change of the foot's volume")


def _strays(subject: Subject, leg: LegLandmarks) -> list[Measure]:
    mesh = subject.mesh
    assert mesh is not None
    carriers = dict(leg.joints) | {joint: joint for joint in (leg.thigh, leg.shin, leg.foot)}
    if leg.toes is not None:
        carriers[leg.toes] = leg.toes
    others = [joint for other, _ in subject.legs if other is not leg for joint, _ in other.joints]
    low = [joint for joint, carrier in carriers.items() if carrier != leg.thigh]
    ends = [joint for joint, carrier in carriers.items() if carrier in (leg.foot, leg.toes)]
    on_low, on_end, on_others, on_own = (
        np.where(np.isin(mesh.joints, own), mesh.weights, 0.0).sum(axis=1)
        for own in (low, ends, others, list(carriers))
    )
    # Breeches and skirts may follow the pelvis down to the knee; another leg, never; and a foot nothing but its leg.
    stray = np.maximum(np.where(on_low > 0.5, on_others, 0.0), np.where(on_end > 0.5, 1.0 - on_own, 0.0))
    at = int(stray.argmax())
    measures = [
        Measure(
            "weight on a strange joint",
            bounded(stray[at]),
            STRAY_WEIGHT,
            "of the weight",
            leg=leg.name,
            place=subject.vertex(at),
        )
    ]
    if len(leg.sole):
        foot = [joint for joint, carrier in carriers.items() if carrier in (leg.foot, leg.toes)]
        above = np.where(np.isin(mesh.joints[leg.sole], foot), 0.0, mesh.weights[leg.sole]).sum(axis=1)
        at = int(above.argmax())
        measures.append(
            Measure(
                "weight of the sole above the ankle",
                bounded(above[at]),
                SOLE_LEFT_BEHIND,
                "of the weight",
                leg=leg.name,
                place=subject.vertex(int(leg.sole[at])),
            )
        )
    return measures


@dataclass(frozen=True, eq=False)
class Surface:
    """The foot's triangles: `faces` (F, 3) into `skin`'s vertices, the joint that leads each, and its openings."""

    subject: Subject
    skin: Skinned
    faces: IntArray
    leads: IntArray
    caps: IntArray
    """(E, 2) open edges in the direction that closes them, and `loops` (E,) which opening each belongs to."""
    loops: IntArray
    rest: FloatArray
    """(V, 3)."""

    @staticmethod
    def of(subject: Subject, leg: LegLandmarks) -> Surface:
        """Triangles all of whose vertices belong to the foot; vertices at one place are one."""
        mesh = subject.mesh
        assert mesh is not None
        inside = np.isin(mesh.faces, leg.vertices).all(axis=1)
        used, compact = np.unique(mesh.faces[inside], return_inverse=True)
        places = np.round(mesh.positions[used] / (1e-6 * subject.unit)).astype(np.int64)
        _, first, same = np.unique(places, axis=0, return_index=True, return_inverse=True)
        faces = same.ravel()[compact.reshape(-1, 3)]
        whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
        faces = faces[whole]
        skin = Skinned.of(subject, used[first])
        own = np.zeros((len(first), len(subject.rig.character.skeleton)))
        np.add.at(own, (np.arange(len(first))[:, None], mesh.joints[used[first]]), mesh.weights[used[first]])
        leads = own[faces].sum(axis=1).argmax(axis=1)
        edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
        _, which, count = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True, return_counts=True)
        caps = edges[count[which.ravel()] == 1][:, ::-1]
        graph = sparse.coo_array((np.ones(len(caps)), (caps[:, 0], caps[:, 1])), shape=(len(first), len(first)))
        _, component = csgraph.connected_components(graph, directed=False)
        _, loops = np.unique(component[caps[:, 0]], return_inverse=True)
        return Surface(subject, skin, faces, leads, caps, loops.ravel(), mesh.positions[used[first]])

    def normals(self, points: FloatArray) -> FloatArray:
        """(..., F, 3) normals of twice the area's length."""
        a, b, c = (points[..., self.faces[:, corner], :] for corner in range(3))
        return np.asarray(np.cross(b - a, c - a), dtype=np.float64)

    def volume(self, points: FloatArray) -> FloatArray:
        """(N,) volume inside, for points (N, V, 3): each opening is closed by a cone from its own middle."""
        a, b, c = (points[:, self.faces[:, corner]] for corner in range(3))
        total = np.einsum("nfa,nfa->n", a, np.cross(b, c))
        for loop in range(int(self.loops.max(initial=-1)) + 1):
            own = self.caps[self.loops == loop]
            start, end = points[:, own[:, 0]], points[:, own[:, 1]]
            middle = start.mean(axis=1, keepdims=True)
            total += np.einsum("nea,nea->n", np.broadcast_to(middle, start.shape), np.cross(start, end))
        return np.asarray(total / 6.0, dtype=np.float64)


def _surface(subject: Subject, leg: LegLandmarks) -> list[Measure]:
    surface = Surface.of(subject, leg)
    if not len(surface.faces):
        return []
    before = surface.normals(surface.rest)
    size = np.linalg.norm(before, axis=1)
    whole = abs(float(surface.volume(surface.rest[None])[0]))
    used, lead = np.unique(surface.leads, return_inverse=True)

    def within(poses: Poses) -> BoolArray:
        # Roll and pitch add up: what counts is how far the ankle itself has bent.
        shin, foot = (poses.rotation[:, joint] for joint in (leg.shin, leg.foot))
        w = (shin * foot).sum(axis=1)
        v = shin[:, :1] * foot[:, 1:] - foot[:, :1] * shin[:, 1:] - np.cross(shin[:, 1:], foot[:, 1:])
        left = np.cross(leg.sole_normal, leg.axis)
        bent = np.degrees(2.0 * np.arctan2(v @ left, w))
        bent = (bent + 180.0) % 360.0 - 180.0
        return np.asarray((bent >= ANKLE_DEG[0]) & (bent <= ANKLE_DEG[1]), dtype=np.bool_)

    def folded(rows: FloatArray) -> FloatArray:
        poses = subject.evaluate(rows)
        after = surface.normals(surface.skin.positions(poses)) / (poses.scale**2)[:, None, None]
        turn = rotation_matrices(poses.rotation[:, used])
        dot = np.einsum("nfa,nfa->nf", after, _carried(turn, lead, before))
        bad = (dot <= 0.0) | (np.linalg.norm(after, axis=2) < 0.05 * size)
        return np.asarray(np.where(within(poses), (bad * size).sum(axis=1) / size.sum(), 0.0), dtype=np.float64)

    def shrunk(rows: FloatArray) -> FloatArray:
        poses = subject.evaluate(rows)
        volume = np.abs(surface.volume(surface.skin.positions(poses))) / poses.scale**3
        return np.asarray(np.where(within(poses), np.abs(volume / whole - 1.0), 0.0), dtype=np.float64)

    foot = f"{leg.name}.foot"
    base = subject.put(subject.rest(), {f"{foot}.up": LIFT * subject.unit})[0]
    families = []
    for bend, ends in ((f"{foot}.roll", (-180.0, 180.0)), (f"{leg.name}.toes.bend", TOES_DEG)):
        spans = span(subject, [bend, f"{foot}.pitch"])
        for name, (low, high) in ((bend, ends), (f"{foot}.pitch", (-60.0, 60.0))):
            if name in spans:
                spans[name] = (max(spans[name][0], low), min(spans[name][1], high))
        if spans:
            families.append(spans)
    measures = []
    for what, figure, allowed, unit in (
        ("skin folded or collapsed", folded, FOLDED_SKIN, "of the foot's skin"),
        ("change of the foot's volume", shrunk, FOOT_VOLUME, "of its volume at rest"),
    ):
        found = [
            find_worst(
                subject,
                _in_small_blocks(figure, len(surface.faces)),
                spans,
                count=32,
                words=(NAME, leg.name, what, *spans),
                base=base,
                settled=0.5 * allowed,
                starts=1,
                rounds=12,
            )
            for spans in families
        ]
        worst = max(found, key=lambda each: each.figure)
        measures.append(
            Measure(
                what,
                bounded(worst.figure),
                allowed,
                unit,
                leg=leg.name,
                pose=subject.pose(worst.row),
                place=subject.landmark(leg, "ball" if leg.toes is not None else "ankle"),
            )
        )
    return measures


def _carried(turn: FloatArray, lead: IntArray, normals: FloatArray) -> FloatArray:
    """(N, F, 3) normals (F, 3) turned with the joint that leads each triangle."""
    carried = np.empty((len(turn), len(normals), 3))
    for joint in range(turn.shape[1]):
        own = np.flatnonzero(lead.ravel() == joint)
        carried[:, own] = np.einsum("nab,fb->nfa", turn[:, joint], normals[own])
    return carried


def _in_small_blocks(figure: Figure, faces: int) -> Figure:
    """The same figure, in blocks whose triangles take some 32 MB."""
    block = max(4, 400_000 // max(faces, 1))

    def blocked(rows: FloatArray) -> FloatArray:
        return np.concatenate([figure(rows[start : start + block]) for start in range(0, len(rows), block)])

    return blocked
