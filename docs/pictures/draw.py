"""Draw the pictures of the README: ``python -m docs.pictures.draw`` from the project's root.

`cast.png` is the cast of The Salt Ferry side by side, `sheet.png` the rig sheet of one of them. Both are made by the
code that makes every sheet, and printed by a Chromium (see tests/browser.py).
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from examples.salt_ferry import CAST
from instep.delivery import draw_cast
from instep.delivery.job import rig_job
from instep.delivery.page import embedded_face
from instep.formats import write_character
from tests.browser import find_chromium, open_page

FOLDER: Final = Path(__file__).parent
ORDER: Final = ("grub", "odile", "pip")
SHOWN: Final = "odile"
DAY: Final = date(2026, 11, 25)
WIDTH: Final = 1280
CAST_TALL: Final = 560.0
COLOURS: Final = 256
"""Of a picture."""


def main() -> None:
    """Make both pictures anew."""
    chromium = find_chromium()
    if chromium is None:
        sys.exit("No Chromium found: name its command in INSTEP_CHROMIUM.")
    members = {name: CAST[name](detail=1.0) for name in ORDER}
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        cast = draw_cast([(name.capitalize(), members[name].character) for name in ORDER], size=CAST_TALL)
        face = embedded_face("Alegreya", 400, "italic", "alegreya-latin-400-italic.woff2")
        style = f"{face} body {{ margin: 0; }} svg {{ display: block; }}"
        (place / "cast.html").write_text(
            f'<!doctype html><meta charset="utf-8"><style>{style}</style>{cast}', encoding="utf-8"
        )
        model = place / f"{SHOWN}.glb"
        write_character(members[SHOWN].character, model, colours=members[SHOWN].colours)
        sheet = rig_job(model, place / "out", today=DAY).sheet
        with open_page(chromium, WIDTH, 900) as page:
            for source, name in ((place / "cast.html", "cast.png"), (sheet, "sheet.png")):
                page.goto(source.as_uri())
                page.evaluate("document.fonts.ready")
                shown = page.locator("svg").first if name == "cast.png" else page.locator("body")
                _write(shown.screenshot(), FOLDER / name)


def _write(png: bytes, path: Path) -> None:
    """A smaller file of the same picture, whole or not at all."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    palette = Image.new("P", (1, 1))
    palette.putpalette(_palette(np.asarray(picture).reshape(-1, 3)).reshape(-1).tolist())
    few = picture.quantize(palette=palette, dither=Image.Dither.NONE)
    beside = path.with_name(f".{path.name}")
    few.save(beside, format="PNG", optimize=True)
    os.replace(beside, path)
    print(f"{path.name}: {few.width} x {few.height}, {path.stat().st_size // 1000} kB")


def _palette(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """(COLOURS, 3) colours of a picture, exact ones: always the next that is far from all so far and not rare.

    Cutting by number alone was tried: it loses the ink of the right side, which covers little.
    """
    colours, count = np.unique(pixels, axis=0, return_counts=True)
    order = np.argsort(-count, kind="stable")
    colours, count = colours[order], count[order]
    _, first, cell = np.unique(colours // 8, axis=0, return_index=True, return_inverse=True)
    weight = np.log1p(np.bincount(cell.reshape(-1), weights=count))
    candidates = colours[first].astype(np.float64)  # the commonest of each cell
    chosen = [int(np.argmax(weight))]
    away = np.full(len(candidates), np.inf)
    while len(chosen) < min(COLOURS, len(candidates)):
        away = np.minimum(away, np.linalg.norm(candidates - candidates[chosen[-1]], axis=1))
        chosen.append(int(np.argmax(away * weight)))
    return np.asarray(candidates[chosen], dtype=np.uint8)


if __name__ == "__main__":
    main()
