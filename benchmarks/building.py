"""How long a rig takes to build, and to be written as NumPy and JavaScript."""

from __future__ import annotations

from benchmarks.rigs import two_legged
from benchmarks.timing import Contestant, Group, race, timed
from instep.rig.channels import ControlSet
from instep.rig.emitters.javascript import write_javascript
from instep.rig.emitters.numpy_blocks import compile_numpy


def time_building() -> Group:
    """Seconds for `build_rig` and what follows from it."""
    rigs: tuple[tuple[ControlSet, bool], ...] = (("essential", False), ("essential", True), ("full", True))
    contestants = [contestant for rig in rigs for contestant in _steps(*rig)]
    about = "The biped of the tests; making its mesh is included, 0.02 s"
    return race("Building", about, "", contestants, tries=3)


def _steps(controls: ControlSet, plain: bool) -> list[Contestant]:
    name = f"{controls}{' with plain controls' if plain else ''}"
    program = two_legged(controls, plain).program
    return [
        Contestant(f"build, {name}", "`build_rig`", timed(lambda: two_legged(controls, plain))),
        Contestant(f"NumPy, {name}", "`compile_numpy`", timed(lambda: compile_numpy(program))),
        Contestant(f"JavaScript, {name}", "`write_javascript`", timed(lambda: write_javascript(program))),
    ]
