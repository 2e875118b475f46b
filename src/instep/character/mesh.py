"""The skinned surface in the bind pose."""

from __future__ import annotations

from dataclasses import dataclass

from instep.character.arrays import FloatArray, IntArray, frozen


@dataclass(frozen=True, slots=True)
class MeshPart:
    """One primitive of the file: its rows in the arrays of `Mesh`.

    `name` is the mesh's name in the file (with the primitive's number where it has several).
    """

    name: str
    vertices: slice
    faces: slice


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """V vertices and F triangles of all skinned meshes of a character, in one array each.

    Attributes
    ----------
    positions : (V, 3) in the world, in the bind pose, in the file's unit.
    faces : (F, 3) vertex indices, counter-clockwise seen from outside.
    joints : (V, K) joint index of each influence, into the skeleton; 0 where the weight is 0.
    weights : (V, K) weights, each row sums to 1; K is the largest number of influences.
    parts : the primitives, in order.
    """

    positions: FloatArray
    faces: IntArray
    joints: IntArray
    weights: FloatArray
    parts: tuple[MeshPart, ...]

    def __post_init__(self) -> None:
        count = len(self.positions)
        assert self.positions.shape == (count, 3)
        assert self.faces.ndim == 2
        assert self.faces.shape[1] == 3
        assert self.joints.shape == self.weights.shape
        assert len(self.joints) == count
        for array in (self.positions, self.faces, self.joints, self.weights):
            frozen(array)

    def __len__(self) -> int:
        return len(self.positions)
