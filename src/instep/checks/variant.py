"""A rig with some numbers of its plan changed: to work out what a cure reaches before anybody writes it down."""

from __future__ import annotations

from dataclasses import replace

from instep.checks.subject import Subject
from instep.rig.assemble import assemble
from instep.rig.plan import LegPlan
from instep.rig.program.trace import trace
from instep.rig.rig import Rig


def with_leg(subject: Subject, leg: LegPlan) -> Subject:
    """The subject with one leg planned otherwise, its other controls as they are."""
    rig = subject.rig
    legs = tuple(leg if other.name == leg.name else other for other in rig.plan.legs)
    plan = replace(rig.plan, legs=legs)
    hand = rig.description.by_hand
    traced = assemble(plan, rig.description.controls, hand.ranges, hand.pinned)
    program = trace(traced.function, [channel.name for channel in traced.channels], traced.outputs)
    return Subject(Rig(rig.character, rig.measurement, rig.description, plan, program, traced), subject.seed)
