"""All checks on one rig."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from types import MappingProxyType
from typing import Final

from instep.checks.aim import check_aim
from instep.checks.carry import check_carry
from instep.checks.floor import check_floor
from instep.checks.influence import check_influence
from instep.checks.mirror import check_mirror
from instep.checks.model import REPORT_VERSION, Finding, Report
from instep.checks.plant import check_plant
from instep.checks.programs import check_programs
from instep.checks.ranges import check_range
from instep.checks.reach import check_reach
from instep.checks.rebuild import check_rebuild
from instep.checks.rest import check_rest
from instep.checks.skeleton import check_skeleton
from instep.checks.skin import check_skin
from instep.checks.subject import Subject
from instep.checks.switch import check_switch
from instep.errors import CheckError
from instep.rig.nearest import nearest_name
from instep.rig.rig import Rig

CHECKS: Final[Mapping[str, Callable[[Subject], Finding]]] = MappingProxyType(
    {
        "rest": check_rest,
        "carry": check_carry,
        "mirror": check_mirror,
        "plant": check_plant,
        "floor": check_floor,
        "reach": check_reach,
        "aim": check_aim,
        "switch": check_switch,
        "influence": check_influence,
        "range": check_range,
        "skin": check_skin,
        "skeleton": check_skeleton,
        "programs": check_programs,
        "rebuild": check_rebuild,
    }
)
"""The checks by name, in the order of a report."""

Progress = Callable[[str], None]
"""Told a check's name when it begins."""


def run_checks(
    rig: Rig, *, seed: int = 0, only: Collection[str] | None = None, progress: Progress | None = None
) -> Report:
    """Run the checks on a rig.

    Parameters
    ----------
    seed : of the sampling; the same rig and seed give the same report.
    only : names of the checks to run; all where None.
    progress : told each check's name as it begins.

    Raises CheckError for a name that is no check.
    """
    chosen = choose_checks(only)
    subject = Subject(rig, seed)
    findings = []
    for name in chosen:
        if progress is not None:
            progress(name)
        findings.append(CHECKS[name](subject))
    return Report(
        REPORT_VERSION,
        rig.description.character,
        float(rig.plan.unit),
        {leg.name: float(leg.foot_length) for leg in rig.measurement.legs},
        seed,
        tuple(findings),
    )


def choose_checks(only: Collection[str] | None) -> tuple[str, ...]:
    """The names of the checks to run, in the order of a report; CheckError for a name that is no check."""
    if only is None:
        return tuple(CHECKS)
    for name in only:
        if name not in CHECKS:
            near = nearest_name(name, CHECKS)
            raise CheckError(
                f'"{name}" is no check',
                expected=f'one such as "{near}"' if near else "one of " + ", ".join(CHECKS),
                cure="See `instep prove --help` for their names",
            )
    return tuple(name for name in CHECKS if name in only)
