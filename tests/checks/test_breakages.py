"""Each check can fail: a rig broken in its way makes it fall short, and no other; a sound rig passes all."""

from __future__ import annotations

from functools import cache

import pytest

from instep.checks import CHECKS, Report, run_checks
from instep.rig.channels import ControlSet
from tests.checks.broken import BREAKAGES, sound
from tests.rig.made import BIPEDS


@cache
def report_on(name: str) -> Report:
    return run_checks(BREAKAGES[name].make())


@pytest.mark.parametrize("name", BREAKAGES)
def test_a_broken_rig_makes_its_own_check_fall_short_and_no_other(name: str) -> None:
    breakage = BREAKAGES[name]
    report = report_on(name)
    assert [finding.check for finding in report.findings if finding.verdict == "falls short"] == [breakage.check]
    finding = report.finding(breakage.check)
    assert finding.what.startswith(breakage.what)
    assert finding.allowance is not None
    assert finding.figure > finding.allowance
    assert not report.holds
    assert finding.cures
    assert finding.cause if not breakage.cause else finding.cause == breakage.cause


def test_every_check_that_can_fail_has_a_breakage() -> None:
    assert {breakage.check for breakage in BREAKAGES.values()} | {"range"} == set(CHECKS)


@pytest.mark.parametrize("name", [name for name in BIPEDS if name != "straight knee"])
def test_a_sound_rig_passes_all(name: str) -> None:
    report = run_checks(sound(**BIPEDS[name]))
    assert {f.check: f.cause for f in report.findings if f.verdict == "falls short"} == {}
    assert report.holds
    assert [finding.check for finding in report.findings] == list(CHECKS)


@pytest.mark.parametrize("name", ["plain", "all at once", "no toes"])
def test_a_sound_rig_with_all_controls_passes_all(name: str) -> None:
    controls: ControlSet = "full"
    report = run_checks(sound(controls, **BIPEDS[name]))
    assert {f.check: f.cause for f in report.findings if f.verdict == "falls short"} == {}
    assert report.finding("switch").verdict == "holds"


def test_a_straight_leg_is_told_as_geometry_and_as_the_models_fault() -> None:
    report = run_checks(sound(knee_bend_deg=0.0))
    assert [f.check for f in report.findings if f.verdict == "falls short"] == ["reach", "skeleton"]
    assert report.finding("reach").cause == (
        "The left leg stands straight at rest, so that its soft zone has no room: shortening a straight leg by 0.1 % "
        "flexes its knee by 5.1 degrees, by 1 % 16.2 degrees. That is geometry, whatever the rig."
    )
    assert report.finding("skeleton").cause == (
        "The knee is straight at rest: which way it bends is taken from the foot, and it pops at full reach (left and "
        "right)."
    )
