"""Straight-line programs in single-assignment form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final


class Op(StrEnum):
    """What an instruction does with its arguments a, b, c."""

    INPUT = "input"
    CONSTANT = "constant"
    ADD = "add"
    SUBTRACT = "subtract"
    MULTIPLY = "multiply"
    DIVIDE = "divide"
    NEGATE = "negate"
    SQUARE = "square"
    INVERT = "invert"
    SQRT = "sqrt"
    SIN = "sin"
    COS = "cos"
    ABS = "abs"
    SIGN = "sign"
    LEAST = "least"
    LARGEST = "largest"
    LESS = "less"
    LESS_EQUAL = "less_equal"
    EQUAL = "equal"
    UNEQUAL = "unequal"
    NOT = "not"
    AND = "and"
    OR = "or"
    SELECT = "select"


ARITY: Final[Mapping[Op, int]] = {
    Op.INPUT: 0,
    Op.CONSTANT: 0,
    **dict.fromkeys((Op.NEGATE, Op.SQUARE, Op.INVERT, Op.SQRT, Op.SIN, Op.COS, Op.ABS, Op.SIGN, Op.NOT), 1),
    **dict.fromkeys((Op.ADD, Op.SUBTRACT, Op.MULTIPLY, Op.DIVIDE, Op.LEAST, Op.LARGEST), 2),
    **dict.fromkeys((Op.LESS, Op.LESS_EQUAL, Op.EQUAL, Op.UNEQUAL, Op.AND, Op.OR), 2),
    Op.SELECT: 3,
}
"""How many arguments each operation takes. SELECT is: a true (not 0) gives b, else c."""

TRUTHS: Final = frozenset({Op.LESS, Op.LESS_EQUAL, Op.EQUAL, Op.UNEQUAL, Op.NOT, Op.AND, Op.OR})
"""Operations whose value is a truth, 1 or 0. A truth is used by SELECT, NOT, AND and OR, or as a number."""


@dataclass(frozen=True, slots=True)
class Instruction:
    """One assignment. `args` are the numbers of earlier instructions; `value` is the constant, or the number
    of the input."""

    op: Op
    args: tuple[int, ...] = ()
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class Program:
    """Instruction i assigns value i; each value is assigned once and used only after.

    Attributes
    ----------
    inputs : names of the inputs (channels).
    outputs : names of the outputs.
    instructions : in order of evaluation.
    results : for each output, the number of the value that it is.
    """

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    instructions: tuple[Instruction, ...]
    results: tuple[int, ...]

    def __post_init__(self) -> None:
        assert len(self.results) == len(self.outputs)
        for number, instruction in enumerate(self.instructions):
            assert len(instruction.args) == ARITY[instruction.op]
            assert all(argument < number for argument in instruction.args)

    def count(self) -> dict[Op, int]:
        """How often each operation occurs."""
        tally: dict[Op, int] = {}
        for instruction in self.instructions:
            tally[instruction.op] = tally.get(instruction.op, 0) + 1
        return tally

    def to_data(self) -> dict[str, Any]:
        """As plain lists, for JSON: exact, since Python writes the shortest text that reads back equal."""
        return {
            "inputs": list(self.inputs),
            "outputs": list(self.outputs),
            "instructions": [[i.op.value, *i.args, *([i.value] if not i.args else [])] for i in self.instructions],
            "results": list(self.results),
        }

    @staticmethod
    def from_data(data: Mapping[str, Any]) -> Program:
        """The program that `to_data` wrote."""
        instructions = []
        for op_name, *rest in data["instructions"]:
            op = Op(op_name)
            if ARITY[op] == 0:
                instructions.append(Instruction(op, (), float(rest[0])))
            else:
                instructions.append(Instruction(op, tuple(int(argument) for argument in rest)))
        return Program(tuple(data["inputs"]), tuple(data["outputs"]), tuple(instructions), tuple(data["results"]))
