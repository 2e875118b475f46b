"""The C compiler of this machine."""

from __future__ import annotations

import os
import platform
import shlex
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

NAMES: Final = ("cc", "gcc", "clang")

FLAGS: Final = ("-std=c99", "-O3", "-march=native", "-ffp-contract=off", "-fno-math-errno", "-fPIC", "-shared")
"""No fused multiply-adds, so that results equal NumPy's; no errno, so that square roots vectorise. Never -ffast-math:
linking a shared object with it changes the rounding of the whole process."""

WISHES: Final = ("-mprefer-vector-width=512", "-fschedule-insns", "-fsched-pressure")
"""Flags that only some compilers and machines know: together they make the two-legged rig 1.5 times faster where
vectors of 512 bits exist. Each is tried once, and left out where it is refused."""


@dataclass(frozen=True, slots=True)
class Compiler:
    """A compiler that works, with the flags it takes.

    Attributes
    ----------
    command : with arguments of its own, as CC may have them.
    flags : to make a shared object.
    identity : what decides its output besides the source: version, flags, machine.
    """

    command: tuple[str, ...]
    flags: tuple[str, ...]
    identity: str


class CompilationError(Exception):
    """The compiler refused a source or could not be run; the message holds what it said."""


def find_compiler() -> Compiler | None:
    """The compiler that the environment variable CC names, or the first of the usual names; None where none works."""
    named = os.environ.get("CC", "")
    return _find(named, os.environ.get("PATH", ""))


@cache
def _find(named: str, path: str) -> Compiler | None:
    for command in [tuple(shlex.split(named))] if named else [(name,) for name in NAMES]:
        place = shutil.which(command[0], path=path) if command else None
        if place is None:
            continue
        whole = (place, *command[1:])
        if not _accepts(whole, FLAGS):
            continue
        flags = (*FLAGS, *(wish for wish in WISHES if _accepts(whole, (*FLAGS, "-Werror", wish))))
        version = _output([*whole, "--version"])
        return Compiler(whole, flags, "\n".join([*whole, *flags, version, _processor()]))
    return None


def _accepts(command: Sequence[str], flags: Sequence[str]) -> bool:
    try:
        done = subprocess.run(
            [*command, *flags, "-x", "c", "-", "-o", os.devnull, "-lm"],
            input=b"double twice(double x) { return x + x; }\n",
            capture_output=True,
            timeout=60,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False  # a name on the path that is no working compiler: the next one is tried
    return done.returncode == 0


def _output(command: Sequence[str]) -> str:
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False).stdout


def _processor() -> str:
    """What -march=native looks at: a home folder may be shared by machines that differ."""
    try:
        text = Path("/proc/cpuinfo").read_text()
    except OSError:
        return f"{platform.machine()} {platform.processor()} {platform.node()}"
    lines = [
        line
        for line in text.split("\n\n")[0].splitlines()
        if line.startswith(("flags", "Features", "model name", "CPU part"))
    ]
    return "\n".join([platform.machine(), *lines])


def compile_shared(compiler: Compiler, source: str, target: Path) -> None:
    """Compile C to a shared object at `target`. Raises CompilationError with what the compiler said."""
    try:
        done = subprocess.run(
            [*compiler.command, *compiler.flags, "-x", "c", "-", "-o", str(target), "-lm"],
            input=source.encode(),
            capture_output=True,
            timeout=600,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise CompilationError(str(error)) from error
    if done.returncode != 0:
        raise CompilationError(done.stderr.decode(errors="replace").strip())
