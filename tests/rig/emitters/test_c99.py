"""C held against CasADi, NumPy and finite differences."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from instep.delivery.runtime import runtime_form
from instep.delivery.runtime_vectors import make_vectors, output_units
from instep.errors import ProgramError
from instep.rig.channels import ControlSet
from instep.rig.emitters.c99 import write_c_body, write_c_number_type, write_c_prelude
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.joints import joint_function
from instep.rig.program import Instruction, Op, Program
from instep.rig.rig import Rig
from tests.rig.emitters.compiled import compile_rig
from tests.rig.made import made_rig, random_values


def apart(rig: Rig, found: NDArray[np.float64], wanted: NDArray[np.float64]) -> NDArray[np.float64]:
    """(N,) worst difference of each pose, in the units of `output_units`."""
    return np.asarray((np.abs(found - wanted) / output_units(rig, wanted)).max(axis=1), dtype=np.float64)


@pytest.fixture(scope="module", params=["essential", "full"])
def rig(request: pytest.FixtureRequest) -> Rig:
    controls: ControlSet = request.param
    return made_rig("plain", controls)


def test_double_equals_casadi_on_random_and_singular_poses(rig: Rig, tmp_path: Path) -> None:
    vectors = make_vectors(rig, 20_000)
    code = compile_rig(runtime_form(rig, "grub"), tmp_path)
    function, _ = joint_function(rig.traced, rig.plan, rig.character.skeleton)
    wanted = np.array(function(vectors.channels.T)).T
    found = code.poses(vectors.channels)
    assert apart(rig, found, wanted).max() < 1e-12
    one_by_one = np.array([code.pose(row) for row in vectors.channels[:300]])
    np.testing.assert_array_equal(one_by_one, found[:300])


def test_single_is_within_two_hundred_thousandths_of_the_leg(rig: Rig, tmp_path: Path) -> None:
    vectors = make_vectors(rig, 100_000)
    code = compile_rig(runtime_form(rig, "grub"), tmp_path, single=True)
    fit = ~vectors.steep
    assert fit.mean() > 0.9
    off = apart(rig, code.poses(vectors.channels[fit]), vectors.joints[fit])
    # Rounding inside the program can add up where the channels' own does not show it: one pose in 100,000.
    assert np.quantile(off, 0.9999) < 1e-5
    assert off.max() < 2e-5


@pytest.mark.parametrize("command", ["gcc", "clang"])
def test_any_number_of_poses_gives_what_each_gives_alone(command: str, tmp_path: Path) -> None:
    rig = made_rig("no toes")
    code = compile_rig(runtime_form(rig, "odd one"), tmp_path, command)
    values = random_values(rig, 19, 4)
    alone = np.array([code.pose(row) for row in values])
    for count in (0, 1, 7, 8, 9, 16, 19):
        np.testing.assert_array_equal(code.poses(values[:count]), alone[:count])


def test_nan_in_a_channel_spoils_what_depends_on_it_and_nothing_else(tmp_path: Path) -> None:
    rig = made_rig("plain", "full")
    code = compile_rig(runtime_form(rig, "grub"), tmp_path)
    values = np.tile(random_values(rig, 1, 5), (len(rig.channels), 1))
    values[np.arange(len(values)), np.arange(len(values))] = np.nan
    found = code.poses(values)
    with np.errstate(invalid="ignore"):
        wanted = compile_numpy(rig.joints_program)(values.T).T
    np.testing.assert_array_equal(np.isnan(found), np.isnan(wanted))
    assert np.isnan(found).any(axis=1).mean() > 0.9
    whole = code.poses(random_values(rig, 1, 5))[0]
    fine = ~np.isnan(found)
    np.testing.assert_allclose(found[fine], np.broadcast_to(whole, found.shape)[fine], rtol=0, atol=1e-12)


def test_derivatives_equal_finite_differences(tmp_path: Path) -> None:
    rig = made_rig("bent knee")
    form = runtime_form(rig, "grub", derivatives=True)
    code = compile_rig(form, tmp_path)
    values = random_values(rig, 6, 8, share=0.2, reach=0.05)
    exact = code.poses(values, derivatives=True)
    rows, columns = (np.array(each) for each in zip(*form.derivative_places, strict=True))
    evaluate = compile_numpy(rig.joints_program)
    step = 1e-5
    for frame, value in enumerate(values):
        ends = [value + sign * step * np.eye(len(value)) for sign in (1.0, -1.0)]
        ahead, behind = (evaluate(end.T) for end in ends)
        slopes = (ahead - behind) / (2 * step)
        np.testing.assert_allclose(exact[frame], slopes[rows, columns], rtol=1e-6, atol=1e-7)
        slopes[rows, columns] = 0.0
        assert np.abs(slopes).max() < 1e-9


def test_a_constant_that_is_no_number_is_refused() -> None:
    program = Program(
        ("a",),
        ("b",),
        (Instruction(Op.CONSTANT, (), float("inf")), Instruction(Op.INPUT), Instruction(Op.MULTIPLY, (0, 1))),
        (2,),
    )
    with pytest.raises(ProgramError) as caught:
        write_c_body(program, "f", "p")
    assert str(caught.value) == (
        "the rig's function holds the constant inf, which has no form in C; expected finite numbers. "
        "Look for a landmark or a range in the rig file that is not a number."
    )


def test_each_operation_in_c_is_that_of_numpy(tmp_path: Path) -> None:
    import ctypes
    import subprocess

    from instep.rig.program.model import ARITY
    from tests.rig.emitters.compiled import STRICT, compiler

    instructions = [Instruction(Op.INPUT, (), float(k)) for k in range(3)]
    instructions.append(Instruction(Op.CONSTANT, (), 0.25))
    results = []
    for op in Op:
        if ARITY[op] == 0:
            continue
        for args in ((0, 1, 2), (1, 3, 0), (3, 1, 2)):
            results.append(len(instructions))
            instructions.append(Instruction(op, args[: ARITY[op]]))
    truth = results[[op for op in Op if ARITY[op]].index(Op.LESS) * 3]
    for op in (Op.NOT, Op.AND, Op.OR, Op.SELECT, Op.ADD):
        results.append(len(instructions))
        instructions.append(Instruction(op, (truth, 0, 1)[: ARITY[op]]))
    program = Program(("a", "b", "c"), tuple(map(str, results)), tuple(instructions), tuple(results))
    body = write_c_body(program, "f", "p")
    source = tmp_path / "f.c"
    source.write_text(
        "\n".join(
            [
                "#include <math.h>",
                "#include <stddef.h>",
                write_c_number_type("p"),
                write_c_prelude("p"),
                body.text,
                "void run(const double *c, double *o); "
                "void run(const double *c, double *o) { double t[1]; f_0(c, o, t, 1); }",
            ]
        )
    )
    target = tmp_path / "f.so"
    subprocess.run(
        [compiler("gcc"), "-std=c99", *STRICT, "-O1", "-fPIC", "-shared", "-o", str(target), str(source), "-lm"],
        check=True,
    )
    run = ctypes.CDLL(str(target)).run
    special = np.array([0.0, 1.0, -1.0, 0.25, 3.5, -2.75, np.nan])
    grid = np.array(np.meshgrid(special, special, special)).reshape(3, -1)
    with np.errstate(all="ignore"):
        wanted = compile_numpy(program)(grid)
    for column, expected in zip(grid.T.copy(), wanted.T, strict=True):
        found = np.empty(len(results))
        run(ctypes.c_void_p(column.ctypes.data), ctypes.c_void_p(found.ctypes.data))
        np.testing.assert_allclose(found, expected, rtol=0, atol=5e-16)
