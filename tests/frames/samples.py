"""Turns and vectors to try the frames with, as the project writes them and as scipy does."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.frames.quaternion import Quat
from instep.frames.vector import Vec


def random_units(seed: int, count: int) -> FloatArray:
    """(count, 3) unit vectors, evenly over the sphere."""
    directions = np.random.default_rng(seed).normal(size=(count, 3))
    return np.asarray(directions / np.linalg.norm(directions, axis=1)[:, None])


def random_turns(seed: int, count: int) -> Rotation:
    """Rotations, evenly over all, with no turn, half turns and nearly half turns among them."""
    rotations = Rotation.random(count, rng=np.random.default_rng(seed))
    special = Rotation.from_rotvec(
        [[0, 0, 0], [np.pi, 0, 0], [0, np.pi, 0], [0, 0, np.pi], [np.pi - 1e-9, 0, 0], [0, 1e-12, 0]]
    )
    return Rotation.concatenate([special, rotations])


def vec(rows: FloatArray) -> Vec:
    """One `Vec` of columns from (n, 3) rows."""
    return Vec.of(np.asarray(rows, dtype=np.float64).T)


def rows(v: Vec) -> FloatArray:
    """(n, 3) rows of a `Vec` of columns."""
    return np.stack(np.broadcast_arrays(*v), axis=-1).astype(np.float64)


def quat(rotation: Rotation) -> Quat:
    """One `Quat` of columns."""
    return Quat(*rotation.as_quat(scalar_first=True).T)


def components(q: Quat) -> FloatArray:
    """(n, 4) rows w, x, y, z."""
    return np.stack(np.broadcast_arrays(*q), axis=-1).astype(np.float64)


def turn(q: Quat) -> Rotation:
    """scipy's rotation of a `Quat`; it must be a unit quaternion already."""
    table = components(q)
    np.testing.assert_allclose(np.linalg.norm(table, axis=-1), 1.0, rtol=0, atol=1e-12)
    return Rotation.from_quat(table, scalar_first=True)


def apart(a: Rotation, b: Rotation) -> FloatArray:
    """Angle between rotations in radians, exact for small ones."""
    return np.asarray((a.inv() * b).magnitude(), dtype=np.float64)


def across_of(directions: FloatArray) -> FloatArray:
    """(n, 3) unit vectors across unit `directions` (n, 3)."""
    least = np.eye(3)[np.abs(directions).argmin(axis=1)]
    side = np.cross(directions, least)
    return np.asarray(side / np.linalg.norm(side, axis=1)[:, None])


numbers = st.floats(-1.0, 1.0, allow_nan=False, allow_subnormal=False)


@st.composite
def units(draw: st.DrawFn) -> FloatArray:
    """(3,) a unit vector, often along an axis."""
    raw = np.array(draw(st.tuples(numbers, numbers, numbers)))
    size = np.linalg.norm(raw)
    return np.asarray(raw / size) if size > 1e-3 else np.array([0.0, 1.0, 0.0])


small_angles = st.integers(0, 18).flatmap(lambda power: st.floats(-1.0, 1.0).map(lambda x: x * 10.0**-power))
"""Angles in radians, many of them tiny: what stands close to a singular place."""
