"""Chromium for tests: where it is, how it is started, and a page in it.

The browser is the system's own (Debian's package `chromium`); Playwright only drives it.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

CHROMIUM_COMMANDS = ("chromium", "chromium-browser")

CHROMIUM_FLAGS = (
    "--no-sandbox",  # the sandbox needs rights that a container rarely has; only our own files are opened
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-angle=swiftshader",  # WebGL without a graphics card, the same pixels on every machine
    "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist",
)


def find_chromium() -> Path | None:
    """The command named by INSTEP_CHROMIUM, else the first of CHROMIUM_COMMANDS on the path, else None."""
    named = os.environ.get("INSTEP_CHROMIUM")
    for command in (named,) if named else CHROMIUM_COMMANDS:
        if found := shutil.which(command):
            return Path(found)
    return None


def browser_is_required() -> bool:
    """Whether a test that needs a browser fails without one, rather than skips (as in `.ci/run`)."""
    return os.environ.get("INSTEP_REQUIRE_BROWSER", "") not in ("", "0")


@contextmanager
def open_page(chromium: Path, width: int = 1280, height: int = 720) -> Iterator[Page]:
    """An empty page of `width` x `height` pixels in a browser of its own, with a new profile, offline.

    Files are opened with ``page.goto(path.as_uri())``. Every error that a script on the page does not
    catch fails the test when the page is closed.
    """
    with tempfile.TemporaryDirectory(prefix="instep-chromium-") as profile, sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=chromium,
            headless=True,
            args=list(CHROMIUM_FLAGS),
            viewport={"width": width, "height": height},
            offline=True,
        )
        try:
            page = context.new_page()
            errors: list[str] = []
            page.on("pageerror", lambda error: errors.append(str(error)))
            yield page
            assert not errors, f"scripts on the page failed: {errors}"
        finally:
            context.close()
