"""JavaScript: an ES module for the browser and for web games."""

from __future__ import annotations

import json
from typing import Final

from instep.rig.program.model import TRUTHS, Op, Program

_FORMS: Final[dict[Op, str]] = {
    Op.ADD: "{0} + {1}",
    Op.SUBTRACT: "{0} - {1}",
    Op.MULTIPLY: "{0} * {1}",
    Op.DIVIDE: "{0} / {1}",
    Op.NEGATE: "-{0}",
    Op.SQUARE: "{0} * {0}",
    Op.INVERT: "1 / {0}",
    Op.SQRT: "Math.sqrt({0})",
    Op.SIN: "Math.sin({0})",
    Op.COS: "Math.cos({0})",
    Op.ABS: "Math.abs({0})",
    Op.SIGN: "Math.sign({0})",
    Op.LEAST: "Math.min({0}, {1})",
    Op.LARGEST: "Math.max({0}, {1})",
    Op.LESS: "{0} < {1}",
    Op.LESS_EQUAL: "{0} <= {1}",
    Op.EQUAL: "{0} === {1}",
    Op.UNEQUAL: "{0} !== {1}",
    Op.NOT: "!{0}",
    Op.AND: "{0} && {1}",
    Op.OR: "{0} || {1}",
    Op.SELECT: "{0} ? {1} : {2}",
}


def write_javascript(program: Program) -> str:
    """An ES module: `channels` and `outputs` (names), and `evaluate(c, o)`, which fills `o` from `c`."""
    names: list[str] = []
    body: list[str] = []
    for number, instruction in enumerate(program.instructions):
        if instruction.op is Op.INPUT:
            names.append(f"c[{int(instruction.value)}]")
        elif instruction.op is Op.CONSTANT:
            text = repr(instruction.value)
            names.append(f"({text})" if text.startswith("-") else text)
        else:
            args = [names[a] for a in instruction.args]
            if instruction.op not in TRUTHS and instruction.op is not Op.SELECT:
                # A truth used as a number: JavaScript would compute with true and false, but keep it plain.
                args = [
                    f"+{name}" if program.instructions[a].op in TRUTHS else name
                    for name, a in zip(args, instruction.args, strict=True)
                ]
            body.append(f"  const v{number} = {_FORMS[instruction.op].format(*args)};")
            names.append(f"v{number}")
    body += [f"  o[{row}] = +{names[result]};" for row, result in enumerate(program.results)]
    return "\n".join(
        [
            "// Written by Instep from a rig's program. Do not edit: write it again instead.",
            f"export const channels = {json.dumps(list(program.inputs))};",
            f"export const outputs = {json.dumps(list(program.outputs))};",
            "/** Fill o (outputs) from c (channels): arrays of numbers, in the order of the names above. */",
            "export function evaluate(c, o) {",
            *body,
            "}",
            "",
        ]
    )
