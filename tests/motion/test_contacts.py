"""Contacts against force plates, against walks that are known, and over noise, rates, sizes, slopes and treadmills."""

from __future__ import annotations

import csv
from itertools import pairwise

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.motion.contacts import find_contacts
from instep.motion.events import gait_events, stances_of
from instep.motion.faults import MotionError
from instep.motion.fit import fit_poses
from instep.motion.marker_fit import marker_contacts, walker_axes
from instep.motion.markers import read_markers
from instep.motion.model import Contact
from instep.motion.sole import SolePart, SoleTracks, sole_tracks
from instep.rig import Rig
from tests.motion.made_clips import WALKS, noisy, shared, stocky, stocky_clip
from tests.motion.walker import strikes_and_offs, walk_values
from tests.rig.made import made_rig

FRAME_PLATES_S = 0.033
"""Seconds: what the issue asks for, and what Zeni 2008 reports of 98 % of overground events."""

NEAR_S = 0.045
"""Seconds between where a walk made by channels bears by construction and where it is found to: its heel starts to
roll down, and its toes start to rise, slowly."""


def _stances(contacts: tuple[Contact, ...], leg: str) -> list[tuple[float, float]]:
    spans: list[list[float]] = []
    for contact in sorted((c for c in contacts if c.leg == leg), key=lambda c: c.start_s):
        if spans and contact.start_s <= spans[-1][1] + 0.05:
            spans[-1][1] = max(spans[-1][1], contact.end_s)
        else:
            spans.append([contact.start_s, contact.end_s])
    return [(start, end) for start, end in spans]


def test_contacts_are_those_of_the_force_plates() -> None:
    """Overground walking (Duarte, BMC; see SOURCES.md): each complete stance, both ends, within 33 ms.

    Signed errors measured: strikes -13, -22 and -16 ms (early), ends -7, -2 and +7 ms.
    """
    markers = read_markers(shared("motion/walk_markers.csv"))
    found = marker_contacts(markers, walker_axes(markers))
    complete = 0
    with shared("motion/walk_contacts.csv").open(newline="") as stream:
        for row in csv.DictReader(stream):
            if row["complete"] != "yes":
                continue
            start, end = float(row["start_s"]), float(row["end_s"])
            near = min(_stances(found.contacts, row["side"]), key=lambda s: abs(s[0] - start))
            assert abs(near[0] - start) <= FRAME_PLATES_S, (row, near)
            assert abs(near[1] - end) <= FRAME_PLATES_S, (row, near)
            complete += 1
    assert complete == 3


def test_the_second_opinion_agrees_with_the_force_plates() -> None:
    """Zeni, Richards & Higginson 2008. Measured here: strikes -47, -62 and -56 ms (early), more than the 33 ms
    that they report; toe-offs by the metatarsal head, which stands in for the toe tip that has no marker, +7, +24 and
    +27 ms. So it is a second opinion and not the first."""
    markers = read_markers(shared("motion/walk_markers.csv"))
    axes = walker_axes(markers)
    found = marker_contacts(markers, axes)
    parts = {
        side: {
            "heel": SolePart(np.asarray(markers.of(side, "heel"))[:, None] @ axes, np.zeros(1)),
            "ball": SolePart(np.asarray(markers.of(side, "mt1"))[:, None] @ axes, np.zeros(1)),
        }
        for side in ("left", "right")
    }
    pelvis = np.mean([np.asarray(markers.of(side, "psis")) for side in ("left", "right")], axis=0) @ axes
    tracks = SoleTracks(parts, {"left": 0.25, "right": 0.25}, pelvis)  # type: ignore[arg-type]
    events = gait_events(tracks, markers.rate, markers.start_s)
    strides = [s for s in stances_of(found, np.arange(len(markers)) / markers.rate, events) if s.whole]
    seen = [s for s in strides if s.strike_s is not None and s.off_s is not None]
    assert len(seen) >= 3
    with shared("motion/walk_contacts.csv").open(newline="") as stream:
        for row in csv.DictReader(stream):
            if row["complete"] == "yes":
                near = min((e for e in events if e.leg == row["side"] and e.kind == "strike"),
                           key=lambda e: abs(e.time_s - float(row["start_s"])))  # fmt: skip
                assert abs(near.time_s - float(row["start_s"])) <= 0.065
                off = min((e for e in events if e.leg == row["side"] and e.kind == "off"),
                          key=lambda e: abs(e.time_s - float(row["end_s"])))  # fmt: skip
                assert abs(off.time_s - float(row["end_s"])) <= FRAME_PLATES_S


