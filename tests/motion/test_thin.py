"""Few keys: every joint within the distance, contacts exact, at most a quarter of the frames' keys."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from instep.motion.figures import slides
from instep.motion.fit import fit_clip, fit_poses
from instep.motion.model import Keys
from instep.motion.plant import plant
from instep.motion.splines import evaluate_keys, key_slopes, keys_at
from instep.motion.thin import thin
from tests.motion.made_clips import WALKS, stocky, stocky_clip
from tests.motion.walker import walk_values
from tests.rig.made import made_rig


def test_segments_are_scipys_and_gltfs() -> None:
    rng = np.random.default_rng(1)
    frames = np.array([0, 3, 4, 9, 20])
    keys = Keys(frames, rng.normal(size=5), rng.normal(size=5))
    reference = CubicHermiteSpline(frames / 30.0, keys.values, keys.slopes)
    at = np.arange(21) / 30.0
    np.testing.assert_allclose(evaluate_keys(keys, 21, 30.0), reference(at), atol=1e-12)
    np.testing.assert_allclose(key_slopes(keys, 21, 30.0), reference(at, 1), atol=1e-9)
    fine = np.linspace(0.0, 20 / 30.0, 77)
    np.testing.assert_allclose(keys_at(keys, fine, 30.0), reference(fine), atol=1e-12)
    # Held outside.
    np.testing.assert_allclose(keys_at(keys, np.array([-1.0, 9.0]), 30.0), keys.values[[0, -1]])


@pytest.mark.parametrize("name", WALKS)
def test_the_walks_need_a_quarter_of_the_keys(name: str) -> None:
    """1 mm of a figure of 1.75 m. Measured: 16, 19 and 10 to 12 % of the keys that one a frame would be."""
    rig = stocky()
    planted = plant(rig, fit_clip(rig, stocky_clip(name)).motion)
    mesh = rig.character.mesh
    assert mesh is not None
    within = 0.001 * float(np.ptp(mesh.positions[:, 1])) / 1.75
    thinned = thin(rig, planted.motion, within)
    assert thinned.keys <= 0.25 * thinned.frames
    before, after = rig.evaluate(planted.motion.values), rig.evaluate(thinned.motion.values)
    assert np.linalg.norm(after.position - before.position, axis=2).max() <= within
    foot = rig.measurement.legs[0].foot_length
    assert max(each.slide for each in slides(rig, thinned.motion)) <= 1e-3 * foot


@pytest.mark.parametrize("in_place", [False, True])
def test_contacts_stay_exact(in_place: bool) -> None:
    rig = made_rig("plain")
    planted = plant(rig, fit_poses(rig, rig.evaluate(walk_values(rig, 60.0, 2.2, in_place=in_place)), 60.0).motion)
    thinned = thin(rig, planted.motion, 0.001)
    assert thinned.worst <= 0.001
    foot = rig.measurement.legs[0].foot_length
    assert max(each.slide for each in slides(rig, thinned.motion)) <= 1e-6 * foot
    # Keys stand where feet strike and leave.
    assert thinned.motion.keys is not None
    keyed = set(thinned.motion.keys["left.foot.along"].frames.tolist())
    for contact in thinned.motion.contacts:
        if contact.leg == "left" and contact.part == "heel" and contact.start_s > 0:
            assert round(contact.start_s * 60.0) in keyed


def test_what_does_not_move_has_one_key_or_none() -> None:
    rig = made_rig("plain")
    values = np.tile(rig.defaults, (40, 1))
    values[:, rig.channel("pelvis.up")] = -0.1
    motion = fit_poses(rig, rig.evaluate(values), 30.0).motion
    thinned = thin(rig, motion, 0.001)
    assert thinned.motion.keys is not None
    assert {len(keys.frames) for keys in thinned.motion.keys.values()} == {1}
    assert thinned.worst < 1e-6
