"""The drawings are what their generator draws, and its signs are those of the right-hand rule."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from docs.drawings import ink, puppet
from docs.drawings.draw import DRAWINGS, FOLDER, X, Y, Z, agrees
from docs.drawings.ink import circular, turned, vector, view_from
from tests.browser import open_page

SVG = "{http://www.w3.org/2000/svg}"
INKS = {ink.PAPER, ink.INK, ink.INK_2, ink.INK_3, ink.LIGHT, ink.SHADE, *ink.SIDES.values(), *ink.WASHES.values()}
number = st.floats(-10, 10)


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_is_what_its_generator_draws(name: str) -> None:
    assert agrees(DRAWINGS[name]().svg(), (FOLDER / name).read_text(encoding="utf-8"))


def test_a_moved_mark_is_seen_as_drift() -> None:
    svg = DRAWINGS["foot-frame.svg"]().svg()
    place = re.search(r'cx="(\d+\.\d)"', svg)
    assert place is not None
    moved = svg.replace(place[0], f'cx="{float(place[1]) + 0.2:.1f}"', 1)
    rounded = svg.replace(place[0], f'cx="{float(place[1]) + 0.1:.1f}"', 1)
    assert not agrees(moved, svg)
    assert agrees(rounded, svg)
    assert not agrees(svg.replace("heel", "hell"), svg)


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_stands_by_itself_and_keeps_to_the_inks(name: str) -> None:
    text = (FOLDER / name).read_text(encoding="utf-8")
    root = ET.fromstring(text)
    assert root.findtext(f"{SVG}title")
    assert root.findtext(f"{SVG}desc")
    assert set(re.findall(r"#[0-9a-f]{6}\b", text)) <= INKS
    assert not re.search(r"href|<image|<script|@import|url\((?!#)", text)
    sizes = [float(element.get("font-size", "0")) for element in root.iter(f"{SVG}text")]
    assert min(sizes) >= 12


@pytest.mark.parametrize("name", DRAWINGS)
def test_marks_stay_on_the_sheet(name: str) -> None:
    root = ET.fromstring((FOLDER / name).read_text(encoding="utf-8"))
    size = (float(root.attrib["width"]), float(root.attrib["height"]))
    clipped = {id(path) for clip in root.iter(f"{SVG}clipPath") for path in clip}
    for element in root.iter(f"{SVG}path"):
        if id(element) in clipped or "clip-path" in element.attrib:
            continue
        points = np.array([float(n) for n in re.findall(r"-?\d+\.\d", element.attrib["d"])]).reshape(-1, 2)
        assert np.all(points >= 0), element.attrib["d"]
        assert np.all(points <= size), element.attrib["d"]


def test_words_stay_on_the_sheet_and_off_each_other(chromium: Path) -> None:
    """As a browser sets them, in whatever fonts it has."""
    boxes_of_words = """() => [...document.querySelectorAll("text")].map(text => {
        const box = text.getBBox()
        return [text.textContent, box.x, box.y, box.x + box.width, box.y + box.height]
    })"""
    with open_page(chromium, 900, 900) as page:
        for name in DRAWINGS:
            page.goto((FOLDER / name).as_uri())
            width, height = page.evaluate("[document.rootElement.viewBox.baseVal].flatMap(b => [b.width, b.height])")
            boxes = page.evaluate(boxes_of_words)
            assert boxes
            for word, left, top, right, bottom in boxes:
                assert left >= 8, (name, word)
                assert top >= 8, (name, word)
                assert right <= width - 8, (name, word)
                assert bottom <= height - 4, (name, word)
            for (word, *a), (other, *b) in itertools.combinations(boxes, 2):
                apart = a[2] <= b[0] or b[2] <= a[0] or a[3] - 3 <= b[1] + 3 or b[3] - 3 <= a[1] + 3
                assert apart, (name, word, other)


@given(st.tuples(number, number, number), st.tuples(number, number, number), st.floats(-720, 720))
def test_turns_are_those_of_an_independent_library(
    point: tuple[float, float, float], pivot: tuple[float, float, float], degrees: float
) -> None:
    axis = vector(0.48, -0.6, 0.64)
    expected = Rotation.from_rotvec(np.radians(degrees) * axis).apply(np.subtract(point, pivot)) + pivot
    np.testing.assert_allclose(turned(point, vector(*pivot), axis, degrees)[0], expected, atol=1e-12)
    np.testing.assert_allclose(circular(vector(*pivot), vector(*point), axis, degrees)[-1], expected, atol=1e-12)


@pytest.mark.parametrize(
    ("axis", "point", "towards"),
    [(X, Z, -Y), (Y, Z, X), (Z, X, Y)],
    ids=["X: the front goes down", "Y: the front goes left", "Z: the left side goes up"],
)
def test_a_positive_turn_goes_where_the_drawing_says(
    axis: ink.FloatArray, point: ink.FloatArray, towards: ink.FloatArray
) -> None:
    moved = turned(point, vector(0, 0, 0), axis, 10)[0] - point
    assert moved @ towards > 0.17


@given(st.floats(-80, 80), st.floats(-80, 80))
def test_a_view_is_orthonormal_and_right_handed(azimuth: float, height: float) -> None:
    view = view_from(azimuth, height, 1.0, vector(0, 0))
    axes = np.stack([view.right, view.up, view.towards])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert view.up[1] > 0


def test_the_right_foot_mirrors_the_left_and_the_margin_grows_it() -> None:
    left, right = puppet.sole_outline(1.0), puppet.sole_outline(-1.0)
    np.testing.assert_array_equal(left * (-1, 1, 1), right)
    grown = puppet.sole_outline(1.0, 0.05)
    np.testing.assert_allclose(np.linalg.norm(grown - left, axis=1), 0.05)
    assert np.ptp(grown[:, 0]) > np.ptp(left[:, 0]) + 0.09


def test_each_drawing_is_shown_in_the_conventions(project: Path) -> None:
    text = (project / "docs/conventions.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[[^\]]{20,}\]\(drawings/([^)]+)\)", text)
    assert sorted(shown) == sorted(DRAWINGS)
    assert sorted(path.name for path in FOLDER.glob("*.svg")) == sorted(DRAWINGS)
