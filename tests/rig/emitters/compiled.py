"""Emitted C, compiled and called: what tests of languages share."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from instep.rig.emitters.c_files import write_c_header, write_c_source
from instep.rig.emitters.runtime_form import RuntimeForm

STRICT = ("-Wall", "-Wextra", "-pedantic", "-Werror")


def compiler(name: str) -> str:
    """The path of a compiler; the test is skipped with a plain message where it is missing."""
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"no {name} on the path; Debian's packages are gcc, g++ and clang")
    return found


@dataclass(frozen=True)
class CompiledRig:
    """A rig's C code as a shared library."""

    library: ctypes.CDLL
    form: RuntimeForm
    real: type[np.floating]
    lanes: int

    def poses(self, channels: NDArray[np.float64], *, derivatives: bool = False) -> NDArray[np.float64]:
        """(N, O) outputs in blocks, from (N, C) channels."""
        rows = len(self.form.derivative_places) if derivatives else len(self.form.program.outputs)
        given = np.ascontiguousarray(channels, dtype=self.real)
        found = np.empty((len(given), rows), dtype=self.real)
        size, place = ctypes.c_ssize_t, ctypes.c_void_p
        entry = getattr(self.library, f"{self.form.name}_{'derivatives' if derivatives else 'poses'}")
        entry(size(len(given)), place(given.ctypes.data), size(1), size(given.shape[1]),
              place(found.ctypes.data), size(1), size(rows))  # fmt: skip
        return found.astype(np.float64)

    def pose(self, channels: NDArray[np.float64]) -> NDArray[np.float64]:
        """(O,) outputs of one pose, from (C,) channels."""
        given = np.ascontiguousarray(channels, dtype=self.real)
        found = np.empty(len(self.form.program.outputs), dtype=self.real)
        entry = getattr(self.library, f"{self.form.name}_pose")
        entry(ctypes.c_void_p(given.ctypes.data), ctypes.c_void_p(found.ctypes.data))
        return found.astype(np.float64)


def compile_rig(form: RuntimeForm, folder: Path, command: str = "gcc", *, single: bool = False) -> CompiledRig:
    """Compile a rig's header and source, with all warnings as errors."""
    (folder / f"{form.name}_rig.h").write_text(write_c_header(form))
    source = folder / f"{form.name}_rig.c"
    source.write_text(write_c_source(form))
    target = folder / f"{form.name}{'_single' if single else ''}.so"
    chosen = [f"-D{form.name.upper()}_SINGLE"] if single else []
    subprocess.run(
        [compiler(command), "-std=c99", *STRICT, "-O2", "-ffp-contract=off", "-fPIC", "-shared", *chosen, "-o",
         str(target), str(source), "-lm"],
        check=True,
    )  # fmt: skip
    library = ctypes.CDLL(str(target))
    return CompiledRig(library, form, np.float32 if single else np.float64, 16 if single else 8)
