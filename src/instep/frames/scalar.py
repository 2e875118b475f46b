"""Elementary functions over floats, NumPy arrays and symbols alike.

A *scalar* here is anything with arithmetic: a float, an array (elementwise), or a CasADi SX symbol. The
geometry above is written once on such scalars; what they are decides whether it computes or is traced.
Symbols carry their own methods (`sin`, `sqrt`, ...), so this floor need not import CasADi to serve them.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

Scalar: TypeAlias = Any
"""A float, an array of floats, or a symbol."""


def is_symbol(value: Scalar) -> bool:
    """Whether a value is a symbol rather than a number or an array of numbers."""
    return type(value).__module__.startswith("casadi")


def sqrt(value: Scalar) -> Scalar:
    """Square root."""
    return value.sqrt() if is_symbol(value) else np.sqrt(value)


def sin(value: Scalar) -> Scalar:
    """Sine of an angle in radians."""
    return value.sin() if is_symbol(value) else np.sin(value)


def cos(value: Scalar) -> Scalar:
    """Cosine of an angle in radians."""
    return value.cos() if is_symbol(value) else np.cos(value)


def least(a: Scalar, b: Scalar) -> Scalar:
    """The smaller of two scalars."""
    if is_symbol(a) or is_symbol(b):
        import casadi

        return casadi.fmin(a, b)
    return np.minimum(a, b)


def largest(a: Scalar, b: Scalar) -> Scalar:
    """The larger of two scalars."""
    if is_symbol(a) or is_symbol(b):
        import casadi

        return casadi.fmax(a, b)
    return np.maximum(a, b)


def select(condition: Scalar, chosen: Scalar, otherwise: Scalar) -> Scalar:
    """`chosen` where the condition holds, else `otherwise`.

    Both branches are evaluated: keep infinities out of the one that is not taken, since a masked
    infinity is NaN in the derivative.
    """
    if is_symbol(condition):
        import casadi

        return casadi.if_else(condition, chosen, otherwise)
    return np.where(condition, chosen, otherwise)


def mix(a: Scalar, b: Scalar, share: Scalar) -> Scalar:
    """`a` at share 0, `b` at share 1, linear between; exactly `a` at 0."""
    return a + share * (b - a)
