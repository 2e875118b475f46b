"""All joints of the character as one function of the channels: what runtime code returns, and fast evaluation."""

from __future__ import annotations

from typing import Final

import casadi
import numpy as np

from instep.character.skeleton import Skeleton
from instep.frames.quaternion import Quat
from instep.frames.scalar import Scalar
from instep.frames.vector import Vec, dot
from instep.rig.assemble import COMPONENTS, Traced
from instep.rig.plan import RigPlan

SCALE: Final = "root.scale"
"""The name of the first output."""


def joint_function(traced: Traced, plan: RigPlan, skeleton: Skeleton) -> tuple[casadi.Function, tuple[str, ...]]:
    """The function from channels to joints, and the names of its outputs.

    Outputs are ``root.scale``, then for each joint of the skeleton, in its order, ``joint.w x y z`` (the joint's turn
    as a change from the bind pose, in world axes) and ``joint.across up along`` (where it stands, along the world's
    x, y, z). A joint at its driver's own point is that driver, at no cost; any other follows rigidly.
    """
    x = casadi.SX.sym("x", len(traced.channels))
    driven = casadi.vertsplit(traced.function(x))
    outputs: list[Scalar] = [driven[0]]
    for joint, driver in enumerate(plan.followers):
        first = 1 + len(COMPONENTS) * int(driver)
        turn, place = Quat(*driven[first : first + 4]), Vec.of(driven[first + 4 : first + 7])
        offset = skeleton.positions[joint] - plan.points[driver]
        if np.abs(offset).max() > 0.0:
            place = place + _turned(turn, driven[0], Vec.of(float(each) for each in offset))
        outputs += [*turn, *place]
    names = (SCALE, *(f"{joint}.{component}" for joint in skeleton.names for component in COMPONENTS))
    return casadi.Function("joints", [x], [casadi.vertcat(*outputs)], {"cse": True}), names


def _turned(q: Quat, scale: Scalar, offset: Vec) -> Vec:
    """``scale R offset`` by the rotation's matrix, which all followers of one driver share."""
    return Vec.of(dot(row * scale, offset) for row in q.matrix)
