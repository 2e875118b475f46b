"""The browser that other tests use: its errors count, nothing is fetched, WebGL is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Error

from tests.browser import find_chromium, open_page


def test_a_page_can_be_read_and_has_webgl(chromium: Path, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text("<!doctype html><title>Plate</title><p>ink</p>")
    with open_page(chromium, 640, 360) as page:
        page.goto(path.as_uri())
        assert page.title() == "Plate"
        assert page.evaluate("[innerWidth, innerHeight]") == [640, 360]
        assert page.evaluate("document.createElement('canvas').getContext('webgl2') !== null")
        with pytest.raises(Error, match="ERR_INTERNET_DISCONNECTED"):
            page.goto("http://example.invalid/")


def test_an_error_in_a_script_fails_the_test(chromium: Path, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text("<!doctype html><script>throw new Error('spilt ink')</script>")
    with pytest.raises(AssertionError, match="spilt ink"), open_page(chromium) as page:
        page.goto(path.as_uri())


def test_a_browser_named_by_hand_is_the_only_one(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("INSTEP_CHROMIUM", str(tmp_path / "none"))
    assert find_chromium() is None
    command = tmp_path / "mine"
    command.write_text("#!/bin/sh\n")
    command.chmod(0o755)
    monkeypatch.setenv("INSTEP_CHROMIUM", str(command))
    assert find_chromium() == command
