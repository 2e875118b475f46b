"""C99: a program as a static inline function over one lane of a tile of poses.

The same text is also C++. Selects are conditional expressions without side effects, so compilers make no branches of
them; sine and cosine are inlined polynomials (see `sine`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from instep.errors import ProgramError
from instep.rig.emitters.sine import DOUBLE, INVERSE_PI, SINGLE, SineTable
from instep.rig.program.model import TRUTHS, Op, Program

LANES: Final = {"double": 8, "single": 16}
"""Poses in a tile: 64 bytes, one line of cache and the widest vector of common machines."""

_FORMS: Final[Mapping[Op, str]] = {
    Op.ADD: "{0} + {1}",
    Op.SUBTRACT: "{0} - {1}",
    Op.MULTIPLY: "{0} * {1}",
    Op.DIVIDE: "{0} / {1}",
    Op.NEGATE: "-{0}",
    Op.SQUARE: "{0} * {0}",
    Op.INVERT: "{R}(1.0) / {0}",
    Op.SQRT: "{P}_sqrt({0})",
    Op.ABS: "{P}_abs({0})",
    Op.SIGN: "{0} > {R}(0.0) ? {R}(1.0) : ({0} < {R}(0.0) ? {R}(-1.0) : {0})",
    Op.LESS: "({0} < {1})",
    Op.LESS_EQUAL: "({0} <= {1})",
    Op.EQUAL: "({0} == {1})",
    Op.UNEQUAL: "({0} != {1})",
    Op.NOT: "(!{0})",
    Op.AND: "({0} & {1})",
    Op.OR: "({0} | {1})",
    Op.SELECT: "{0} ? {1} : {2}",
}


def write_c_body(program: Program, function: str, prefix: str) -> str:
    """A function ``function(c, o, step)``: row k of the inputs at ``c[k * step]``, of the outputs at ``o[k * step]``.

    `prefix` is that of the names in `write_c_prelude`.
    """
    lines: list[str] = []
    body = _Body(program, prefix, lines.append)
    for number in range(len(program.instructions)):
        body.write(number)
    for row, result in enumerate(program.results):
        lines.append(f"o[{row} * step] = {body.number(result)};")
    head = f"{prefix.upper()}_INLINE void {function}(const {prefix}_real *c, {prefix}_real *o, const ptrdiff_t step)"
    return "\n".join([head, "{", *(f"    {line}" for line in lines), "}"])


class _Body:
    """Writes one instruction at a time; knows what each value is called."""

    def __init__(self, program: Program, prefix: str, tell: Callable[[str], None]) -> None:
        self._program = program
        self._prefix = prefix
        self._real = f"{prefix.upper()}_R"
        self._tell = tell
        self._names: list[str] = []
        self._turns: dict[int, int] = {}

    def write(self, number: int) -> None:
        """Add the statement of instruction `number`, where it needs one."""
        instruction = self._program.instructions[number]
        op, args = instruction.op, instruction.args
        if op is Op.CONSTANT:
            self._names.append(self.constant(instruction.value))
        elif op is Op.INPUT:
            self._assign(number, f"c[{int(instruction.value)} * step]")
        elif op in (Op.SIN, Op.COS):
            if args[0] not in self._turns:
                self._turns[args[0]] = number
                angle = self.number(args[0])
                self._tell(f"{self._prefix}_real s{number}, k{number}; "
                           f"{self._prefix}_sine(&s{number}, &k{number}, {angle});")  # fmt: skip
            self._names.append(f"{'s' if op is Op.SIN else 'k'}{self._turns[args[0]]}")
        elif op in TRUTHS:
            truths = op in (Op.NOT, Op.AND, Op.OR)
            names = [self.truth(a) if truths else self.number(a) for a in args]
            self._names.append(_FORMS[op].format(*names))
        elif op in (Op.LEAST, Op.LARGEST):
            self._assign(number, self._extreme("<" if op is Op.LEAST else ">", *args))
        elif op is Op.SELECT:
            self._assign(number, _FORMS[op].format(self.truth(args[0]), self.number(args[1]), self.number(args[2])))
        else:
            names = [self.number(a) for a in args]
            self._assign(number, _FORMS[op].format(*names, R=self._real, P=self._prefix))

    def _assign(self, number: int, expression: str) -> None:
        self._tell(f"const {self._prefix}_real v{number} = {expression};")
        self._names.append(f"v{number}")

    def _extreme(self, sign: str, first: int, second: int) -> str:
        """The smaller or larger; NaN where either is NaN. Where one is a constant, one comparison does that."""
        if self._program.instructions[second].op is Op.CONSTANT:
            first, second = second, first
        a, b = self.number(first), self.number(second)
        if self._program.instructions[first].op is Op.CONSTANT:
            return f"{a} {sign} {b} ? {a} : {b}"
        return f"({a} {sign} {b}) | ({a} != {a}) ? {a} : {b}"

    def number(self, value: int) -> str:
        """A value as a number."""
        name = self._names[value]
        if self._program.instructions[value].op in TRUTHS:
            return f"({name} ? {self._real}(1.0) : {self._real}(0.0))"
        return name

    def truth(self, value: int) -> str:
        """A value as a truth."""
        name = self._names[value]
        return name if self._program.instructions[value].op in TRUTHS else f"({name} != {self._real}(0.0))"

    def constant(self, value: float) -> str:
        """A constant, exact in double; raises ProgramError where it is not finite."""
        if not math.isfinite(value):
            raise ProgramError(
                f"the rig's function holds the constant {value}, which has no form in C",
                expected="finite numbers",
                cure="Look for a landmark or a range in the rig file that is not a number",
            )
        return f"{self._real}({value!r})"


def write_c_prelude(prefix: str) -> str:
    """Names that the bodies use: inline functions for one lane, the number type, the lanes of a tile."""
    return _PRELUDE.format(
        p=prefix,
        P=prefix.upper(),
        double=_sine(DOUBLE, prefix),
        single=_sine(SINGLE, prefix),
    )


def write_c_number_type(prefix: str) -> str:
    """The number type and the lanes of a tile, for a header."""
    return _NUMBER_TYPE.format(p=prefix, P=prefix.upper(), **LANES)


def _sine(table: SineTable, prefix: str) -> str:
    real = f"{prefix.upper()}_R"

    def nested(coefficients: tuple[float, ...]) -> str:
        text = f"{real}({coefficients[-1]!r})"
        for coefficient in reversed(coefficients[:-1]):
            text = f"({text} * z + {real}({coefficient!r}))"
        return text

    reduced = "x"
    for part in table.pi_parts:
        reduced = f"({reduced} - q * {real}({part!r}))"
    return f"""\
    const {prefix}_real shifted = x * {real}({INVERSE_PI!r}) + {real}({table.shifter!r});
    const {prefix}_real q = shifted - {real}({table.shifter!r});
    const {prefix}_real r = {reduced};
    const {prefix}_real z = r * r;
    const {prefix}_real a = r + r * z * {nested(table.sine)};
    const {prefix}_real b = {real}(1.0) + z * {nested(table.cosine)};"""


_NUMBER_TYPE: Final = """\
#ifdef {P}_SINGLE
typedef float {p}_real;
enum {{ {P}_LANES = {single} }}; /* poses in a tile */
#else
typedef double {p}_real;
enum {{ {P}_LANES = {double} }}; /* poses in a tile */
#endif
"""

_PRELUDE: Final = """\
#if defined(__FAST_MATH__)
#error "Compile without -ffast-math: it breaks the rounding that sine and cosine rest on."
#endif
#if defined(__FLT_EVAL_METHOD__) && __FLT_EVAL_METHOD__ == 2
#error "Compile for SSE2 (-msse2 -mfpmath=sse): x87 registers round differently."
#endif
#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif

