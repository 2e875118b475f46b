"""The whole job, `instep rig`, for each of the cast: a process of its own, from the file to the page."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from benchmarks.timing import Contestant, Group, race, timed

CAST: Final = ("grub", "odile", "pip")


def time_whole(tries: int = 2) -> Group:
    """Seconds for each member of the cast; the cast itself is made first and not timed.

    Raises subprocess.CalledProcessError where the cast cannot be made or rigged.
    """
    with TemporaryDirectory() as name:
        folder = Path(name)
        _run(sys.executable, "-m", "examples.salt_ferry", str(folder / "cast"))
        contestants = [_member(folder, member) for member in CAST]
        about = "One process each, start of Python included; page and clips written"
        return race("The whole job", about, "", contestants, tries)


def _member(folder: Path, member: str) -> Contestant:
    model = folder / "cast" / f"{member}.glb"
    command = (sys.executable, "-c", "from instep.cli import main; main()", "rig", str(model), "-o")
    size = model.stat().st_size / 1e6
    how = f"`instep rig {member}.glb`, {size:.1f} MB"
    return Contestant(member, how, timed(lambda: _run(*command, str(folder / "out" / member))))


def _run(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True)
