"""The joints in the middle of the body, and the gates of what hangs on them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from examples.salt_ferry.legs import triple
from examples.salt_ferry.member import Joint
from examples.salt_ferry.skin import Gate, across, always
from instep.character.arrays import FloatArray

Place = Callable[[float, float, float], FloatArray]
"""A place in a member's upper body, in its own units from the hips, to (3,) in the world."""

SPINE = ("pelvis", "spine.lower", "spine.upper", "chest", "neck", "head")


def spine_joints(places: Mapping[str, FloatArray]) -> list[Joint]:
    """The root on the floor and the joints of SPINE above it."""
    joints = [Joint("root", "", (0.0, 0.0, 0.0))]
    for name in SPINE:
        joints.append(Joint(name, joints[-1].name, triple(places[name])))
    return joints


def spine_gates(places: Mapping[str, FloatArray], first: str, last: str) -> dict[str, Gate]:
    """Gates from `first`, which starts with everything, up to `last`.

    Each is a step over the plane across the line to the next joint, as wide as half the way to the joints on
    either side.
    """
    names = SPINE[SPINE.index(first) : SPINE.index(last) + 1]
    gates: dict[str, Gate] = {names[0]: always}
    for name in names[1:]:
        i = SPINE.index(name)
        below = places[name] - places[SPINE[i - 1]]
        above = places[SPINE[i + 1]] - places[name] if i + 1 < len(SPINE) else below
        behind, ahead = (0.55 * float((way @ way) ** 0.5) for way in (below, above))
        gates[name] = across(places[name], below, behind, ahead)
    return gates
