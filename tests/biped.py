"""A two-legged character made by code: closed tubes and lofted feet, skinned by smooth weights.

It stands on the floor y = 0, faces +Z, has its left at +X and is 1.7 m tall, before `R_world`, `scale` and
`offset` are applied. Bind and rest pose are the same. Deterministic, mirror symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character import Character, Mesh, MeshPart, Skeleton
from instep.character.arrays import FloatArray, IntArray

HEEL_Z, TIP_Z, ANKLE_Z, BALL_Z = -0.06, 0.19, 0.0, 0.115
ANKLE_Y, HIP_Y, HIP_X, BALL_Y = 0.085, 0.905, 0.095, 0.03
HEEL_BLOCK_Z = -0.005
"""Front face of the heel block of a heeled foot."""
HALF_WIDTH = np.array(
    [[-0.06, 0.012], [-0.052, 0.022], [-0.035, 0.031], [0.0, 0.034], [0.04, 0.036], [0.085, 0.043],
     [0.115, 0.0475], [0.145, 0.045], [0.17, 0.036], [0.183, 0.024], [0.19, 0.012]]
)  # fmt: skip
"""Of the tread: z, half its width. The widest place is at the ball."""
TOP = np.array(
    [[-0.06, 0.045], [-0.04, 0.075], [0.0, 0.095], [0.03, 0.09], [0.07, 0.07], [0.115, 0.05],
     [0.15, 0.035], [0.178, 0.028], [0.19, 0.018]]
)  # fmt: skip
"""Of the foot: z, height of its upper side over the tread."""


@dataclass(frozen=True)
class _Piece:
    name: str
    positions: FloatArray
    faces: IntArray
    weights: FloatArray
    """(n, J) dense."""


def _basis(along: FloatArray, hint: tuple[float, float, float]) -> FloatArray:
    """Rotation whose Y runs along the bone and whose Z lies as near to `hint` as it can."""
    y = along / np.linalg.norm(along)
    x = np.cross(y, hint)
    x /= np.linalg.norm(x)
    return np.stack([x, y, np.cross(x, y)], axis=1)


def _closed_tube(rings: FloatArray) -> tuple[FloatArray, IntArray]:
    """Points and triangles of a tube through rings (R, n, 3), closed by a fan at each end.

    Rings run counter-clockwise seen from the far end (the tube's direction of travel towards the eye).
    """
    count, around = rings.shape[:2]
    points = np.concatenate([rings.reshape(-1, 3), rings[[0, -1]].mean(axis=1)])
    i = np.arange(around)
    k = (i + 1) % around
    faces = []
    for ring in range(count - 1):
        a, b = ring * around, (ring + 1) * around
        faces += [np.stack([a + i, a + k, b + k], axis=1), np.stack([a + i, b + k, b + i], axis=1)]
    start, end, last = count * around, count * around + 1, (count - 1) * around
    faces.append(np.stack([np.full(around, start), k, i], axis=1))
    faces.append(np.stack([np.full(around, end), last + i, last + k], axis=1))
    return points, np.concatenate(faces)


def _limb(
    path: FloatArray, radii: FloatArray, around: int, per_span: int, hint: tuple[float, float, float]
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Tube along a polyline with rounded ends; also each point's place along it, in spans."""
    spans = len(path) - 1
    place = np.linspace(0.0, spans, spans * per_span + 1)
    knots = np.arange(len(path))
    centre = np.stack([np.interp(place, knots, path[:, a]) for a in range(3)], axis=1)
    radius = np.interp(place, knots, radii)
    direction = np.gradient(centre, axis=0)
    direction /= np.linalg.norm(direction, axis=1)[:, None]
    for end, inwards in ((0, 1), (-1, -1)):  # round the ends off
        tip, r = centre[end], radius[end]
        for step in (0.5, 0.9):
            cap = tip - inwards * direction[end] * r * step
            rows = (0 if end == 0 else len(centre), cap)
            centre = np.insert(centre, rows[0], rows[1], axis=0)
            radius = np.insert(radius, rows[0], r * np.sqrt(1 - step * step))
            direction = np.insert(direction, rows[0], direction[end], axis=0)
            place = np.insert(place, rows[0], place[end])
    angle = np.linspace(0, 2 * np.pi, around, endpoint=False)
    side = np.cross(direction, hint)
    side /= np.linalg.norm(side, axis=1)[:, None]
    other = np.cross(direction, side)
    rings = centre[:, None] + radius[:, None, None] * (
        np.cos(angle)[None, :, None] * side[:, None] + np.sin(angle)[None, :, None] * other[:, None]
    )
    points, faces = _closed_tube(rings)
    return points, faces, np.concatenate([np.repeat(place, around), place[[0, -1]]])


def _smooth(x: FloatArray) -> FloatArray:
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x * x * (3 - 2 * x), dtype=np.float64)


