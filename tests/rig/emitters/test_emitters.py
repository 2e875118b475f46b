"""NumPy and JavaScript compute what CasADi computes, on 10,000 poses, singular ones among them."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import casadi
import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.frames.scalar import Scalar, select
from instep.rig import Rig
from instep.rig.assemble import COMPONENTS
from instep.rig.channels import ControlSet
from instep.rig.emitters.numpy_blocks import BLOCK, compile_numpy
from tests.rig.emitters.programs import evaluate_in_javascript
from tests.rig.made import extreme_values, made_rig, random_values, singular_values
from tests.rig.program.functions import reference, traced

AGREE = 1e-12
"""Of leg length, of 1 for turns; times how many legs away from the origin the character stands."""


def _poses(rig: Rig) -> FloatArray:
    singular = singular_values(rig)
    extreme = extreme_values(rig, 1500, 2)
    return np.concatenate([singular, extreme, random_values(rig, 10_000 - len(singular) - len(extreme), 1)])


def _largest_difference(rig: Rig, found: FloatArray, wanted: FloatArray) -> float:
    """Of places and of turns; a turn's quaternion may have either sign (a blend of turns that are half a turn apart
    takes one or the other by rounding)."""
    assert np.isfinite(found).all()
    assert np.isfinite(wanted).all()
    drivers = len(rig.plan.drivers)
    a, b = (outputs[1:].reshape(drivers, len(COMPONENTS), -1) for outputs in (found, wanted))
    sign = np.where((a[:, :4] * b[:, :4]).sum(axis=1, keepdims=True) < 0, -1.0, 1.0)
    turns = np.abs(a[:, :4] * sign - b[:, :4]).max()
    away = np.maximum(1.0, np.abs(b[:, 4:] / rig.plan.unit).max(axis=(0, 1)))
    places = (np.abs(a[:, 4:] - b[:, 4:]) / rig.plan.unit / away).max()
    return float(max(turns, places, np.abs(found[0] - wanted[0]).max()))


@pytest.mark.parametrize("controls", get_args(ControlSet))
@pytest.mark.parametrize("biped", ["plain", "straight knee", "backward knee", "all at once"])
def test_numpy_and_javascript_agree_with_casadi(biped: str, controls: ControlSet, tmp_path: Path) -> None:
    rig = made_rig(biped, controls, True)
    values = _poses(rig)
    assert len(values) == 10_000
    wanted = reference(rig.function, values)
    with np.errstate(all="raise", under="ignore"):
        by_numpy = rig.evaluate_outputs(values)
    assert _largest_difference(rig, by_numpy, wanted) < AGREE
    by_javascript = evaluate_in_javascript(rig.program, values, tmp_path)
    assert _largest_difference(rig, by_javascript, wanted) < AGREE


@pytest.mark.parametrize("frames", [0, 1, 2, BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK + 7])
def test_blocks_of_any_number_of_frames_give_the_same(frames: int) -> None:
    rig = made_rig("plain", "essential")
    values = random_values(rig, 2 * BLOCK + 7, 3)
    whole = rig.evaluate_outputs(values)
    part = rig.evaluate_outputs(values[:frames])
    assert part.shape == (len(rig.program.outputs), frames)
    # The same operations on other lanes: NumPy's sine may differ in its last digit between the two.
    np.testing.assert_allclose(part, whole[:, :frames], rtol=0, atol=1e-12)


def test_truths_as_numbers_and_numbers_as_truths(tmp_path: Path) -> None:
    def formula(a: Scalar, b: Scalar) -> list[Scalar]:
        return [
            (a > 0) * b,
            (a > b) + (b > 0),
            -(a > 0),
            casadi.logic_and(a > 0, b > 0),
            casadi.logic_not(a),
            casadi.logic_and(a, b),
            casadi.logic_or(a, b) * 2.0,
            (a > 0) == (b > 0),
            (a > 0) == b,
            select(a > 0, b > 0, a),
            select(a, b, 3.0),
        ]

    program, function = traced(2, formula)
    grid = np.array([-2.0, -1.0, -0.0, 0.0, 0.5, 1.0, 2.0])
    values = np.stack(np.meshgrid(grid, grid), axis=-1).reshape(-1, 2)
    wanted = reference(function, values)
    np.testing.assert_array_equal(compile_numpy(program)(values.T), wanted)
    np.testing.assert_array_equal(evaluate_in_javascript(program, values, tmp_path), wanted)


def test_a_program_without_inputs_that_matter(tmp_path: Path) -> None:
    program, _ = traced(1, lambda a: [casadi.SX(-1.5), a, -a, casadi.SX(1e-300)])
    values = np.array([[2.0], [-3.0]])
    wanted = [[-1.5, -1.5], [2.0, -3.0], [-2.0, 3.0], [1e-300, 1e-300]]
    np.testing.assert_array_equal(compile_numpy(program)(values.T), wanted)
    np.testing.assert_array_equal(evaluate_in_javascript(program, values, tmp_path), wanted)
