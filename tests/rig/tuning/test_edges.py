"""Edges: a pivot that was moved away is found again, and the figures told are those of the finished rig."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instep.character.skinning import skin_vertices
from instep.landmarks import LegLandmarks, Measurement
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.description import TunedLeg
from instep.rig.tuning.edges import BANKS_DEG, solve_edge, with_edges
from instep.rig.tuning.tread import Tread, full_rig
from tests.measured import make_measured_biped


def off_floor(rig: Rig, leg: LegLandmarks, edge: str) -> float:
    """Root mean square of the lowest sole vertex's height over the bank, of foot length, by the finished rig's own
    channel of that edge."""
    mesh = rig.character.mesh
    assert mesh is not None
    lift = 0.25 * rig.plan.unit
    sign = 1.0 if edge == "outer" else -1.0
    degrees = sign * np.array(BANKS_DEG)
    poses = full_rig(rig).pose({f"{leg.name}.foot.up": lift, f"{leg.name}.{edge}.lean": degrees})
    places = skin_vertices(mesh, rig.character.skeleton, poses, leg.sole)
    height = ((places - leg.heel.position) @ leg.sole_normal - lift).min(axis=1)
    return float(np.sqrt(np.mean(height**2))) / leg.foot_length


def moved(measurement: Measurement, edge: str, away: float, up: float) -> Measurement:
    """The measurement with one edge of each foot moved, in foot lengths."""
    name = f"{edge}_shift"
    tuned = {leg.name: TunedLeg.model_validate({name: (away, up)}) for leg in measurement.legs}
    return with_edges(measurement, RigDescription(character="biped", tuned=tuned))


@pytest.mark.parametrize("edge", ["outer", "inner"])
@pytest.mark.parametrize("leg_number", [0, 1])
def test_a_pivot_moved_away_is_found_again(edge: str, leg_number: int) -> None:
    character, measurement = make_measured_biped(toe_out_deg=9.0)
    away, up = 0.03, 0.012
    wrong = moved(measurement, edge, away, up)
    rig = build_rig(character, wrong, RigDescription(character="biped"))
    leg = wrong.legs[leg_number]
    found = solve_edge(Tread.of(full_rig(rig), leg), edge, (0.0, 0.0))
    assert isinstance(found.value, tuple)
    assert np.allclose(found.value, (-away, -up), atol=5e-4)
    assert found.before == pytest.approx(off_floor(rig, leg, edge), abs=1e-9)
    right = moved(wrong, edge, *found.value)
    assert found.after == pytest.approx(off_floor(build_rig(character, right), right.legs[leg_number], edge), abs=1e-6)
    assert found.after < 0.05 * found.before


def test_a_pivot_at_the_edge_stays() -> None:
    character, measurement = make_measured_biped()
    rig = build_rig(character, measurement)
    found = solve_edge(Tread.of(full_rig(rig), measurement.legs[0]), "outer", (0.0, 0.0))
    assert found.value is None
    assert found.note == "it is as good as it gets"
    assert found.after == found.before < 1e-9


@settings(max_examples=30)
@given(away=st.floats(-0.1, 0.1), up=st.floats(-0.1, 0.1))
def test_shifts_go_the_same_way_on_both_sides_and_lengths_scale(away: float, up: float) -> None:
    for scale in (1.0, 100.0):
        _, measurement = make_measured_biped(scale=scale)
        for edge in ("outer", "inner"):
            for leg, new in zip(measurement.legs, moved(measurement, edge, away, up).legs, strict=True):
                step = getattr(new, edge).position - getattr(leg, edge).position
                middle = leg.heel.position + leg.axis * (leg.axis @ (getattr(leg, edge).position - leg.heel.position))
                outward = getattr(leg, edge).position - middle
                outward = outward / np.linalg.norm(outward)
                assert step @ outward / leg.foot_length == pytest.approx(away, abs=1e-9)
                assert step @ leg.sole_normal / leg.foot_length == pytest.approx(up, abs=1e-9)


def test_an_edge_set_by_hand_is_not_moved() -> None:
    _, measurement = make_measured_biped()
    left, right = measurement.legs
    by_hand = replace(measurement, legs=(replace(left, outer=replace(left.outer, by_hand=True)), right))
    result = moved(by_hand, "outer", 0.02, 0.0)
    assert result.legs[0] is by_hand.legs[0]
    assert not np.allclose(result.legs[1].outer.position, right.outer.position)
