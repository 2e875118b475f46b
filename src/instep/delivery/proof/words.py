"""Findings in words: figures with their units, poses, places, and the ten-second summary."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from markupsafe import Markup, escape

from instep.checks.model import UNBOUNDED, Finding, Measure, Place, Report
from instep.delivery.content import ChannelRow
from instep.delivery.lengths import Lengths, number, shortest
from instep.landmarks.model import LegLandmarks

TITLES: Final = {
    "rest": "Rest is the bind pose",
    "carry": "The root carries all",
    "mirror": "Sides mirror each other",
    "plant": "Contacts stay planted",
    "floor": "Soles keep the floor",
    "reach": "Reach ends softly",
    "aim": "Knees keep their aim",
    "switch": "Switches do not jump",
    "influence": "Each channel counts",
    "range": "Ranges are human",
    "skin": "Skin keeps its form",
    "skeleton": "The skeleton is sound",
    "programs": "Programs agree",
    "rebuild": "Rebuilds the same",
}
"""Each check's claim in a few words. A check that is not named here goes by its own name."""

KINDS: Final = {"holds": "holds", "falls short": "short", "advice": "advice", "does not apply": "none"}
"""The mark of each verdict, as the style sheet names it."""

SMALLEST: Final = 0.0005
"""In the printed unit. An allowance below this has no decimals that a person reads: powers of ten are printed."""

PLAIN_FIRST: Final = ("roll", "bank", "twist")
"""Channels of the foot that stand first in a pose's words, and without the word foot."""


@dataclass(frozen=True, slots=True)
class Worded:
    """A figure as it is printed. `figure` and `allowance` have no unit; `unit` stands after them, with its space."""

    figure: Markup
    allowance: Markup
    unit: str
    sense: str

    @property
    def together(self) -> Markup:
        """Figure and allowance in one line: "0.4 of 1.0 mm"."""
        if not self.allowance:
            return Markup("{}{}").format(self.figure, self.unit)
        if self.allowance == "0":
            return Markup("{}{}, none allowed").format(self.figure, self.unit)
        if self.sense == "at least":
            return Markup("{}{}, at least {}{}").format(self.figure, self.unit, self.allowance, self.unit)
        return Markup("{} of {}{}").format(self.figure, self.allowance, self.unit)

    @property
    def alone(self) -> Markup:
        """The figure with its unit."""
        return Markup("{}{}").format(self.figure, self.unit)

    @property
    def allowed(self) -> Markup:
        """The allowance with its unit and sense; empty where nothing is asked."""
        if not self.allowance:
            return Markup()
        if self.allowance == "0":
            return Markup("none")
        sense = "at least " if self.sense == "at least" else ""
        return Markup("{}{}{}").format(sense, self.allowance, self.unit)


def printed_unit(measure: Measure | Finding, lengths: Lengths) -> tuple[float, str]:
    """Factor from a measure's own unit to the printed one, and the printed unit with the space before it."""
    if measure.length is not None and measure.unit.startswith("of "):
        return measure.length * lengths.factor, f" {lengths.unit}"
    if measure.unit == "deg":
        return 1.0, "°"
    if measure.unit == "of 1":
        return 100.0, " %"
    if measure.unit.startswith("of "):
        return 100.0, f" % {measure.unit}"
    if measure.unit.startswith("degrees "):
        return 1.0, f"° {measure.unit.removeprefix('degrees ')}"
    return 1.0, f" {measure.unit}" if measure.unit else ""


def worded(measure: Measure | Finding, lengths: Lengths) -> Worded:
    """A measure's figure and allowance, with as many decimals as the allowance needs and as tell them apart."""
    factor, unit = printed_unit(measure, lengths)
    figure = measure.figure * factor
    allowance = None if measure.allowance is None else measure.allowance * factor
    if abs(measure.figure) >= UNBOUNDED:
        limit = Markup() if allowance is None else _plain(allowance, _decimals(allowance))
        return Worded(Markup("no bound,"), limit, unit, measure.sense)
    if allowance is None:
        return Worded(_either(figure, _decimals(figure)), Markup(), unit, measure.sense)
    if factor == 1.0 and "°" not in unit and float(figure).is_integer() and float(allowance).is_integer():
        word = unit
        if figure == 1.0 and word.endswith("s"):
            word = word[:-1]
        return Worded(_plain(figure, 0), _plain(allowance, 0), word, measure.sense)
    if 0.0 < allowance < SMALLEST:
        return Worded(_power(figure), _power(allowance), unit, measure.sense)
    decimals = _decimals(allowance or figure)
    while figure != allowance and decimals < 4 and number(figure, decimals) == number(allowance, decimals):
        decimals += 1
    limit = _plain(allowance, decimals) if allowance else Markup("0")
    return Worded(_plain(figure, decimals), limit, unit, measure.sense)


