"""The joint tree, in the bind pose and in the rest pose of its file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character.arrays import FloatArray, IntArray, frozen


@dataclass(frozen=True, slots=True, eq=False)
class Skeleton:
    """J joints, parents before children.

    The *world* is the file's scene: right-handed, in the file's own unit. The *bind pose* is where the
    skin was attached (from the inverse bind matrices); the *rest pose* is where the file's nodes stand,
    which may be a frame of a clip instead.

    Attributes
    ----------
    names : J names, unique, to the letter as in the file.
    parents : (J,) index of the nearest joint above, -1 where there is none.
    bind : (J, 4, 4) ``T_world_joint`` in the bind pose, scale included.
    rest : (J, 4, 4) ``T_world_joint`` in the file's rest pose, scale included.
    link : (J, 4, 4) ``T_parent_link``: what stands between the parent joint's frame (the world, for a joint
        without parent) and the frame in which the joint's own translation, rotation and scale are written.
        The identity where a joint hangs directly under its parent joint; otherwise the product of the
        plain nodes in between.
    """

    names: tuple[str, ...]
    parents: IntArray
    bind: FloatArray
    rest: FloatArray
    link: FloatArray

    def __post_init__(self) -> None:
        count = len(self.names)
        assert self.parents.shape == (count,)
        assert self.bind.shape == self.rest.shape == self.link.shape == (count, 4, 4)
        assert all(parent < joint for joint, parent in enumerate(self.parents)), "parents first"
        for array in (self.parents, self.bind, self.rest, self.link):
            frozen(array)

    def __len__(self) -> int:
        return len(self.names)

    @property
    def positions(self) -> FloatArray:
        """(J, 3) joint positions in the bind pose, in the world."""
        return self.bind[:, :3, 3]

    def index(self, name: str) -> int:
        """Index of the joint of this name; raises ValueError where there is none."""
        return self.names.index(name)

    def children(self, joint: int) -> list[int]:
        """Joints whose parent is `joint`."""
        return [int(child) for child in np.flatnonzero(self.parents == joint)]

    def ancestors(self, joint: int) -> list[int]:
        """Joints above `joint`, nearest first."""
        chain: list[int] = []
        while (joint := int(self.parents[joint])) >= 0:
            chain.append(joint)
        return chain

    def below(self, joint: int) -> list[int]:
        """`joint` and all joints below it, parents before children."""
        inside = {joint}
        for other in range(joint + 1, len(self)):
            if int(self.parents[other]) in inside:
                inside.add(other)
        return sorted(inside)
