"""instep prove: every claim about a rig, measured."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.checks import Cure, Finding, Report
    from instep.delivery.lengths import Lengths

SHORT = 1
"""Exit status where a check falls short."""

MARKS = {"holds": "✓", "falls short": "✗", "advice": "·", "does not apply": "-"}

READABLE = 1e-5
"""Allowances below this are rounding: they are told as powers of ten, not in mm."""


@click.command(short_help="Measure every claim about a rig; exit 1 where one falls short.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--only",
    help="Run these checks alone, with commas between: rest, carry, mirror, plant, floor, reach, aim, switch, "
    "influence, range, skin, skeleton, programs, rebuild.",
)
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=0, show_default=True, help="Of the poses tried.")
@answers
def prove(file: Path, only: str | None, seed: int) -> Answer:
    """Prove the rig in FILE (.rig.toml): measure every claim about it over its whole range.

    Each check tells its figure, what is allowed, and the worst pose found; where it falls short, the likely cause and
    the cure. The exit status is 1 where a check falls short, 2 where the rig cannot be built.
    """
    from instep.checks import run_checks
    from instep.checks.battery import choose_checks
    from instep.rig.file import load_rig

    chosen = None if only is None else [name.strip() for name in only.split(",") if name.strip()]
    choose_checks(chosen)
    with working("building the rig") as tell:
        rig = load_rig(file)
        report = run_checks(rig, seed=seed, only=chosen, progress=lambda name: tell(f"proving: {name}"))
    from instep.cli.wording import lengths_of

    lengths = lengths_of(rig.character, rig.measurement)
    return Answer(report.to_data(), lambda: _text(file, report, lengths), 0 if report.holds else SHORT)


def _text(file: Path, report: Report, lengths: Lengths) -> list[RenderableType]:
    from instep.cli.wording import heading, line

    short = [finding.check for finding in report.findings if finding.verdict == "falls short"]
    count = len(report.findings)
    told = f"{len(short)} of {count} checks fall short" if len(short) != 1 else f"1 of {count} checks falls short"
    parts: list[RenderableType] = [heading(f"{file.name}: {told if short else f'all of {count} checks hold'}")]
    for finding in report.findings:
        parts.append(
            line(f"{MARKS[finding.verdict]} {finding.verdict:<14} {finding.check:<10} {_one_line(finding, lengths)}")
        )
        if finding.verdict == "falls short":
            parts.append(line(f"cause: {finding.cause}", 6))
            parts += [line(f"cure: {_cure(cure, finding, lengths)}", 6) for cure in finding.cures]
            parts += [line(f"note: {note}", 6) for note in finding.notes]
    return parts


def _one_line(finding: Finding, lengths: Lengths) -> str:
    """Figure of allowance, what, where, worst pose."""
    if finding.verdict == "does not apply":
        return finding.cause
    if finding.verdict == "advice":
        return " ".join(finding.notes[:1])
    words = [f"{_of(finding, lengths)}, {finding.leg + ' ' if finding.leg else ''}{finding.what}"]
    if finding.place is not None and finding.verdict == "falls short":
        words.append(f"at {finding.place.kind} {finding.place.name}")
    if finding.pose and finding.verdict == "falls short":
        shown = list(finding.pose.items())[:6]
        more = f" and {len(finding.pose) - len(shown)} more" if len(finding.pose) > len(shown) else ""
        words.append("with " + " ".join(f"{name}={value:.4g}" for name, value in shown) + more)
    return ", ".join(words)


def _of(finding: Finding, lengths: Lengths) -> str:
    """Figure and allowance, with their unit once where that reads better."""
    assert finding.allowance is not None
    least = "at least " if finding.sense == "at least" else ""
    if finding.unit == "deg":
        return f"{finding.figure:.3g}° of {least}{finding.allowance:.3g}°"
    if _in_lengths(finding):
        allowed = lengths.text(finding.allowance * (finding.length or 1.0), 2)
        return f"{_amount(finding.figure, finding, lengths)} of {least}{allowed}"
    return f"{finding.figure:.3g} of {least}{finding.allowance:.3g} {finding.unit}"


def _amount(value: float, finding: Finding, lengths: Lengths) -> str:
    """A figure in the words of its unit: mm where it is a length that a person could see."""
    if finding.unit == "deg":
        return f"{value:.3g}°"
    if _in_lengths(finding) and finding.length is not None:
        return f"{lengths.text(value * finding.length, 2)} ({100 * value:.2g} % {finding.unit})"
    return f"{value:.3g} {finding.unit}"


def _in_lengths(finding: Finding) -> bool:
    return finding.length is not None and (finding.allowance or 0.0) >= READABLE


def _cure(cure: Cure, finding: Finding, lengths: Lengths) -> str:
    """The sentence, what it reaches, and the lines of the rig file that it means."""
    import json

    text = cure.sentence
    if cure.reaches is not None:
        text += f"; reaches {_amount(cure.reaches, finding, lengths)}"
    for edit in cure.edits:
        *table, key = edit.keys
        value = list(edit.value) if isinstance(edit.value, tuple) else edit.value
        name = json.dumps(key) if "." in key else key
        text += f" [{'.'.join(table)}] {name} = {json.dumps(value)}" if table else f" {name} = {json.dumps(value)}"
    return text
