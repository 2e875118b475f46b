"""The soles of a clip: points of heel, ball and tip of each foot, frame by frame, in the body's axes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character import Poses
from instep.character.arrays import FloatArray, IntArray
from instep.character.pose import rotation_matrices
from instep.character.skinning import skin_vertices
from instep.landmarks import LegLandmarks
from instep.motion.model import Part
from instep.rig import Rig

MOST_POINTS: Final = 24
"""Points of a part that are watched: those that stand lowest at rest, spread along the part."""

HEEL_SHARE: Final = 0.3
"""Share of the way from heel to ball that belongs to the heel."""

LOW_BAND: Final = 0.006
"""Fraction of foot length: of a part only what lies this close over its own lowest point at rest can bear first.
Higher points of the tread would say that a flat foot hovers."""


@dataclass(frozen=True, slots=True, eq=False)
class SolePart:
    """Points of a part of a sole. points : (N, P, 3) in the body's axes. rest : (P,) heights over the sole at rest."""

    points: FloatArray
    rest: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SoleTracks:
    """The soles of a clip. parts : by leg and part. foot_length : by leg. pelvis : (N, 3)."""

    parts: dict[str, dict[Part, SolePart]]
    foot_length: dict[str, float]
    pelvis: FloatArray


def part_vertices(rig: Rig, leg: LegLandmarks) -> dict[Part, IntArray]:
    """The mesh's vertices that stand for heel, ball and tip of a foot; empty where the sole was not measured.

    Along the foot, from the heel point (0) over the ball (b) to the tip (t): the heel up to 0.3 b, the tip from
    halfway between ball and tip on, the ball between 0.8 b and there. Without a toe joint the ball is left out.
    """
    mesh = rig.character.mesh
    if mesh is None or not len(leg.sole):
        return {}
    offset = mesh.positions[leg.sole] - leg.heel.position
    along, height = offset @ leg.axis, offset @ leg.sole_normal
    ball = float((leg.ball.position - leg.heel.position) @ leg.axis)
    tip = float((leg.tip.position - leg.heel.position) @ leg.axis)
    split = ball + 0.5 * (tip - ball)
    where: dict[Part, tuple[float, float]] = {
        "heel": (-np.inf, HEEL_SHARE * ball),
        "ball": (0.8 * ball, split),
        "tip": (split, np.inf),
    }
    if leg.toes is None:
        del where["ball"]
        where["tip"] = (0.8 * tip, np.inf)
    found: dict[Part, IntArray] = {}
    for part, (low, high) in where.items():
        inside = np.flatnonzero((along >= low) & (along <= high))
        if not len(inside):
            continue
        kept = inside[height[inside] <= height[inside].min() + LOW_BAND * leg.foot_length]
        kept = kept[np.argsort(along[kept], kind="stable")]
        pick = np.unique(np.linspace(0, len(kept) - 1, min(MOST_POINTS, len(kept))).round().astype(np.int64))
        found[part] = leg.sole[kept[pick]]
    return found


def sole_tracks(rig: Rig, poses: Poses) -> SoleTracks:
    """The soles of poses of the rig's character: skinned where there is a mesh, otherwise the landmarks, rigid."""
    R = rig.plan.R_world_body
    parts: dict[str, dict[Part, SolePart]] = {}
    for leg in rig.measurement.legs:
        vertices = part_vertices(rig, leg)
        mesh = rig.character.mesh
        if vertices and mesh is not None:
            rows = np.concatenate(list(vertices.values()))
            skinned = skin_vertices(mesh, rig.character.skeleton, poses, rows) @ R
            rest = (mesh.positions[rows] - leg.heel.position) @ leg.sole_normal
            ends = np.cumsum([0, *(len(own) for own in vertices.values())])
            parts[leg.name] = {
                part: SolePart(skinned[:, a:b], rest[a:b])
                for part, a, b in zip(vertices, ends[:-1], ends[1:], strict=True)
            }
        else:
            parts[leg.name] = {
                part: SolePart(points[:, None], np.zeros(1)) for part, points in mark_tracks(rig, poses, leg).items()
            }
    pelvis = poses.position[:, rig.measurement.pelvis] @ R
    return SoleTracks(parts, {leg.name: leg.foot_length for leg in rig.measurement.legs}, pelvis)


def marks(leg: LegLandmarks) -> dict[Part, tuple[FloatArray, int]]:
    """The point of each part that is held in a contact, at rest in the world, and the joint that carries it.

    The heel point; the point of the sole under the ball; the toe tip. Ball and tip are the toes' where there are any:
    the ball's own joint lies right over the point, so that lifting the heel leaves it in place.
    """
    on_sole = leg.ball.position - leg.sole_normal * float((leg.ball.position - leg.heel.position) @ leg.sole_normal)
    front = leg.foot if leg.toes is None else leg.toes
    found: dict[Part, tuple[FloatArray, int]] = {"heel": (leg.heel.position, leg.foot)}
    if leg.toes is not None:
        found["ball"] = (on_sole, front)
    found["tip"] = (leg.tip.position, front)
    return found


def mark_tracks(rig: Rig, poses: Poses, leg: LegLandmarks) -> dict[Part, FloatArray]:
    """(N, 3) in the body's axes, where the held point of each part goes."""
    found: dict[Part, FloatArray] = {}
    for part, (point, joint) in marks(leg).items():
        offset = point - rig.character.skeleton.positions[joint]
        turned = (rotation_matrices(poses.rotation[:, joint]) @ offset) * poses.scale[:, None]
        found[part] = np.asarray((poses.position[:, joint] + turned) @ rig.plan.R_world_body, dtype=np.float64)
    return found
