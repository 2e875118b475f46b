"""Derivatives of a rig's function, from the same symbolic program."""

from __future__ import annotations

from collections.abc import Sequence

import casadi

from instep.rig.program.model import Program
from instep.rig.program.trace import trace


def differentiate(function: casadi.Function, inputs: Sequence[str], outputs: Sequence[str]) -> Program:
    """The program of the Jacobian: outputs are named ``"output / input"``, row by row, zeros left out.

    Exact derivatives by algorithmic differentiation (CasADi, Andersson et al. 2019, Math. Prog. Comp. 11:1).
    """
    x = casadi.SX.sym("x", len(inputs))
    jacobian = casadi.jacobian(function(x), x)
    rows, columns = jacobian.sparsity().get_triplet()
    names = [f"{outputs[r]} / {inputs[c]}" for r, c in zip(rows, columns, strict=True)]
    dense = casadi.Function("jacobian", [x], [jacobian.nz[:]], {"cse": True})
    return trace(dense, inputs, names)
