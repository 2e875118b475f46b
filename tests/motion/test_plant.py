"""Planting: the bearing point does not move, nothing sinks, nothing jumps, and no more is moved than is needed."""

from __future__ import annotations

import numpy as np
import pytest

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.motion.figures import knee_flexion, moved_rms, sinks, slides
from instep.motion.fit import Fit, fit_clip, fit_poses
from instep.motion.marker_fit import fit_markers
from instep.motion.markers import read_markers
from instep.motion.plant import Planted, plant
from instep.motion.stance import AIR, modes_of
from instep.rig import Rig
from instep.rig.channels import ControlSet
from instep.tolerances import KNEE_RATE_SLACK
from tests.motion.made_clips import WALKS, noisy, shared, stocky, stocky_clip
from tests.motion.walker import walk_values
from tests.rig.made import made_rig

STANDS = 1e-9
"""Fraction of foot length. What closed forms leave of a point that does not move."""

MAY_SLIDE = 1e-3
"""Fraction of foot length: the figure that the issue asks for."""

MAY_SINK = 5e-3
"""Fraction of foot length: the figure that the issue asks for."""


def _most_slide(rig: Rig, planted: Planted) -> float:
    return max((each.slide for each in slides(rig, planted.motion)), default=0.0)


def _foot(rig: Rig) -> float:
    return rig.measurement.legs[0].foot_length


def _spoiled(rig: Rig, values: FloatArray, rate: float, seed: int = 0) -> Poses:
    """A walk whose feet slide and sink: slow waves on the feet's places, and noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(len(values)) / rate
    spoiled = values.copy()
    for leg in ("left", "right"):
        for quantity, amount in (("across", 0.010), ("along", 0.012), ("up", 0.004)):
            wave = np.sin(2 * np.pi * 0.9 * t + rng.uniform(0, 6))
            spoiled[:, rig.channel(f"{leg}.foot.{quantity}")] += amount * rig.plan.unit * wave
    return noisy(rig.evaluate(spoiled), 0.0005 * rig.plan.unit, 0.1, seed)


@pytest.mark.parametrize("controls", ["essential", "full"])
@pytest.mark.parametrize("kind", ["ground", "treadmill", "slope"])
def test_planted_feet_stand(kind: str, controls: ControlSet) -> None:
    rig = made_rig("plain", controls)
    climb = 0.2 if kind == "slope" else 0.0
    poses = _spoiled(rig, walk_values(rig, 60.0, 3.0, climb=climb, in_place=kind == "treadmill"), 60.0)
    fit = fit_poses(rig, poses, 60.0)
    assert max(each.slide for each in slides(rig, fit.motion, poses)) > 0.01 * _foot(rig)
    planted = plant(rig, fit.motion)
    assert _most_slide(rig, planted) <= STANDS * _foot(rig)
    assert max(float(depth.max()) for depth in sinks(rig, planted.motion).values()) <= MAY_SINK * _foot(rig)
    assert max(planted.missed.values()) <= 1e-6 * rig.plan.unit
    moved = moved_rms(poses, rig.evaluate(planted.motion.values))
    assert moved.max() <= 0.05 * rig.plan.unit


TABLE = [
    # biped, rate, leg scale: the rows that the issue lists
    ("plain", 24.0), ("plain", 60.0), ("plain", 240.0), ("centimetres", 60.0), ("turned", 60.0), ("heeled", 60.0),
    ("no toes", 60.0), ("bent knee", 60.0), ("all at once", 60.0),
]  # fmt: skip


@pytest.mark.parametrize(("biped", "rate"), TABLE)
def test_at_any_rate_and_of_any_character(biped: str, rate: float) -> None:
    rig = made_rig(biped)
    fit = fit_poses(rig, _spoiled(rig, walk_values(rig, rate, 3.0), rate, seed=2), rate)
    planted = plant(rig, fit.motion)
    assert _most_slide(rig, planted) <= STANDS * _foot(rig)
    bears = [modes_of(planted.motion, leg) != AIR for leg in rig.plan.legs]
    # Contacts hold: nearly always one foot or both stand.
    assert (bears[0] | bears[1]).mean() > 0.95
    assert (bears[0] & bears[1]).mean() > 0.05


def test_backwards_in_time() -> None:
    rig = made_rig("plain")
    fit = fit_poses(rig, _spoiled(rig, walk_values(rig, 60.0, 3.0)[::-1], 60.0), 60.0)
    assert _most_slide(rig, plant(rig, fit.motion)) <= STANDS * _foot(rig)


def test_what_already_stands_is_left() -> None:
    """A walk whose feet stand exactly is moved by the rounding of its roll only: far below a hundredth of the leg."""
    rig = made_rig("plain")
    poses = rig.evaluate(walk_values(rig, 60.0, 3.0))
    planted = plant(rig, fit_poses(rig, poses, 60.0).motion)
    assert moved_rms(poses, rig.evaluate(planted.motion.values)).max() <= 0.015 * rig.plan.unit


def test_value_and_slope_go_on_where_contacts_begin_and_end() -> None:
    """The ankle's step from frame to frame changes by no more at a contact's end than its motion in the air does,
    and halves with half the frame: nothing jumps in value or slope."""
    rig = made_rig("plain")
    changes = []
    for rate in (120.0, 240.0):
        fit = fit_poses(rig, rig.evaluate(_waved(rig, rate)), rate)
        made = rig.evaluate(plant(rig, fit.motion).motion.values)
        ankles = made.position[:, [leg.foot for leg in rig.measurement.legs]]
        bend = np.linalg.norm(np.diff(ankles, 2, axis=0), axis=2).max()
        changes.append(float(bend) * rate)  # the largest change of speed between two frames
    assert changes[1] < 0.65 * changes[0]


def _waved(rig: Rig, rate: float) -> FloatArray:
    values = walk_values(rig, rate, 3.0)
    t = np.arange(len(values)) / rate
    for leg, phase in (("left", 0.3), ("right", 2.0)):
        values[:, rig.channel(f"{leg}.foot.across")] += 0.01 * rig.plan.unit * np.sin(5 * t + phase)
    return values


def test_the_pelvis_sinks_before_a_leg_is_too_short() -> None:
    rig = made_rig("plain")
    values = walk_values(rig, 60.0, 3.0, stride=1.3)
    values[:, rig.channel("pelvis.up")] += 0.07 * rig.plan.unit  # higher than these steps allow
    planted = plant(rig, fit_poses(rig, rig.evaluate(values), 60.0).motion)
    assert planted.sunk.max() > 0.01 * rig.plan.unit
    assert max(planted.missed.values()) <= 1e-6 * rig.plan.unit
    assert _most_slide(rig, planted) <= STANDS * _foot(rig)


def test_knees_do_not_pop() -> None:
    """The knee's rate stays below the bound for the rate of hip to ankle: d flexion = 2 d r / sqrt(L^2 - r^2)."""
    rig = made_rig("plain")
    poses = _spoiled(rig, walk_values(rig, 60.0, 3.0), 60.0, seed=4)
    made = rig.evaluate(plant(rig, fit_poses(rig, poses, 60.0).motion).motion.values)
    for leg, flexion in knee_flexion(rig, made).items():
        before = knee_flexion(rig, poses)[leg]
        assert np.abs(np.diff(flexion)).max() <= 1.5 * np.abs(np.diff(before)).max() * (1.0 + KNEE_RATE_SLACK)


