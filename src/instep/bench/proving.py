"""Findings of the checks as the page shows them: in words and figures, with their units."""

from __future__ import annotations

from collections.abc import Callable

from instep.bench.messages import CureOffer, Finding
from instep.checks.model import Finding as CheckFinding
from instep.checks.model import Report
from instep.delivery.lengths import Lengths
from instep.rig import Rig


def run(rig: Rig, only: tuple[str, ...], progress: Callable[[str], None]) -> Report:
    """Run all checks, or those named; `progress` is told the name of each when it begins."""
    from instep.checks.battery import run_checks  # takes a while to import, and is not wanted until it is asked for

    return run_checks(rig, only=only or None, progress=progress)


def told_finding(finding: CheckFinding, lengths: Lengths) -> Finding:
    """A check's finding for the page."""

    def figure(value: float) -> str:
        if finding.length is not None and finding.unit.startswith("of "):
            return _small_length(value * finding.length, lengths)
        unit = "°" if finding.unit == "deg" else "" if finding.unit == "" else f" {finding.unit}"
        return f"{value:.3g}{unit}"

    most = max((measure.use for measure in finding.measures), default=0.0)
    curve = finding.curve
    return Finding(
        check=finding.check,
        claim=finding.claim,
        verdict=finding.verdict,
        what=finding.what,
        figure=figure(finding.figure),
        allowance="" if finding.allowance is None else f"{finding.sense} {figure(finding.allowance)}",
        use=float(min(most, 1e6)),
        leg=finding.leg,
        place="" if finding.place is None else f"{finding.place.kind} {finding.place.name}",
        pose=dict(finding.pose),
        curve_x=() if curve is None else curve.x,
        curve_y=() if curve is None else curve.y,
        curve_words="" if curve is None else f"{curve.y_label} over {curve.x_label} ({curve.x_unit})",
        curve_allowance=finding.allowance,
        notes=finding.notes,
        cause=finding.cause,
        cures=tuple(
            CureOffer(
                sentence=cure.sentence,
                reaches="" if cure.reaches is None else figure(cure.reaches),
                can_be_made=bool(cure.edits),
            )
            for cure in finding.cures
        ),
    )


def _small_length(value: float, lengths: Lengths) -> str:
    """A length that may be far smaller than the character: two decimals, or a power of ten."""
    shown = value * lengths.factor
    if shown != 0.0 and abs(shown) < 0.005:
        return f"{shown:.0e} {lengths.unit}".replace("e-0", "e-")
    return lengths.text(value, 2)
