"""C source that evaluates a program over rows and columns of NumPy arrays, wherever they lie."""

from __future__ import annotations

from typing import Final

from instep.rig.emitters.c99 import write_c_body, write_c_number_type, write_c_prelude
from instep.rig.program import Program
from instep.rig.program.schedule import schedule

ENTRY: Final = "instep_evaluate"


def write_native_source(program: Program) -> str:
    """One function ``instep_evaluate(first, end, c, c_step, o, o_step)`` in double precision.

    Input k of frame n stands at ``c[k][n * c_step[k]]``, output k goes to ``o[k][n * o_step[k]]``. So inputs may be
    rows, columns or one number for all frames (step 0), and outputs go straight into the arrays that are wanted.
    """
    body = write_c_body(schedule(program), "evaluate", "r")
    pieces = "\n".join(
        f"        for (lane = 0; lane < R_LANES; ++lane) {name}(ci + lane, oi + lane, ti + lane, R_LANES);"
        for name in body.functions
    )
    return "\n".join(
        [
            "#include <math.h>",
            "#include <stddef.h>",
            write_c_number_type("r"),
            write_c_prelude("r"),
            body.text,
            _ENTRY.format(
                inputs=max(len(program.inputs), 1),
                outputs=max(len(program.outputs), 1),
                kept=max(body.kept, 1),
                pieces=pieces,
            ),
        ]
    )


_ENTRY: Final = """
#if defined(__GNUC__)
#define R_APART __attribute__((noinline)) /* inlined into the loop over frames it gets 15 % slower */
#else
#define R_APART
#endif

/* Tiles gathered and put back together: long runs along each row suit pages and prefetching. */
enum {{ TILES = 4 }};

R_APART static void tile(const double *R_ALONE ci, double *R_ALONE oi, double *R_ALONE ti)
{{
    int lane;
{pieces}
}}

void instep_evaluate(ptrdiff_t first, ptrdiff_t end, const double *const *c, const ptrdiff_t *c_step,
    double *const *o, const ptrdiff_t *o_step)
{{
    R_ALIGNED double ci[TILES][{inputs}][R_LANES];
    R_ALIGNED double oi[TILES][{outputs}][R_LANES];
    R_ALIGNED double ti[{kept}][R_LANES];
    ptrdiff_t frame, k, n;
    for (frame = first; frame < end; frame += TILES * R_LANES) {{
        const ptrdiff_t frames = end - frame < TILES * R_LANES ? end - frame : TILES * R_LANES;
        const ptrdiff_t tiles = (frames + R_LANES - 1) / R_LANES;
        for (k = 0; k < {inputs}; ++k) {{
            const double *row = c[k] + frame * c_step[k];
            const ptrdiff_t step = c_step[k];
            for (n = 0; n < frames; ++n) ci[n / R_LANES][k][n % R_LANES] = row[n * step];
            for (; n < tiles * R_LANES; ++n) ci[n / R_LANES][k][n % R_LANES] = row[(frames - 1) * step];
        }}
        for (n = 0; n < tiles; ++n) tile(ci[n][0], oi[n][0], ti[0]);
        if (o_step[{outputs} - 1] == 1) {{ /* rows: whole lines of cache, or rows of 2^n frames push one another out */
            for (k = 0; k < {outputs}; ++k) {{
                double *row = o[k] + frame * o_step[k];
                const ptrdiff_t step = o_step[k];
                for (n = 0; n < frames; ++n) row[n * step] = oi[n / R_LANES][k][n % R_LANES];
            }}
        }} else {{ /* columns: frame after frame */
            for (n = 0; n < frames; ++n) {{
                for (k = 0; k < {outputs}; ++k) o[k][(frame + n) * o_step[k]] = oi[n / R_LANES][k][n % R_LANES];
            }}
        }}
    }}
}}
"""
