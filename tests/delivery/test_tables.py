"""What the tables say: places by side, hand-set ones marked, channels gathered without losing any."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from instep.delivery import ChannelRow, SheetContent, render_sheet
from instep.delivery.lengths import lengths_for
from instep.delivery.tables import control_groups, landmark_rows, proportions, span
from instep.landmarks import LegLandmarks
from tests.delivery.sheets import CHANNELS, biped_sheet

MM = lengths_for(1.7)
UNITS = lengths_for(170.0)


@pytest.fixture(scope="module")
def content() -> SheetContent:
    return biped_sheet()


def with_legs(content: SheetContent, *legs: LegLandmarks) -> SheetContent:
    return replace(content, measurement=replace(content.measurement, legs=legs))


def test_landmarks_are_given_from_the_floor_under_the_ankle(content: SheetContent) -> None:
    left, right = content.measurement.legs
    rows = {row.name: row for row in landmark_rows(content, (left, right), MM)}
    assert list(rows) == [
        "hip", "knee", "ankle", "ball", "heel point", "toe tip", "inner edge", "outer edge",
    ]  # fmt: skip
    assert (rows["ankle"].up, rows["ankle"].ahead, rows["ankle"].out) == ("85", "0", "0")
    assert rows["heel point"].up == "0"
    assert rows["heel point"].ahead == "−60"
    assert rows["inner edge"].out.startswith("−")
    assert float(rows["outer edge"].out) > 0
    assert all(row.side == "" and row.left == row.right == "1.00" for row in rows.values())


def test_sides_that_differ_get_a_row_each(content: SheetContent) -> None:
    left, right = content.measurement.legs
    moved = replace(right, tip=replace(right.tip, position=right.tip.position + np.array([0.0, 0.0, 0.02])))
    rows = [row for row in landmark_rows(content, (left, moved), MM) if row.name == "toe tip"]
    assert [row.side for row in rows] == ["L", "R"]
    assert float(rows[1].ahead) - float(rows[0].ahead) == 20
    assert (rows[0].left, rows[0].right) == ("1.00", "")
    assert (rows[1].left, rows[1].right) == ("", "1.00")


def test_what_was_set_by_hand_is_marked_and_has_no_confidence(content: SheetContent) -> None:
    left, right = content.measurement.legs
    by_hand = replace(left, tip=replace(left.tip, by_hand=True, source="by hand"))
    (row,) = [row for row in landmark_rows(content, (by_hand, right), MM) if row.name == "toe tip"]
    assert (row.left, row.right, row.source, row.by_hand) == ("—", "1.00", "by hand, L", "left")
    page = render_sheet(with_legs(content, by_hand, right))
    assert "16 landmarks, 1 set by hand" in page
    assert '<tr class="hand"><th scope="row" class="left">toe tip</th>' in page


def test_proportions_are_those_of_the_landmarks(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    rows = dict(proportions(content, leg, MM))
    bones = np.linalg.norm(leg.knee.position - leg.hip.position)
    bones += np.linalg.norm(leg.ankle.position - leg.knee.position)
    assert rows["leg, hip to ankle"] == f"{1000 * bones:.0f} mm"
    assert rows["foot to leg"] == f"{leg.foot_length / bones:.2f} : 1"
    assert rows["ball along the tread"] == "70 %"
    assert rows["toes held"] == "94 %"
    assert "toes held" not in dict(proportions(replace(content, rolls=()), leg, MM))


def test_left_and_right_alike_are_listed_once_and_equal_channels_joined() -> None:
    groups = control_groups(CHANNELS, MM)
    assert [group.control for group in groups] == ["foot", "toes", "knee"]
    assert groups[0].rows == (
        ("roll", "heel, ball, toes, knee, hip", "−25° … 80°"),
        ("bank", "outer or inner edge", "±30°"),
        ("across, up", "the whole foot", "±300 mm"),
    )
    assert groups[1].rows == (("hold", "how far the toes undo the ball", "0 … 1"),)


def test_sides_with_other_ranges_are_both_listed() -> None:
    changed = tuple(
        replace(row, high=60.0) if (row.control, row.name) == ("right.foot", "roll") else row for row in CHANNELS
    )
    assert [group.control for group in control_groups(changed, MM)] == [
        "left.foot", "toes", "knee", "right.foot",
    ]  # fmt: skip


def test_plain_controls_share_their_rows() -> None:
    names = [f"joint {k}" for k in range(15)]
    plain = tuple(ChannelRow(n, c, "°", -180, 180, 0, "turns", "its joint") for n in names for c in ("yaw", "lean"))
    groups = control_groups((*CHANNELS, *plain), MM)
    assert groups[-1].control == "15 plain ones"
    assert groups[-1].rows == (("yaw, lean", f"{', '.join(names[:12])} and 3 more", "±180°"),)


@pytest.mark.parametrize(
    ("unit", "low", "high", "expected", "in_units"),
    [
        ("°", -25.0, 80.0, "−25° … 80°", "−25° … 80°"),
        ("", 1.0, 1.3, "1 … 1.3", "1 … 1.3"),
        ("m", -3.0, 5.0, "−3,000 … 5,000 mm", "−3 … 5 units"),
        ("m", -37.66, 37.66, "±37.7 m", "±38 units"),
    ],
)
def test_ranges(unit: str, low: float, high: float, expected: str, in_units: str) -> None:
    row = ChannelRow("root", "across", unit, low, high, 0.0, "moves", "everything")
    assert span(row, MM) == expected
    assert span(row, UNITS) == in_units
