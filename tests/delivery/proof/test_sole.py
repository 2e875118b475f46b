"""The map of a sole: what touches is washed, what hovers has contours at true heights, what sinks is crossed."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from instep.delivery.content import SheetContent
from instep.delivery.lengths import Lengths
from instep.delivery.proof.sole import MOST_CONTOURS, contour_step, draw_soles, pair_of, touch_of, worst_words
from instep.landmarks import LegLandmarks
from tests.delivery.proof.test_graph import paths
from tests.delivery.proofs import sole_map
from tests.delivery.sheets import biped_sheet

MM = Lengths(1000.0, "mm", 0)


@pytest.fixture(scope="module")
def content() -> SheetContent:
    return biped_sheet()


def draw(content: SheetContent, heights: np.ndarray | None, leg: LegLandmarks | None = None) -> str:
    leg = content.measurement.legs[0] if leg is None else leg
    svg = draw_soles(content, [sole_map(leg, None if heights is None else heights.tolist())], MM, 260.0, 300.0, True)
    ElementTree.fromstring(svg)
    return svg


def area(rings: list[np.ndarray]) -> float:
    """Area of rings that may be holes in one another."""
    filled = shapely.Polygon()
    for ring in rings:
        filled = filled.symmetric_difference(shapely.make_valid(shapely.Polygon(ring)))
    return float(filled.area)


def ahead_of(content: SheetContent, leg: LegLandmarks) -> np.ndarray:
    mesh = content.character.mesh
    assert mesh is not None
    return np.asarray((mesh.positions[leg.sole] - leg.heel.position) @ leg.axis)


def test_a_sole_flat_on_the_floor_is_washed_and_nothing_else(content: SheetContent) -> None:
    svg = draw(content, None)
    assert area(paths(svg, "wash left")) > 0.9 * area(paths(svg, "outline"))
    assert paths(svg, "contour left") == []
    assert "crossed" not in svg
    assert "touches the floor" in svg


def test_a_sole_tilted_about_its_heel_touches_there_and_has_contours_at_equal_steps(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    ahead = ahead_of(content, leg)
    heights = 0.08 * (ahead - ahead.min()) / np.ptp(ahead)  # 0 to 80 mm
    svg = draw(content, heights)
    rows = sorted(float(line[:, 1].mean()) for line in paths(svg, "contour left"))
    assert len(rows) == 3  # at 20, 40 and 60 mm; at 80 stands the outline itself
    outline = np.concatenate(paths(svg, "outline"))
    heel, tip = float(outline[:, 1].max()), float(outline[:, 1].min())
    for row, share in zip(rows, (0.75, 0.5, 0.25), strict=True):
        assert (heel - row) / (heel - tip) == pytest.approx(share, abs=0.03)
    wash = np.concatenate(paths(svg, "wash left"))
    assert wash[:, 1].min() > heel - 0.12 * (heel - tip)
    assert re.findall(r'class="note lifted".*?>(\d+)<', svg) == ["20", "40", "60"]


def test_what_sinks_is_crossed_and_ringed_at_its_deepest(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    ahead = ahead_of(content, leg)
    heights = -0.02 * (ahead - ahead.min()) / np.ptp(ahead)
    svg = draw(content, heights)
    outline = np.concatenate(paths(svg, "outline"))
    heel, tip = float(outline[:, 1].max()), float(outline[:, 1].min())
    (beyond,) = paths(svg, "beyond")
    # crossed from where the depth is more than a touch: its share of 20 mm, seen from the heel
    share = touch_of(leg) / 0.02
    assert (heel - beyond[:, 1].max()) / (heel - tip) == pytest.approx(share, abs=0.03)
    assert paths(svg, "crossed")
    (ring,) = re.findall(r'class="worst" cx="([\d.]+)" cy="([\d.]+)"', svg)
    assert float(ring[1]) == pytest.approx(tip, abs=8)
    assert "sinks 20.0 mm" in svg


def test_left_stands_on_the_right_and_both_at_one_scale(content: SheetContent) -> None:
    left, right = content.measurement.legs
    svg = draw_soles(content, [sole_map(left), sole_map(right)], MM, 400.0, 300.0, False)
    places = {letter: float(x) for x, letter in re.findall(r'class="letter \w+" x="([\d.]+)".*?>([LR])<', svg)}
    assert places["R"] < 0.5 * 400 < places["L"]


def test_the_pair_of_the_worst_leg_is_shown(content: SheetContent) -> None:
    legs = {name: content.measurement.legs[name.startswith("right")] for name in (
        "left.hind", "right.hind", "left.fore", "right.fore")}  # fmt: skip
    maps = [sole_map(content.measurement.legs[0]) for _ in legs]
    maps = [type(m)(name, m.pose, m.vertices, m.heights) for m, name in zip(maps, legs, strict=True)]
    assert [m.leg for m in pair_of(maps, legs, "right.fore")] == ["right.fore", "left.fore"]
    assert [m.leg for m in pair_of(maps, legs, "")] == ["right.hind", "left.hind"]
    assert pair_of([], legs, "left.hind") == []
    assert [m.leg for m in pair_of(maps[:1], legs, "left.hind")] == ["left.hind"]


@given(st.floats(1e-3, 1e5))
def test_contours_stand_at_round_heights_and_are_few(highest: float) -> None:
    step = contour_step(highest)
    digit = step / 10.0 ** np.floor(np.log10(step) + 1e-9)
    assert min(abs(digit - known) for known in (1.0, 2.0, 5.0)) < 1e-6
    assert highest / step <= MOST_CONTOURS + 1e-6
    assert highest / step > MOST_CONTOURS / 2.6


def test_a_map_is_told_in_words(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    count = len(leg.sole)
    for lowest, words in ((-0.003, "sinks 3.0 mm"), (0.0, "touches the floor"), (0.0121, "hovers 12.1 mm")):
        heights = np.full(count, 0.05)
        heights[0] = lowest
        assert worst_words(sole_map(leg, heights.tolist()), leg, MM) == words
