"""C99: a program as a static inline function over one lane of a tile of poses.

The same text is also C++. Selects are conditional expressions without side effects, so compilers make no branches of
them; sine and cosine are inlined polynomials (see `sine`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from instep.errors import ProgramError
from instep.rig.emitters.sine import DOUBLE, INVERSE_PI, SINGLE, SineTable
from instep.rig.program.model import TRUTHS, Op, Program
from instep.rig.program.segments import split

LANES: Final = {"double": 8, "single": 16}
"""Poses in a tile: 64 bytes, one line of cache and the widest vector of common machines."""

LONGEST: Final = 5000
"""Instructions in one function: compilers take more than proportional time for long ones."""

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


@dataclass(frozen=True, slots=True)
class CBody:
    """A program in C: the text of its functions, their names in order, and how many values are kept between them.

    Each is ``function(c, o, t, step)`` for one lane: row k of the inputs at ``c[k * step]``, of the outputs at
    ``o[k * step]``, of the values kept at ``t[k * step]``.
    """

    text: str
    functions: tuple[str, ...]
    kept: int


def write_c_body(program: Program, function: str, prefix: str) -> CBody:
    """The program as functions named after `function`; `prefix` is that of the names in `write_c_prelude`."""
    segments = split(program, LONGEST)
    results: dict[int, list[int]] = {}
    for row, result in enumerate(program.results):
        results.setdefault(result, []).append(row)
    names = tuple(f"{function}_{number}" for number in range(len(segments.pieces)))
    texts = []
    for name, piece in zip(names, segments.pieces, strict=True):
        body = _Body(program, prefix, segments.slot)
        for number in piece:
            body.write(number)
            for row in results.get(number, ()):
                body.tell(f"o[{row} * step] = {body.number(number)};")
        real, inline = f"{prefix}_real", f"{prefix.upper()}_INLINE"
        head = f"{inline} void {name}(const {real} *c, {real} *o, {real} *t, const ptrdiff_t step)"
        unused = [f"(void){each};" for each in "cot" if not any(f"{each}[" in line for line in body.lines)]
        texts.append("\n".join([head, "{", *(f"    {line}" for line in [*body.lines, *unused]), "}"]))
    return CBody("\n\n".join(texts), names, segments.slots)


class _Body:
    """Writes one instruction of a piece at a time; knows what each value is called."""

    def __init__(self, program: Program, prefix: str, slot: tuple[int, ...]) -> None:
        self._program = program
        self._prefix = prefix
        self._real = f"{prefix.upper()}_R"
        self._slot = slot
        self._names: dict[int, str] = {}
        self._turns: dict[int, int] = {}
        self.lines: list[str] = []

    def tell(self, line: str) -> None:
        """Add a line."""
        self.lines.append(line)

    def write(self, number: int) -> None:
        """Add the statement of instruction `number`, where it needs one."""
        instruction = self._program.instructions[number]
        op, args = instruction.op, instruction.args
        if op in (Op.CONSTANT, Op.INPUT):
            return
        if op in (Op.SIN, Op.COS):
            if args[0] not in self._turns:
                self._turns[args[0]] = number
                angle = self.number(args[0])
                real = f"{self._prefix}_real"
                self.tell(f"{real} s{number}, k{number}; {self._prefix}_sine(&s{number}, &k{number}, {angle});")
            self._names[number] = f"{'s' if op is Op.SIN else 'k'}{self._turns[args[0]]}"
        elif op in TRUTHS:
            truths = op in (Op.NOT, Op.AND, Op.OR)
            names = [self.truth(a) if truths else self.number(a) for a in args]
            self._names[number] = _FORMS[op].format(*names)
        elif op in (Op.LEAST, Op.LARGEST):
            self._assign(number, self._extreme("<" if op is Op.LEAST else ">", *args))
        elif op is Op.SELECT:
            self._assign(number, _FORMS[op].format(self.truth(args[0]), self.number(args[1]), self.number(args[2])))
        else:
            names = [self.number(a) for a in args]
            self._assign(number, _FORMS[op].format(*names, R=self._real, P=self._prefix))
        if self._slot[number] >= 0:
            self.tell(f"t[{self._slot[number]} * step] = {self.number(number)};")

    def _assign(self, number: int, expression: str) -> None:
        self.tell(f"const {self._prefix}_real v{number} = {expression};")
        self._names[number] = f"v{number}"

    def _extreme(self, sign: str, first: int, second: int) -> str:
        """The smaller or larger; NaN where either is NaN. Where one is a constant, one comparison does that."""
        if self._program.instructions[second].op is Op.CONSTANT:
            first, second = second, first
        a, b = self.number(first), self.number(second)
        if self._program.instructions[first].op is Op.CONSTANT:
            return f"{a} {sign} {b} ? {a} : {b}"
        return f"(({a} {sign} {b}) | ({a} != {a})) ? {a} : {b}"

    def _name(self, value: int) -> str:
        """What a value is called here; one of another piece is fetched from where it is kept."""
        instruction = self._program.instructions[value]
        if value not in self._names:
            if instruction.op is Op.CONSTANT:
                self._names[value] = self.constant(instruction.value)
            elif instruction.op is Op.INPUT:
                self._assign(value, f"c[{int(instruction.value)} * step]")
            else:
                self._assign(value, f"t[{self._slot[value]} * step]")
        return self._names[value]

    def _is_truth(self, value: int) -> bool:
        """Whether the name stands for a truth; one that was kept between pieces has become a number."""
        return self._program.instructions[value].op in TRUTHS and not self._name(value).startswith("v")

    def number(self, value: int) -> str:
        """A value as a number."""
        name = self._name(value)
        return f"({name} ? {self._real}(1.0) : {self._real}(0.0))" if self._is_truth(value) else name

    def truth(self, value: int) -> str:
        """A value as a truth."""
        name = self._name(value)
        return name if self._is_truth(value) else f"({name} != {self._real}(0.0))"

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
#define {P}_ALIGNED __attribute__((aligned(64)))
#elif defined(_MSC_VER)
#define {P}_INLINE static __forceinline
#define {P}_ALIGNED __declspec(align(64))
#else
#define {P}_INLINE static inline
#define {P}_ALIGNED
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