def _check_walk(rig: Rig, contacts: tuple[Contact, ...], seconds: float, slack: float = NEAR_S) -> None:
    for leg in ("left", "right"):
        found = _stances(contacts, leg)
        for start, end in strikes_and_offs(seconds, leg):
            near = min(found, key=lambda s: abs(s[0] - start))
            assert abs(near[0] - start) <= slack, (leg, start, near)
            assert abs(near[1] - end) <= slack, (leg, end, near)


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0, 240.0])
@pytest.mark.parametrize("kind", ["ground", "treadmill", "slope"])
def test_a_walk_at_any_rate(kind: str, rate: float) -> None:
    rig = made_rig("plain")
    climb = 0.2 if kind == "slope" else 0.0
    poses = rig.evaluate(walk_values(rig, rate, 4.0, climb=climb, in_place=kind == "treadmill"))
    found = find_contacts(sole_tracks(rig, poses), rate, expected=rig.measurement.floor)
    _check_walk(rig, found.contacts, 4.0, NEAR_S + 0.5 / rate)
    speed = 0.9 * rig.plan.unit / 1.1
    assert found.floor.kind == ("slope" if climb else "level")
    if kind == "treadmill":
        assert found.floor.velocity[1] == pytest.approx(-speed, rel=0.03)
        assert found.floor.path is None
    else:
        assert found.floor.velocity == (0.0, 0.0)
    if climb:
        assert found.floor.slope[1] == pytest.approx(climb, abs=0.005)


@pytest.mark.parametrize("biped", ["plain", "centimetres", "turned", "heeled", "no toes", "all at once"])
def test_a_walk_of_any_character(biped: str) -> None:
    rig = made_rig(biped)
    poses = rig.evaluate(walk_values(rig, 60.0, 4.0))
    found = find_contacts(sole_tracks(rig, poses), 60.0, expected=rig.measurement.floor)
    _check_walk(rig, found.contacts, 4.0, NEAR_S + 0.02)


def test_a_walk_through_noise() -> None:
    """2 mm and 0.5 degrees at each joint: what marker-based capture leaves. Contacts move by less than two frames."""
    rig = made_rig("plain")
    poses = rig.evaluate(walk_values(rig, 60.0, 4.0))
    found = find_contacts(sole_tracks(rig, noisy(poses, 0.002, 0.5, seed=3)), 60.0, expected=rig.measurement.floor)
    _check_walk(rig, found.contacts, 4.0, NEAR_S + 2.0 / 60.0)


def test_a_walk_backwards_in_time() -> None:
    rig = made_rig("plain")
    poses = rig.evaluate(walk_values(rig, 60.0, 4.0)[::-1])
    found = find_contacts(sole_tracks(rig, poses), 60.0, expected=rig.measurement.floor)
    mirrored = tuple(Contact(c.leg, c.part, round(4.0 - c.end_s, 6), round(4.0 - c.start_s, 6)) for c in found.contacts)
    _check_walk(rig, mirrored, 4.0, NEAR_S + 0.02)


def _hop(rig: Rig, rate: float, height: float) -> FloatArray:
    t = np.arange(round(2.0 * rate) + 1) / rate
    air = np.clip((t - 0.8) / 0.4, 0.0, 1.0)
    up = 4.0 * height * air * (1.0 - air)
    values = np.tile(rig.defaults, (len(t), 1))
    for name in ("left.foot.up", "right.foot.up", "pelvis.up"):
        values[:, rig.channel(name)] = up
    return values


