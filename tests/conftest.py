"""Fixtures that every test may use, and how Hypothesis draws its examples."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.browser import CHROMIUM_COMMANDS, browser_is_required, find_chromium

PROJECT = Path(__file__).resolve().parents[1]

# No deadlines: the machine's other work must not decide whether a law holds.
settings.register_profile("develop", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", settings.get_profile("develop"), derandomize=True, database=None)
settings.load_profile("ci" if os.environ.get("CI") else "develop")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests with a browser share one process: each browser takes more than a core of its own."""
    for item in items:
        if "chromium" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.xdist_group("chromium"))


@pytest.fixture(scope="session")
def project() -> Path:
    """The project's root folder."""
    return PROJECT


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Characters and motion of others, kept beside the project and never copied into it."""
    folder = PROJECT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the shared data are not here: ../shared/data, seen from the project's root")
    return folder


@pytest.fixture(scope="session")
def chromium() -> Path:
    """The browser's command; `tests.browser.open_page` opens a page in it."""
    found = find_chromium()
    if found is None:
        message = (
            f"no browser: looked for {' and '.join(CHROMIUM_COMMANDS)} on the path; "
            "install Debian's package chromium, or name the command in INSTEP_CHROMIUM"
        )
        if browser_is_required():
            pytest.fail(message)
        pytest.skip(message)
    return found
