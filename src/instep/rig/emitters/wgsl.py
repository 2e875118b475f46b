"""WGSL: a compute shader for crowds, one pose a thread, in single precision.

The language leaves the error of its own sine and cosine open to 2^-11 (WGSL, 15.7.4.1), so the polynomials of `sine`
are used. It lets a compiler assume that there is no NaN: NaN in gives no promise here.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from instep.errors import ProgramError
from instep.rig.emitters.runtime_form import PER_JOINT, RuntimeForm
from instep.rig.emitters.sine import INVERSE_PI, SINGLE
from instep.rig.program.model import TRUTHS, Op, Program
from instep.rig.program.schedule import schedule

THREADS: Final = 64
"""Threads of a workgroup: a multiple of what all common devices run in step."""

_FORMS: Final[dict[Op, str]] = {
    Op.ADD: "{0} + {1}",
    Op.SUBTRACT: "{0} - {1}",
    Op.MULTIPLY: "{0} * {1}",
    Op.DIVIDE: "{0} / {1}",
    Op.NEGATE: "-{0}",
    Op.SQUARE: "{0} * {0}",
    Op.INVERT: "1.0 / {0}",
    Op.SQRT: "sqrt({0})",
    Op.ABS: "abs({0})",
    Op.SIGN: "sign({0})",
    Op.LEAST: "min({0}, {1})",
    Op.LARGEST: "max({0}, {1})",
    Op.LESS: "{0} < {1}",
    Op.LESS_EQUAL: "{0} <= {1}",
    Op.EQUAL: "{0} == {1}",
    Op.UNEQUAL: "{0} != {1}",
    Op.NOT: "!{0}",
    Op.AND: "{0} && {1}",
    Op.OR: "{0} || {1}",
    Op.SELECT: "select({2}, {1}, {0})",
}


def write_wgsl(form: RuntimeForm) -> str:
    """The shader: entry point ``poses``; see the comment at its head for the bindings."""
    return _SHADER.format(
        character=" ".join(form.character.split()),
        channels=len(form.channels),
        outputs=len(form.program.outputs),
        joints=len(form.joints),
        per_joint=PER_JOINT,
        threads=THREADS,
        sine=_nested(SINGLE.sine),
        cosine=_nested(SINGLE.cosine),
        inverse_pi=_number(INVERSE_PI),
        reduced=_reduced(),
        body="\n".join(f"    {line}" for line in _body(schedule(form.program))),
    )


def _body(program: Program) -> list[str]:
    lines: list[str] = []
    names: list[str] = []
    turns: dict[int, int] = {}

    def number(value: int) -> str:
        name = names[value]
        return f"select(0.0, 1.0, {name})" if program.instructions[value].op in TRUTHS else name

    def truth(value: int) -> str:
        name = names[value]
        return name if program.instructions[value].op in TRUTHS else f"({name} != 0.0)"

    for place, instruction in enumerate(program.instructions):
        op, args = instruction.op, instruction.args
        if op is Op.CONSTANT:
            names.append(_number(instruction.value))
            continue
        if op is Op.INPUT:
            expression = f"channels[{int(instruction.value)}u * count + pose]"
        elif op in (Op.SIN, Op.COS):
            if args[0] not in turns:
                turns[args[0]] = place
                lines.append(f"let w{place} = sine_cosine({number(args[0])});")
            names.append(f"w{turns[args[0]]}.{'x' if op is Op.SIN else 'y'}")
            continue
        elif op is Op.SELECT:
            expression = _FORMS[op].format(truth(args[0]), number(args[1]), number(args[2]))
        elif op in (Op.NOT, Op.AND, Op.OR):
            expression = _FORMS[op].format(*(truth(a) for a in args))
        else:
            expression = _FORMS[op].format(*(number(a) for a in args))
        lines.append(f"let v{place} = {expression};")
        names.append(f"v{place}")
    lines += [f"joints[{row}u * count + pose] = {number(result)};" for row, result in enumerate(program.results)]
    return lines


def _number(value: float) -> str:
    """A constant rounded to single precision; raises ProgramError where it is too large for it.

    One that is too small becomes 0, as in C: the squares of guards, which only matter where what they guard is 0.
    """
    with np.errstate(over="ignore", under="ignore"):
        rounded = float(np.float32(value))
    if abs(rounded) < float(np.finfo(np.float32).tiny):
        return "0.0"
    if not math.isfinite(rounded):
        raise ProgramError(
            f"the rig's function holds the constant {value!r}, which single precision cannot hold",
            expected="numbers below 3e38",
            cure="Scale the character to metres or centimetres",
        )
    text = repr(rounded)
    return f"({text})" if text.startswith("-") else text


def _nested(coefficients: tuple[float, ...]) -> str:
    text = _number(coefficients[-1])
    for coefficient in reversed(coefficients[:-1]):
        text = f"({text} * z + {_number(coefficient)})"
    return text


def _reduced() -> str:
    text = "x"
    for part in SINGLE.pi_parts:
        text = f"({text} - q * {_number(part)})"
    return text


_SHADER: Final = """\
// The rig of {character}: {channels} channels to {joints} joints. Written by Instep: do not edit, write again.
// One pose a thread, in workgroups of {threads}: dispatch (poses + {threads} - 1) / {threads} of them.
// Channel k of pose n stands at channels[k * poses + n]. Output k of pose n goes to joints[k * poses + n]: {outputs} of
// them, the scale first, then for joint j from 1 + {per_joint} * j its turn w x y z, as a change from the bind pose in
// world axes, and its place across up along, along the world's x, y, z.
@group(0) @binding(0) var<storage, read> channels: array<f32>;
@group(0) @binding(1) var<storage, read_write> joints: array<f32>;
@group(0) @binding(2) var<uniform> poses_in_all: vec4<u32>; // the first number counts

// Sine and cosine of x in radians, within 2e-7 up to 10,000 rad.
fn sine_cosine(x: f32) -> vec2<f32> {{
    let q = round(x * {inverse_pi});
    let r = {reduced};
    let z = r * r;
    let flip = 1.0 - 2.0 * f32(i32(q) & 1);
    return vec2<f32>(r + r * z * {sine}, 1.0 + z * {cosine}) * flip;
}}

@compute @workgroup_size({threads})
fn poses(@builtin(global_invocation_id) id: vec3<u32>) {{
    let count = poses_in_all.x;
    let pose = id.x;
    if (pose >= count) {{ return; }}
{body}
}}
"""