def reached(finding: Finding, reaches: float, lengths: Lengths) -> Markup:
    """The figure that a cure would reach, as the finding's own is printed."""
    like = Measure(
        finding.what, reaches, finding.allowance, finding.unit, finding.sense, finding.leg, finding.length
    )  # fmt: skip
    return worded(like, lengths).alone


def _decimals(reference: float) -> int:
    """Decimals that show two figures of a number, three at most."""
    return int(np.clip(1 - math.floor(math.log10(max(abs(reference), 1e-12))), 0, 3))


def _plain(value: float, decimals: int) -> Markup:
    return escape(number(value, decimals))


def _either(value: float, decimals: int) -> Markup:
    return _power(value) if 0.0 < abs(value) < SMALLEST else _plain(value, decimals)


def _power(value: float) -> Markup:
    """A number as one digit times a power of ten; plainly where it needs none."""
    if value == 0.0 or abs(value) >= 0.001:
        return _plain(value, 3 if value else 0)
    exponent = math.floor(math.log10(abs(value)))
    digit = round(abs(value) / 10.0**exponent)
    if digit == 10:
        digit, exponent = 1, exponent + 1
    first = "" if digit == 1 else f"{digit}·"
    sign = "−" if value < 0 else ""
    return Markup("{}{}10<sup>−{}</sup>").format(sign, first, -exponent)


def summary(report: Report) -> str:
    """ "12 claims hold, 1 falls short": what is read first."""
    holding = sum(finding.verdict == "holds" for finding in report.findings)
    short = sum(finding.verdict == "falls short" for finding in report.findings)
    held = f"{holding} claim holds" if holding == 1 else f"{holding} claims hold"
    if not short:
        return f"all {held}" if holding > 1 else held
    return f"{held}, {short} {'falls' if short == 1 else 'fall'} short"


def title_of(finding: Finding) -> str:
    """The claim in a few words."""
    return TITLES.get(finding.check, finding.check[:1].upper() + finding.check[1:])


def channel_words(name: str, leg: str) -> str:
    """A channel's name beside a leg that is named already: "roll" for "left.foot.roll"."""
    control, _, quantity = name.rpartition(".")
    if leg and control == f"{leg}.foot":
        return quantity if quantity in PLAIN_FIRST else f"foot {quantity}"
    if leg and control.startswith(f"{leg}."):
        return f"{control.removeprefix(f'{leg}.')} {quantity}"
    return name


def pose_words(
    pose: Mapping[str, float], channels: Mapping[str, ChannelRow], leg: str, lengths: Lengths, most: int
) -> str:
    """The channels of a pose that matter, with their values: at most `most`, then how many more."""
    told: list[tuple[tuple[int, int], str]] = []
    for index, (name, value) in enumerate(pose.items()):
        row = channels.get(name)
        unit = row.unit if row else ""
        if unit == "°":
            text = f"{shortest(value, 1)}°"
        elif unit == "m":
            text = lengths.text(value)
        else:
            text = shortest(value)
        if text.split(" ")[0].strip("°−0.") == "":
            continue  # so small that it would read as rest
        words = channel_words(name, leg)
        rank = PLAIN_FIRST.index(words) if words in PLAIN_FIRST else 9 if name.endswith("foot.up") else 5
        told.append(((rank, index), f"{words} {text}"))
    told.sort()
    if not told:
        return "at rest"
    shown = ", ".join(words for _, words in told[:most])
    more = len(told) - most
    return f"at {shown}" + (f" and {more} more" if more > 0 else "")


def place_words(place: Place | None, legs: tuple[LegLandmarks, ...], lengths: Lengths) -> str:
    """Where on the character: a landmark by its name, a joint by its own, a vertex by its distance from the heel."""
    if place is None:
        return ""
    if place.kind == "landmark":
        return place.name.replace(".", " ")
    if place.kind == "joint":
        return f"joint {place.name}"
    at = np.array(place.position)
    if not legs:
        return f"vertex {place.name}"
    leg = min(legs, key=lambda leg: float(np.linalg.norm(leg.ankle.position - at)))
    ahead = float((at - leg.heel.position) @ leg.axis)
    if lengths.number(abs(ahead)) == lengths.number(0.0):
        return f"vertex {place.name}, level with the heel"
    return f"vertex {place.name}, {lengths.text(abs(ahead))} {'before' if ahead >= 0 else 'behind'} the heel"
