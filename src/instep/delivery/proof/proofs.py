"""The plate of proofs: which findings are shown how, in which order, and the words beside their drawings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from instep.checks.model import Finding, Measure
from instep.delivery.content import ChannelRow, SheetContent
from instep.delivery.lengths import Lengths
from instep.delivery.proof.graph import axis_words, bar, graph
from instep.delivery.proof.pose import Pieces, draw_worst, leg_of, part_shown, worst_by_check
from instep.delivery.proof.sole import draw_soles, pair_of, step_for, touch_of, worst_words
from instep.delivery.proof.words import KINDS, place_words, pose_words, reached, summary, title_of, worded

SMALL: Final = 168.0
"""Drawing units: width of a drawing in a row of six."""

SMALL_TALL: Final = 122.0
GRAPH_TALL: Final = 34.0
BAR_TALL: Final = 20.0
LARGE: Final = 330.0
"""Width of the worst pose where a claim falls short."""

LARGE_TALL: Final = 300.0
SOLES: Final = 396.0
GRAPH: Final = 746.0
"""Width of the graph over the range where a claim falls short: as wide as the drawings above it. Without soles it
stands beside the worst pose, in their place."""

OTHERS: Final = 5
"""Further figures of a finding that fall short are listed up to this many."""


@dataclass(frozen=True, slots=True)
class CureWords:
    """What to do, and the figure that it would reach."""

    sentence: str
    reaches: Markup


@dataclass(frozen=True, slots=True)
class ProofItem:
    """One check on the page, all in words and drawings.

    Attributes
    ----------
    check, title, claim, verdict : as in the finding; `kind` is the verdict's class in the style sheet.
    what, figure, allowed, together : the figure that uses most of its allowance.
    at, where, leg : the worst pose, the place on the character, the leg. `brief` is the pose in a few words.
    drawing, drawing_words : the worst pose or the soles, as SVG; empty where there is none.
    soles, legend : the map of the soles, and what its marks mean.
    graph, graph_words : the figure over its range, or a bar; `curve` tells which.
    others : what else falls short: what was measured, and its figure against its allowance.
    cause, cures, notes : sentences.
    """

    check: str
    kind: str
    verdict: str
    title: str
    claim: str
    what: str
    figure: Markup
    allowed: Markup
    together: Markup
    at: str
    brief: str
    where: str
    leg: str
    drawing: str
    drawing_words: str
    soles: str
    legend: list[tuple[str, str]]
    graph: str
    graph_words: str
    curve: bool
    others: list[tuple[str, Markup]]
    cause: str
    cures: list[CureWords]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Proofs:
    """All of the plate: what falls short first and large, then what holds, six across."""

    summary: str
    claims: list[tuple[str, str, str]]
    short: list[ProofItem]
    advice: list[ProofItem]
    drawn: list[ProofItem]
    plain: list[ProofItem]
    absent: list[ProofItem]
    notes: list[tuple[str, str]]


def proofs(content: SheetContent, lengths: Lengths) -> Proofs | None:
    """The findings as the page shows them; None where no checks were run."""
    report, mesh = content.proof, content.character.mesh
    if report is None or mesh is None:
        return None
    pieces = Pieces(mesh)
    channels = {f"{row.control}.{row.name}": row for row in content.channels}
    items = [_item(content, finding, lengths, pieces, channels) for finding in report.findings]
    holding = [item for item in items if item.kind == "holds"]
    return Proofs(
        summary(report),
        [(item.check, item.kind, item.verdict) for item in items],
        [item for item in items if item.kind == "short"],
        [item for item in items if item.kind == "advice"],
        [item for item in holding if item.drawing],
        [item for item in holding if not item.drawing],
        [item for item in items if item.kind == "none"],
        [(item.check, " ".join(item.notes)) for item in items if item.notes and item.kind != "advice"],
    )


def _item(
    content: SheetContent, finding: Finding, lengths: Lengths, pieces: Pieces, channels: dict[str, ChannelRow]
) -> ProofItem:
    legs = content.measurement.legs
    short = finding.verdict == "falls short"
    words = worded(finding, lengths)
    leg = leg_of(finding, content).name
    at = pose_words(finding.pose, channels, leg, lengths, 6 if short else 2)
    drawing, drawing_words = _drawing(content, finding, lengths, pieces, channels, at)
    soles, legend = "", []
    if short and finding.soles:
        soles = draw_soles(content, finding.soles, lengths, SOLES, LARGE_TALL, True, finding.leg)
        legend = _legend(content, finding, lengths)
    lines, line_words = _graph(finding, lengths, GRAPH_TALL if drawing else BAR_TALL)
    return ProofItem(
        check=finding.check,
        kind=KINDS[finding.verdict],
        verdict=finding.verdict,
        title=title_of(finding),
        claim=finding.claim,
        what=finding.what,
        figure=words.alone,
        allowed=words.allowed,
        together=words.together,
        at=at if finding.pose else "",
        brief=_brief(finding, leg, channels, lengths),
        where=place_words(finding.place, legs, lengths),
        leg=finding.leg,
        drawing=drawing,
        drawing_words=drawing_words,
        soles=soles,
        legend=legend,
        graph=lines,
        graph_words=line_words,
        curve=bool(line_words),
        others=_others(finding, lengths),
        cause=finding.cause,
        cures=[
            CureWords(
                cure.sentence.rstrip("."),
                Markup() if cure.reaches is None else reached(finding, cure.reaches, lengths),
            )
            for cure in finding.cures
        ],
        notes=tuple(f"{note[:1].upper()}{note[1:]}" for note in finding.notes),
    )


def _brief(finding: Finding, leg: str, channels: dict[str, ChannelRow], lengths: Lengths) -> str:
    """The pose without the height to which the foot was raised so that its leg reaches it."""
    pose = {name: value for name, value in finding.pose.items() if name != f"{leg}.foot.up"}
    return pose_words(pose, channels, leg, lengths, 2) if pose else ""


def _drawing(
    content: SheetContent,
    finding: Finding,
    lengths: Lengths,
    pieces: Pieces,
    channels: dict[str, ChannelRow],
    at: str,
) -> tuple[str, str]:
    """The worst pose, or the soles in the row of those that hold."""
    short = finding.verdict == "falls short"
    if finding.soles and not short:
        drawn = draw_soles(content, finding.soles, lengths, SMALL, SMALL_TALL, False, finding.leg)
        return drawn, map_words(content, finding, channels, lengths)
    worst = worst_by_check(content).get(finding.check)
    if worst is None or part_shown(finding) is None:
        return "", ""
    leg = leg_of(finding, content)
    words = f"the {leg.name.replace('.', ' ')} {part_shown(finding)} {at}"
    width, tall = (LARGE, LARGE_TALL) if short else (SMALL, SMALL_TALL)
    return draw_worst(content, finding, worst, pieces, width, tall, f"{finding.claim} Here {words}."), words


def map_words(content: SheetContent, finding: Finding, channels: dict[str, ChannelRow], lengths: Lengths) -> str:
    """In which pose the soles are mapped, and what the deeper one does."""
    legs = {leg.name: leg for leg in content.measurement.legs}
    shown = pair_of(finding.soles, legs, finding.leg)
    if not shown:
        return ""
    sole = min(shown, key=lambda sole: min(sole.heights, default=0.0))
    leg = legs[sole.leg]
    at = pose_words(sole.pose, channels, sole.leg, lengths, 1)
    return f"mapped {at}: {worst_words(sole, leg, lengths)}"


def _graph(finding: Finding, lengths: Lengths, tall: float) -> tuple[str, str]:
    """The curve over its range, or a bar for a figure without one; nothing where no figure is asked for."""
    short = finding.verdict == "falls short"
    if finding.curve is not None and len(finding.curve.x) > 1:
        words = f"over {axis_words(finding.curve, finding.leg)}"
        if short:
            width, high = (GRAPH, 150.0) if finding.soles else (SOLES, 210.0)
            return graph(finding, lengths, width, high, detailed=True), words
        return graph(finding, lengths, SMALL, tall, detailed=False), words
    if finding.allowance is None:
        return "", ""
    use = max((measure.use for measure in finding.measures), default=0.0)
    width = 260.0 if short else SMALL
    return bar(use, width, BAR_TALL if short else tall, short, f"{finding.what}: {finding.verdict}"), ""


def _legend(content: SheetContent, finding: Finding, lengths: Lengths) -> list[tuple[str, str]]:
    """What the marks of the soles' map mean: class and words."""
    touch = max(touch_of(leg) for leg in content.measurement.legs)
    legs = {leg.name: leg for leg in content.measurement.legs}
    step = step_for(pair_of(finding.soles, legs, finding.leg), lengths)
    return [
        ("touch", f"touches, within {lengths.text(touch, 1)}"),
        ("hover", f"hovers, a line each {step:g} {lengths.unit}"),
        ("sink", "sinks under the floor"),
    ]


def _others(finding: Finding, lengths: Lengths) -> list[tuple[str, Markup]]:
    """What else of a finding falls short: the worst of each measure, whichever leg it is on."""
    found: dict[str, Measure] = {}
    for measure in finding.measures:
        if measure.what != finding.what and not measure.holds:
            known = found.get(measure.what)
            if known is None or measure.use > known.use:
                found[measure.what] = measure
    listed = sorted(found.values(), key=lambda measure: -measure.use)[:OTHERS]
    return [
        (f"{measure.what}{f', {measure.leg}' if measure.leg else ''}", worded(measure, lengths).together)
        for measure in listed
    ]
