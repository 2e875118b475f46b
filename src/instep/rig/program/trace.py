"""From CasADi's instruction list to single assignment.

CasADi reuses its work registers, so each write gets a number of its own here. Its `if_else` arrives as two
masked terms and a sum; those become one select. Equal expressions are shared, constants are folded, and what
no output needs is left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import casadi

from instep.errors import ProgramError
from instep.frames.scalar import Scalar
from instep.rig.program.model import Instruction, Op, Program

_OPS: Final[dict[int, Op]] = {
    casadi.OP_ADD: Op.ADD,
    casadi.OP_SUB: Op.SUBTRACT,
    casadi.OP_MUL: Op.MULTIPLY,
    casadi.OP_DIV: Op.DIVIDE,
    casadi.OP_NEG: Op.NEGATE,
    casadi.OP_SQ: Op.SQUARE,
    casadi.OP_INV: Op.INVERT,
    casadi.OP_SQRT: Op.SQRT,
    casadi.OP_SIN: Op.SIN,
    casadi.OP_COS: Op.COS,
    casadi.OP_FABS: Op.ABS,
    casadi.OP_SIGN: Op.SIGN,
    casadi.OP_FMIN: Op.LEAST,
    casadi.OP_FMAX: Op.LARGEST,
    casadi.OP_LT: Op.LESS,
    casadi.OP_LE: Op.LESS_EQUAL,
    casadi.OP_EQ: Op.EQUAL,
    casadi.OP_NE: Op.UNEQUAL,
    casadi.OP_NOT: Op.NOT,
    casadi.OP_AND: Op.AND,
    casadi.OP_OR: Op.OR,
}
_COMMUTES: Final = frozenset({Op.ADD, Op.MULTIPLY, Op.LEAST, Op.LARGEST, Op.EQUAL, Op.UNEQUAL, Op.AND, Op.OR})


def make_function(name: str, inputs: Sequence[Scalar], outputs: Sequence[Scalar]) -> casadi.Function:
    """A CasADi function from one vector to one vector: the reference for every evaluator."""
    return casadi.Function(name, [casadi.vertcat(*inputs)], [casadi.vertcat(*outputs)], {"cse": True})


def trace(function: casadi.Function, inputs: Sequence[str], outputs: Sequence[str]) -> Program:
    """The program of a CasADi function with one dense input vector and one dense output vector.

    Raises ProgramError where the function uses an operation that no emitter knows.
    """
    book = _Book()
    registers: dict[int, int] = {}
    results: dict[int, int] = {}
    for k in range(function.n_instructions()):
        code = function.instruction_id(k)
        read, written = function.instruction_input(k), function.instruction_output(k)
        if code == casadi.OP_INPUT:
            registers[written[0]] = book.add(Op.INPUT, (), float(read[1]))
        elif code == casadi.OP_OUTPUT:
            results[written[1]] = registers[read[0]]
        elif code == casadi.OP_CONST:
            registers[written[0]] = book.add(Op.CONSTANT, (), float(function.instruction_constant(k)))
        else:
            registers[written[0]] = _translate(book, code, [registers[r] for r in read])
    zero = book.add(Op.CONSTANT, (), 0.0)  # CasADi leaves out structural zeros of a sparse output
    return prune(
        Program(
            tuple(inputs),
            tuple(outputs),
            tuple(book.instructions),
            tuple(results.get(number, zero) for number in range(len(outputs))),
        )
    )


def _translate(book: _Book, code: int, args: list[int]) -> int:
    """Add CasADi operation `code` on values `args`; the number of its value."""
    if code == casadi.OP_ASSIGN:
        return args[0]
    if code == casadi.OP_TWICE:
        return book.add(Op.MULTIPLY, (args[0], book.add(Op.CONSTANT, (), 2.0)))
    if code in (casadi.OP_POW, casadi.OP_CONSTPOW) and book.instructions[args[1]] == Instruction(Op.CONSTANT, (), 2.0):
        return book.add(Op.SQUARE, (args[0],))
    if code == casadi.OP_IF_ELSE_ZERO:
        return book.add(Op.SELECT, (args[0], args[1], book.add(Op.CONSTANT, (), 0.0)))
    if code not in _OPS:
        raise ProgramError(
            f"the rig's function uses operation {code} of the symbolic algebra, which no language knows",
            expected="sums, products, quotients, roots, sine, cosine, least, largest and selects",
            cure="Write the part with these, or add the operation to the program model and to every language",
        )
    op = _OPS[code]
    if op is Op.ADD:
        folded = book.fold_masked_sum(args[0], args[1])
        if folded is not None:
            return folded
    return book.add(op, tuple(args))


class _Book:
    """Instructions written so far, each distinct one once."""

    def __init__(self) -> None:
        self.instructions: list[Instruction] = []
        self._known: dict[Instruction, int] = {}

    def add(self, op: Op, args: tuple[int, ...], value: float = 0.0) -> int:
        if op in _COMMUTES:
            args = (min(args), max(args))
        constants = [self.instructions[a].value for a in args if self.instructions[a].op is Op.CONSTANT]
        if args and len(constants) == len(args):
            op, args, value = Op.CONSTANT, (), compute(op, constants)
        instruction = Instruction(op, args, value)
        # -0.0 equals 0.0 as a key but not as a divisor; none of the traced functions divides by a zero.
        number = self._known.get(instruction)
        if number is None:
            number = len(self.instructions)
            self.instructions.append(instruction)
            self._known[instruction] = number
        return number

    def fold_masked_sum(self, first: int, second: int) -> int | None:
        """select(c, a, 0) + select(not c, b, 0) is select(c, a, b); None where the sum has another form."""
        a, b = self.instructions[first], self.instructions[second]
        if a.op is not Op.SELECT or b.op is not Op.SELECT:
            return None
        zero = Instruction(Op.CONSTANT, (), 0.0)
        if self.instructions[a.args[2]] != zero or self.instructions[b.args[2]] != zero:
            return None
        for one, other in ((a, b), (b, a)):
            condition = self.instructions[other.args[0]]
            if condition.op is Op.NOT and condition.args[0] == one.args[0]:
                return self.add(Op.SELECT, (one.args[0], one.args[1], other.args[1]))
        return None


_COMPUTE: Final[dict[Op, Callable[..., float]]] = {
    Op.ADD: lambda a, b: a + b,
    Op.SUBTRACT: lambda a, b: a - b,
    Op.MULTIPLY: lambda a, b: a * b,
    Op.DIVIDE: lambda a, b: a / b,
    Op.NEGATE: lambda a: -a,
    Op.SQUARE: lambda a: a * a,
    Op.INVERT: lambda a: 1.0 / a,
    Op.SQRT: math.sqrt,
    Op.SIN: math.sin,
    Op.COS: math.cos,
    Op.ABS: abs,
    Op.SIGN: lambda a: float(a > 0) - float(a < 0),
    Op.LEAST: min,
    Op.LARGEST: max,
    Op.LESS: lambda a, b: float(a < b),
    Op.LESS_EQUAL: lambda a, b: float(a <= b),
    Op.EQUAL: lambda a, b: float(a == b),
    Op.UNEQUAL: lambda a, b: float(a != b),
    Op.NOT: lambda a: float(not a),
    Op.AND: lambda a, b: float(bool(a) and bool(b)),
    Op.OR: lambda a, b: float(bool(a) or bool(b)),
    Op.SELECT: lambda a, b, c: b if a else c,
}


def compute(op: Op, values: Sequence[float]) -> float:
    """The value of one operation on numbers."""
    return float(_COMPUTE[op](*values))


def prune(program: Program) -> Program:
    """The same program without what no output needs."""
    needed = set(program.results)
    for number in reversed(range(len(program.instructions))):
        if number in needed:
            needed.update(program.instructions[number].args)
    order = sorted(needed)
    new = {old: number for number, old in enumerate(order)}
    return Program(
        program.inputs,
        program.outputs,
        tuple(
            Instruction(i.op, tuple(new[a] for a in i.args), i.value)
            for i in (program.instructions[old] for old in order)
        ),
        tuple(new[result] for result in program.results),
    )
