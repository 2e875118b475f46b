"""Feet made by code, with landmarks that are known from how they are made, put under the code-made biped.

A foot is lofted from cross-sections along its axis, in foot lengths: a half-width, an underside and a top. Its
heel, tip and edges are where the flat part of the underside ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from instep.character import Character, Mesh, MeshPart
from instep.character.arrays import FloatArray, IntArray
from tests.biped import make_biped

STATIONS = np.array([0.0, 0.03, 0.1, 0.24, 0.4, 0.6, 0.73, 0.86, 0.95, 0.99, 1.0])
HALF_WIDTH = np.array([0.06, 0.09, 0.125, 0.14, 0.145, 0.175, 0.19, 0.175, 0.115, 0.08, 0.06])
TOP = np.array([0.2, 0.26, 0.32, 0.36, 0.33, 0.26, 0.21, 0.16, 0.12, 0.1, 0.08])
ANKLE = 0.24
BALL = 0.73
WIDEST = 0.73
LENGTH_M = 0.25
HIP_X_M = 0.095


@dataclass(frozen=True)
class FootShape:
    """Options, in foot lengths where they are lengths.

    Attributes
    ----------
    heel : height of the heel block.
    heel_end : where the heel block ends in front.
    fillet : radius of the rounding of the sole's edge, all around.
    rocker : radius of a sole that is rounded along its length; infinite for a flat one.
    spring_deg, spring_from : how steeply the toes are raised, and from where on.
    lumps : height of the hollows between lumps that bear the foot; the rim bears it too.
    claw : length of a claw in front of the toes, raised over the floor by 0.06.
    toe_out_deg : turn of the foot outwards.
    pitch_deg : turn of the whole foot about the ankle, toes down.
    seams : vertices of every triangle are its own.
    strays : how many stray vertices, far away, are bound to the foot.
    heel_on_shin : share of the heel's weight that lies on the shin.
    toes : whether there is a ball joint.
    around, along : resolution.
    """

    heel: float = 0.0
    heel_end: float = 0.24
    fillet: float = 0.0
    rocker: float = np.inf
    spring_deg: float = 0.0
    spring_from: float = 0.82
    lumps: float = 0.0
    claw: float = 0.0
    toe_out_deg: float = 0.0
    pitch_deg: float = 0.0
    seams: bool = False
    strays: int = 0
    heel_on_shin: float = 0.0
    toes: bool = True
    around: int = 14
    along: int = 60

    @property
    def tip(self) -> float:
        """Where the tread ends in front."""
        if self.spring_deg > 0:
            return self.spring_from
        return 1.0 - self.fillet

    @property
    def widest(self) -> float:
        """Half the width of the tread at the ball."""
        return float(np.interp(WIDEST, STATIONS, HALF_WIDTH)) - self.fillet


def _underside(shape: FootShape, along: FloatArray, across: FloatArray, half: FloatArray) -> FloatArray:
    """Height of the underside at places along the foot; `across` is 0 in the middle, 1 at the edge."""
    height = np.zeros_like(along)
    if shape.heel > 0:
        t = np.clip((along - shape.heel_end) / (0.62 - shape.heel_end), 0, 1)
        height = height + shape.heel * (1 - t * t * (3 - 2 * t))
    if np.isfinite(shape.rocker):
        height = height + shape.rocker - np.sqrt(shape.rocker**2 - (along - 0.5) ** 2)
    if shape.spring_deg > 0:
        height = height + np.maximum(0.0, along - shape.spring_from) * np.tan(np.radians(shape.spring_deg))
    if shape.lumps > 0:
        inside = np.clip(np.minimum((1 - across) * 4, np.minimum(along, 1 - along) * 12), 0, 1)
        wave = 0.5 + 0.5 * np.sin(23 * along + 1.3) * np.sin(5 * across + 17 * along)
        height = height + shape.lumps * wave * inside
    if shape.fillet > 0:
        r = shape.fillet
        rim = np.minimum(np.minimum(along, 1 - along), (1 - across) * half)
        height = height + r - np.sqrt(np.maximum(r**2 - np.clip(r - rim, 0, r) ** 2, 0.0))
    return height


def _sections(shape: FootShape) -> tuple[FloatArray, IntArray]:
    """Points (left, up, along) and triangles of a closed foot, in foot lengths."""
    r = shape.fillet
    ends = r * (1 - np.cos(np.linspace(0, np.pi / 2, 7))) if r > 0 else np.zeros(1)
    extra = [*ends, *(1 - ends), shape.heel_end, shape.spring_from, WIDEST, ANKLE]
    along = np.unique(np.round(np.concatenate([np.linspace(0, 1, shape.along), STATIONS, extra]), 9))
    half = np.interp(along, STATIONS, HALF_WIDTH)
    top = np.interp(along, STATIONS, TOP) + shape.heel * np.clip((0.7 - along) / 0.4, 0, 1)
    if shape.spring_deg > 0:
        top = top + np.maximum(0.0, along - shape.spring_from) * np.tan(np.radians(shape.spring_deg))
    if np.isfinite(shape.rocker):
        top = top + shape.rocker - np.sqrt(shape.rocker**2 - (along - 0.5) ** 2)
    flat = np.linspace(-1, 1, 2 * shape.around + 1)
    flat = np.repeat(flat[None], len(along), axis=0)
    if r > 0:  # points where the rounding of the sides begins and on it
        side = 1 - r * (1 - np.cos(np.linspace(0, np.pi / 2, 7)))[None] / half[:, None]
        flat = np.sort(np.concatenate([flat, np.maximum(side, 0), -np.maximum(side, 0)], axis=1), axis=1)
    z = np.repeat(along[:, None], flat.shape[1], axis=1)
    bottom = np.stack([flat * half[:, None], _underside(shape, z, np.abs(flat), half[:, None]), z], axis=2)
    angle = np.linspace(0, np.pi, shape.around + 2)[1:-1]
    low = bottom[:, [0, -1], 1].max(axis=1)
    dome = np.stack(
        [
            np.cos(angle)[None] * half[:, None],
            low[:, None] + np.sin(angle)[None] ** 0.7 * np.maximum(top - low, 0.02)[:, None],
            np.repeat(along[:, None], len(angle), axis=1),
        ],
        axis=2,
    )
    rings = np.concatenate([bottom, dome], axis=1)
    count, around = rings.shape[:2]
    i = np.arange(around)
    k = (i + 1) % around
    faces = []
    for ring in range(count - 1):
        a, b = ring * around, (ring + 1) * around
        faces += [np.stack([a + i, a + k, b + k], axis=1), np.stack([a + i, b + k, b + i], axis=1)]
    start, end, last = count * around, count * around + 1, (count - 1) * around
    faces.append(np.stack([np.full(around, start), k, i], axis=1))
    faces.append(np.stack([np.full(around, end), last + i, last + k], axis=1))
    points = np.concatenate([rings.reshape(-1, 3), rings[[0, -1]].mean(axis=1)])
    return points, np.concatenate(faces)


def _box(low: tuple[float, float, float], high: tuple[float, float, float]) -> tuple[FloatArray, IntArray]:
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64)
    faces = np.array(
        [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
         [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    )  # fmt: skip
    return np.asarray(low) + corners * (np.asarray(high) - low), faces


def _foot(shape: FootShape) -> tuple[FloatArray, IntArray]:
    pieces = [_sections(shape)]
    if shape.heel > 0:
        pieces.append(_box((-0.1, 0.0, 0.0), (0.1, shape.heel + 0.04, shape.heel_end)))
    if shape.claw > 0:
        pieces.append(_box((-0.02, 0.06, 0.97), (0.02, 0.09, 1.0 + shape.claw)))
    points, faces, count = [], [], 0
    for some, triangles in pieces:
        points.append(some)
        faces.append(triangles + count)
        count += len(some)
    return np.concatenate(points), np.concatenate(faces)


def _turn(shape: FootShape) -> FloatArray:
    """(3, 3) of a left foot: pitched toes down about its X, then turned outwards about Y."""
    p, y = np.radians(shape.pitch_deg), np.radians(shape.toe_out_deg)
    pitch = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    yaw = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    return np.asarray(yaw @ pitch)


def _placed(shape: FootShape, points: FloatArray, ankle: FloatArray) -> FloatArray:
    """Points of a left foot, in foot lengths, put under its ankle; in metres."""
    pivot = np.array([0.0, ankle[1] / LENGTH_M, ANKLE])
    return np.asarray((points - pivot) @ _turn(shape).T * LENGTH_M + ankle)


def make_walker(
    shape: FootShape, R_world: FloatArray | None = None, scale: float = 1.0, offset: FloatArray | None = None
) -> tuple[Character, dict[str, FloatArray]]:
    """The biped with feet of this shape, and the truth: (3,) by ``"left.heel"`` and so on, the sole's normal
    ``"left.normal"`` and the heel's height, in the first place of ``"left.heel_height"``."""
    raised = shape.heel * LENGTH_M
    biped = make_biped(heel_height=raised, toes=shape.toes, around=10)
    skeleton, mesh = biped.skeleton, biped.mesh
    assert mesh is not None
    kept_parts = [part for part in mesh.parts if part.name != "feet"]
    stop, stop_face = kept_parts[-1].vertices.stop, kept_parts[-1].faces.stop
    positions, faces = [mesh.positions[:stop]], [mesh.faces[:stop_face]]
    joints, weights = [mesh.joints[:stop]], [mesh.weights[:stop]]
    bind = skeleton.bind.copy()
    width = max(mesh.joints.shape[1], 3)
    points, triangles = _foot(shape)
    rng = np.random.default_rng(3)
    truth: dict[str, FloatArray] = {}
    count = stop
    for side, sign in (("left", 1.0), ("right", -1.0)):
        flip = np.array([sign, 1.0, 1.0])
        foot = skeleton.index(f"foot.{side}")
        shin = skeleton.index(f"shin.{side}")
        ankle = skeleton.positions[foot] * flip
        placed = _placed(shape, points, ankle) * flip
        toe_share = np.clip((points[:, 2] - BALL + 0.14) / 0.14, 0, 1) if shape.toes else 0 * points[:, 2]
        shin_share = shape.heel_on_shin * np.clip((0.2 - points[:, 2]) / 0.15, 0, 1)
        share = np.stack([(1 - shin_share) * (1 - toe_share), toe_share * (1 - shin_share), shin_share], axis=1)
        toes = skeleton.index(f"toes.{side}") if shape.toes else foot
        carried = np.repeat([[foot, toes, shin]], len(points), axis=0)
        if shape.toes:
            ball = np.array([[0.0, 0.09, BALL]])
            bind[toes, :3, 3] = (_placed(shape, ball, ankle) * flip)[0]
        stray = rng.uniform(-1.0, 1.0, (shape.strays, 3)) * [0.6, 0.4, 0.5] + [0, 1.1, 0]
        positions += [placed, stray]
        count += len(placed)
        outward = triangles if sign > 0 else triangles[:, ::-1]
        faces.append(outward + count - len(placed))
        if shape.strays:
            faces.append(np.stack([np.arange(shape.strays) + count] * 3, axis=1))
            count += shape.strays
        share = np.concatenate([share, np.repeat([[1.0, 0.0, 0.0]], shape.strays, axis=0)])
        carried = np.concatenate([carried, np.repeat([[foot, toes, shin]], shape.strays, axis=0)])
        weights.append(np.pad(share, ((0, 0), (0, width - 3))))
        joints.append(np.pad(np.where(share > 0, carried, 0), ((0, 0), (0, width - 3))))
        sole = {
            "heel": [0.0, 0.0, shape.fillet],
            "tip": [0.0, 0.0, shape.tip],
            "inner": [-shape.widest, 0.0, WIDEST],
            "outer": [shape.widest, 0.0, WIDEST],
        }
        for name, place in sole.items():
            truth[f"{side}.{name}"] = (_placed(shape, np.array([place]), ankle) * flip)[0]
        truth[f"{side}.normal"] = _turn(shape)[:, 1] * flip
        truth[f"{side}.heel_height"] = np.array([raised, 0.0, 0.0])
    weights[0] = np.pad(weights[0], ((0, 0), (0, width - weights[0].shape[1])))
    joints[0] = np.pad(joints[0], ((0, 0), (0, width - joints[0].shape[1])))
    all_faces = np.concatenate(faces).astype(np.int64)
    whole = Mesh(
        np.concatenate(positions), all_faces, np.concatenate(joints), np.concatenate(weights),
        (MeshPart("all", slice(0, count), slice(0, len(all_faces))),),
    )  # fmt: skip
    if shape.seams:
        corners = all_faces.ravel()
        whole = Mesh(
            whole.positions[corners], np.arange(len(corners)).reshape(-1, 3), whole.joints[corners],
            whole.weights[corners], (MeshPart("all", slice(0, len(corners)), slice(0, len(all_faces))),),
        )  # fmt: skip
    character = Character("walker", replace(skeleton, bind=bind, rest=bind.copy()), whole)
    R = np.eye(3) if R_world is None else R_world
    moved = moved_by(character, R, scale, np.zeros(3) if offset is None else offset)
    for name, value in truth.items():
        if name.endswith("normal"):
            truth[name] = R @ value
        elif name.endswith("heel_height"):
            truth[name] = scale * value
        else:
            truth[name] = scale * R @ value + (0 if offset is None else offset)
    return moved, truth


def moved_by(character: Character, R: FloatArray, scale: float, offset: FloatArray) -> Character:
    """The character with x -> scale R x + offset (R may mirror)."""
    skeleton, mesh = character.skeleton, character.mesh
    assert mesh is not None
    bind = skeleton.bind.copy()
    bind[:, :3, 3] = scale * bind[:, :3, 3] @ R.T + offset
    if np.linalg.det(R) > 0:
        bind[:, :3, :3] = R @ bind[:, :3, :3]
    faces = mesh.faces if np.linalg.det(R) > 0 else mesh.faces[:, ::-1]
    turned = Mesh(scale * mesh.positions @ R.T + offset, faces, mesh.joints, mesh.weights, mesh.parts)
    return Character(character.name, replace(skeleton, bind=bind, rest=bind.copy()), turned, source=character.source)
