"""The same functions give the same numbers over floats, arrays and symbols."""

from __future__ import annotations

from collections.abc import Callable

import casadi
import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.frames.quaternion import Quat, mix_turns, normalised, swing, turn_yaw_pitch_lean, twist_between
from instep.frames.rigid import Rigid, mix_frames
from instep.frames.scalar import Scalar, cos, is_symbol, largest, least, mix, select, sin, sqrt
from instep.frames.vector import Vec, across, unit

AXES = (Vec(1.0, 0.0, 0.0), Vec(0.0, 1.0, 0.0), Vec(0.0, 0.0, 1.0))
Formula = Callable[..., list[Scalar]]


def _spare(a: Vec) -> Vec:
    return unit(across(Vec(0.3, -0.5, 0.8), a))


def _swung(*x: Scalar) -> list[Scalar]:
    a, b = unit(Vec(*x[:3])), unit(Vec(*x[3:6]))
    return list(swing(a, b, _spare(a)))


def _twisted(*x: Scalar) -> list[Scalar]:
    axis = unit(Vec(*x[:3]))
    a, b = unit(across(Vec(*x[3:6]), axis)), unit(across(Vec(*x[6:9]), axis))
    return list(twist_between(a, b, axis))


def _mixed(*x: Scalar) -> list[Scalar]:
    a = Rigid(normalised(Quat(*x[:4])), Vec(x[4], x[5], x[6]))
    b = Rigid(turn_yaw_pitch_lean(AXES, x[7] * 50, x[8] * 50, x[9] * 50), Vec(x[1], x[2], x[3]))
    found = mix_frames(a, b @ a.inverse, 0.5 + 0.5 * sin(x[9]), Vec(x[9], x[8], x[7]))
    return [*found.turn, *found.shift, *mix_turns(a.turn, b.turn, 0.3)]


FORMULAS: dict[str, Formula] = {
    "elementary": lambda *x: [
        sqrt(x[0] * x[0] + 1.0),
        sin(x[1]),
        cos(x[2]),
        least(x[0], x[1]),
        largest(x[0], 0.0),
        least(0.5, x[2]),
        select(x[0] >= x[1], x[2], -x[2]),
        mix(x[0], x[1], x[2]),
    ],
    "swing": _swung,
    "twist": _twisted,
    "mixed frames": _mixed,
}


@pytest.mark.parametrize("name", FORMULAS)
def test_floats_arrays_and_symbols_agree(name: str) -> None:
    formula = FORMULAS[name]
    table: FloatArray = np.random.default_rng(1).normal(size=(10, 400))
    over_arrays = np.stack(np.broadcast_arrays(*formula(*table))).astype(np.float64)
    over_floats = np.array([[float(value) for value in formula(*map(float, column))] for column in table.T]).T
    symbols = [casadi.SX.sym(f"x{k}") for k in range(len(table))]
    function = casadi.Function("f", [casadi.vertcat(*symbols)], [casadi.vertcat(*formula(*symbols))])
    over_symbols = np.array(function(table))
    np.testing.assert_allclose(over_floats, over_arrays, rtol=0, atol=1e-15)
    np.testing.assert_allclose(over_symbols, over_arrays, rtol=0, atol=1e-14)


def test_what_is_a_symbol() -> None:
    assert is_symbol(casadi.SX.sym("x"))
    assert not any(is_symbol(value) for value in (1.0, np.float64(1.0), np.ones(3)))


def test_mix_is_exactly_the_first_at_share_0() -> None:
    a, b = np.random.default_rng(2).normal(size=(2, 100))
    np.testing.assert_array_equal(mix(a, b, 0.0), a)
