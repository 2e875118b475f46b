"""Which joints of a leg are its hip, knee and ankle, chosen by shape.

Along the way from the limb's topmost joint to the foot, twist joints lie on the straight line between
hip and knee or knee and ankle; helpers at the pelvis are short; joints without skin are not bones. Of all
ways to choose three joints the one with the least `cost` is taken; each term of it is a length ratio.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.character.skeleton import Skeleton
from instep.landmarks.limbs import Limb, branch, children_of
from instep.landmarks.surface import Surface
from instep.tolerances import BONE_LENGTH

OFF_LINE = 20.0
"""Price of a skipped joint, per its distance from the bone that skips it, in bone lengths."""
LOW_ANKLE = 0.3
"""Price of the ankle's height over the lowest joint, in heights of the hip."""
LONG_FOOT = 2.0
"""Price of what is left below the ankle beyond half the length of thigh and shin."""
SKIPPED_HIP = 1.0
"""Price of a joint skipped above the hip, per share of the whole way's length; 0.1 more for each."""
UNLIKELY = 1.5
"""Cost of a leg that is none: thigh and shin as 1 to 4.5, or a joint far off its bone."""
NO_SKIN = 1.0
"""Price of a knee or an ankle whose joint carries no skin."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The joints of one leg.

    Attributes
    ----------
    hip, knee, ankle : joint indices.
    below : joints under the ankle on the way through the foot, with skin, nearest first; may be empty.
    cost : of the choice, see the module; 0 is a perfect leg.
    runner_up : cost of the next best choice of other joints; infinite where there is none.
    """

    hip: int
    knee: int
    ankle: int
    below: tuple[int, ...]
    cost: float
    runner_up: float


def choose_chain(
    skeleton: Skeleton, surface: Surface, parents: IntArray, limb: Limb, tread: FloatArray, up: FloatArray
) -> Chain | None:
    """Hip, knee and ankle of a limb; None where the way to its foot has fewer than three joints.

    `tread` is (W,) the area of underside near the floor by vertex, see `ground`.
    """
    mass = np.asarray(surface.weights.T @ surface.area).ravel()
    whole = way_to_foot(parents, limb, np.asarray(surface.weights.T @ tread).ravel(), mass)
    points = skeleton.positions
    way = _without_repeats(points, whole, BONE_LENGTH * surface.size)
    if len(way) < 3:
        return None
    skinless = mass <= 1e-6 * mass.sum()
    steps = np.linalg.norm(np.diff(points[way], axis=0), axis=1)
    height = points[way] @ up
    reach = max(float(height[0] - height.min()), 1e-12 * surface.size)
    tiny = 1e-12 * surface.size
    choices = []
    for hip, knee, ankle in combinations(range(len(way)), 3):
        p, q, r = points[way[hip]], points[way[knee]], points[way[ankle]]
        thigh, shin = float(np.linalg.norm(q - p)), float(np.linalg.norm(r - q))
        cost = abs(np.log(max(thigh, tiny) / max(shin, tiny)))
        cost += OFF_LINE * (_off_line(points[way[hip : knee + 1]]) + _off_line(points[way[knee : ankle + 1]]))
        cost += LOW_ANKLE * float(height[ankle] - height.min()) / reach
        cost += LONG_FOOT * max(0.0, float(steps[ankle:].sum()) / max(thigh + shin, tiny) - 0.5)
        cost += hip * 0.1 + SKIPPED_HIP * float(steps[:hip].sum() / steps.sum())
        cost += NO_SKIN * float(skinless[way[knee]] + skinless[way[ankle]])
        choices.append((cost, hip, knee, ankle))
    choices.sort()
    if choices[0][0] > UNLIKELY and len(way) < len(whole):
        # Not twist joints but bones without length: whoever asked will see that and refuse.
        return Chain(whole[0], whole[1], whole[2], tuple(whole[3:]), choices[0][0], choices[0][0])
    cost, hip, knee, ankle = choices[0]
    runner_up = choices[1][0] if len(choices) > 1 else np.inf
    below = tuple(joint for joint in whole[whole.index(way[ankle]) + 1 :] if not skinless[joint])
    return Chain(way[hip], way[knee], way[ankle], below, float(cost), float(runner_up))


def way_to_foot(parents: IntArray, limb: Limb, tread: FloatArray, mass: FloatArray) -> list[int]:
    """Joints from the limb's topmost to the one that bears most of the tread, and on down to the last with skin.

    `tread` and `mass` are (J,): underside near the floor, and skin, that each joint carries.
    """
    children = children_of(parents)
    heaviest = max(limb.joints, key=lambda joint: float(tread[joint]))
    way = [heaviest]
    while way[0] != limb.root:
        way.insert(0, int(parents[way[0]]))
    while True:
        below = [(float(mass[branch(parents, child)].sum()), child) for child in children[way[-1]]]
        if not below or max(below)[0] <= 0:
            return way
        way.append(max(below)[1])


def _without_repeats(points: FloatArray, way: list[int], near: float) -> list[int]:
    """Leave out a joint that stands where the one before it stands, unless too few would be left."""
    kept = way[:1]
    for joint in way[1:]:
        if np.linalg.norm(points[joint] - points[kept[-1]]) > near:
            kept.append(joint)
    return kept if len(kept) >= 3 else way


def _off_line(points: FloatArray) -> float:
    """Largest distance of the inner points from the line between the outer two, in its lengths."""
    if len(points) < 3:
        return 0.0
    line = points[-1] - points[0]
    length = float(np.linalg.norm(line))
    offset = points[1:-1] - points[0]
    away = offset - np.outer(offset @ line, line) / length**2
    return float(np.linalg.norm(away, axis=1).max()) / length
