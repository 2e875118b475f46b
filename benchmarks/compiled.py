"""Compiled code: emitted C against the machine's arithmetic limit, and `Rig.evaluate` with one thread and two."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import numpy as np

from benchmarks.evaluators import casadi_contestant
from benchmarks.rigs import random_poses, two_legged
from benchmarks.timing import Contestant, Figure, Group, race, timed
from instep.native.compiler import compile_shared, find_compiler
from instep.rig.cost import work
from instep.rig.emitters.c99 import write_c_body, write_c_number_type, write_c_prelude
from instep.rig.native.evaluator import Rows, native_evaluator
from instep.rig.program import Op, Program
from instep.rig.program.schedule import schedule

RESIDENT: Final = 4096
"""Poses of the race in cache."""

SINE_OPERATIONS: Final = 39
"""Additions and products of a sine and cosine of one angle in double precision, see `emitters/sine.py`."""

LIMIT: Final = r"""
typedef double four __attribute__((vector_size(32)));
#define EACH(M) M(0) M(1) M(2) M(3) M(4) M(5) M(6) M(7) M(8) M(9) M(10) M(11)
void limit(ptrdiff_t rounds, double *out);
void limit(ptrdiff_t rounds, double *out)
{
    const four x = (four){0} + 1.0000001, y = (four){0} + 1e-9;
    ptrdiff_t i;
#define START(k) four a##k = (four){0} + 1.0 + k;
    EACH(START)
    for (i = 0; i < rounds; ++i) {
#define BOTH(k) __asm__ volatile("" : "+v"(a##k)); a##k = k % 2 ? a##k * x : a##k + y;
        EACH(BOTH)
    }
#define SUM(k) out[0] += a##k[0];
    EACH(SUM)
}
"""
"""Twelve chains of products and sums that wait for nothing but themselves: 48 operations a round.
Vectors of 8 doubles reach a fifth less in the same loop, on a machine that does them in two halves."""


def time_compiled() -> Group:
    """All figures in one race; a note of the fraction of the arithmetic limit."""
    rig = two_legged("essential", False)
    program = rig.program
    values = random_poses(rig)[:RESIDENT]
    compiler = find_compiler()
    if compiler is None:
        return Group("Compiled code", "no C compiler on this machine", ())
    native = native_evaluator(program, may_compile=True)
    assert native is not None
    rows = np.ascontiguousarray(values.T)
    result = np.empty((len(program.outputs), RESIDENT))
    given, wanted = Rows.of(rows), Rows.of(result)
    with TemporaryDirectory() as folder:
        target = Path(folder) / "bench.so"
        compile_shared(compiler, _source(program), target)
        library = ctypes.CDLL(str(target))
        single = Path(folder) / "single.so"
        compile_shared(compiler, "#define P_SINGLE\n" + _source(program), single)
        single_library = ctypes.CDLL(str(single))
        space = np.zeros(16)
        contestants = [
            casadi_contestant(rig, values),
            Contestant(
                "NumPy", "`Rig.evaluate_outputs`, one core", timed(lambda: rig.evaluate_outputs(values)), RESIDENT
            ),
            Contestant(
                "C, a pose at a time",
                "emitted C, doubles",
                timed(_caller(library, "scalars", program, np.float64)),
                RESIDENT,
            ),
            Contestant(
                "C, tiles of 8",
                "emitted C, doubles, tiles in cache",
                timed(_caller(library, "tiles", program, np.float64)),
                RESIDENT,
            ),
            Contestant(
                "C, tiles of 16, single",
                "emitted C, single precision",
                timed(_caller(single_library, "tiles", program, np.float32)),
                RESIDENT,
            ),
            Contestant(
                "Native, rows",
                "compiled code over NumPy rows, one thread",
                timed(lambda: native.into(given, wanted, RESIDENT, threads=1)),
                RESIDENT,
            ),
            Contestant(
                "Arithmetic limit",
                "products and sums of 4 doubles, nothing else",
                timed(lambda: library.limit(ctypes.c_ssize_t(200_000), ctypes.c_void_p(space.ctypes.data))),
                200_000 * 48,
            ),
        ]
        group = race("Compiled code, two legs, essential controls", "", "poses", contestants)
    figures = {figure.name: figure for figure in group.figures}
    turns = len({i.args for i in program.instructions if i.op in (Op.SIN, Op.COS)})
    count = program.count()
    operations = work(program) - count[Op.SIN] - count[Op.COS] + turns * SINE_OPERATIONS
    limit = figures["Arithmetic limit"].value
    share = figures["C, tiles of 8"].value * operations / limit
    about = (
        f"{operations:,} operations a pose, {turns} pairs of sine and cosine of {SINE_OPERATIONS} each; tiles "
        f"of 8 run at {share:.0%} of the arithmetic limit. {RESIDENT:,} poses that stay in cache, one core"
    )
    shown = tuple(
        Figure(f.name, f.value, "operations/s", f.how) if f.name == "Arithmetic limit" else f for f in group.figures
    )
    return Group(group.title, about, shown)


def time_threads() -> Group:
    """`Rig.evaluate` of many poses into new arrays, and the compiled code alone, with one thread and two."""
    rig = two_legged("essential", False)
    values = np.tile(random_poses(rig), (4, 1))
    frames = len(values)
    native = native_evaluator(rig.program, may_compile=True)
    if native is None:
        return Group("Threads", "no C compiler on this machine", ())
    result = np.empty((len(rig.program.outputs), frames))
    given, wanted = Rows.of(np.ascontiguousarray(values.T)), Rows.of(result)
    contestants = []
    for threads in (1, 2):
        contestants += [
            Contestant(
                f"Compiled code, {threads} thread{'s'[: threads - 1]}",
                "rows to rows",
                timed(lambda t=threads: native.into(given, wanted, frames, threads=t)),  # type: ignore[misc]
                frames,
            ),
            Contestant(
                f"`Rig.evaluate`, {threads} thread{'s'[: threads - 1]}",
                "all 20 joints into new arrays",
                timed(lambda t=threads: rig.evaluate(values, native=True, threads=t)),  # type: ignore[misc]
                frames,
            ),
        ]
    return race("Threads", f"{frames:,} poses, more than the caches hold", "poses", contestants)


def _source(program: Program) -> str:
    body = write_c_body(schedule(program), "f", "p")
    pieces = " ".join(
        f"for (lane = 0; lane < P_LANES; ++lane) {name}(c + lane, o + lane, t + lane, P_LANES);"
        for name in body.functions
    )
    alone = " ".join(f"{name}(c, o, t, 1);" for name in body.functions)
    kept = max(body.kept, 1)
    return "\n".join(
        [
            "#include <math.h>",
            "#include <stddef.h>",
            write_c_number_type("p"),
            write_c_prelude("p"),
            body.text,
            LIMIT,
            "static __attribute__((noinline)) void tile(const p_real *P_ALONE c, p_real *P_ALONE o, p_real *P_ALONE t)",
            f"{{ int lane; {pieces} }}",
            "static __attribute__((noinline)) void one(const p_real *P_ALONE c, p_real *P_ALONE o, p_real *P_ALONE t)",
            f"{{ {alone} }}",
            "void tiles(ptrdiff_t poses, const p_real *c, p_real *o);",
            "void tiles(ptrdiff_t poses, const p_real *c, p_real *o)",
            f"{{ P_ALIGNED p_real t[{kept} * P_LANES]; ptrdiff_t n; "
            f"for (n = 0; n < poses; n += P_LANES) tile(c, o, t); }}",
            "void scalars(ptrdiff_t poses, const p_real *c, p_real *o);",
            "void scalars(ptrdiff_t poses, const p_real *c, p_real *o)",
            f"{{ p_real t[{kept}]; ptrdiff_t n; for (n = 0; n < poses; ++n) one(c, o, t); }}",
        ]
    )


def _caller(library: ctypes.CDLL, entry: str, program: Program, real: type[np.floating]) -> Callable[[], None]:
    """Evaluates the same tile again and again; its lines begin where lines of cache do."""
    lanes = 64 // np.dtype(real).itemsize
    rows = len(program.inputs) + len(program.outputs)
    space = np.zeros(rows * lanes + 64, dtype=real)
    start = (-space.ctypes.data % 64) // space.itemsize
    given = space[start : start + len(program.inputs) * lanes]
    given[:] = np.random.default_rng(0).uniform(-0.3, 0.3, len(given))
    found = given.ctypes.data + given.nbytes
    arguments = ctypes.c_ssize_t(RESIDENT), ctypes.c_void_p(given.ctypes.data), ctypes.c_void_p(found)

    def call(kept: object = space) -> None:
        getattr(library, entry)(*arguments)

    return call
