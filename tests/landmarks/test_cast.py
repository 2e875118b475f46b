"""The demo cast's landmarks against what is known of them from their making."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from examples.salt_ferry import CAST
from instep.landmarks import measure


@pytest.mark.parametrize("name", CAST)
def test_landmarks_are_within_two_hundredths_of_the_foot(name: str) -> None:
    # At full detail: a coarser mesh does not hold the soles to a fiftieth of the foot itself.
    member = CAST[name]()
    measured = measure(member.character)
    misses = {}
    for leg in measured.legs:
        for mark, landmark in leg.landmarks.items():
            if f"{leg.name}.{mark}" in member.truth:
                miss = landmark.position - np.array(member.truth[f"{leg.name}.{mark}"])
                misses[f"{leg.name}.{mark}"] = float(np.linalg.norm(miss)) / leg.foot_length
        raised = max(member.truth[f"{leg.name}.heel_height"])
        misses[f"{leg.name}.heel_height"] = abs(leg.heel_height - raised) / leg.foot_length
    assert len(misses) == 18
    assert {mark: round(miss, 4) for mark, miss in misses.items() if miss > 0.02} == {}
    assert_allclose(measured.R_world_body, np.eye(3), atol=0)
    assert_allclose(measured.floor, 0, atol=1e-9)
    assert measured.remarks == ()
