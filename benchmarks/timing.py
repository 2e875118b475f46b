"""The least time of several tries, taken in turn: what a shared machine adds is left out as far as it can be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import perf_counter


@dataclass(frozen=True, slots=True)
class Contestant:
    """Something to be timed.

    Attributes
    ----------
    name : what it is.
    how : how it is called.
    seconds : does the work once and returns how long it took.
    count : how many things that work handles; 0 where the time itself is the figure.
    """

    name: str
    how: str
    seconds: Callable[[], float]
    count: int = 0


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured speed: `value` is how many `unit` a second, or seconds where `unit` is "s"."""

    name: str
    value: float
    unit: str
    how: str


@dataclass(frozen=True, slots=True)
class Group:
    """Figures that were taken in turn and may be compared; the first is what ratios refer to."""

    title: str
    about: str
    figures: tuple[Figure, ...]


def timed(call: Callable[[], object]) -> Callable[[], float]:
    """A call as seconds of this process' clock."""

    def seconds() -> float:
        start = perf_counter()
        call()
        return perf_counter() - start

    return seconds


def race(title: str, about: str, unit: str, contestants: Sequence[Contestant], tries: int = 7) -> Group:
    """All contestants once, uncounted; then in turn, `tries` times; the best try of each."""
    for contestant in contestants:
        contestant.seconds()
    best = [float("inf")] * len(contestants)
    for _ in range(tries):
        for number, contestant in enumerate(contestants):
            best[number] = min(best[number], contestant.seconds())
    figures = (
        Figure(c.name, c.count / least, f"{unit}/s", c.how) if c.count else Figure(c.name, least, "s", c.how)
        for c, least in zip(contestants, best, strict=True)
    )
    return Group(title, about, tuple(figures))
