"""Programs as plain data."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from instep.rig.program import Instruction, Op, Program
from instep.rig.program.model import ARITY, TRUTHS
from tests.rig.made import made_rig


@pytest.mark.parametrize("controls", ["essential", "full"])
def test_a_program_comes_back_from_json_exactly(controls: str) -> None:
    program = made_rig("all at once", "full" if controls == "full" else "essential", True).program
    again = Program.from_data(json.loads(json.dumps(program.to_data(), allow_nan=False)))
    assert again == program


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_constant_comes_back_from_json_exactly(value: float) -> None:
    program = Program((), ("y",), (Instruction(Op.CONSTANT, (), value),), (0,))
    again = Program.from_data(json.loads(json.dumps(program.to_data())))
    assert np.float64(again.instructions[0].value).tobytes() == np.float64(value).tobytes()


def test_every_operation_has_a_number_of_arguments() -> None:
    assert set(ARITY) == set(Op)
    assert set(Op) > TRUTHS


def test_a_value_cannot_be_used_before_it_is_assigned() -> None:
    with pytest.raises(AssertionError):
        Program(("a",), ("y",), (Instruction(Op.NEGATE, (1,)), Instruction(Op.INPUT)), (0,))
    with pytest.raises(AssertionError):
        Program(("a",), ("y",), (Instruction(Op.INPUT), Instruction(Op.ADD, (0,))), (1,))
    with pytest.raises(AssertionError):
        Program(("a",), ("y", "z"), (Instruction(Op.INPUT),), (0,))
