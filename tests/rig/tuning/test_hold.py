"""Hold against a known answer: a pad whose weights are shared asks for a hold that can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from instep.character import Character
from instep.errors import LandmarkError
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.tuning.hold import LIFTS_DEG, solve_hold, toe_pad
from tests.measured import make_measured_biped


def _rig(share_of_foot: float) -> Rig:
    """A biped whose toe pads have `share_of_foot` of their weight on the foot's joint, the rest on the toes'."""
    character, measurement = make_measured_biped()
    mesh = character.mesh
    assert mesh is not None
    joints, weights = np.zeros_like(mesh.joints), np.zeros_like(mesh.weights)
    joints[:], weights[:] = mesh.joints, mesh.weights
    plain = build_rig(character, measurement, RigDescription(character="biped"))
    for leg in measurement.legs:
        pad = toe_pad(plain, leg)
        assert leg.toes is not None
        assert len(pad) > 10
        joints[pad], weights[pad] = 0, 0.0
        joints[pad, 0], weights[pad, 0] = leg.toes, 1.0 - share_of_foot
        joints[pad, 1], weights[pad, 1] = leg.foot, share_of_foot
    shared = Character("biped", character.skeleton, replace(mesh, joints=joints, weights=weights))
    return build_rig(shared, measurement, RigDescription(character="biped"))


def test_a_pad_on_the_toes_alone_is_held_exactly() -> None:
    for fit in solve_hold(_rig(0.0)).values():
        assert fit.hold == 1.0
        assert fit.after < 1e-12


@pytest.mark.parametrize("share", [0.05, 0.1, 0.2])
def test_a_shared_pad_is_held_where_a_search_over_many_holds_finds_it(share: float) -> None:
    """Independent: heights of the blended pad written out by hand over a fine grid of holds."""
    rig = _rig(share)
    leg = rig.measurement.legs[0]
    mesh = rig.character.mesh
    assert mesh is not None
    offset = mesh.positions[toe_pad(rig, leg)] - leg.ball.position
    ahead, above = offset @ leg.axis, offset @ leg.sole_normal

    def miss(hold: float) -> float:
        lift = np.radians(LIFTS_DEG)[:, None]
        foot = above * np.cos(lift) - ahead * np.sin(lift)
        toes = above * np.cos((1 - hold) * lift) - ahead * np.sin((1 - hold) * lift)
        return float(np.mean((share * foot + (1 - share) * toes - above) ** 2))

    grid = np.linspace(0.0, 1.0, 20001)
    best = float(grid[int(np.argmin([miss(float(hold)) for hold in grid]))])
    fit = solve_hold(rig)["left"]
    assert abs(fit.hold - best) < 2e-4
    assert fit.after <= fit.before


def test_the_shared_pad_loses_ground_without_a_solved_hold() -> None:
    fit = solve_hold(_rig(0.2))["left"]
    assert fit.before > 1e-3


def test_a_skeleton_without_mesh_says_so() -> None:
    character, measurement = make_measured_biped()
    bare = Character("biped", character.skeleton, None)
    with pytest.raises(LandmarkError) as caught:
        solve_hold(build_rig(bare, measurement, RigDescription(character="biped.glb")))
    assert "the file has no mesh, so hold cannot be solved" in str(caught.value)
