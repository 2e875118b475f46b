"""The rig under proof, with what all checks ask of it: rows of channel values, poses, points on the feet."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from instep.character import Mesh, Poses
from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.character.pose import rotation_matrices
from instep.checks.model import Place
from instep.landmarks import LegLandmarks
from instep.rig.channels import Channel
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.plan import LegPlan
from instep.rig.rig import Rig

LIFT = 0.25
"""Share of the leg by which a foot is raised where the leg shall reach it through all of its roll."""


@dataclass(frozen=True, eq=False)
class Subject:
    """A rig under proof. `seed` is that of all sampling."""

    rig: Rig
    seed: int = 0

    @cached_property
    def numbers(self) -> dict[str, int]:
        """Channel numbers by name."""
        return {channel.name: number for number, channel in enumerate(self.rig.channels)}

    @property
    def unit(self) -> float:
        """Leg length, in the file's unit."""
        return self.rig.plan.unit

    @property
    def mesh(self) -> Mesh | None:
        """The character's mesh."""
        return self.rig.character.mesh

    @property
    def axes(self) -> FloatArray:
        """(3, 3) columns: the body's left, up and forward directions in the world."""
        return np.asarray(self.rig.measurement.R_world_body, dtype=np.float64)

    @property
    def legs(self) -> tuple[tuple[LegLandmarks, LegPlan], ...]:
        """Each leg as measured and as planned."""
        return tuple(zip(self.rig.measurement.legs, self.rig.plan.legs, strict=True))

    def has(self, *names: str) -> bool:
        """Whether the rig has all of these channels."""
        return all(name in self.numbers for name in names)

    def channel(self, name: str) -> Channel:
        """A channel by its name."""
        return self.rig.channels[self.numbers[name]]

    def rest(self, count: int = 1) -> FloatArray:
        """(count, C) rows of defaults."""
        return np.tile(self.rig.defaults, (count, 1))

    def put(self, rows: FloatArray, settings: Mapping[str, ArrayLike]) -> FloatArray:
        """The rows (N, C) with some channels set. Channels that the rig has not got stay the constants they are."""
        changed = np.array(rows, dtype=np.float64)
        for name, value in settings.items():
            if name in self.numbers:
                changed[:, self.numbers[name]] = value
        return changed

    def evaluate(self, rows: FloatArray) -> Poses:
        """The poses of (N, C) rows: always by NumPy, so that a report is the same with and without a compiler."""
        return self.rig.evaluate(rows, native=False)

    @cached_property
    def _frames(self) -> tuple[Callable[[FloatArray], FloatArray], tuple[str, ...]]:
        program = self.rig.control_frames
        names = tuple(name.removesuffix(".w") for name in program.outputs if name.endswith(".w"))
        return compile_numpy(program), names

    def frame(self, rows: FloatArray, control: str) -> FloatArray:
        """(N, 3, 4) ``[A | t]`` of a control, as `Rig.control_frames_at`, whose function is compiled once here."""
        evaluate, names = self._frames
        outputs = evaluate(rows.T)
        own = outputs[1 + 7 * names.index(control) :][:7]
        linear = rotation_matrices(own[:4].T) * outputs[0][:, None, None]
        return np.concatenate([linear, own[4:].T[..., None]], axis=-1)

    def has_frame(self, control: str) -> bool:
        """Whether the rig says where a control is drawn."""
        return control in self._frames[1]

    def salt(self, *words: str) -> int:
        """A seed of its own for each use, the same in every run."""
        return (zlib.crc32("/".join(words).encode()) + 7919 * self.seed) % 2**32

    def pose(self, row: FloatArray) -> dict[str, float]:
        """The channels of a row (C,) that are not at rest, rounded to what a person can type."""
        away = np.flatnonzero(np.abs(row - self.rig.defaults) > 1e-9)
        return {self.rig.channels[number].name: float(f"{row[number]:.7g}") for number in away}

    def landmark(self, leg: LegLandmarks, name: str) -> Place:
        """A landmark as a place."""
        return Place("landmark", f"{leg.name}.{name}", point(leg.landmarks[name].position))

    def joint(self, number: int) -> Place:
        """A joint as a place."""
        skeleton = self.rig.character.skeleton
        return Place("joint", skeleton.names[number], point(skeleton.positions[number]))

    def vertex(self, number: int) -> Place:
        """A vertex as a place."""
        assert self.mesh is not None
        return Place("vertex", str(int(number)), point(self.mesh.positions[int(number)]))


def point(position: ArrayLike) -> tuple[float, float, float]:
    """A point as plain numbers."""
    x, y, z = np.asarray(position, dtype=np.float64)
    return float(x), float(y), float(z)


def carried(subject: Subject, poses: Poses, joint: int, points: ArrayLike) -> FloatArray:
    """(N, P, 3) where points (P, 3) fixed to a joint in the bind pose have gone; points may be (N, P, 3) as well."""
    p_bind = np.asarray(points, dtype=np.float64)
    turn = rotation_matrices(poses.rotation[:, joint])
    offset = p_bind - subject.rig.character.skeleton.positions[joint]
    turned = np.einsum("nab,...b->n...a", turn, offset) if p_bind.ndim < 3 else np.einsum("nab,npb->npa", turn, offset)
    return np.asarray(turned * poses.scale[:, None, None] + poses.position[:, joint, None], dtype=np.float64)


