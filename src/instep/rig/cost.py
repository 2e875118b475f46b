"""What a rig costs to evaluate: instructions by kind, and what each control adds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from instep.rig.assemble import assemble
from instep.rig.joints import joint_function
from instep.rig.program import Op, Program
from instep.rig.program.trace import trace
from instep.rig.rig import Rig

FREE: Final = frozenset({Op.INPUT, Op.CONSTANT})
"""What is no work: it is there already."""


@dataclass(frozen=True, slots=True)
class Cost:
    """Instructions of the program from channels to joints.

    Attributes
    ----------
    kinds : by operation, most frequent first.
    controls : by control, how many instructions the rig would lose if the control's channels were pinned to their
        defaults in the rig file. They do not add up to the whole: work is shared, and joints cost without any control.
    """

    kinds: Mapping[Op, int]
    controls: Mapping[str, int]

    @property
    def total(self) -> int:
        """All of them."""
        return sum(self.kinds.values())


def rig_cost(rig: Rig) -> Cost:
    """Count the instructions of a rig."""
    kinds = {op: count for op, count in rig.joints_program.count().items() if op not in FREE}
    total = sum(kinds.values())
    controls = {}
    for control in dict.fromkeys(channel.control for channel in rig.channels):
        pinned = {channel.name: channel.default for channel in rig.channels if channel.control == control}
        controls[control] = total - work(_pinned_program(rig, pinned))
    return Cost(dict(sorted(kinds.items(), key=lambda each: -each[1])), controls)


def work(program: Program) -> int:
    """How many instructions of a program are work."""
    return sum(count for op, count in program.count().items() if op not in FREE)


def _pinned_program(rig: Rig, pinned: Mapping[str, float]) -> Program:
    by_hand = rig.description.by_hand
    traced = assemble(rig.plan, rig.description.controls, by_hand.ranges, {**by_hand.pinned, **pinned})
    function, outputs = joint_function(traced, rig.plan, rig.character.skeleton)
    return trace(function, [channel.name for channel in traced.channels], outputs)
