"""One of the cast: joints on one side and pieces of surface, put together into a whole character."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np

from examples.salt_ferry.fields import Field
from examples.salt_ferry.skin import Gate, packed, weigh
from examples.salt_ferry.surface import Grid, OutsideGridError, Surface, mesh_field
from instep.character import Character, Mesh, MeshPart, Skeleton
from instep.character.arrays import FloatArray, IntArray
from instep.errors import CharacterError

Triple = tuple[float, float, float]
LEFT, RIGHT = ".left", ".right"
MOST_TOES_OUT_DEG = 45.0
ProportionsT = TypeVar("ProportionsT")


@dataclass(frozen=True, slots=True, eq=False)
class CastMember:
    """A character with what is known of its feet from the way they were made.

    Attributes
    ----------
    character : metres, Y up, facing +Z, standing on y = 0, left-right symmetric.
    truth : for ``left`` and ``right``: ``hip, knee, ankle, ball`` (joint centres), ``heel, tip, inner, outer``
        (on the tread, at y = 0) and ``heel_height`` (0, h, 0), as ``"left.heel"``; see `feet.tread`.
    colours : base colour (red, green, blue from 0 to 1) of each mesh part, by its name.
    """

    character: Character
    truth: dict[str, Triple]
    colours: dict[str, Triple]


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint in the middle or on the left; the right side is its mirror image."""

    name: str
    parent: str
    place: Triple


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A closed surface of one of the mesh's parts, with the gates of its weights.

    With `one_sided` the piece is not mirrored: for what a character has on one side only.
    """

    part: str
    field: Field
    grid: Grid
    gates: Mapping[str, Gate]
    one_sided: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Recipe:
    """All that a member is made from: joints, pieces, what is known of the feet, and each part's colour."""

    joints: Sequence[Joint]
    pieces: Sequence[Piece]
    truth: dict[str, Triple]
    colours: dict[str, Triple]


def box(low: FloatArray, high: FloatArray) -> tuple[Triple, Triple]:
    """Two opposite corners of a grid's box, as plain numbers."""
    return (float(low[0]), float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2]))


def build_member(name: str, recipe: Recipe) -> CastMember:
    """A member from its recipe.

    Raises CharacterError where a limb grows over the middle of the body.
    """
    skeleton = build_skeleton(recipe.joints)
    try:
        mesh = build_mesh(recipe.pieces, skeleton)
    except OutsideGridError as error:
        raise CharacterError(
            "with these proportions the limbs run into each other",
            where=name,
            cure="Choose proportions nearer to the usual ones",
        ) from error
    return CastMember(Character(name, skeleton, mesh), dict(recipe.truth), dict(recipe.colours))


def read_proportions(kind: type[ProportionsT], name: str, given: Mapping[str, float]) -> ProportionsT:
    """Proportions of a member, with those given put in place of its own.

    Raises CharacterError for a proportion that the member does not have, or that is not a positive number (a
    heel's height and a turn of the toes may be 0).
    """
    known = [field.name for field in fields(kind)]  # type: ignore[arg-type]
    for key, value in given.items():
        if key not in known:
            raise CharacterError(f"there is no proportion {key!r}", where=name, expected="one of " + ", ".join(known))
        may_be_zero = key in ("heel_height", "toes_out_deg")
        if key == "toes_out_deg" and value > MOST_TOES_OUT_DEG:
            raise CharacterError(
                f"the proportion {key!r} is {value!r}", where=name, expected=f"at most {MOST_TOES_OUT_DEG:g} degrees"
            )
        if not math.isfinite(value) or value < 0.0 or (value == 0.0 and not may_be_zero):
            raise CharacterError(
                f"the proportion {key!r} is {value!r}",
                where=name,
                expected="a number from 0" if may_be_zero else "a number above 0",
            )
    return kind(**given)


def build_skeleton(joints: Sequence[Joint]) -> Skeleton:
    """The whole joint tree, all axes along the world's: each joint on the left has its mirror on the right."""
    whole: list[tuple[str, str, Triple]] = []
    for joint in joints:
        whole.append((joint.name, joint.parent, joint.place))
    for joint in joints:
        if joint.name.endswith(LEFT):
            x, y, z = joint.place
            whole.append((_other(joint.name), _other(joint.parent), (-x, y, z)))
    names = tuple(name for name, _, _ in whole)
    parents = np.array([names.index(parent) if parent else -1 for _, parent, _ in whole], dtype=np.int64)
    bind = np.tile(np.eye(4), (len(names), 1, 1))
    bind[:, :3, 3] = [place for _, _, place in whole]
    return Skeleton(names, parents, bind, bind.copy(), np.tile(np.eye(4), (len(names), 1, 1)))


def _other(name: str) -> str:
    return name.removesuffix(LEFT) + RIGHT if name.endswith(LEFT) else name


def build_mesh(pieces: Sequence[Piece], skeleton: Skeleton) -> Mesh:
    """All pieces meshed, mirrored, weighed and laid one after the other, part by part."""
    swap = np.array(
        [
            skeleton.index(name.removesuffix(RIGHT) + LEFT if name.endswith(RIGHT) else _other(name))
            for name in skeleton.names
        ]
    )
    left = np.array([name.endswith(LEFT) for name in skeleton.names])
    positions: list[FloatArray] = []
    weights: list[FloatArray] = []
    faces: list[IntArray] = []
    parts: list[MeshPart] = []
    vertex = face = 0
    for name in dict.fromkeys(piece.part for piece in pieces):
        start = vertex, face
        for piece in pieces:
            if piece.part != name:
                continue
            half = mesh_field(piece.field, piece.grid)
            dense = weigh(half.positions, skeleton.names, skeleton.parents, piece.gates)
            middle = half.positions[:, 0] == 0.0
            dense[np.ix_(middle, left)] = 0.0
            dense /= dense.sum(axis=1)[:, None]
            whole, dense = (half, dense) if piece.one_sided else _mirror(half, dense, swap)
            positions.append(whole.positions)
            weights.append(dense)
            faces.append(whole.faces + vertex)
            vertex += len(whole.positions)
            face += len(whole.faces)
        parts.append(MeshPart(name, slice(start[0], vertex), slice(start[1], face)))
    joints, values = packed(np.concatenate(weights))
    return Mesh(np.concatenate(positions), np.concatenate(faces), joints, values, tuple(parts))


def _mirror(half: Surface, weights: FloatArray, swap: IntArray) -> tuple[Surface, FloatArray]:
    """A half with its mirror image, welded at x = 0; the image's rows follow the half's."""
    own = half.positions[:, 0] != 0.0
    image = np.arange(len(half.positions))
    image[own] = len(half.positions) + np.arange(int(own.sum()))
    positions = np.concatenate([half.positions, half.positions[own] * (-1.0, 1.0, 1.0)])
    faces = np.concatenate([half.faces, image[half.faces[:, ::-1]]])
    return Surface(positions, faces), np.concatenate([weights, weights[own][:, swap]])
