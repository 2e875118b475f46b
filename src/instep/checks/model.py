"""What a check says: figures against what is allowed, the worst pose, the likely cause, the cure. All plain data."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Literal

REPORT_VERSION: Final = 1
"""Of the report's layout, as `docs/proof.schema.json` writes it down."""

UNBOUNDED: Final = 1e9
"""Stands for a figure that is infinite or no number, which JSON cannot write: far over every allowance."""

Verdict = Literal["holds", "falls short", "advice", "does not apply"]
Sense = Literal["at most", "at least"]


@dataclass(frozen=True, slots=True)
class Place:
    """Where on the character: `name` is a landmark ("left.heel"), a joint's own name, or a vertex's number.

    `position` is in the bind pose, in the world, in the file's unit.
    """

    kind: Literal["landmark", "joint", "vertex"]
    name: str
    position: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Curve:
    """A figure over a range, for a small graph: `y` in the measure's own unit, `x` in `x_unit`."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    x_label: str
    x_unit: str
    y_label: str


@dataclass(frozen=True, slots=True)
class SoleMap:
    """The sole of one foot in one pose: heights over the floor of vertices of the mesh, in the file's unit, signed:
    below 0 is under the floor."""

    leg: str
    pose: Mapping[str, float]
    vertices: tuple[int, ...]
    heights: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Edit:
    """One line of the rig file: the keys that lead to it, and the value to write there."""

    keys: tuple[str, ...]
    value: float | tuple[float, ...] | str


@dataclass(frozen=True, slots=True)
class Cure:
    """What to do: a sentence, the figure that it reaches where that was worked out (in the unit of the finding), and
    the edits of the rig file that it means; none where it is a change of the model."""

    sentence: str
    reaches: float | None = None
    edits: tuple[Edit, ...] = ()


@dataclass(frozen=True, slots=True)
class Measure:
    """One figure of a check.

    Attributes
    ----------
    what : what was measured, in a few words: "drift at the heel".
    figure : the worst found, in `unit`.
    allowance : what is allowed; None where the figure is only told.
    unit : "of foot length", "of leg length", "deg", ...
    sense : whether the figure is to be at most or at least the allowance.
    leg : the leg it belongs to; "" for the whole character.
    length : what a figure of 1 is in the file's own unit of length; None where it is no length.
    pose : the worst pose: values of the channels that are not at rest.
    place : where on the character.
    curve : the figure over a range.
    """

    what: str
    figure: float
    allowance: float | None
    unit: str
    sense: Sense = "at most"
    leg: str = ""
    length: float | None = None
    pose: Mapping[str, float] = field(default_factory=dict)
    place: Place | None = None
    curve: Curve | None = None

    @property
    def use(self) -> float:
        """How much of the allowance is used up: over 1 falls short. 0 where nothing is asked."""
        if self.allowance is None:
            return 0.0
        if self.sense == "at least":
            return math.inf if self.figure <= 0.0 < self.allowance else self.allowance / max(self.figure, 1e-300)
        if self.allowance == 0.0:
            return 0.0 if self.figure <= 0.0 else math.inf
        return self.figure / self.allowance

    @property
    def holds(self) -> bool:
        """Whether the figure keeps its allowance."""
        if self.allowance is None:
            return True
        return self.figure <= self.allowance if self.sense == "at most" else self.figure >= self.allowance


@dataclass(frozen=True, slots=True)
class Finding:
    """What one check found.

    Attributes
    ----------
    check : its name: "floor".
    claim : what it claims of the rig, as a sentence.
    verdict : "advice" is never a failure; "does not apply" where the rig has nothing of the kind, and `cause` says why.
    figure, allowance, unit, sense, leg, length, pose, place, curve : of the measure that uses most of its allowance.
    what : that measure's words.
    measures : all of them.
    soles : the soles at their worst, where the check is about them.
    notes : sentences worth reading whatever the verdict.
    cause, cures : where it falls short.
    """

    check: str
    claim: str
    verdict: Verdict
    what: str
    figure: float
    allowance: float | None
    unit: str
    sense: Sense
    leg: str
    length: float | None
    pose: Mapping[str, float]
    place: Place | None
    curve: Curve | None
    measures: tuple[Measure, ...]
    soles: tuple[SoleMap, ...] = ()
    notes: tuple[str, ...] = ()
    cause: str = ""
    cures: tuple[Cure, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """All findings on one rig.

    Attributes
    ----------
    version : of the layout.
    character : the name of its file.
    leg_length, foot_lengths : in the file's unit.
    seed : of the sampling; the same seed gives the same report.
    findings : in the order of the checks.
    """

    version: int
    character: str
    leg_length: float
    foot_lengths: Mapping[str, float]
    seed: int
    findings: tuple[Finding, ...]

    @property
    def holds(self) -> bool:
        """Whether nothing falls short."""
        return all(finding.verdict != "falls short" for finding in self.findings)

    def finding(self, check: str) -> Finding:
        """The finding of one check; KeyError where it was not run."""
        for finding in self.findings:
            if finding.check == check:
                return finding
        raise KeyError(check)

    def to_data(self) -> dict[str, Any]:
        """As plain lists and dictionaries, for JSON: what `docs/proof.schema.json` describes."""
        data: dict[str, Any] = plain(asdict(self))
        return data


def plain(value: Any) -> Any:
    """The same with tuples as lists and mappings as dictionaries."""
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(entry) for entry in value]
    return value


def bounded(figure: float) -> float:
    """The figure as a plain float of nine digits; UNBOUNDED where it is infinite or no number."""
    return float(f"{figure:.9g}") + 0.0 if math.isfinite(figure) else UNBOUNDED


def told_of(measures: Iterable[Measure], causes: Mapping[str, str]) -> tuple[str, list[str]]:
    """Sentences for the measures that fall short, worst kind first, with the legs that they belong to; and the kinds.

    `causes` has a sentence without its full stop for each kind of measure, by its words.
    """
    short = sorted((measure for measure in measures if not measure.holds), key=lambda m: -min(m.use, 1e300))
    kinds = list(dict.fromkeys(measure.what for measure in short))
    sentences = []
    for kind in kinds:
        legs = " and ".join(dict.fromkeys(m.leg for m in short if m.what == kind and m.leg))
        sentence = causes[kind]
        sentences.append(sentence[:1].upper() + sentence[1:] + (f" ({legs})." if legs else "."))
    return " ".join(sentences), kinds


def conclude(
    check: str,
    claim: str,
    measures: Iterable[Measure],
    *,
    soles: Iterable[SoleMap] = (),
    notes: Iterable[str] = (),
    cause: str = "",
    cures: Iterable[Cure] = (),
    advice: bool = False,
    head: str = "",
) -> Finding:
    """The finding of some measures: headed by the one that uses most of its allowance; falls short where any does.

    Where all hold, those whose words begin with `head` go before the others. `cause` and `cures` are kept only where it
    falls short, or where it is advice.
    """
    measures = tuple(measures)
    first = max(measures, key=lambda m: (not m.holds, m.holds and bool(head) and m.what.startswith(head), m.use))
    short = not all(measure.holds for measure in measures)
    verdict: Verdict = "advice" if advice else "falls short" if short else "holds"
    return Finding(
        check, claim, verdict, first.what, first.figure, first.allowance, first.unit, first.sense, first.leg,
        first.length, first.pose, first.place, first.curve, measures, tuple(soles), tuple(notes),
        cause if short or advice else "", tuple(cures) if short or advice else (),
    )  # fmt: skip


def inapplicable(check: str, claim: str, cause: str, cures: Iterable[Cure] = ()) -> Finding:
    """The finding of a check that has nothing to look at; `cause` says why."""
    return Finding(
        check, claim, "does not apply", "nothing to measure", 0.0, None, "", "at most", "", None, {}, None, None, (),
        (), (), cause, tuple(cures),
    )  # fmt: skip