#if defined(__GNUC__)
#define {P}_INLINE static inline __attribute__((always_inline))
#elif defined(_MSC_VER)
#define {P}_INLINE static __forceinline
#else
#define {P}_INLINE static inline
#endif

#if defined(__GNUC__) || defined(_MSC_VER)
#define {P}_ALONE __restrict
#elif defined(__cplusplus)
#define {P}_ALONE
#else
#define {P}_ALONE restrict
#endif

#define {P}_R(x) (({p}_real)(x))

#ifdef {P}_SINGLE
typedef unsigned int {p}_bits;
#define {P}_TOP 31
#define {p}_sqrt(x) sqrtf(x)
#define {p}_abs(x) fabsf(x)
#else
typedef unsigned long long {p}_bits;
#define {P}_TOP 63
#define {p}_sqrt(x) sqrt(x)
#define {p}_abs(x) fabs(x)
#endif

typedef union {{ {p}_real number; {p}_bits bits; }} {p}_word;

/* Sine and cosine of x in radians; see the note on errors in the README. */
{P}_INLINE void {p}_sine({p}_real *sine, {p}_real *cosine, const {p}_real x)
{{
#ifdef {P}_SINGLE
{single}
#else
{double}
#endif
    {p}_word odd, first, second;
    odd.number = shifted; /* its lowest bit tells whether q is odd: then both change sign */
    odd.bits <<= {P}_TOP;
    first.number = a;
    second.number = b;
    first.bits ^= odd.bits;
    second.bits ^= odd.bits;
    *sine = first.number;
    *cosine = second.number;
}}
"""
