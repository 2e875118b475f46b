"""Findings in words: every figure with its unit, decimals that the allowance asks for, true counts."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from instep.checks.model import UNBOUNDED, Finding, Measure, Place, conclude, inapplicable
from instep.delivery.content import ChannelRow
from instep.delivery.lengths import Lengths
from instep.delivery.proof.words import place_words, pose_words, reached, summary, title_of, worded
from tests.delivery.proofs import findings, report_of
from tests.measured import make_measured_biped

MM = Lengths(1000.0, "mm", 0)
UNITS = Lengths(1.0, "units", 1)


def measure(figure: float, allowance: float | None, unit: str, **more: Any) -> Measure:
    return Measure("what", figure, allowance, unit, **more)


@pytest.mark.parametrize(
    ("given_measure", "together"),
    [
        (measure(0.02, 0.005, "of foot length", length=0.26), "5.2 of 1.3 mm"),
        (measure(0.0, 0.005, "of foot length", length=0.26), "0.0 of 1.3 mm"),
        (measure(0.005004, 0.005, "of foot length", length=0.26), "1.301 of 1.300 mm"),
        (measure(2e-16, 1e-9, "of leg length", length=0.8), "2·10<sup>−13</sup> of 8·10<sup>−7</sup> mm"),
        (measure(0.0, 1e-9, "of leg length", length=1.0), "0 of 10<sup>−6</sup> mm"),
        (measure(9.7e-10, 1e-9, "of leg length", length=1.0), "10<sup>−6</sup> of 10<sup>−6</sup> mm"),
        (measure(0.02, 0.05, "of leg length"), "2.0 of 5.0 % of leg length"),
        (measure(0.259, 0.05, "of 1"), "25.9 of 5.0 %"),
        (measure(0.0, 0.1, "deg"), "0.00 of 0.10°"),
        (measure(2.0, 1.0, "deg", sense="at least"), "2.0°, at least 1.0°"),
        (measure(178.25, None, "deg"), "178°"),
        (measure(11.858, 11.89, "degrees per 1 % of leg length"), "11.86 of 11.89° per 1 % of leg length"),
        (measure(0.0, 0.0, "channels"), "0 channels, none allowed"),
        (measure(1.0, 0.0, "channels"), "1 channel, none allowed"),
        (measure(3.0, 5.0, "pairs"), "3 of 5 pairs"),
        (measure(UNBOUNDED, 0.1, "of its travel"), "no bound, of 10 % of its travel"),
    ],
)  # fmt: skip
def test_a_figure_is_printed_with_its_allowance_and_unit(given_measure: Measure, together: str) -> None:
    assert str(worded(given_measure, MM).together) == together


def test_lengths_of_an_unknown_unit_are_printed_in_units() -> None:
    assert str(worded(measure(0.02, 0.005, "of foot length", length=26.0), UNITS).together) == "0.52 of 0.13 units"


@given(st.floats(1e-6, 1e3), st.floats(1.0 + 1e-3, 1e3))
def test_what_falls_short_never_reads_as_if_it_held(allowance: float, times: float) -> None:
    words = worded(measure(allowance * times, allowance, "of leg length", length=0.01), MM)
    plain = [re.sub(r"<.*?>", "", str(text)).replace(",", "") for text in (words.figure, words.allowance)]
    if all("·" not in text and "10−" not in text for text in plain):
        figure, limit = (float(text) for text in plain)
        assert figure > limit or figure == pytest.approx(limit, rel=2e-3)


def test_a_cure_reaches_a_figure_in_the_finding_s_own_unit() -> None:
    finding = conclude("floor", "claim", [measure(0.02, 0.005, "of foot length", length=0.26)])
    assert str(reached(finding, 2e-4, MM)) == "0.1 mm"


def test_the_summary_counts_claims() -> None:
    _, measurement = make_measured_biped()
    found = findings(measurement)
    assert summary(report_of(measurement, found)) == "4 claims hold, 1 falls short"
    assert summary(report_of(measurement, findings(measurement, 0.001))) == "all 5 claims hold"
    short = replace(found[3], check="skin")
    assert summary(report_of(measurement, [*found, short])) == "4 claims hold, 2 fall short"
    assert summary(report_of(measurement, found[:1])) == "1 claim holds"
    assert summary(report_of(measurement, [found[0], found[3]])) == "1 claim holds, 1 falls short"
    assert summary(report_of(measurement, found[3:4])) == "0 claims hold, 1 falls short"


def test_a_check_without_a_title_goes_by_its_name() -> None:
    finding: Finding = inapplicable("shadow", "claim", "cause")
    assert title_of(finding) == "Shadow"


CHANNELS = {
    f"{control}.{name}": ChannelRow(control, name, unit, -90, 90, 0, "", "")
    for control, name, unit in (
        ("left.foot", "roll", "°"),
        ("left.foot", "bank", "°"),
        ("left.foot", "yaw", "°"),
        ("left.foot", "up", "m"),
        ("left.toes", "bend", "°"),
        ("left.toes", "hold", ""),
        ("right.knee", "twist", "°"),
    )
}


@pytest.mark.parametrize(
    ("pose", "most", "words"),
    [
        ({}, 3, "at rest"),
        ({"left.foot.roll": 0.004}, 3, "at rest"),
        ({"left.foot.up": 0.2, "left.foot.bank": -3.04, "left.foot.roll": 37.46}, 3,
         "at roll 37.5°, bank −3°, foot up 200 mm"),
        ({"left.foot.up": 0.2, "left.foot.yaw": 7.0, "left.foot.roll": 37.0}, 1, "at roll 37° and 2 more"),
        ({"left.toes.bend": -10.0, "left.toes.hold": 0.94, "right.knee.twist": 5.0}, 3,
         "at toes bend −10°, toes hold 0.94, right.knee.twist 5°"),
    ],
)  # fmt: skip
def test_a_pose_is_told_by_what_matters(pose: dict[str, float], most: int, words: str) -> None:
    assert pose_words(pose, CHANNELS, "left", MM, most) == words


def test_a_place_is_told_by_its_kind() -> None:
    _, measurement = make_measured_biped()
    leg = measurement.legs[0]
    ahead = leg.heel.position + 0.1 * leg.axis
    behind = leg.heel.position - 0.02 * leg.axis
    for place, words in (
        (None, ""),
        (Place("landmark", "left.heel", (0.0, 0.0, 0.0)), "left heel"),
        (Place("joint", "Bip.L_Foot", (0.0, 0.0, 0.0)), "joint Bip.L_Foot"),
        (Place("vertex", "12", tuple(ahead)), "vertex 12, 100 mm before the heel"),
        (Place("vertex", "12", tuple(behind)), "vertex 12, 20 mm behind the heel"),
        (Place("vertex", "12", tuple(leg.heel.position)), "vertex 12, level with the heel"),
    ):
        assert place_words(place, measurement.legs, MM) == words
    assert place_words(Place("vertex", "12", (0.0, 0.0, 0.0)), (), MM) == "vertex 12"
