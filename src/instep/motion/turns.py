"""Turns over frames, as arrays of unit quaternions (N, 4) w, x, y, z, and the angles of a control."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray
from instep.frames.quaternion import Quat
from instep.frames.rigid import Rigid
from instep.frames.vector import Vec


def quat(turns: FloatArray) -> Quat:
    """Columns of (N, 4) as one quaternion of arrays."""
    return Quat(turns[:, 0], turns[:, 1], turns[:, 2], turns[:, 3])


def vec(points: FloatArray) -> Vec:
    """Columns of (N, 3) as one vector of arrays."""
    return Vec(points[:, 0], points[:, 1], points[:, 2])


def turns_of(q: Quat, frames: int) -> FloatArray:
    """(frames, 4) from a quaternion of numbers or arrays."""
    columns = [np.broadcast_to(np.asarray(c, dtype=np.float64), frames) for c in q]
    return np.asarray(np.stack(columns, axis=-1), dtype=np.float64)


def points_of(v: Vec, frames: int) -> FloatArray:
    """(frames, 3) from a vector of numbers or arrays."""
    columns = [np.broadcast_to(np.asarray(c, dtype=np.float64), frames) for c in v]
    return np.asarray(np.stack(columns, axis=-1), dtype=np.float64)


def rigid(turns: FloatArray, start: Vec, places: FloatArray) -> Rigid:
    """The change that turns by (N, 4) and takes what stood at `start` to (N, 3) `places`."""
    return Rigid.carrying(quat(turns), start, vec(places))


def logarithm(turns: FloatArray) -> FloatArray:
    """(N, 3) rotation vectors in radians, the short way."""
    signed = turns * np.where(turns[:, :1] < 0, -1.0, 1.0)
    sine = np.linalg.norm(signed[:, 1:], axis=1)
    angle = 2.0 * np.arctan2(sine, signed[:, 0])
    small = sine < 1e-12
    factor = np.where(small, 2.0, angle / np.where(small, 1.0, sine))
    return np.asarray(signed[:, 1:] * factor[:, None], dtype=np.float64)


def exponential(vectors_rad: FloatArray) -> FloatArray:
    """(N, 4) turns of rotation vectors (N, 3) in radians."""
    angle = np.linalg.norm(vectors_rad, axis=1)
    # np.sinc(x) is sin(pi x) / (pi x), finite at 0
    factor = 0.5 * np.sinc(angle / (2.0 * np.pi))
    return np.concatenate([np.cos(0.5 * angle)[:, None], vectors_rad * factor[:, None]], axis=1)


def multiply(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N, 4) products of turns, `b` first."""
    return turns_of(quat(a) @ quat(b), max(len(a), len(b)))


def inverse(turns: FloatArray) -> FloatArray:
    """(N, 4) opposite turns."""
    return np.asarray(turns * np.array([1.0, -1.0, -1.0, -1.0]), dtype=np.float64)


def continuous(turns: FloatArray) -> FloatArray:
    """The same turns, each quaternion on the same side as the one before."""
    if len(turns) < 2:
        return turns
    flips = np.cumprod(np.where(np.sum(turns[1:] * turns[:-1], axis=1) < 0, -1.0, 1.0))
    return np.concatenate([turns[:1], turns[1:] * flips[:, None]])


def control_angles(turns: FloatArray, axes: tuple[Vec, Vec, Vec], side: float, *, apart: bool = False) -> FloatArray:
    """(N, 3) yaw, pitch and lean in degrees of a control, from its turns (N, 4): the inverse of ``sided_turn``.

    With M the turn in the axes left, up, forward: sin(pitch) = -M[1,2], yaw = atan2(M[0,2], M[2,2]),
    lean = atan2(M[1,0], M[1,1]). Every turn has two such triples (yaw + 180, 180 - pitch, lean + 180) and each angle
    is known up to whole turns: of these the one is taken that continues the frame before. Where pitch is 90 degrees
    only the sum of yaw and lean is determined; yaw is then 0 or that of the frame before. With `apart` each frame
    stands for itself, with a pitch within a right angle and yaw and lean within half a turn.
    """
    left, up, forward = axes
    basis = np.array([list(left), list(up), list(forward)], dtype=np.float64).T  # columns
    local = np.concatenate([turns[:, :1], turns[:, 1:] @ basis], axis=1)
    w, x, y, z = local.T
    norm2 = w * w + x * x + y * y + z * z
    m02, m22 = 2 * (x * z + w * y), norm2 - 2 * (x * x + y * y)
    m10, m11 = 2 * (x * y + w * z), norm2 - 2 * (x * x + z * z)
    m12 = 2 * (y * z - w * x)
    yaw, lean = np.arctan2(m02, m22), np.arctan2(m10, m11)
    pitch = np.arctan2(-m12, np.hypot(m10, m11))
    pole = np.hypot(m10, m11) < 1e-9 * norm2
    if pole.any():
        m01, m00 = 2 * (x * y - w * z), norm2 - 2 * (y * y + z * z)
        yaw = np.where(pole, 0.0, yaw)
        lean = np.where(pole, np.arctan2(-m01, m00), lean)
    angles = np.stack([yaw, pitch, lean], axis=1)
    signs = np.array([side or 1.0, 1.0, -(side or 1.0)])
    if apart:
        return np.asarray(np.degrees(angles) * signs, dtype=np.float64)
    other = np.stack([yaw + np.pi, np.pi - pitch, lean + np.pi], axis=1)
    if len(angles) > 1:
        same = _distance(angles[1:], angles[:-1])
        crossed = _distance(other[1:], angles[:-1])
        swapped = np.concatenate([[False], np.logical_xor.accumulate(crossed < same)])
        angles = np.where(swapped[:, None], other, angles)
    unwrapped = np.degrees(np.unwrap(angles, axis=0))
    return np.asarray((unwrapped - 360.0 * np.round(unwrapped[:1] / 360.0)) * signs, dtype=np.float64)


def _distance(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N,) how far apart triples of angles are, whole turns aside."""
    gap = a - b
    return np.asarray(np.abs(gap - 2 * np.pi * np.round(gap / (2 * np.pi))).sum(axis=1), dtype=np.float64)
