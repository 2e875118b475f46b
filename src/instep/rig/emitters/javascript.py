"""JavaScript: an ES module for the browser and for web games, with its TypeScript declarations."""

from __future__ import annotations

import json
from typing import Final

from instep.rig.emitters.runtime_form import PER_JOINT, RuntimeForm
from instep.rig.program.model import TRUTHS, Op, Program
from instep.rig.program.segments import split

LONGEST: Final = 1500
"""Instructions in one function. The engine behind Node and Chromium leaves functions of more than 60 kB of bytecode
(some 4,000 instructions) unoptimised: the full two-legged rig in one function takes 36 microseconds a pose, in pieces
2. On the essential rig pieces of 800, 1,500 and 3,000 differ by less than their spread."""

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
    Op.AND: "!!{0} && !!{1}",
    Op.OR: "!!{0} || !!{1}",
    Op.SELECT: "{0} ? {1} : {2}",
}

_LOGIC: Final = frozenset({Op.NOT, Op.AND, Op.OR, Op.SELECT})
"""Operations that take a truth as it is."""


def write_javascript(program: Program) -> str:
    """An ES module: `channels` and `outputs` (names), and `evaluate(c, o)`, which fills `o` from `c`."""
    return "\n".join(
        [
            "// Written by Instep from a rig's program. Do not edit: write it again instead.",
            f"export const channels = {json.dumps(list(program.inputs))};",
            f"export const outputs = {json.dumps(list(program.outputs))};",
            write_function(
                program,
                "evaluate",
                "Fill o (outputs) from c (channels): arrays of numbers, in the order of the names above.",
            ),
        ]
    )


def write_function(program: Program, name: str, sentence: str) -> str:
    """An exported function ``name(c, o)``, in pieces where it is long."""
    segments = split(program, LONGEST)
    results: dict[int, list[int]] = {}
    for row, result in enumerate(program.results):
        results.setdefault(result, []).append(row)
    pieces = [_write_piece(program, piece, segments.slot, results) for piece in segments.pieces]
    if len(pieces) == 1:
        return "\n".join([f"/** {sentence} */", f"export function {name}(c, o) {{", *pieces[0], "}", ""])
    # The values kept between pieces are never read before they are written, so nothing is carried from call to call.
    lines = [f"const {name}Kept = new Float64Array({segments.slots});"]
    for number, body in enumerate(pieces):
        lines += [f"function {name}{number}(c, o, t) {{", *body, "}"]
    calls = [f"  {name}{number}(c, o, {name}Kept);" for number in range(len(pieces))]
    return "\n".join([*lines, f"/** {sentence} */", f"export function {name}(c, o) {{", *calls, "}", ""])


def _write_piece(program: Program, piece: range, slot: tuple[int, ...], results: dict[int, list[int]]) -> list[str]:
    names: dict[int, str] = {}
    lines: list[str] = []

    def name_of(value: int) -> str:
        if value not in names:
            instruction = program.instructions[value]
            if instruction.op is Op.INPUT:
                names[value] = f"c[{int(instruction.value)}]"
            elif instruction.op is Op.CONSTANT:
                text = repr(instruction.value)
                names[value] = f"({text})" if text.startswith("-") else text
            else:
                lines.append(f"  const v{value} = t[{slot[value]}];")
                names[value] = f"v{value}"
        return names[value]

    for number in piece:
        instruction = program.instructions[number]
        if instruction.op not in (Op.INPUT, Op.CONSTANT):
            args = [name_of(a) for a in instruction.args]
            if instruction.op not in _LOGIC:
                # A truth used as a number: JavaScript computes with true and false, but holds true unequal to 1.
                args = [
                    f"+{name}" if program.instructions[a].op in TRUTHS else name
                    for name, a in zip(args, instruction.args, strict=True)
                ]
            lines.append(f"  const v{number} = {_FORMS[instruction.op].format(*args)};")
            names[number] = f"v{number}"
            if slot[number] >= 0:
                lines.append(f"  t[{slot[number]}] = +v{number};")
        lines += [f"  o[{row}] = +{name_of(number)};" for row in results.get(number, ())]
    return lines


def write_javascript_module(form: RuntimeForm) -> str:
    """The module for teams: tables of channels and joints, and `pose(channels, joints)`."""
    channels = [
        {"name": c.name, "unit": c.unit, "low": c.low, "high": c.high, "default": c.default} for c in form.channels
    ]
    joints = [
        {"name": name, "parent": parent, "bind": list(bind)}
        for name, parent, bind in zip(form.joints, form.parents, form.bind, strict=True)
    ]
    lines = [
        f"// The rig of {_one_line(form.character)}. Written by Instep: do not edit, write it again instead.",
        f"export const channels = {_list(channels)};",
        f"export const joints = {_list(joints)};",
        f"export const perJoint = {PER_JOINT};",
        f"export const outputCount = {len(form.program.outputs)};",
        f"export const legLength = {form.leg_length!r};",
        write_function(form.program, "pose", "Fill o (outputCount numbers) from c (a number for each channel)."),
    ]
    if form.derivatives:
        lines += [
            f"export const derivativePlaces = {json.dumps(form.derivative_places, separators=(',', ':'))};",
            write_function(form.derivatives, "derivative", "Fill o with the derivative at each of derivativePlaces."),
        ]
    return "\n".join(lines)


def write_declarations(form: RuntimeForm) -> str:
    """The TypeScript declarations of `write_javascript_module`."""
    return _DECLARATIONS + (_DERIVATIVE_DECLARATIONS if form.derivatives else "")


def _list(rows: list[dict[str, object]]) -> str:
    return "[\n" + ",\n".join(f"  {json.dumps(row)}" for row in rows) + ",\n]"


def _one_line(text: str) -> str:
    return " ".join(text.split())


_DECLARATIONS: Final = """\
// Written by Instep: do not edit, write it again instead.
/** A number that an animator sets: degrees, the file's unit of length, or a share. */
export interface Channel {
  readonly name: string;
  readonly unit: "deg" | "length" | "share";
  readonly low: number;
  readonly high: number;
  /** Its value in the bind pose. */
  readonly default: number;
}
export interface Joint {
  readonly name: string;
  /** The number of the joint that carries it, or -1. */
  readonly parent: number;
  /** Where it stands in the bind pose, in the world. */
  readonly bind: readonly [number, number, number];
}
/** What numbers can be read from and written to. */
export type Numbers = Float64Array | Float32Array | number[];
export const channels: readonly Channel[];
export const joints: readonly Joint[];
/** Numbers of a joint among the outputs. */
export const perJoint: 7;
export const outputCount: number;
/** Hip to ankle in the bind pose. */
export const legLength: number;
/**
 * One pose. outputs[0] is the scale; joint j has at 1 + perJoint * j its turn w x y z, as a change from the bind pose
 * in world axes, and its place across up along, along the world's x, y, z. Ranges are not checked.
 */
export function pose(channels: Numbers, outputs: Numbers): void;
"""

_DERIVATIVE_DECLARATIONS: Final = """\
/** [output, channel] of each derivative that is not always zero. */
export const derivativePlaces: readonly (readonly [number, number])[];
/** The derivative at each of derivativePlaces. */
export function derivative(channels: Numbers, derivatives: Numbers): void;
"""
