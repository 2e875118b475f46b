"""Tracing: the program computes what CasADi computes, in single assignment and with nothing to spare."""

from __future__ import annotations

import casadi
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from instep.errors import ProgramError
from instep.frames.scalar import Scalar, largest, least, select, sin, sqrt
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.program import Instruction, Op, Program
from instep.rig.program.trace import compute, prune
from tests.rig.made import made_rig
from tests.rig.program.functions import reference, traced


def _agrees(inputs: int, formula: object, tries: int = 500) -> Program:
    program, function = traced(inputs, formula)  # type: ignore[arg-type]
    values = np.random.default_rng(1).normal(size=(tries, inputs))
    values[0] = 0.0
    np.testing.assert_allclose(compile_numpy(program)(values.T), reference(function, values), rtol=1e-14, atol=1e-14)
    return program


def test_every_operation_is_traced() -> None:
    def formula(a: Scalar, b: Scalar) -> list[Scalar]:
        return [
            a + b, a - b, a * b, a / (b * b + 1), -a, a**2, 1 / (a * a + 1), sqrt(a * a + 1), sin(a), b.cos(),
            abs(a), casadi.sign(b), least(a, b), largest(a, b), 2 * a, a + a,
            select(a < b, a, b), select(a <= b, a, -a), select(a == b, a, b), select(a != b, a, b),
            select(casadi.logic_and(a > 0, b > 0), 1.0, a), select(casadi.logic_or(a > 0, b > 0), b, 2.0),
            select(casadi.logic_not(a > 0), a, b), (a > b) * a + (b >= 0),
        ]  # fmt: skip

    program = _agrees(2, formula)
    # A NOT is left only where it is no choice's other branch.
    assert set(Op) - set(program.count()) <= {Op.INVERT, Op.NOT}


def test_a_choice_is_one_select() -> None:
    program = _agrees(3, lambda a, b, c: [select(a >= 0.0, b, c)])
    assert program.count()[Op.SELECT] == 1
    assert Op.ADD not in program.count()
    assert Op.NOT not in program.count()


def test_choices_nested_and_chained_fold() -> None:
    def formula(a: Scalar, b: Scalar, c: Scalar) -> list[Scalar]:
        return [select(a >= 0.0, select(b >= 0.0, b, c), select(c >= 0.0, -b, a))]

    assert _agrees(3, formula).count()[Op.SELECT] == 3


def test_a_sum_of_two_choices_on_opposite_conditions_is_not_one_choice() -> None:
    """select(c, x, y) + select(not c, p, 0) is no select(c, x, p): y is added to p."""

    def formula(a: Scalar, x: Scalar, y: Scalar, p: Scalar, q: Scalar) -> list[Scalar]:
        condition = a >= 0.0
        other = casadi.logic_not(condition)
        return [
            select(condition, x, y) + select(other, p, 0.0),
            select(other, p, 0.0) + select(condition, x, y),
            select(condition, x, y) + select(other, p, q),
        ]

    _agrees(5, formula)


def test_a_sum_of_unlike_choices_stays_a_sum() -> None:
    def formula(a: Scalar, b: Scalar, c: Scalar) -> list[Scalar]:
        return [casadi.if_else(a > 0, b, 0) + casadi.if_else(b > 0, c, 0), casadi.if_else(a > 0, b, c) + c]

    _agrees(3, formula)


def test_equal_expressions_are_computed_once() -> None:
    program = _agrees(2, lambda a, b: [sin(a + b), sin(b + a) * 2, (a + b) * sin(a + b)])
    assert program.count()[Op.SIN] == 1
    assert program.count()[Op.ADD] == 1


def test_an_operation_that_no_language_knows_is_refused() -> None:
    with pytest.raises(ProgramError) as caught:
        traced(1, lambda a: [casadi.exp(a)])
    assert str(caught.value) == (
        f"the rig's function uses operation {casadi.OP_EXP} of the symbolic algebra, which no language knows; expected "
        "sums, products, quotients, roots, sine, cosine, least, largest and selects. Write the part with these, or add "
        "the operation to the program model and to every language."
    )


def test_a_power_other_than_the_square_is_refused() -> None:
    with pytest.raises(ProgramError) as caught:
        traced(2, lambda a, b: [a**b])
    assert str(caught.value).startswith(f"the rig's function uses operation {casadi.OP_POW} of the symbolic algebra")


def test_outputs_that_are_constant_or_inputs() -> None:
    program, _ = traced(2, lambda a, b: [casadi.SX(0.0), casadi.SX(2.5), b, a * 0 + 1])
    found = compile_numpy(program)(np.array([[1.0, 2.0], [3.0, 4.0]]))
    np.testing.assert_array_equal(found, [[0, 0], [2.5, 2.5], [3, 4], [1, 1]])


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_folding_constants_computes_what_the_evaluator_computes(a: float, b: float) -> None:
    for op in (Op.ADD, Op.SUBTRACT, Op.MULTIPLY, Op.LEAST, Op.LARGEST, Op.LESS, Op.LESS_EQUAL, Op.EQUAL, Op.AND, Op.OR):
        inputs = (Instruction(Op.INPUT, (), 0.0), Instruction(Op.INPUT, (), 1.0))
        program = Program(("a", "b"), ("y",), (*inputs, Instruction(op, (0, 1))), (2,))
        assert compile_numpy(program)(np.array([[a], [b]]))[0, 0] == compute(op, [a, b])
    for op in (Op.NEGATE, Op.SQUARE, Op.ABS, Op.SIGN, Op.NOT):
        program = Program(("a",), ("y",), (Instruction(Op.INPUT), Instruction(op, (0,))), (1,))
        assert compile_numpy(program)(np.array([[a]]))[0, 0] == compute(op, [a])


def test_prune_leaves_out_what_no_output_needs() -> None:
    body = (
        Instruction(Op.INPUT, (), 0.0),
        Instruction(Op.SIN, (0,)),
        Instruction(Op.INPUT, (), 1.0),
        Instruction(Op.COS, (2,)),
        Instruction(Op.ADD, (0, 2)),
        Instruction(Op.SQUARE, (3,)),
    )
    pruned = prune(Program(("a", "b"), ("y",), body, (5,)))
    assert pruned.inputs == ("a", "b")
    assert [instruction.op for instruction in pruned.instructions] == [Op.INPUT, Op.COS, Op.SQUARE]
    assert pruned.results == (2,)
    values = np.random.default_rng(2).normal(size=(2, 50))
    np.testing.assert_array_equal(compile_numpy(pruned)(values)[0], np.cos(values[1]) ** 2)
    assert prune(pruned) == pruned


@pytest.mark.parametrize("controls", ["essential", "full"])
def test_a_rigs_program_is_in_single_assignment_and_has_nothing_to_spare(controls: str) -> None:
    program = made_rig("plain", "full" if controls == "full" else "essential", True).program
    assert len(set(program.instructions)) == len(program.instructions)
    assert prune(program) == program
    for number, instruction in enumerate(program.instructions):
        assert all(argument < number for argument in instruction.args)
        if instruction.op is Op.CONSTANT:
            assert np.isfinite(instruction.value)
    constant = {n for n, instruction in enumerate(program.instructions) if instruction.op is Op.CONSTANT}
    for instruction in program.instructions:
        assert not instruction.args or not constant.issuperset(instruction.args)
