"""Registers: no value is overwritten while it is still needed."""

from __future__ import annotations

import pytest

from instep.rig.emitters.registers import allocate
from instep.rig.program import Instruction, Op, Program
from tests.rig.made import made_rig


def _assert_sound(program: Program, in_place: bool) -> int:
    """Play the program through: each argument must still be in its register when it is read."""
    registers = allocate(program, in_place=in_place)
    held: dict[int, int] = {}
    for number, instruction in enumerate(program.instructions):
        for argument in instruction.args:
            place = registers.place[argument]
            assert place < 0 or held[place] == argument
        place = registers.place[number]
        assert (place < 0) == (instruction.op in (Op.INPUT, Op.CONSTANT))
        if place >= 0:
            if not in_place:
                assert place not in {registers.place[argument] for argument in instruction.args}
            assert place < registers.count
            held[place] = number
    for result in program.results:
        place = registers.place[result]
        assert place < 0 or held[place] == result
    return registers.count


@pytest.mark.parametrize("in_place", [True, False])
@pytest.mark.parametrize("controls", ["essential", "full"])
def test_no_value_is_overwritten_while_it_is_needed(controls: str, in_place: bool) -> None:
    rig = made_rig("plain", "full" if controls == "full" else "essential", True)
    for program in (rig.program, rig.jacobian) if controls == "essential" else (rig.program,):
        count = _assert_sound(program, in_place)
        assert count < len(program.instructions) / 2


def test_a_chain_needs_one_register_in_place_and_two_otherwise() -> None:
    body = [Instruction(Op.INPUT)]
    for number in range(20):
        body.append(Instruction(Op.SIN if number % 2 else Op.COS, (number,)))
    program = Program(("a",), ("y",), tuple(body), (20,))
    assert _assert_sound(program, True) == 1
    assert _assert_sound(program, False) == 2
