"""A biped whose toe pads follow the foot in part, as an artist's smooth brush leaves them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from instep.character import Character
from instep.landmarks import Measurement
from instep.rig import RigDescription, build_rig
from instep.rig.tuning.hold import toe_pad
from tests.measured import make_measured_biped


def biped_with_shared_pads(share_of_foot: float, **options: Any) -> tuple[Character, Measurement]:
    """The toe pads have `share_of_foot` of their weight on the foot's joint, the rest on the toes'."""
    character, measurement = make_measured_biped(**options)
    mesh = character.mesh
    assert mesh is not None
    joints, weights = np.array(mesh.joints), np.array(mesh.weights)
    plain = build_rig(character, measurement, RigDescription(character="biped"))
    for leg in measurement.legs:
        pad = toe_pad(plain, leg)
        assert leg.toes is not None
        joints[pad], weights[pad] = 0, 0.0
        joints[pad, 0], weights[pad, 0] = leg.toes, 1.0 - share_of_foot
        joints[pad, 1], weights[pad, 1] = leg.foot, share_of_foot
    return Character("biped", character.skeleton, replace(mesh, joints=joints, weights=weights)), measurement
