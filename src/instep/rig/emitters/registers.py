"""Reuse of storage: which register holds which value, and when it is free again."""

from __future__ import annotations

from dataclasses import dataclass

from instep.rig.program.model import Op, Program


@dataclass(frozen=True, slots=True)
class Registers:
    """`place[i]` is the register of value i, or -1 where the value is an input or a constant; `count` in all.

    A value's register may be that of an argument that is not used again (elementwise operations allow it).
    """

    place: tuple[int, ...]
    count: int


def allocate(program: Program, *, in_place: bool = True) -> Registers:
    """Registers by a linear scan over the program: straight-line code needs no more than that."""
    last_use = [0] * len(program.instructions)
    for number, instruction in enumerate(program.instructions):
        for argument in instruction.args:
            last_use[argument] = number
    for result in program.results:
        last_use[result] = len(program.instructions)
    place = [-1] * len(program.instructions)
    free: list[int] = []
    count = 0
    for number, instruction in enumerate(program.instructions):
        ended = [place[a] for a in set(instruction.args) if last_use[a] == number and place[a] >= 0]
        if in_place:
            free.extend(sorted(ended, reverse=True))
        if instruction.op not in (Op.INPUT, Op.CONSTANT):
            if not free:
                free.append(count)
                count += 1
            place[number] = free.pop()
        if not in_place:
            free.extend(sorted(ended, reverse=True))
    return Registers(tuple(place), count)
