"""Gait events from pelvis and feet alone."""

from __future__ import annotations

import numpy as np
import pytest

from instep.motion.events import gait_events, progression, stances_of
from instep.motion.fit import fit_poses
from instep.motion.sole import SoleTracks, sole_tracks
from tests.motion.walker import strikes_and_offs, walk_values
from tests.rig.made import made_rig


@pytest.mark.parametrize("in_place", [False, True])
def test_events_stand_beside_the_contacts(in_place: bool) -> None:
    """Zeni 2008 on a walk that is known: within 60 ms. The pelvis goes evenly here, and the heel is farthest ahead
    before it comes down."""
    rig = made_rig("plain")
    poses = rig.evaluate(walk_values(rig, 120.0, 4.0, in_place=in_place))
    fit = fit_poses(rig, poses, 120.0)
    tracks = sole_tracks(rig, poses)
    events = gait_events(tracks, 120.0, 0.0, fit.motion.floor.velocity)
    for leg in ("left", "right"):
        for start, end in strikes_and_offs(4.0, leg):
            strike = min(abs(e.time_s - start) for e in events if e.leg == leg and e.kind == "strike")
            off = min(abs(e.time_s - end) for e in events if e.leg == leg and e.kind == "off")
            assert strike <= 0.06
            assert off <= 0.06
    whole = [stride for stride in stances_of(fit.found, fit.motion.times_s, events) if stride.whole]
    assert whole
    assert all(stride.strike_s is not None and stride.off_s is not None for stride in whole)


def test_the_way_is_that_of_the_pelvis_over_the_floor() -> None:
    rig = made_rig("plain")
    poses = rig.evaluate(walk_values(rig, 60.0, 3.0))
    tracks = sole_tracks(rig, poses)
    np.testing.assert_allclose(progression(tracks, (0.0, 0.0), 60.0), [0.0, 1.0], atol=1e-3)
    still = SoleTracks(tracks.parts, tracks.foot_length, np.zeros_like(tracks.pelvis))
    np.testing.assert_allclose(progression(still, (-1.0, 0.0), 60.0), [1.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(progression(still, (0.0, 0.0), 60.0), [0.0, 1.0])


def test_a_paw_without_a_heel_has_events_too() -> None:
    rig = made_rig("plain")
    tracks = sole_tracks(rig, rig.evaluate(walk_values(rig, 60.0, 3.0)))
    parts = {leg: {"ball": own["ball"]} for leg, own in tracks.parts.items()}
    events = gait_events(SoleTracks(parts, tracks.foot_length, tracks.pelvis), 60.0)  # type: ignore[arg-type]
    assert {event.kind for event in events} == {"strike", "off"}
