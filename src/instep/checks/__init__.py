"""Checks: one claim a file. What it measured, what it allows, the worst pose, the likely cause, the cure."""

from instep.checks.battery import CHECKS, run_checks
from instep.checks.model import Cure, Curve, Edit, Finding, Measure, Place, Report, SoleMap

__all__ = [
    "CHECKS",
    "Cure",
    "Curve",
    "Edit",
    "Finding",
    "Measure",
    "Place",
    "Report",
    "SoleMap",
    "run_checks",
]