def uncarried(subject: Subject, poses: Poses, joint: int, places: FloatArray) -> FloatArray:
    """(N, P, 3) the points fixed to a joint in the bind pose that stand at `places` (N, P, 3): undoes `carried`."""
    turn = rotation_matrices(poses.rotation[:, joint])
    local = np.einsum("nba,npb->npa", turn, places - poses.position[:, joint, None])
    return np.asarray(
        local / poses.scale[:, None, None] + subject.rig.character.skeleton.positions[joint], dtype=np.float64
    )


def pivot_place(subject: Subject, leg: LegLandmarks, plan: LegPlan, name: str) -> FloatArray:
    """(3,) where a pivot of the sole should be, in the world: its landmark, unless an edge was tuned away from it."""
    landmark = leg.landmarks[name]
    tuned = subject.rig.description.tuned.get(leg.name)
    shifted = getattr(tuned, f"{name}_shift", None) is not None and not landmark.by_hand
    if not shifted:
        return np.asarray(landmark.position, dtype=np.float64)
    return np.asarray(subject.axes @ np.array(list(getattr(plan, name)), dtype=np.float64), dtype=np.float64)


def in_reach(subject: Subject, leg: LegLandmarks, plan: LegPlan, poses: Poses) -> BoolArray:
    """(N,) whether the leg stood where its ankle meets its goal: not in the soft zone, nor too near to the hip."""
    hip, knee, ankle = (np.asarray(leg.landmarks[name].position) for name in ("hip", "knee", "ankle"))
    thigh, shin = float(np.linalg.norm(knee - hip)), float(np.linalg.norm(ankle - knee))
    apart = carried(subject, poses, leg.foot, ankle[None])[:, 0] - carried(subject, poses, leg.thigh, hip[None])[:, 0]
    distance = np.linalg.norm(apart, axis=1) / poses.scale
    margin = 1e-3 * subject.unit
    inside = (distance < thigh + shin - plan.soft - margin) & (distance > abs(thigh - shin) + margin)
    return np.asarray(inside, dtype=np.bool_)


@dataclass(frozen=True, eq=False)
class Skinned:
    """Vertices of the mesh ready to be skinned in many poses.

    Linear blend skinning (glTF 2.0, 3.7.3) as one dense product over the few joints that these vertices follow.
    """

    subject: Subject
    vertices: IntArray
    joints: IntArray
    blend: FloatArray
    """(V, 4 K): at vertex v and joint k the four numbers w x, w y, w z, w."""

    @staticmethod
    def of(subject: Subject, vertices: IntArray, weights: FloatArray | None = None) -> Skinned:
        """Of some vertices; with other weights (V, K) over the mesh's own joints where told."""
        mesh = subject.mesh
        assert mesh is not None
        own = mesh.joints[vertices]
        shares = mesh.weights[vertices] if weights is None else weights
        used = np.unique(own[shares > 0.0])
        table = np.zeros((len(vertices), len(used)))
        for influence in range(own.shape[1]):
            column = np.minimum(np.searchsorted(used, own[:, influence]), len(used) - 1)
            table[np.arange(len(vertices)), column] += shares[:, influence]
        homogeneous = np.concatenate([mesh.positions[vertices], np.ones((len(vertices), 1))], axis=1)
        blend = (table[:, :, None] * homogeneous[:, None, :]).reshape(len(vertices), -1)
        return Skinned(subject, np.asarray(vertices), np.asarray(used, dtype=np.int64), blend)

    def positions(self, poses: Poses) -> FloatArray:
        """(N, V, 3) where the vertices stand."""
        stacked = self._changes(poses).transpose(1, 3, 0, 2).reshape(4 * len(self.joints), -1)
        return (self.blend @ stacked).reshape(len(self.vertices), len(poses), 3).transpose(1, 0, 2)

    def along(self, poses: Poses, direction: FloatArray) -> FloatArray:
        """(N, V) how far along a unit direction (3,) or (N, 3) the vertices stand."""
        changes = self._changes(poses)
        rows = np.einsum("...a,...kab->...kb" if direction.ndim > 1 else "a,nkab->nkb", direction, changes)
        return np.asarray(rows.reshape(len(poses), -1) @ self.blend.T, dtype=np.float64)

    def _changes(self, poses: Poses) -> FloatArray:
        """(N, K, 3, 4) as `Poses.changes`, of the joints that are needed."""
        linear = rotation_matrices(poses.rotation[:, self.joints]) * poses.scale[:, None, None, None]
        bind = self.subject.rig.character.skeleton.positions[self.joints]
        offset = poses.position[:, self.joints] - np.einsum("nkab,kb->nka", linear, bind)
        return np.concatenate([linear, offset[..., None]], axis=-1)


def partner(name: str) -> str:
    """The same name on the other side: "left.foot" for "right.foot"; the name itself in the middle."""
    swap = {"left": "right", "right": "left"}
    first, dot, rest = name.partition(".")
    return swap.get(first, first) + dot + rest
