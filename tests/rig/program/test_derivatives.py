"""Derivatives of the rig's function against central differences; finite also where geometry is singular."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.rig import Rig
from instep.rig.channels import ControlSet
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.program.derivatives import differentiate
from tests.rig.made import extreme_values, made_rig, random_values, singular_values, with_values


def _dense(rig: Rig, derivatives: Callable[[FloatArray], FloatArray], values: FloatArray) -> FloatArray:
    """(N, O, C) derivatives by the program, what it leaves out as zeros."""
    program = rig.jacobian
    found = derivatives(values.T)
    rows = {name: k for k, name in enumerate(rig.program.outputs)}
    columns = {channel.name: k for k, channel in enumerate(rig.channels)}
    dense = np.zeros((len(values), len(rows), len(columns)))
    for name, derivative in zip(program.outputs, found, strict=True):
        output, channel = name.split(" / ")
        dense[:, rows[output], columns[channel]] = derivative
    return dense


CASES: list[tuple[str, ControlSet]] = [
    ("bent knee", "essential"),
    ("backward knee", "essential"),
    ("all at once", "essential"),
    ("straight knee", "essential"),
    ("no toes", "essential"),
    ("plain", "full"),
]
"""The full rig's derivatives are 150,000 instructions: one rig with them is enough."""


@cache
def _derivatives(biped: str, controls: ControlSet) -> Callable[[FloatArray], FloatArray]:
    return compile_numpy(made_rig(biped, controls).jacobian)


@pytest.mark.parametrize(("biped", "controls"), CASES)
def test_derivatives_are_central_differences(biped: str, controls: ControlSet) -> None:
    """Richardson's extrapolation from two steps, on random poses: it leaves the fourth order of the step and
    rounding over it. Poses whose step crosses a seam (a select, a clamp) show in the two steps' disagreement."""
    rig = made_rig(biped, controls)
    values = random_values(rig, 60, 1, share=0.2, reach=0.1)
    values = with_values(rig, values, {"pelvis.up": -0.15 * rig.plan.unit})
    exact = _dense(rig, _derivatives(biped, controls), values)
    assert np.isfinite(exact).all()
    compared = 0
    for number, channel in enumerate(rig.channels):
        step = 1e-4 * {"deg": 30.0, "length": rig.plan.unit, "share": 1.0}[channel.unit]

        def slope(h: float, column: int = number) -> FloatArray:
            ahead, behind = values.copy(), values.copy()
            ahead[:, column] += h
            behind[:, column] -= h
            return np.asarray((rig.evaluate_outputs(ahead) - rig.evaluate_outputs(behind)).T / (2 * h))

        coarse, fine = slope(2 * step), slope(step)
        extrapolated = (4 * fine - coarse) / 3
        size = 1.0 + np.abs(exact[:, :, number])
        smooth = np.abs(coarse - fine).max(axis=1) < 1e-3 * size.max(axis=1)
        off = np.abs(extrapolated - exact[:, :, number]) / size
        assert off[smooth].max(initial=0.0) < 1e-5, channel.name
        compared += int(smooth.sum())
    assert compared > 0.95 * len(values) * len(rig.channels)


@pytest.mark.parametrize(("biped", "controls"), CASES)
def test_derivatives_are_finite_everywhere(biped: str, controls: ControlSet) -> None:
    """At rest with a straight leg, at every singular place, and with channels at the ends of their ranges."""
    rig = made_rig(biped, controls)
    values = np.concatenate([rig.defaults[None], singular_values(rig), extreme_values(rig, 200, 2)])
    with np.errstate(all="raise", under="ignore"):
        found = _derivatives(biped, controls)(values.T)
    assert np.isfinite(found).all()


def test_what_is_left_out_is_zero() -> None:
    rig = made_rig("plain", "essential")
    written = len(rig.jacobian.outputs)
    assert 0 < written < len(rig.program.outputs) * len(rig.channels)
    again = differentiate(rig.function, rig.program.inputs, rig.program.outputs)
    assert again == rig.jacobian