def _chain_weights(place: FloatArray, joints: list[int], count: int, width: float) -> FloatArray:
    """Span s belongs to joints[s]; across each knot the weight passes smoothly within +-width spans."""
    weights = np.zeros((len(place), count))
    share = np.ones(len(place))
    for span, joint in enumerate(joints):
        passed = _smooth((place - (span + 1) + width) / (2 * width)) if span + 1 < len(joints) else 0 * place
        weights[:, joint] += share * (1 - passed)
        share = share * passed
    return weights


def _foot_rings(heel_height: float, around: int) -> tuple[FloatArray, FloatArray]:
    """Rings (R, n, 3) of a left foot at x = 0 from heel to tip; also each ring's z."""
    z = np.unique(np.concatenate([HALF_WIDTH[:, 0], np.linspace(HEEL_Z, TIP_Z, 18)]))
    half = np.interp(z, *HALF_WIDTH.T)
    top = np.interp(z, *TOP.T)
    # The underside of a heeled foot: flat at the ball and the toes, rising to the heel block's top.
    under = heel_height * (1 - _smooth((z - HEEL_BLOCK_Z) / (BALL_Z - 0.025 - HEEL_BLOCK_Z)))
    flat = around // 3
    bottom = np.stack([np.linspace(1, -1, flat), np.zeros(flat)], axis=1)
    angle = np.linspace(np.pi, 0, around - flat + 2)[1:-1]
    dome = np.stack([np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** 0.6, np.sin(angle) ** 0.8], axis=1)
    shape = np.concatenate([bottom, dome])[::-1]
    rings = np.empty((len(z), around, 3))
    rings[..., 0] = shape[None, :, 0] * half[:, None]
    rings[..., 1] = under[:, None] + shape[None, :, 1] * top[:, None]
    rings[..., 2] = z[:, None]
    return rings, z


def _yaw(angle_deg: float) -> FloatArray:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def _leg_joints(knee_bend_deg: float, heel_height: float, toe_out_deg: float) -> dict[str, FloatArray]:
    """Joint centres of the left leg."""
    hip = np.array([HIP_X, HIP_Y + heel_height, 0.0])
    ankle = np.array([HIP_X, ANKLE_Y + heel_height, ANKLE_Z])
    line = hip[1] - ankle[1]
    p, q = 0.51 * line, 0.49 * line
    tangent = np.tan(np.radians(knee_bend_deg))
    forward = 0.0 if knee_bend_deg == 0 else (-line + np.sqrt(line**2 + 4 * tangent**2 * p * q)) / (2 * tangent)
    turn = _yaw(toe_out_deg)
    centre = np.array([HIP_X, 0.0, ANKLE_Z])
    return {
        "thigh": hip,
        "shin": np.array([HIP_X, hip[1] - p, forward]),
        "foot": ankle,
        "toes": centre + turn @ np.array([0.0, BALL_Y, BALL_Z]),
        "toe_end": centre + turn @ np.array([0.0, 0.02, TIP_Z - 0.01]),
    }