def _planted_walk(name: str) -> tuple[Rig, Poses, Fit, Planted]:
    rig = stocky()
    brought = stocky_clip(name)
    fit = fit_clip(rig, brought)
    return rig, brought.poses, fit, plant(rig, fit.motion)


@pytest.mark.parametrize("name", WALKS)
def test_the_walks_of_stocky_stand(name: str) -> None:
    """Slide below 0.1 % of the foot in every contact, nothing sinks more than 0.5 %, and what was cyclic stays so.

    Measured, in mm of a foot of 386: slide before 105, 114 and 133 (against a floor that moves as the feet do on the
    mean; toes sink by 65), after 1e-12; sinking 0.40 %.
    """
    rig, poses, fit, planted = _planted_walk(name)
    assert max(each.slide for each in slides(rig, fit.motion, poses)) > 0.1 * _foot(rig)
    assert _most_slide(rig, planted) <= MAY_SLIDE * _foot(rig)
    assert max(float(depth.max()) for depth in sinks(rig, planted.motion).values()) <= MAY_SINK * _foot(rig)
    made = rig.evaluate(planted.motion.values)
    assert np.abs(made.position[-1] - made.position[0]).max() <= max(
        1e-6 * rig.plan.unit, 2.0 * float(np.abs(poses.position[-1] - poses.position[0]).max())
    )


def test_markers_stand_too() -> None:
    """Overground markers: the planted ball slides less than 0.5 mm, from 12 to 28 mm on the rig before."""
    rig = made_rig("plain", plain=True)
    fit = fit_markers(rig, read_markers(shared("motion/walk_markers.csv")), rate=60.0)
    balls = [each.slide for each in slides(rig, fit.motion) if each.part == "ball"]
    assert min(balls) > 0.005
    planted = plant(rig, fit.motion)
    assert max(each.slide for each in slides(rig, planted.motion)) < 0.0005
    moved = moved_rms(rig.evaluate(fit.motion.values), rig.evaluate(planted.motion.values))
    names = rig.character.skeleton.names
    # Root mean square: feet 22 mm, pelvis 18 mm.
    assert moved[names.index("foot.left")] < 0.03
    assert moved[names.index("pelvis")] < 0.03


def test_a_clip_that_never_touches_a_floor_is_left() -> None:
    rig = made_rig("plain")
    values = np.tile(rig.defaults, (60, 1))
    values[:, rig.channel("pelvis.up")] = -0.1 * rig.plan.unit
    for leg in ("left", "right"):
        values[:, rig.channel(f"{leg}.foot.along")] = np.linspace(0, 9, 60) * rig.plan.unit
        values[:, rig.channel(f"{leg}.foot.up")] = rig.plan.unit
    values[:, rig.channel("pelvis.along")] = np.linspace(0, 9, 60) * rig.plan.unit
    values[:, rig.channel("pelvis.up")] = 0.8 * rig.plan.unit
    poses = rig.evaluate(values)
    fit = fit_poses(rig, poses, 60.0)
    assert fit.motion.contacts == ()
    made = rig.evaluate(plant(rig, fit.motion).motion.values)
    assert np.abs(made.position - poses.position).max() <= 1e-6 * rig.plan.unit
