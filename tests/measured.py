"""The biped's landmarks as a `Measurement`, from its construction: rig tests then do not hang on measuring."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

from instep.character import Character
from instep.character.arrays import FloatArray
from instep.landmarks import Landmark, LegLandmarks, Measurement
from tests.biped import biped_landmarks, make_biped


def _landmark(position: FloatArray) -> Landmark:
    return Landmark(np.asarray(position, dtype=np.float64), 1.0, np.zeros(0, dtype=np.int64), "made")


def _leg(character: Character, truth: dict[str, FloatArray], side: Literal["left", "right"]) -> LegLandmarks:
    skeleton = character.skeleton
    p = {key.partition(".")[2]: value for key, value in truth.items() if key.startswith(side + ".")}
    joints = {part: _find(character, f"{part}.{side}") for part in ("thigh", "shin", "foot", "toes")}
    thigh, shin, foot, toes = (joints[part] for part in ("thigh", "shin", "foot", "toes"))
    assert thigh is not None
    assert shin is not None
    assert foot is not None
    axis = p["tip"] - p["heel"]
    length = float(np.linalg.norm(axis))
    left = p["outer"] - p["inner"] if side == "left" else p["inner"] - p["outer"]
    normal = np.cross(axis, left)
    normal /= np.linalg.norm(normal)
    axis = axis - normal * (axis @ normal)
    own = [joint for joint in (thigh, shin, foot, toes) if joint is not None]
    inside = skeleton.below(thigh)
    carried = tuple((j, next(k for k in (j, *skeleton.ancestors(j)) if k in own)) for j in inside)
    mesh = character.mesh
    assert mesh is not None
    weight = np.where(np.isin(mesh.joints, [foot, -1 if toes is None else toes]), mesh.weights, 0.0).sum(axis=1)
    vertices = np.flatnonzero(weight > 0.5)
    height = (mesh.positions[vertices] - p["heel"]) @ normal
    return LegLandmarks(
        name=side,
        side=side,
        thigh=thigh,
        shin=shin,
        foot=foot,
        toes=toes,
        toe_end=None,
        joints=carried,
        hip=_landmark(p["hip"]),
        knee=_landmark(p["knee"]),
        ankle=_landmark(p["ankle"]),
        ball=_landmark(p["ball"]),
        toe=None,
        heel=_landmark(p["heel"]),
        tip=_landmark(p["tip"]),
        inner=_landmark(p["inner"]),
        outer=_landmark(p["outer"]),
        sole_normal=normal,
        axis=axis / np.linalg.norm(axis),
        heel_height=0.0,
        outline=np.zeros((0, 3)),
        sole=vertices[np.abs(height) < 1e-3 * length],
        vertices=vertices,
        foot_length=length,
    )


def _find(character: Character, name: str) -> int | None:
    return character.skeleton.names.index(name) if name in character.skeleton.names else None


def make_measured_biped(**options: Any) -> tuple[Character, Measurement]:
    """A biped (options as `make_biped`) with its true landmarks."""
    character = make_biped(**options)
    keys = ("knee_bend_deg", "heel_height", "toe_out_deg", "R_world", "scale", "offset")
    truth = biped_landmarks(**{key: options[key] for key in keys if key in options})
    left, right = _leg(character, truth, "left"), _leg(character, truth, "right")
    R = options.get("R_world")
    R = np.eye(3) if R is None else np.asarray(R)
    leg = left.landmarks
    bones = np.linalg.norm(leg["knee"].position - leg["hip"].position)
    bones += np.linalg.norm(leg["ankle"].position - leg["knee"].position)
    pelvis = _find(character, "pelvis")
    assert pelvis is not None
    floor = float((R.T @ left.heel.position)[1])
    return character, Measurement(R, floor, pelvis, (left, right), float(bones))
