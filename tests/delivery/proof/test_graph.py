"""Graphs over a range: the allowance stands where it belongs, and only what lies beyond it is crossed."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from typing import Literal

import numpy as np
import pytest
import shapely

from instep.character.arrays import FloatArray
from instep.checks.model import Curve, Finding, Measure, conclude
from instep.delivery.lengths import Lengths
from instep.delivery.proof.graph import axis_words, bar, crossed, graph

MM = Lengths(1000.0, "mm", 0)
X = tuple(float(x) for x in np.linspace(-40.0, 90.0, 66))


def finding(y: FloatArray, allowance: float, sense: Literal["at most", "at least"] = "at most") -> Finding:
    figure = float(y.max() if sense == "at most" else y.min())
    curve = Curve(X, tuple(float(v) for v in y), "left.foot.roll", "deg", "of foot length")
    measured = Measure(
        "sinking", figure, allowance, "of foot length", sense, leg="left", length=0.26, curve=curve
    )  # fmt: skip
    return conclude("floor", "claim", [measured])


def points_of(data: str) -> list[FloatArray]:
    """The polylines of path data as `path_data` writes it: each an absolute start and relative steps."""
    lines = []
    for part in re.findall(r"M[^M]*", data):
        numbers = np.array([float(n) for n in re.findall(r"-?\d*\.?\d+", part)]).reshape(-1, 2)
        lines.append(np.cumsum(numbers, axis=0))
    return lines


def paths(svg: str, style: str) -> list[FloatArray]:
    return [line for data in re.findall(rf'class="{style}" d="(.*?)"', svg) for line in points_of(data)]


@pytest.mark.parametrize("detailed", [False, True])
@pytest.mark.parametrize("height", [0.2, 0.9, 1.1, 3.0])
def test_only_what_lies_over_the_allowance_is_crossed(height: float, detailed: bool) -> None:
    y = 0.005 * height * np.exp(-(((np.array(X) - 40.0) / 15.0) ** 2))
    svg = graph(finding(y, 0.005), MM, 300.0, 120.0, detailed)
    ElementTree.fromstring(svg)
    (limit,) = paths(svg, "limit")
    (curve,) = paths(svg, "curve")
    level = float(limit[0, 1])
    assert (float(curve[:, 1].min()) < level - 0.2) == (height > 1.0)
    # the curve's height over its axis, against the allowance's, is the figure against the allowance
    (axis,) = (line for line in paths(svg, "tick") if np.ptp(line[:, 0]) > 100)
    base = float(axis[0, 1])
    assert (base - curve[:, 1].min()) / (base - level) == pytest.approx(height, abs=0.05)
    strokes = paths(svg, "crossed")
    assert bool(strokes) == (height > 1.0)
    for stroke in strokes:
        assert stroke[:, 1].max() <= level + 0.3
        assert stroke[:, 1].min() >= curve[:, 1].min() - 0.3


def test_where_the_figure_must_be_large_the_other_side_is_crossed() -> None:
    y = 2.0 - 1.5 * np.exp(-(((np.array(X) - 40.0) / 15.0) ** 2))
    svg = graph(finding(y, 1.0, "at least"), MM, 300.0, 120.0, True)
    (limit,) = paths(svg, "limit")
    strokes = paths(svg, "crossed")
    assert strokes
    assert all(stroke[:, 1].min() >= limit[0, 1] - 0.3 for stroke in strokes)
    middle = np.mean([stroke[:, 0].mean() for stroke in strokes])
    assert middle == pytest.approx(4 + 292 * 80 / 130, abs=6)  # about a roll of 40 degrees


def test_a_detailed_graph_bears_its_figures() -> None:
    y = 0.02 * np.exp(-(((np.array(X) - 40.0) / 15.0) ** 2))
    svg = graph(finding(y, 0.005), MM, 300.0, 120.0, True)
    words = re.findall(r"<text.*?>(.*?)</text>", svg)
    assert words == ["−40°", "90°", "0°", "roll", "5.2 mm at 40°", "allowed 1.3 mm"]


def test_a_figure_without_bound_leaves_the_allowance_to_be_seen() -> None:
    y = np.full(len(X), 1e9)
    svg = graph(finding(y, 0.005), MM, 300.0, 120.0, False)
    (limit,) = paths(svg, "limit")
    (axis,) = (line for line in paths(svg, "tick") if np.ptp(line[:, 0]) > 100)
    assert axis[0, 1] - limit[0, 1] > 1.0


@pytest.mark.parametrize(
    ("label", "unit", "low", "high", "words"),
    [
        ("left.foot.roll", "deg", -40.0, 90.0, "roll, −40° … 90°"),
        ("right.knee.twist", "deg", -120.0, 120.0, "right.knee.twist, −120° … 120°"),
        ("goal's distance", "of leg length", 0.5, 1.3, "goal's distance, 50 … 130 % of leg length"),
    ],
)  # fmt: skip
def test_the_range_is_told_in_words(label: str, unit: str, low: float, high: float, words: str) -> None:
    assert axis_words(Curve((low, high), (0.0, 0.0), label, unit, "y"), "left") == words


@pytest.mark.parametrize("use", [0.0, 0.5, 1.0])
def test_a_bar_is_as_long_as_the_allowance_is_used(use: float) -> None:
    svg = bar(use, 200.0, 20.0, False, "words")
    (length,) = (float(n) for n in re.findall(r'class="used" d="M0 [\d.]+h([\d.]+)"', svg))
    (allowed,) = (float(n) for n in re.findall(r'class="allowed" d="M([\d.]+) ', svg))
    assert length == pytest.approx(max(use * allowed, 2.0), abs=0.1)
    assert "crossed" not in svg


def test_a_bar_beyond_its_allowance_is_crossed_from_there_on() -> None:
    svg = bar(3.0, 200.0, 20.0, True, "words")
    (allowed,) = (float(n) for n in re.findall(r'class="allowed" d="M([\d.]+) ', svg))
    strokes = paths(svg, "crossed")
    assert strokes
    assert all(stroke[:, 0].min() >= allowed - 0.3 for stroke in strokes)
    assert max(stroke[:, 0].max() for stroke in strokes) <= 200.3


def test_crossing_stays_within_its_area_and_fills_it() -> None:
    generator = np.random.default_rng(5)
    for _ in range(20):
        area = shapely.convex_hull(shapely.multipoints(generator.uniform(0, 100, (12, 2))))
        strokes = points_of(crossed(area))
        for stroke in strokes:
            assert shapely.covers(shapely.buffer(area, 0.3), shapely.linestrings(stroke))
        steps = np.concatenate([np.diff(stroke, axis=0) for stroke in strokes])
        rising, falling = steps[:, 0] * steps[:, 1] < 0, steps[:, 0] * steps[:, 1] > 0
        # lines 4 units apart across, both ways: their length is the area over their distance
        for way in (rising, falling):
            length = float(np.linalg.norm(steps[way], axis=1).sum())
            assert length == pytest.approx(area.area / (4.0 / np.sqrt(2.0)), rel=0.08)
    assert crossed(shapely.Polygon()) == ""