def make_biped(
    *,
    knee_bend_deg: float = 3.0,
    heel_height: float = 0.0,
    toe_out_deg: float = 0.0,
    toes: bool = True,
    toe_end: bool = False,
    along_bones: bool = True,
    around: int = 12,
    R_world: FloatArray | None = None,
    scale: float = 1.0,
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0),
    name: str = "biped",
) -> Character:
    """A biped of about 2,600 vertices in three mesh parts ("body", "legs", "feet").

    Parameters
    ----------
    knee_bend_deg : flexion of the knees in the bind pose; 0 is exactly straight.
    heel_height : height of the heel block in metres; 0 makes a flat, bare foot.
    toe_out_deg : how far the feet are turned outwards about the ankles' vertical.
    toes, toe_end : whether there is a joint at the ball, and one more at the toes' end, without weight.
    along_bones : joints' Y axes run along the bones; otherwise all joints have the world's axes.
    around : vertices around a limb.
    R_world, scale, offset : the finished character is turned, scaled, moved: x -> scale R x + offset.
    """
    names: list[str] = []
    parents: list[int] = []
    places: list[FloatArray] = []
    ends: list[FloatArray] = []
    hints: list[tuple[float, float, float]] = []
    forward, up = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)

    def joint(
        label: str, parent: str | None, place: FloatArray, end: FloatArray, hint: tuple[float, float, float]
    ) -> None:
        names.append(label)
        parents.append(-1 if parent is None else names.index(parent))
        places.append(np.asarray(place, dtype=np.float64))
        ends.append(np.asarray(end, dtype=np.float64))
        hints.append(hint)

    h = heel_height
    spots = [np.array([0.0, y + h, 0.0]) for y in (0.98, 1.1, 1.25, 1.45, 1.53, 1.7)]
    joint("root", None, np.zeros(3), np.array([0.0, 0.3, 0.0]), forward)
    for i, (label, parent) in enumerate(
        [("pelvis", "root"), ("spine", "pelvis"), ("chest", "spine"), ("neck", "chest"), ("head", "neck")]
    ):
        joint(label, parent, spots[i], spots[i + 1], forward)
    left_leg = _leg_joints(knee_bend_deg, h, toe_out_deg)
    left_arm = [
        np.array([0.17, 1.42 + h, 0]),
        np.array([0.33, 1.2 + h, -0.005]),
        np.array([0.47, 1.0 + h, 0.02]),
    ]
    left_arm.append(left_arm[2] + np.array([0.055, -0.08, 0.01]))
    mirror = {"left": np.array([1.0, 1, 1]), "right": np.array([-1.0, 1, 1])}
    leg_labels = ["thigh", "shin", "foot"] + ["toes"] * toes + ["toe_end"] * (toes and toe_end)
    for side, flip in mirror.items():
        arm = [p * flip for p in left_arm]
        for i, label in enumerate(["upper_arm", "forearm", "hand"]):
            parent = "chest" if i == 0 else names[-1]
            joint(f"{label}.{side}", parent, arm[i], arm[i + 1], forward)
        ordered = ["thigh", "shin", "foot", "toes", "toe_end"]
        for i, label in enumerate(leg_labels):
            place = left_leg[label] * flip
            end = left_leg[ordered[i + 1]] * flip if label != "toe_end" else place + places[-1] - places[-2]
            hint = forward if label in ("thigh", "shin") else up
            joint(f"{label}.{side}", "pelvis" if i == 0 else names[-1], place, end, hint)
    count = len(names)

    pieces: list[_Piece] = []

    def tube(
        part: str,
        path: list[FloatArray],
        radii: list[float],
        joints: list[str],
        width: float,
        hint: tuple[float, float, float],
        per_span: int = 6,
    ) -> None:
        points, faces, place = _limb(np.array(path), np.array(radii), around, per_span, hint)
        weights = _chain_weights(place, [names.index(j) for j in joints], count, width)
        pieces.append(_Piece(part, points, faces, weights))

    body_path = [spots[0] - [0, 0.06, 0], spots[1], spots[2], spots[3]]
    tube("body", body_path, [0.13, 0.125, 0.15, 0.1], ["pelvis", "spine", "chest"], 0.4, forward)
    tube("body", [spots[3], spots[4], spots[4] + [0, 0.03, 0.01]], [0.05, 0.05, 0.05], ["neck", "head"], 0.4,
         forward, 3)  # fmt: skip
    head = [spots[4] + [0, 0.02, 0.0], spots[4] + [0, 0.1, 0.01], spots[5] - [0, 0.03, 0]]
    tube("body", head, [0.06, 0.085, 0.07], ["head"], 0.4, forward, 4)

    rings, ring_z = _foot_rings(h, max(around, 12) + 2)
    foot_points, foot_faces = _closed_tube(rings)
    foot_place = np.concatenate([np.repeat(ring_z, rings.shape[1]), ring_z[[0, -1]]])
    # The blend across the ball ends at the ball joint: the tread of the toes belongs to the toes alone.
    toe_share = _smooth((foot_place - (BALL_Z - 0.035)) / 0.035) if toes else 0 * foot_place
    for side, flip in mirror.items():
        arm = [p * flip for p in left_arm]
        tube("body", arm, [0.05, 0.04, 0.03, 0.03], [f"{j}.{side}" for j in ("upper_arm", "forearm", "hand")],
             0.2, forward)  # fmt: skip
        leg = [left_leg[j] * flip for j in ("thigh", "shin", "foot")]
        leg.append(leg[2] - [0, 0.02, 0])
        tube("legs", leg, [0.085, 0.06, 0.045, 0.04], [f"{j}.{side}" for j in ("thigh", "shin", "foot")],
             0.15, forward, 8)  # fmt: skip
        blocks = [(foot_points, foot_faces, toe_share)]
        if h > 0:
            z0, z1 = HEEL_Z, HEEL_BLOCK_Z
            corners = np.array([[1, z0], [1, z1], [-1, z1], [-1, z0]], dtype=np.float64)
            half = np.interp(corners[:, 1], *HALF_WIDTH.T)
            ring = np.stack([corners[:, 0] * half, np.zeros(4), corners[:, 1]], axis=1)[::-1]
            block_points, block_faces = _closed_tube(np.stack([ring, ring + np.array([0, h + 0.01, 0])]))
            blocks.append((block_points, block_faces, np.zeros(len(block_points))))
        for points, faces, share in blocks:
            turned = points @ _yaw(toe_out_deg).T + [HIP_X, 0.0, ANKLE_Z]
            weights = np.zeros((len(points), count))
            weights[:, names.index(f"foot.{side}")] = 1 - share
            if toes:
                weights[:, names.index(f"toes.{side}")] = share
            pieces.append(_Piece("feet", turned * flip, faces if side == "left" else faces[:, ::-1], weights))

    positions, faces, weights, parts = _joined(pieces)
    T = np.eye(4)
    T[:3, :3] = scale * (np.eye(3) if R_world is None else np.asarray(R_world))
    T[:3, 3] = offset
    bind = np.tile(np.eye(4), (count, 1, 1))
    for i in range(count):
        R = _basis(ends[i] - places[i], hints[i]) if along_bones else np.eye(3)
        bind[i, :3, :3] = (np.eye(3) if R_world is None else np.asarray(R_world)) @ R
        bind[i, :3, 3] = T[:3, :3] @ places[i] + T[:3, 3]
    link = np.tile(np.eye(4), (count, 1, 1))
    skeleton = Skeleton(tuple(names), np.array(parents, dtype=np.int64), bind, bind.copy(), link)
    influences = int((weights > 0).sum(axis=1).max())
    order = np.argsort(-weights, axis=1, kind="stable")[:, :influences]
    kept = np.take_along_axis(weights, order, axis=1)
    joints = np.where(kept > 0, order, 0)
    kept = kept / kept.sum(axis=1, keepdims=True)
    mesh = Mesh(positions @ T[:3, :3].T + T[:3, 3], faces, joints.astype(np.int64), kept, parts)
    return Character(name, skeleton, mesh)


