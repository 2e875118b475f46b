"""Which input reaches which output: read off the data flow, exactly."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import BoolArray
from instep.rig.program.model import Op, Program


def influence(program: Program) -> BoolArray:
    """(outputs, inputs) whether there is a path from the input to the output through the program."""
    reach: list[int] = []
    for instruction in program.instructions:
        bits = 1 << int(instruction.value) if instruction.op is Op.INPUT else 0
        for argument in instruction.args:
            bits |= reach[argument]
        reach.append(bits)
    table = np.zeros((len(program.outputs), len(program.inputs)), dtype=np.bool_)
    for row, result in enumerate(program.results):
        for column in range(len(program.inputs)):
            table[row, column] = bool(reach[result] >> column & 1)
    return table
