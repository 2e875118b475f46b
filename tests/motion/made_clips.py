"""Motion to try things on: smooth random channels, a walker over ground made of feet alone, and clips of files."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character import Character, Poses
from instep.character.arrays import FloatArray
from instep.formats import read_character
from instep.landmarks import measure
from instep.motion.clips import BroughtClip, bring_clip, choose_clip
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.channels import ControlSet

DATA: Final = Path(__file__).resolve().parents[3] / "shared" / "data"
WALKS: Final = ("walking_a", "walking_b", "walking_c")


def shared(name: str) -> Path:
    """A file of the shared data; the test is skipped where it is missing."""
    path = DATA / name
    if not path.is_file():
        pytest.skip(f"../shared/data/{name} is not here")
    return path


@cache
def _character(path: Path) -> Character:
    return read_character(path)


@cache
def _rig(path: Path, controls: ControlSet) -> Rig:
    character = _character(path)
    return build_rig(character, measure(character), RigDescription(character=path.name, controls=controls))


def stocky(controls: ControlSet = "essential") -> Rig:
    """The rig of the stylised figure."""
    return _rig(shared("characters/stocky.glb"), controls)


def stocky_clip(name: str, rate: float = 60.0, controls: ControlSet = "essential") -> BroughtClip:
    """One of its clips, from the other file."""
    source = _character(shared("characters/stocky_moves.glb"))
    return bring_clip(stocky(controls), source, choose_clip(source, name), rate)


def smooth_values(rig: Rig, frames: int, rate: float, seed: int, share: float = 1.0) -> FloatArray:
    """(frames, C) random smooth channels that the joints determine alone, with the legs bent enough to reach.

    Pivots, pole marks, the root and forward kinematics stay at rest: what they do shows in the joints as what the
    foot control and the knee's twist do.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(frames) / rate
    values = np.tile(rig.defaults, (frames, 1))
    for number, channel in enumerate(rig.channels):
        place = channel.control.rpartition(".")[2]
        amount = {"deg": 10.0, "length": 0.05 * rig.plan.unit, "share": 0.0}[channel.unit] * share
        if channel.control == "root" or place in ("thigh", "shin", "ankle", "leg"):
            amount = 0.0
        if place == "knee" and channel.quantity != "twist":
            amount = 0.0
        # A sum of unequal waves; each amplitude is drawn anew.
        wave = sum(rng.normal() * np.sin(2 * np.pi * f * t + rng.uniform(0.0, 6.0)) for f in (0.3, 0.7, 1.1))
        if channel.name == "pelvis.up":
            values[:, number] = -0.12 * rig.plan.unit + 0.2 * amount * np.asarray(wave)
        else:
            values[:, number] += amount * np.asarray(wave)
    return values


def noisy(poses: Poses, distance: float, turn_deg: float, seed: int) -> Poses:
    """The poses with Gaussian noise whose root mean square length is `distance` and `turn_deg`, at each joint."""
    rng = np.random.default_rng(seed)
    count = poses.rotation.shape[0] * poses.rotation.shape[1]
    vectors = rng.normal(0.0, np.radians(turn_deg) / np.sqrt(3.0), (count, 3))
    turned = Rotation.from_rotvec(vectors) * Rotation.from_quat(poses.rotation.reshape(-1, 4), scalar_first=True)
    places = poses.position + rng.normal(0.0, distance / np.sqrt(3.0), poses.position.shape)
    return Poses(turned.as_quat(scalar_first=True).reshape(poses.rotation.shape), places, poses.scale)


def turn_rms_deg(a: Poses, b: Poses) -> float:
    """Root mean square angle between the joints' turns."""
    relative = Rotation.from_quat(a.rotation.reshape(-1, 4), scalar_first=True) * (
        Rotation.from_quat(b.rotation.reshape(-1, 4), scalar_first=True).inv()
    )
    return float(np.degrees(np.sqrt(np.mean(relative.magnitude() ** 2))))


def place_rms(a: Poses, b: Poses) -> float:
    """Root mean square distance between the joints' places."""
    return float(np.sqrt(np.mean(np.sum((a.position - b.position) ** 2, axis=2))))
