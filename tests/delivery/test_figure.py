"""Stand-alone drawings of whole characters."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest

from instep.delivery import draw_cast, draw_figure
from tests.biped import make_biped


@pytest.mark.parametrize("view", ["before", "behind", "left", "right", "below", "quarter"])
def test_a_figure_is_a_drawing_of_its_own(view: str) -> None:
    svg = draw_figure(make_biped(), view, 200.0)
    root = ElementTree.fromstring(svg)
    if view != "below":
        assert float(root.attrib["height"]) == pytest.approx(206, abs=1)  # 3 units of air above and below
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")
    assert svg.count('class="outline"') == 1


def test_another_view_is_refused() -> None:
    with pytest.raises(KeyError, match="above"):
        draw_figure(make_biped(), "above")


def test_the_cast_stands_on_one_floor_at_one_scale() -> None:
    small, large = make_biped(scale=0.5), make_biped()
    svg = draw_cast([("Small & slight", small), ("Large", large)], "before", 300.0)
    root = ElementTree.fromstring(svg)
    name = "{http://www.w3.org/2000/svg}"
    assert [text.text for text in root.iter(f"{name}text")] == ["Small & slight", "Large"]
    moves = [
        tuple(float(n) for n in found)
        for found in re.findall(r'<g transform="translate\(([\d.]+) ([\d.]+)\)"><g class="ink"', svg)
    ]
    assert len(moves) == 2
    assert moves[0][1] - moves[1][1] == pytest.approx(150, abs=1)  # half as tall, its feet as low
    assert moves[0][0] < moves[1][0]
