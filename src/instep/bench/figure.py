"""The rig and the mesh as the page draws them: plain data, without anything that only the server needs."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from instep.bench.messages import (
    ChannelInfo,
    DriverInfo,
    JointInfo,
    LandmarkInfo,
    LegInfo,
    PartInfo,
    Point,
    RigInfo,
    ShapeInfo,
)
from instep.character import Character, Mesh
from instep.character.arrays import FloatArray, IntArray
from instep.delivery.lengths import METRES
from instep.landmarks import Landmark, LegLandmarks, Measurement
from instep.rig import Rig
from instep.rig.description import TunedLeg
from instep.rig.shapes import control_shapes
from instep.tolerances import WELD

SOLE_DEPTH: Final = 0.2
"""Of the foot's length over the sole plane: what lies there and faces down is drawn on the map of the sole."""

SOLE_FACING: Final = 0.25
"""Cosine between a triangle's normal and straight down, from which on it belongs to the map."""

TOUCHES: Final = 5e-3
"""Of the foot's length: a sole this near to the floor is said to touch. As `tolerances.SOLE_SINKS`."""

PICTURE_HEIGHT: Final = 0.7
"""Of the foot's length over the sole plane: as much of the shin is on a foot's picture."""

EVIDENCE_SHOWN: Final = 40
"""Points of a landmark's evidence that are drawn at most."""


def rig_info(rig: Rig, unaided: Measurement, rig_revision: int, mesh_revision: int) -> RigInfo:
    """The rig as the page draws it. `unaided` is what is measured where nothing is set by hand."""
    R = rig.measurement.R_world_body
    mesh = rig.character.mesh
    assert mesh is not None  # without one nothing could have been measured
    height = float(np.ptp(mesh.positions @ R[:, 1]))
    lengths = [leg.foot_length for leg in rig.measurement.legs]
    return RigInfo(
        rig_revision=rig_revision,
        mesh_revision=mesh_revision,
        channels=tuple(
            ChannelInfo(
                name=channel.name, control=channel.control, quantity=channel.quantity, unit=channel.unit,
                low=channel.low, high=channel.high, default=channel.default, sentence=channel.sentence,
            )
            for channel in rig.channels
        ),
        drivers=tuple(
            DriverInfo(name=name, point=_point(point))
            for name, point in zip(rig.plan.drivers, rig.plan.points, strict=True)
        ),
        joints=tuple(
            JointInfo(name=name, follows=int(driver), bind=_point(bind))
            for name, driver, bind in zip(
                rig.character.skeleton.names, rig.plan.followers, rig.character.skeleton.positions, strict=True
            )
        ),
        shapes=tuple(
            ShapeInfo(
                control=shape.control, side=shape.side, shape=shape.kind,
                polylines=tuple(tuple(_point(point) for point in line) for line in shape.polylines),
            )
            for shape in control_shapes(rig)
        ),
        legs=tuple(
            _leg_info(rig, mesh, leg, found) for leg, found in zip(rig.measurement.legs, unaided.legs, strict=True)
        ),
        parts=tuple(
            PartInfo(name=part.name, first=part.vertices.start, count=part.vertices.stop - part.vertices.start)
            for part in mesh.parts
        ),
        left=_point(R[:, 0]),
        up=_point(R[:, 1]),
        forward=_point(R[:, 2]),
        floor=rig.measurement.floor,
        leg_length=rig.measurement.leg_length,
        height=height,
        mm=METRES[0] <= height <= METRES[1],
        touches=TOUCHES * float(np.mean(lengths)),
        remarks=rig.measurement.remarks,
    )  # fmt: skip


def mesh_bytes(character: Character) -> bytes:
    """The mesh, little-endian: uint32 V, F, K (4 or 8); float32 positions (V, 3) and normals (V, 3); uint32 faces
    (F, 3); uint16 joints (V, K); float32 weights (V, K).

    Weights beyond the K largest are left out and the rest made to sum to 1: it is for drawing.
    """
    mesh = character.mesh
    assert mesh is not None
    joints, weights = _strongest(mesh)
    head = np.array([len(mesh), len(mesh.faces), joints.shape[1]], dtype="<u4")
    blocks = (
        head,
        mesh.positions.astype("<f4"),
        smooth_normals(mesh).astype("<f4"),
        mesh.faces.astype("<u4"),
        joints.astype("<u2"),
        weights.astype("<f4"),
    )
    return b"".join(block.tobytes() for block in blocks)


def smooth_normals(mesh: Mesh) -> FloatArray:
    """(V, 3) unit normals, each the mean of its triangles' by area; vertices at one place in one part share theirs."""
    corners = mesh.positions[mesh.faces]
    areas = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = max(float(np.linalg.norm(np.ptp(mesh.positions, axis=0))), 1e-300)
    cells = np.round(mesh.positions / (WELD * size)).astype(np.int64)
    part = np.zeros(len(mesh), dtype=np.int64)
    for number, piece in enumerate(mesh.parts):
        part[piece.vertices] = number
    _, welded = np.unique(np.column_stack([cells, part]), axis=0, return_inverse=True)
    welded = np.asarray(welded).reshape(-1)
    summed = np.zeros((int(welded.max()) + 1, 3))
    for corner in range(3):
        np.add.at(summed, welded[mesh.faces[:, corner]], areas)
    lengths = np.linalg.norm(summed, axis=1, keepdims=True)
    normals = summed / np.where(lengths > 0.0, lengths, 1.0)
    return np.asarray(normals[welded], dtype=np.float64)