def _joined(pieces: list[_Piece]) -> tuple[FloatArray, IntArray, FloatArray, tuple[MeshPart, ...]]:
    """All pieces in one set of arrays, gathered part by part."""
    parts: list[MeshPart] = []
    positions: list[FloatArray] = []
    faces: list[IntArray] = []
    weights: list[FloatArray] = []
    vertex = face = 0
    for part in dict.fromkeys(piece.name for piece in pieces):
        first_vertex, first_face = vertex, face
        for piece in pieces:
            if piece.name == part:
                positions.append(piece.positions)
                faces.append(piece.faces + vertex)
                weights.append(piece.weights)
                vertex += len(piece.positions)
                face += len(piece.faces)
        parts.append(MeshPart(part, slice(first_vertex, vertex), slice(first_face, face)))
    return (
        np.concatenate(positions),
        np.concatenate(faces).astype(np.int64),
        np.concatenate(weights),
        tuple(parts),
    )


def biped_landmarks(
    *,
    knee_bend_deg: float = 3.0,
    heel_height: float = 0.0,
    toe_out_deg: float = 0.0,
    R_world: FloatArray | None = None,
    scale: float = 1.0,
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> dict[str, FloatArray]:
    """Where the landmarks truly are: (3,) each, keys such as ``"left.heel"``; options as for `make_biped`.

    heel, tip: rearmost and foremost place of the tread, on its middle line; inner, outer: its widest places.
    """
    leg = _leg_joints(knee_bend_deg, heel_height, toe_out_deg)
    half = float(HALF_WIDTH[:, 1].max())
    widest = float(HALF_WIDTH[HALF_WIDTH[:, 1].argmax(), 0])
    R = np.eye(3) if R_world is None else np.asarray(R_world)
    found = {"hip": leg["thigh"], "knee": leg["shin"], "ankle": leg["foot"], "ball": leg["toes"]}
    on_sole = {
        "heel": [0.0, 0.0, HEEL_Z],
        "tip": [0.0, 0.0, TIP_Z],
        "inner": [-half, 0.0, widest],
        "outer": [half, 0.0, widest],
    }
    for label, point in on_sole.items():
        found[label] = np.array([HIP_X, 0.0, ANKLE_Z]) + _yaw(toe_out_deg) @ np.array(point)
    return {
        f"{side}.{label}": scale * (R @ (point * flip)) + np.asarray(offset)
        for side, flip in (("left", np.array([1.0, 1, 1])), ("right", np.array([-1.0, 1, 1])))
        for label, point in found.items()
    }
