"""The ball: the joint that turns the toes where there is one, otherwise an estimate from the foot's shape."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray
from instep.landmarks.tread import FootFrame, Tread

BALL_SHARE = 0.74
"""Heel to first metatarsal head, in foot lengths: .741 (men), .739 (women), ANSUR II (Gordon et al. 2014,
NATICK/TR-15/007), SD .015."""
JOINT_HEIGHT = 0.45
"""Height of the joint's centre over the sole, in thicknesses of the foot at that place."""
LAST_SHARE = 0.95
"""A joint beyond this share of the foot is an end, not a ball."""


def choose_ball(
    joints: tuple[int, ...], positions: FloatArray, frame: FootFrame, extent: tuple[float, float]
) -> int | None:
    """The joint under the ankle that is the ball: nearest to BALL_SHARE of the foot; None where there is none.

    `extent` is the foot's rearmost and foremost place along its axis.
    """
    rear, front = extent
    best: int | None = None
    for joint in joints:
        share = _share(positions[joint], frame, rear, front)
        if share < LAST_SHARE and (
            best is None or abs(share - BALL_SHARE) < abs(_share(positions[best], frame, rear, front) - BALL_SHARE)
        ):
            best = joint
    return best


def estimate_ball(p_foot: FloatArray, frame: FootFrame, tread: Tread) -> FloatArray:
    """(3,) in the world, from the foot's vertices (N, 3) in `frame` (left, height, along)."""
    rear, front = float(p_foot[:, 2].min()), float(p_foot[:, 2].max())
    along = rear + BALL_SHARE * (front - rear)
    near = np.abs(p_foot[:, 2] - along) < 0.08 * (front - rear)
    top = float(p_foot[near, 1].max()) if near.any() else 0.1 * (front - rear)
    return frame.world(tread.middle(along), JOINT_HEIGHT * top, along)


def _share(point: FloatArray, frame: FootFrame, rear: float, front: float) -> float:
    return float((frame.into(point)[2] - rear) / (front - rear))
