"""The bench for tests: a small character in a folder of its own, the server as a process, a page in Chromium."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, sync_playwright

from instep.formats import write_character
from tests.biped import make_biped
from tests.browser import CHROMIUM_FLAGS

TOKEN = "a-token-for-tests"

START = """
import sys
from pathlib import Path
from instep.bench.serve import prepare, serve
serve(prepare(Path(sys.argv[1])), port=int(sys.argv[2]), token=sys.argv[3], ready=lambda link: print(link, flush=True))
"""


@cache
def _made() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="instep-bench-"))
    write_character(make_biped(), folder / "biped.glb")
    return folder / "biped.glb"


def biped_in(folder: Path) -> Path:
    """A file of the biped in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    return Path(shutil.copy(_made(), folder / "biped.glb"))


@dataclass
class Server:
    """A running server. `link` begins with http and ends with a stroke."""

    process: subprocess.Popen[str]
    link: str

    @property
    def port(self) -> int:
        return int(self.link.split(":")[2].split("/")[0])

    def kill(self) -> None:
        """End it at once, without any chance to write what is open."""
        self.process.kill()
        self.process.wait()


def start(path: Path, port: int = 0) -> Server:
    """Start the server on a character, a rig file or a folder."""
    process = subprocess.Popen([sys.executable, "-c", START, str(path), str(port), TOKEN], stdout=-1, text=True)
    assert process.stdout is not None
    link = process.stdout.readline().strip()
    assert link.startswith("http://127.0.0.1:"), link
    return Server(process, link)


@contextmanager
def serving(path: Path, port: int = 0) -> Iterator[Server]:
    """A server for the length of a test."""
    server = start(path, port)
    try:
        yield server
    finally:
        server.kill()
        assert server.process.stdout is not None
        server.process.stdout.close()


@contextmanager
def browsing(chromium: Path, width: int = 1280, height: int = 720) -> Iterator[BrowserContext]:
    """A browser with a new profile. What a script does not catch, and any request to another host, fails the test."""
    with tempfile.TemporaryDirectory(prefix="instep-chromium-") as profile, sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=chromium,
            headless=True,
            args=list(CHROMIUM_FLAGS),
            viewport={"width": width, "height": height},
            reduced_motion="reduce",
        )
        faults: list[str] = []

        def watch(page: Page) -> None:
            page.on("pageerror", lambda error: faults.append(str(error)))
            page.on("request", lambda request: faults.append(request.url) if _elsewhere(request.url) else None)

        context.on("page", watch)
        try:
            yield context
            assert not faults, faults
        finally:
            context.close()


def _elsewhere(address: str) -> bool:
    return not address.startswith(("http://127.0.0.1:", "data:", "blob:", "about:"))


def open_bench(context: BrowserContext, link: str) -> Page:
    """The page, once it shows its character."""
    page = context.new_page()
    page.goto(link)
    wait_for(page, "Boolean(window.instep?.bench?.rig) && instep.shown.shapes.length > 0")
    return page


def wait_for(page: Page, condition: str, seconds: float = 40.0) -> None:
    """Wait until an expression is true. (Playwright's own way needs an evaluation that the page's policy forbids.)"""
    end = time.monotonic() + seconds
    while not page.evaluate(condition):
        assert time.monotonic() < end, f"never true: {condition}; the page says {page.evaluate('instep.bench.said')}"
        page.wait_for_timeout(40)


def settled(page: Page) -> None:
    """Wait until everything that was asked is written, and the page shows what the server says."""
    wait_for(page, "instep.bench.link.pending === 0 && !instep.bench.dragging")
    wait_for(page, "instep.bench.rig.info.rig_revision === instep.bench.state.rig_revision")


def pose_of(page: Page) -> dict[str, float]:
    """The pose that the server last told."""
    pose: dict[str, float] = page.evaluate("instep.bench.state.pose")
    return pose


def on_stage(page: Page, expression: str) -> tuple[float, float]:
    """A place on the stage, given in its own pixels, as the mouse needs it."""
    place: Any = page.evaluate(expression)
    box = page.locator(".stage").bounding_box()
    assert box is not None
    return box["x"] + place[0], box["y"] + place[1]


def drag(page: Page, start: tuple[float, float], by: tuple[float, float], steps: int = 8) -> None:
    """Drag with the mouse."""
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + by[0], start[1] + by[1], steps=steps)
    page.mouse.up()


LEFT_OUTLINE = """(() => {
  const ring = instep.shown.shapes.find((shape) => shape.control === "left.foot").flat[0];
  return ring.reduce((best, p) => (p[1] > best[1] ? p : best), ring[0]);
})()"""
"""The lowest point of the left foot's outline on the stage."""
