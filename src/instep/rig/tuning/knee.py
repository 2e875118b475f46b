"""The knee's rest aim: which way a leg bends that stands nearly straight in its bind pose.

Where a knee is bent, the joints say how it bends. Where it lies nearer to the line from hip to ankle than
NEARLY_STRAIGHT, its side is a matter of chance. Aim: the angle a, outward of the foot's axis seen along the leg, that
is least in (1 - t) a^2 + t (a - k)^2, where k is the angle of the knee's own offset and t its distance from the line
as a share of NEARLY_STRAIGHT: a = t k, but no further than AIM_APART_DEG from k. So an exactly straight leg bends along
its foot, and nothing jumps where chance ends.
"""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray
from instep.landmarks import LegLandmarks
from instep.rig.plan import LegPlan
from instep.rig.tuning.solved import Solved
from instep.tolerances import AIM_APART_DEG, NEARLY_STRAIGHT, STRAIGHT_LEG

FIGURE = "angle between the knee's bend and the foot's axis"


def solve_knee_aim(leg: LegLandmarks, plan: LegPlan, R_world_body: FloatArray, unit: float) -> Solved:
    """Solve in closed form. `plan` is that of the rig as it is, which says how the knee bends now."""
    hip, knee, ankle = (np.asarray(leg.landmarks[name].position) for name in ("hip", "knee", "ankle"))
    line = (ankle - hip) / np.linalg.norm(ankle - hip)
    offset = knee - hip - line * (line @ (knee - hip))
    now = R_world_body @ np.array([float(plan.bend.x), float(plan.bend.y), float(plan.bend.z)])
    before = outward_deg(leg, line, now)
    distance = float(np.linalg.norm(offset)) / unit
    if distance >= NEARLY_STRAIGHT:
        return Solved(
            leg.name, "knee_aim_deg", None, abs(before), abs(before), FIGURE, "deg",
            "the knee is bent at rest, and bends further the same way",
        )  # fmt: skip
    own = outward_deg(leg, line, offset) if distance > STRAIGHT_LEG else 0.0
    aim = distance / NEARLY_STRAIGHT * own
    if distance > STRAIGHT_LEG:
        aim = float(np.clip(aim, own - AIM_APART_DEG, own + AIM_APART_DEG))
    aim = round(aim, 2) + 0.0
    return Solved(leg.name, "knee_aim_deg", aim, abs(before), abs(aim), FIGURE, "deg")


def outward_deg(leg: LegLandmarks, line: FloatArray, direction: FloatArray) -> float:
    """How far a direction lies outward of the foot's axis, both seen along the leg's `line`; -180 to 180."""
    ahead = leg.axis - line * (line @ leg.axis)
    outward = np.cross(ahead, line) * (1.0 if leg.side == "left" else -1.0)
    return float(np.degrees(np.arctan2(direction @ outward, direction @ ahead)))
