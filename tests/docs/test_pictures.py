"""The README's pictures: there, as wide and as large as a page can bear, on the sheet's own paper."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from docs.pictures.draw import FOLDER

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["cast.png", "sheet.png"])
def test_a_picture_is_small_and_in_our_colours(name: str) -> None:
    path = FOLDER / name
    assert path.stat().st_size <= 400_000
    with Image.open(path) as picture:
        assert picture.width <= 1600
        paper = np.array(picture.convert("RGB").getpixel((2, 2)))
        assert np.abs(paper - (0xF6, 0xF0, 0xE2)).max() <= 2  # a palette may be a step off


def test_the_readme_shows_both_and_every_picture_that_it_shows_is_there() -> None:
    shown = re.findall(r"!\[[^\]]+\]\((docs/pictures/[^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert {"docs/pictures/cast.png", "docs/pictures/sheet.png"} <= set(shown)
    assert [path for path in shown if not (ROOT / path).is_file()] == []