def test_the_top_of_a_jump_is_no_contact() -> None:
    rig = made_rig("plain")
    poses = rig.evaluate(_hop(rig, 240.0, 0.3 * rig.plan.unit))
    found = find_contacts(sole_tracks(rig, poses), 240.0, expected=rig.measurement.floor)
    for leg in ("left", "right"):
        stances = _stances(found.contacts, leg)
        assert len(stances) == 2
        assert stances[0][1] == pytest.approx(0.8, abs=0.03)
        assert stances[1][0] == pytest.approx(1.2, abs=0.03)


def test_steps_are_a_floor_of_several_heights() -> None:
    rig = made_rig("plain")
    rate, rise = 60.0, 0.2 * rig.plan.unit
    values = walk_values(rig, rate, 4.0)
    t = np.arange(len(values)) / rate
    for leg, shift in (("left", 0.0), ("right", 0.5)):
        phase = t / 1.1 + shift
        u = phase - np.floor(phase)
        s = np.clip((u - 0.62) / 0.38, 0.0, 1.0)
        stair = (np.floor(phase) * 2 + (leg == "left")) + 2.0 * s * s * (3 - 2 * s)
        values[:, rig.channel(f"{leg}.foot.up")] += rise * stair
    values[:, rig.channel("pelvis.up")] += rise * 2.0 * t / 1.1 - 0.05 * rig.plan.unit
    found = find_contacts(sole_tracks(rig, rig.evaluate(values)), rate, expected=rig.measurement.floor)
    _check_walk(rig, found.contacts, 4.0, NEAR_S + 0.03)
    # Even steps lie on a slope, but feet that rest on them are level.
    assert found.floor.kind == "steps"
    heights = sorted({round(c.height / rise) for c in found.contacts})
    assert len(heights) >= 4
    assert max(abs(c.height - rise * round(c.height / rise)) for c in found.contacts) < 0.02 * rig.plan.unit


def test_nothing_ever_touches_a_floor() -> None:
    rig = made_rig("plain")
    t = np.arange(120) / 60.0
    values = np.tile(rig.defaults, (120, 1))
    for leg, shift in (("left", 0.0), ("right", np.pi)):
        values[:, rig.channel(f"{leg}.foot.up")] = (0.6 + 0.15 * np.sin(9 * t + shift)) * rig.plan.unit
        values[:, rig.channel(f"{leg}.foot.along")] = 0.3 * np.cos(9 * t + shift) * rig.plan.unit
    values[:, rig.channel("pelvis.up")] = 0.5 * rig.plan.unit
    found = find_contacts(sole_tracks(rig, rig.evaluate(values)), 60.0, expected=rig.measurement.floor)
    assert found.contacts == ()


def test_no_frames_and_no_place_are_errors() -> None:
    rig = made_rig("plain")
    tracks = sole_tracks(rig, rig.evaluate(np.tile(rig.defaults, (4, 1))))
    none = SoleTracks(tracks.parts, tracks.foot_length, tracks.pelvis[:0])
    with pytest.raises(MotionError) as empty:
        find_contacts(none, 60.0)
    assert str(empty.value) == "the clip has no frames; expected at least one."
    points = tracks.parts["left"]["heel"].points.copy()
    points[2, 0, 1] = np.nan
    parts = {"left": {**tracks.parts["left"], "heel": SolePart(points, tracks.parts["left"]["heel"].rest)}}
    with pytest.raises(MotionError) as lost:
        find_contacts(SoleTracks(parts, tracks.foot_length, tracks.pelvis), 60.0)
    assert str(lost.value) == (
        "the left foot has no place at frame 2; expected finite numbers. Fill the gaps of the clip first."
    )


@pytest.mark.parametrize("name", WALKS)
def test_the_walks_of_stocky_alternate(name: str) -> None:
    rig = stocky()
    brought = stocky_clip(name)
    fit = fit_poses(rig, brought.poses, brought.rate, cyclic=True)
    starts = sorted((start, leg) for leg in ("left", "right") for start, _ in _stances(fit.motion.contacts, leg))
    sides = [leg for start, leg in starts if start > 0.1]
    assert len(sides) >= 1
    assert all(a != b for a, b in pairwise(sides)), starts
    # The floor of a walk on the spot moves, and in these clips unevenly.
    assert fit.motion.floor.velocity[1] < -rig.plan.unit
    assert fit.motion.floor.path is not None
