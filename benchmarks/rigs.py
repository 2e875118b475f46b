"""The rigs that are timed, and poses for them."""

from __future__ import annotations

from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.channels import ControlSet
from tests.measured import make_measured_biped

POSES: Final = 40_960
"""Ten blocks of the NumPy evaluator."""


def two_legged(controls: ControlSet, plain: bool) -> Rig:
    """The rig of the tests' two-legged character: 20 joints, 8 of them in the legs."""
    character, measurement = make_measured_biped()
    return build_rig(character, measurement, RigDescription(character="biped", controls=controls, plain=plain))


def random_poses(rig: Rig, frames: int = POSES) -> FloatArray:
    """(frames, C) channel values over a third of each range."""
    rng = np.random.default_rng(1)
    low, high, rest = (np.array([getattr(c, part) for c in rig.channels]) for part in ("low", "high", "default"))
    return np.asarray(rest + (rng.uniform(low, high, (frames, len(rest))) - rest) / 3.0)
