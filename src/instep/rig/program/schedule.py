"""The order of a program's instructions: what a processor can overlap, without more live values than it has registers.

CasADi's order goes depth first: each instruction tends to wait for the one just before it.
"""

from __future__ import annotations

import heapq
from typing import Final

from instep.rig.program.model import Instruction, Op, Program

LATENCY: Final = {Op.DIVIDE: 13, Op.INVERT: 13, Op.SQRT: 20, Op.SIN: 70, Op.COS: 70}
"""Cycles until a result can be used, roughly, on common processors; all others 4. Only the order depends on it."""

LIVE: Final = 16
"""Values live at once up to which long paths go first; beyond, what frees most. Wide registers number 16 or 32;
on
the two-legged rig in tiles of 8, on one core: CasADi's order 107 ns a pose, 6 live values 90, 10 88, 16 85, 26 87."""

CANDIDATES: Final = 48
"""How many are compared where values must be freed: keeps the time linear in the program's length."""


def schedule(program: Program, live: int = LIVE) -> Program:
    """The same instructions, numbered in another order: list scheduling (Gibbons & Muchnick 1986, PLDI).

    Among the instructions whose arguments are known, the one with the longest path of latencies still after it goes
    first, as long as fewer than `live` values wait for use; beyond that the one that ends most values.
    """
    instructions = program.instructions
    users: list[list[int]] = [[] for _ in instructions]
    for number, instruction in enumerate(instructions):
        for argument in set(instruction.args):
            users[argument].append(number)
    path = [0] * len(instructions)
    for number in reversed(range(len(instructions))):
        path[number] = LATENCY.get(instructions[number].op, 4) + max((path[user] for user in users[number]), default=0)
    held = [instruction.op not in (Op.CONSTANT, Op.INPUT) for instruction in instructions]
    uses_left = [len(each) for each in users]
    waits = [len(set(instruction.args)) for instruction in instructions]
    order: list[int] = []
    ready: list[tuple[int, int]] = []
    fresh: list[int] = []
    done = [False] * len(instructions)
    waiting = 0

    def freed(number: int) -> int:
        return sum(held[a] and uses_left[a] == 1 for a in set(instructions[number].args))

    def finish(number: int) -> None:
        nonlocal waiting
        order.append(number)
        done[number] = True
        for argument in set(instructions[number].args):
            uses_left[argument] -= 1
            waiting -= held[argument] and uses_left[argument] == 0
        waiting += held[number] and uses_left[number] > 0
        for user in users[number]:
            waits[user] -= 1
            if waits[user] == 0:
                heapq.heappush(ready, (-path[user], user))
                fresh.append(user)

    def frees_most() -> int:
        """Of the instructions that became ready last: what frees values is almost always among them."""
        seen: list[int] = []
        while fresh and len(seen) < CANDIDATES:
            number = fresh.pop()
            if not done[number]:
                seen.append(number)
        fresh.extend(reversed(seen))
        return max(seen, key=lambda number: (freed(number), path[number]))

    sources = [n for n, instruction in enumerate(instructions) if not instruction.args]
    for number in sources:
        finish(number)
    while ready:
        if done[ready[0][1]]:
            heapq.heappop(ready)
            continue
        finish(ready[0][1] if waiting < live else frees_most())
    new = {old: number for number, old in enumerate(order)}
    return Program(
        program.inputs,
        program.outputs,
        tuple(Instruction(i.op, tuple(new[a] for a in i.args), i.value) for i in (instructions[old] for old in order)),
        tuple(new[result] for result in program.results),
    )
