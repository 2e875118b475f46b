"""Small symbolic functions, traced."""

from __future__ import annotations

from collections.abc import Callable

import casadi
import numpy as np

from instep.character.arrays import FloatArray
from instep.frames.scalar import Scalar
from instep.rig.program import Program
from instep.rig.program.trace import make_function, trace


def traced(inputs: int, formula: Callable[..., list[Scalar]]) -> tuple[Program, casadi.Function]:
    """The program of a formula over symbols, with the function that it was traced from."""
    symbols = [casadi.SX.sym(f"x{k}") for k in range(inputs)]
    outputs = formula(*symbols)
    function = make_function("f", symbols, outputs)
    names = [f"y{k}" for k in range(len(outputs))]
    return trace(function, [f"x{k}" for k in range(inputs)], names), function


def reference(function: casadi.Function, values: FloatArray) -> FloatArray:
    """(O, N) of (N, C), by CasADi's own machine."""
    return np.asarray(function(np.ascontiguousarray(values.T)), dtype=np.float64)