def _strongest(mesh: Mesh) -> tuple[IntArray, FloatArray]:
    """(V, K) joints and weights: four of each vertex, or eight where four are not all."""
    wide = mesh.weights.shape[1]
    order = np.argsort(-mesh.weights, axis=1, kind="stable")
    weights = np.take_along_axis(mesh.weights, order, axis=1)
    joints = np.take_along_axis(mesh.joints, order, axis=1)
    count = 4 if wide <= 4 or not (weights[:, 4:] > 0.0).any() else 8
    kept_weights = np.zeros((len(mesh), count))
    kept_joints = np.zeros((len(mesh), count), dtype=np.int64)
    kept_weights[:, : min(wide, count)] = weights[:, :count]
    kept_joints[:, : min(wide, count)] = joints[:, :count]
    return kept_joints, kept_weights / kept_weights.sum(axis=1, keepdims=True)


def _leg_info(rig: Rig, mesh: Mesh, leg: LegLandmarks, found: LegLandmarks) -> LegInfo:
    plan = next(plan for plan in rig.plan.legs if plan.name == leg.name)
    hand = rig.description.by_hand.tuned.get(leg.name, TunedLeg())
    across = np.cross(leg.sole_normal, leg.axis)
    outline = leg.outline if len(leg.outline) else np.stack([leg.inner.position, leg.outer.position])
    return LegInfo(
        name=leg.name,
        side=leg.side,
        landmarks=tuple(_landmark_info(mesh, name, mark, found) for name, mark in leg.landmarks.items()),
        sole_normal=_point(leg.sole_normal),
        axis=_point(leg.axis),
        foot_length=leg.foot_length,
        breadth=float(np.ptp(outline @ across)),
        heel_height=leg.heel_height,
        outline=tuple(_point(point) for point in leg.outline),
        sole_faces=tuple(int(face) for face in _sole_faces(mesh, leg)),
        vertices=tuple(int(vertex) for vertex in leg.vertices),
        drawn=tuple(int(vertex) for vertex in _drawn(mesh, leg)),
        has_toes=plan.has_toes,
        hold=plan.hold,
        ball_gives_out_deg=plan.ball_gives_out_deg,
        tip_takes_over_deg=plan.tip_takes_over_deg,
        hold_by_hand=hand.hold is not None,
        ball_by_hand=hand.ball_gives_out_deg is not None,
        tip_by_hand=hand.tip_takes_over_deg is not None,
    )  # fmt: skip


def _landmark_info(mesh: Mesh, name: str, mark: Landmark, found: LegLandmarks) -> LandmarkInfo:
    return LandmarkInfo(
        name=name,
        position=_point(mark.position),
        measured=_point(found.landmarks[name].position) if name in found.landmarks else None,
        confidence=float(mark.confidence),
        source=mark.source,
        by_hand=mark.by_hand,
        evidence=tuple(_point(mesh.positions[vertex]) for vertex in _some(mark.evidence)),
    )


def _sole_faces(mesh: Mesh, leg: LegLandmarks) -> IntArray:
    """Numbers of the triangles of a foot that face the floor and lie near it."""
    own = np.zeros(len(mesh), dtype=np.bool_)
    own[leg.vertices] = True
    candidates = np.flatnonzero(own[mesh.faces].all(axis=1))
    corners = mesh.positions[mesh.faces[candidates]]
    height = ((corners - leg.heel.position) @ leg.sole_normal).min(axis=1)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normals, axis=1)
    down = -(normals @ leg.sole_normal)
    chosen = (height < SOLE_DEPTH * leg.foot_length) & (down > SOLE_FACING * area) & (area > 0.0)
    return np.asarray(candidates[chosen], dtype=np.int64)


def _drawn(mesh: Mesh, leg: LegLandmarks) -> IntArray:
    """Vertices of a foot and of the shin over it, as high as PICTURE_HEIGHT."""
    own = [joint for joint, carrier in leg.joints if carrier != leg.thigh]
    weight = np.where(np.isin(mesh.joints, own), mesh.weights, 0.0).sum(axis=1)
    height = (mesh.positions - leg.heel.position) @ leg.sole_normal
    return np.asarray(np.flatnonzero((weight > 0.5) & (height < PICTURE_HEIGHT * leg.foot_length)), dtype=np.int64)


def _some(evidence: IntArray) -> IntArray:
    if len(evidence) <= EVIDENCE_SHOWN:
        return evidence
    return evidence[np.linspace(0, len(evidence) - 1, EVIDENCE_SHOWN).astype(np.int64)]


def _point(position: ArrayLike) -> Point:
    x, y, z = np.asarray(position, dtype=np.float64)
    return float(x), float(y), float(z)
