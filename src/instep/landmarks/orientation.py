"""Which way the body faces: up, forward and left in the world."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character.arrays import FloatArray
from instep.tolerances import SNAP_DEG

LEGS_AGREE_DEG = 4.0
"""An axis of the file this close to the line of the legs is up, even where the feet stand a little tipped."""
TIPPED_DEG = 25.0
"""Soles further than this from the line of the legs do not stand: the feet hang, or stand on their toes."""


@dataclass(frozen=True, slots=True, eq=False)
class Up:
    """(3,) unit vector, up, and whether the feet stand on a level floor."""

    direction: FloatArray
    standing: bool


def find_up(across: FloatArray, soles: FloatArray, legs: FloatArray) -> Up:
    """Up, from what bears on it, in this order.

    1. An axis of the file, within SNAP_DEG of the soles.
    2. An axis within 4 degrees of the legs, if the soles are within 25 degrees of the legs (feet a little tipped).
    3. The soles, if they are within 25 degrees of the legs.
    4. An axis within 25 degrees of the legs (feet that hang).
    5. The legs.

    Parameters
    ----------
    across : (3,) unit normal of the body's plane: up lies in that plane.
    soles : (n, 3) normals of the soles, up into the feet.
    legs : (n, 3) from ankle to hip of each leg.
    """
    tread, leg = (_in_plane(vectors.sum(axis=0), across) for vectors in (soles, legs))
    axes = np.concatenate([np.eye(3), -np.eye(3)])[[1, 0, 2, 3, 4, 5]]
    axes = axes[np.abs(axes @ across) < np.sin(np.radians(SNAP_DEG))]
    standing = _angle_deg(tread, leg) < TIPPED_DEG

    def nearest(to: FloatArray, within_deg: float) -> FloatArray | None:
        for axis in sorted(axes, key=lambda axis: float(-(axis @ to))):
            if _angle_deg(axis, to) < within_deg:
                return np.asarray(axis, dtype=np.float64)
        return None

    if (axis := nearest(tread, SNAP_DEG)) is not None:
        return Up(axis, standing)
    if standing:
        axis = nearest(leg, LEGS_AGREE_DEG)
        return Up(tread if axis is None else axis, True)
    axis = nearest(leg, TIPPED_DEG)
    return Up(leg if axis is None else axis, False)


def body_axes(up: FloatArray, across: FloatArray, forward: FloatArray) -> FloatArray:
    """(3, 3) R_world_body: columns left, up, forward; exactly along the file's axes where it is within SNAP_DEG.

    `forward` is (3,), right to within 90 degrees; `across` is the normal of the body's plane, to either side.
    """
    left = across - (across @ up) * up
    left /= np.linalg.norm(left)
    if np.cross(left, up) @ forward < 0:
        left = -left
    axis = np.zeros(3)
    axis[np.argmax(np.abs(left))] = np.sign(left[np.argmax(np.abs(left))])
    if _angle_deg(axis, left) < SNAP_DEG and abs(axis @ up) < 1e-9:
        left = axis
    return np.stack([left, up, np.cross(left, up)], axis=1)


def facing(
    ahead: FloatArray, ankles: FloatArray, balls: FloatArray, reach: FloatArray, bends: FloatArray
) -> FloatArray:
    """(3,) votes for `ahead` being forward, each from -1 to 1: ball joints, feet's shape, knees.

    Parameters
    ----------
    ahead : (3,) unit vector, the way that is asked about.
    ankles, balls : (n, 3) joint centres of legs with a ball joint.
    reach : (m, 2) how far the feet reach from the ankle, along `ahead` and against it.
    bends : (k, 3) offset of the knees from the line of hip and ankle, in leg lengths.
    """
    votes = np.zeros(3)
    if len(balls):
        step = (balls - ankles).sum(axis=0)
        votes[0] = float(step @ ahead / max(float(np.linalg.norm(step)), 1e-30))
    if len(reach):
        total = reach.sum(axis=0)
        votes[1] = float((total[0] - total[1]) / max(float(total.sum()), 1e-30))
    if len(bends):
        votes[2] = float(np.clip(bends.mean(axis=0) @ ahead / 0.02, -1, 1))
    return votes


FACING_WEIGHTS = (1.0, 1.0, 0.4)
"""The feet decide; knees are a second opinion: on many models they are straight."""


def _in_plane(vector: FloatArray, across: FloatArray) -> FloatArray:
    flat = vector - (vector @ across) * across
    return np.asarray(flat / np.linalg.norm(flat), dtype=np.float64)


def _angle_deg(one: FloatArray, two: FloatArray) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(one, two)), one @ two)))
