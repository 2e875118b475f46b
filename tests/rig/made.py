"""Rigs to try, built once, and random poses of them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial.transform import Rotation

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.channels import ControlSet
from tests.measured import make_measured_biped

TURNED: Final = Rotation.from_euler("YXZ", [130.0, -40.0, 25.0], degrees=True).as_matrix()

BIPEDS: Final[Mapping[str, dict[str, Any]]] = {
    "plain": {},
    "straight knee": {"knee_bend_deg": 0.0},
    "bent knee": {"knee_bend_deg": 25.0},
    "backward knee": {"knee_bend_deg": -25.0},
    "heeled": {"heel_height": 0.06},
    "toe-out": {"toe_out_deg": 20.0},
    "no toes": {"toes": False},
    "toe ends": {"toe_end": True, "along_bones": False},
    "centimetres": {"scale": 100.0},
    "turned": {"R_world": TURNED},
    "offset": {"offset": (3.0, -2.0, 5.0)},
    "all at once": {
        "R_world": TURNED, "scale": 100.0, "offset": (30.0, -20.0, 50.0), "toe_out_deg": 15.0, "heel_height": 0.04,
        "knee_bend_deg": 8.0,
    },
}  # fmt: skip

Side = Literal["left", "right"]
SIDES: Final[tuple[Side, Side]] = ("left", "right")


@cache
def made_rig(biped: str = "plain", controls: ControlSet = "essential", plain: bool = False) -> Rig:
    """The rig of one of `BIPEDS`."""
    character, measurement = make_measured_biped(**BIPEDS[biped])
    return build_rig(character, measurement, RigDescription(character="x", controls=controls, plain=plain))


def number_of(rig: Rig, channel: str) -> int:
    """The place of a channel among the rig's."""
    return [each.name for each in rig.channels].index(channel)


def with_values(rig: Rig, base: FloatArray, settings: Mapping[str, ArrayLike]) -> FloatArray:
    """`base` (N, C) with some channels set; ranges are not checked."""
    values = np.array(base, dtype=np.float64)
    for name, value in settings.items():
        values[:, number_of(rig, name)] = value
    return values


def at_rest(rig: Rig, frames: int) -> FloatArray:
    """(frames, C) defaults."""
    return np.tile(rig.defaults, (frames, 1))


def random_values(rig: Rig, frames: int, seed: int, share: float = 1.0, reach: float = 0.3) -> FloatArray:
    """(frames, C) inside the ranges: angles and shares over `share` of theirs, lengths over `reach` of the leg."""
    rng = np.random.default_rng(seed)
    values = np.empty((frames, len(rig.channels)))
    for number, channel in enumerate(rig.channels):
        low, high = channel.low - channel.default, channel.high - channel.default
        if channel.unit == "length":
            low, high = max(low, -reach * rig.plan.unit), min(high, reach * rig.plan.unit)
            values[:, number] = channel.default + rng.uniform(low, high, frames)
        else:
            values[:, number] = channel.default + share * rng.uniform(low, high, frames)
    return values


def extreme_values(rig: Rig, frames: int, seed: int) -> FloatArray:
    """(frames, C) each channel at its low, its default or its high."""
    rng = np.random.default_rng(seed)
    ends = np.array([[channel.low, channel.default, channel.high] for channel in rig.channels])
    pick = rng.integers(0, 3, (frames, len(ends)))
    return np.asarray(ends[np.arange(len(ends)), pick], dtype=np.float64)


def singular_values(rig: Rig) -> FloatArray:
    """(N, C) each leg's goal on the hip, near it, opposite to rest, at and around full reach; the knee's mark on
    the leg's line, behind it, and at the hip."""
    poses: list[FloatArray] = []
    for leg in rig.plan.legs:
        hip, knee, ankle = (np.array(list(point), dtype=np.float64) for point in (leg.hip, leg.knee, leg.ankle))
        whole = np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee)
        line = (ankle - hip) / np.linalg.norm(ankle - hip)
        side = np.array([1.0, 0.0, 0.0])
        goals = [hip + line * (whole * (1 + away)) for away in (-1e-9, -1e-15, 0.0, 1e-15, 1e-9, 1e-3, 2.0)]
        for away in (0.0, 1e-15, 1e-12, 1e-9, 1e-6, 0.618034e-3, 1e-2, 0.5):
            goals += [hip - line * (away * whole), hip + side * (away * whole)]
        for tilt in (1e-16, 1e-12, 1e-10, 1e-7, 1e-4):
            goals += [hip + 0.9 * whole * (-line + tilt * side), hip + 0.9 * whole * (-line - tilt * side)]
        marks = [hip, ankle, hip + 0.3 * (ankle - hip), hip - np.array(list(leg.bend)), hip + 1e-9 * side]
        ahead = knee + 0.5 * rig.plan.unit * np.array(list(leg.bend))
        rest = rig.defaults
        for goal in goals:
            poses.append(_shifted(rig, rest, f"{leg.name}.foot", leg.side, goal - ankle))
        for mark in marks:
            aimed = _shifted(rig, rest, f"{leg.name}.knee", leg.side, mark - ahead)
            poses += [aimed, _shifted(rig, aimed, f"{leg.name}.foot", leg.side, 0.3 * (hip - ankle))]
            if rig.description.controls == "full":
                held = _shifted(rig, rest, f"{leg.name}.knee", leg.side, mark - knee)
                poses.append(with_values(rig, held[None], {f"{leg.name}.knee.pin": 1.0})[0])
    return np.array([rig.defaults, *poses])


def _shifted(rig: Rig, values: FloatArray, control: str, side: float, shift: FloatArray) -> FloatArray:
    return np.asarray(moved(rig, values[None], control, side, shift[None])[0])


def moved(rig: Rig, values: FloatArray, control: str, side: float, shift: FloatArray) -> FloatArray:
    """`values` (N, C) with a control moved by (N, 3) in the body's axes."""
    across, up, along = np.asarray(shift, dtype=np.float64).T
    return with_values(
        rig, values, {f"{control}.across": across * side, f"{control}.up": up, f"{control}.along": along}
    )


def points_of(rig: Rig, poses: Poses, joint: str, p_world: FloatArray) -> FloatArray:
    """(N, 3) where a point that is fixed to a joint in the bind pose has gone."""
    change = poses.changes(rig.character.skeleton)[:, rig.character.skeleton.index(joint)]
    return np.asarray(change[..., :3] @ np.asarray(p_world) + change[..., 3], dtype=np.float64)


def in_body(rig: Rig, vectors: FloatArray) -> FloatArray:
    """Vectors (..., 3) of the world in the body's axes: left, up, forward."""
    return np.asarray(vectors @ rig.plan.R_world_body, dtype=np.float64)


def landmark(rig: Rig, side: Side, name: str) -> FloatArray:
    """(3,) a landmark in the world."""
    leg = next(leg for leg in rig.measurement.legs if leg.name == side)
    return np.asarray(leg.landmarks[name].position, dtype=np.float64)


def joint_places(rig: Rig, poses: Poses, joint: str) -> FloatArray:
    """(N, 3) a joint's places in the world."""
    return np.asarray(poses.position[:, rig.character.skeleton.index(joint)], dtype=np.float64)


def rotations(poses: Poses) -> Rotation:
    """All joints' turns, flattened; each must be a unit quaternion to 1e-9."""
    flat = poses.rotation.reshape(-1, 4)
    np.testing.assert_allclose(np.linalg.norm(flat, axis=1), 1.0, rtol=0, atol=1e-9)
    return Rotation.from_quat(flat, scalar_first=True)
