"""How sure a measurement is, from 0 (guessed) to 1 (certain): one rule for joints, one for the sole.

By hand 1. A joint as sure as its place in the leg was chosen clearly; the sole as sure as it is flat and
finely meshed; a heel not much surer than the foot's axis; a ball without a joint 0.4.
"""

from __future__ import annotations

import numpy as np

from instep.landmarks.chain import UNLIKELY, Chain

MANY_POINTS = 12
"""Vertices of a tread that show its outline well: three on each of its four sides."""


def joint_confidence(chain: Chain) -> float:
    """0.95 for a leg of likely proportions that was chosen clearly; down to 0.3.

    Costs are in the unit of `chain`: 0 a perfect leg. An unlikely leg (UNLIKELY) and a narrow choice (the next
    best costs no more) take 0.3 each.
    """
    unlikely = float(np.clip(chain.cost / UNLIKELY, 0, 1))
    narrow = float(np.clip(1 - (chain.runner_up - chain.cost) / 0.2, 0, 1))
    return 0.95 - 0.3 * unlikely - 0.3 * narrow


def sole_confidence(flatness: float, points: int) -> float:
    """0.95 for a flat sole of many vertices; 0.6 for one that touches here and there; less with few vertices."""
    fine = float(np.clip(points / MANY_POINTS, 0.3, 1))
    return (0.6 + 0.35 * flatness) * (0.4 + 0.6 * fine)
