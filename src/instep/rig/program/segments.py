"""A program in pieces: some compilers give up on long functions, so what crosses from piece to piece gets a place."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from instep.rig.program.model import Op, Program


@dataclass(frozen=True, slots=True)
class Segments:
    """`pieces` are ranges of instruction numbers, in order. `slot[i]` is where value i is kept between pieces, or -1
    where only its own piece uses it (constants and inputs are never kept); `slots` in all."""

    pieces: tuple[range, ...]
    slot: tuple[int, ...]
    slots: int


def split(program: Program, longest: int) -> Segments:
    """Pieces of at most `longest` instructions, nearly even. A slot is free after its value's last use."""
    total = len(program.instructions)
    count = max(-(-total // longest), 1)
    bounds = [total * k // count for k in range(count + 1)]
    pieces = tuple(range(first, end) for first, end in pairwise(bounds))
    piece_of = [k for k, piece in enumerate(pieces) for _ in piece]
    last = list(piece_of)
    for number, instruction in enumerate(program.instructions):
        for argument in instruction.args:
            last[argument] = max(last[argument], piece_of[number])
    slot = [-1] * total
    free: list[int] = []
    ending: list[list[int]] = [[] for _ in pieces]
    slots = 0
    for k, piece in enumerate(pieces):
        for number in piece:
            if last[number] == k or program.instructions[number].op in (Op.INPUT, Op.CONSTANT):
                continue
            if not free:
                free.append(slots)
                slots += 1
            slot[number] = free.pop()
            ending[last[number]].append(slot[number])
        free.extend(ending[k])
    return Segments(pieces, tuple(slot), slots)
