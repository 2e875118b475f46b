"""Run all benchmarks, print them, and write `results.md` and `results.json` beside this file.

python -m benchmarks [--without-cast]
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from benchmarks.building import time_building
from benchmarks.compiled import time_compiled, time_threads
from benchmarks.evaluators import time_evaluators
from benchmarks.kinematics import time_kinematics
from benchmarks.results import as_data, as_text, write
from benchmarks.skinning import time_skinning
from benchmarks.timing import Group
from benchmarks.whole import time_whole
from instep.native.compiler import find_compiler


def _groups(with_cast: bool) -> Iterator[Group]:
    yield from time_evaluators()
    if find_compiler() is not None:
        yield time_compiled()
        yield time_threads()
    yield time_kinematics()
    yield time_building()
    yield time_skinning()
    if with_cast:
        yield time_whole()


def main(arguments: list[str]) -> int:
    """Run; the exit status."""
    if unknown := set(arguments) - {"--without-cast"}:
        print(f"unknown: {' '.join(sorted(unknown))}; expected nothing or --without-cast", file=sys.stderr)
        return 2
    groups = []
    for group in _groups("--without-cast" not in arguments):
        print(f"{group.title}: " + ", ".join(f"{f.name} {f.value:.4g} {f.unit}" for f in group.figures), flush=True)
        groups.append(group)
    here = Path(__file__).parent
    write(here / "results.md", as_text(groups))
    write(here / "results.json", as_data(groups))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
