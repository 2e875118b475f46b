"""The worst pose: quasi-random sampling over chosen channels, then a local search from the worst places found.

A claim is judged by a maximum, not by a lucky sample. Sampling is Sobol's sequence, scrambled by a seed (Owen's
scrambling, scipy), so that a report is the same in every run. The local search works on the rig's program over
blocks: slopes of the figure by central differences in each channel, steps along them and along each channel. Exact
derivatives of the program were tried in their place: a figure here is a maximum over vertices, joints or legs, so
it has kinks at just the poses that matter, and tracing the derivatives of a full rig takes longer (9 s) than the
whole battery may.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import qmc

from instep.character.arrays import FloatArray
from instep.checks.subject import Subject

BLOCK: Final = 1024
"""Poses evaluated at once: figures over some thousand vertices then stay under 32 MB."""

STARTS: Final = 3
"""Worst samples from which the local search sets out."""

ROUNDS: Final = 32
"""Steps of the local search at most. Each gains, or shrinks the step by half."""

LEAST_STEP: Final = 1e-4
"""Share of a channel's range. A step smaller than this no longer changes a figure that is read to three digits."""

Figure = Callable[[FloatArray], FloatArray]
"""(N, C) rows of channel values to (N,) figures; larger is worse."""


@dataclass(frozen=True, eq=False)
class Worst:
    """The worst row found (C,), its figure, and the figure of the worst sample before the local search."""

    row: FloatArray
    figure: float
    sampled: float


def sobol(count: int, dimensions: int, seed: int) -> FloatArray:
    """(count, dimensions) points of Sobol's sequence in the unit cube; `count` is a power of two."""
    sampler = qmc.Sobol(dimensions, rng=np.random.default_rng(seed))
    return np.asarray(sampler.random(count), dtype=np.float64)


def span(subject: Subject, names: Sequence[str], reach: float = 0.5) -> dict[str, tuple[float, float]]:
    """The range of each channel that the rig has; lengths at most `reach` of the leg."""
    spans: dict[str, tuple[float, float]] = {}
    for name in names:
        if subject.has(name):
            channel = subject.channel(name)
            low, high = channel.low, channel.high
            if channel.unit == "length":
                low, high = max(low, -reach * subject.unit), min(high, reach * subject.unit)
            spans[name] = (low, high)
    return spans


def spread(
    subject: Subject, spans: Mapping[str, tuple[float, float]], count: int, seed: int, base: FloatArray | None = None
) -> FloatArray:
    """(count, C) rows with the channels of `spans` spread over them, all others as in `base` (C,), or at rest."""
    rows = np.tile(subject.rig.defaults if base is None else base, (count, 1))
    if spans:
        columns = [subject.numbers[name] for name in spans]
        low, high = np.array(list(spans.values()), dtype=np.float64).T
        rows[:, columns] = low + sobol(count, len(columns), seed) * (high - low)
    return rows


def in_blocks(figure: Figure, rows: FloatArray) -> FloatArray:
    """(N,) figures of (N, C) rows, a block at a time; what is no number counts as infinite."""
    parts = [figure(rows[start : start + BLOCK]) for start in range(0, len(rows), BLOCK)]
    figures = np.concatenate(parts) if parts else np.zeros(0)
    return np.where(np.isnan(figures), np.inf, figures)


def find_worst(
    subject: Subject,
    figure: Figure,
    spans: Mapping[str, tuple[float, float]],
    *,
    count: int = 1024,
    words: Sequence[str] = (),
    base: FloatArray | None = None,
    settled: float = -np.inf,
    starts: int = STARTS,
    rounds: int = ROUNDS,
) -> Worst:
    """The worst row over `spans`.

    Parameters
    ----------
    figure : what is to be greatest.
    spans : by channel, (low, high); corners and the row at rest are tried besides `count` samples.
    words : name this search, so that it has a seed of its own.
    starts, rounds : of the local search.
    settled : figures up to this are rounding, which has no slope to climb: no local search is made from them.
    """
    start = subject.rig.defaults if base is None else base
    rows = spread(subject, spans, count, subject.salt(*words), start)
    rows = np.concatenate([start[None], _ends(subject, spans, start), rows])
    figures = in_blocks(figure, rows)
    order = np.argsort(-figures, kind="stable")
    sampled = float(figures[order[0]])
    if not spans or not np.isfinite(sampled) or sampled <= settled:
        return Worst(rows[order[0]], sampled, sampled)
    row, best = sharpen(subject, figure, spans, rows[order[:starts]], subject.salt(*words, "local"), rounds)
    return Worst(row, best, sampled) if best >= sampled else Worst(rows[order[0]], sampled, sampled)


def _ends(subject: Subject, spans: Mapping[str, tuple[float, float]], start: FloatArray) -> FloatArray:
    """Rows with one channel at an end of its span, and, for few channels, all corners."""
    rows = []
    for name, ends in spans.items():
        for end in ends:
            row = start.copy()
            row[subject.numbers[name]] = end
            rows.append(row)
    if 1 < len(spans) <= 5:
        columns = [subject.numbers[name] for name in spans]
        for corner in np.ndindex(*(2,) * len(spans)):
            row = start.copy()
            row[columns] = [ends[side] for ends, side in zip(spans.values(), corner, strict=True)]
            rows.append(row)
    return np.array(rows).reshape(-1, len(start))


def sharpen(
    subject: Subject,
    figure: Figure,
    spans: Mapping[str, tuple[float, float]],
    starts: FloatArray,
    seed: int,
    rounds: int = ROUNDS,
) -> tuple[FloatArray, float]:
    """The best row (C,) and its figure, climbing from `starts` (S, C) at once within `spans`."""
    columns = np.array([subject.numbers[name] for name in spans])
    low, high = np.array(list(spans.values()), dtype=np.float64).T
    width = high - low
    rng = np.random.default_rng(seed)
    rows = np.array(starts, dtype=np.float64)
    x = (rows[:, columns] - low) / np.where(width > 0, width, 1.0)
    value = in_blocks(figure, rows)
    step = np.full(len(rows), 0.05)
    along = np.zeros_like(x)
    factors = np.array([0.25, 1.0, 2.0, 4.0])
    # In many channels a full round of differences costs more than it tells: a seeded choice is tried instead.
    tried = min(len(columns), 12)
    every = np.arange(len(rows))
    for _ in range(rounds):
        chosen = np.arange(len(columns)) if tried == len(columns) else rng.choice(len(columns), tried, replace=False)
        away = np.zeros((2 * tried, len(columns)))
        away[np.arange(tried), chosen] = 1.0
        away[tried + np.arange(tried), chosen] = -1.0
        # Along the last round's slope besides: one call of the program a round.
        moves = np.concatenate([np.tile(away, (len(rows), 1, 1)), factors[:, None] * along[:, None]], axis=1)
        probes = np.clip(x[:, None] + step[:, None, None] * moves, 0.0, 1.0)
        seen = _figures(figure, rows, columns, low, width, probes)
        slope = np.zeros_like(x)
        with np.errstate(invalid="ignore"):
            slope[:, chosen] = np.nan_to_num(seen[:, :tried] - seen[:, tried : 2 * tried], posinf=0.0, neginf=0.0)
        length = np.linalg.norm(slope, axis=1, keepdims=True)
        along = slope / np.where(length > 0, length, 1.0)
        best = seen.argmax(axis=1)
        better = seen[every, best] > value
        x = np.where(better[:, None], probes[every, best], x)
        value = np.where(better, seen[every, best], value)
        step = np.where(better, np.minimum(1.5 * step, 0.25), 0.5 * step)
        if step.max() < LEAST_STEP or np.isinf(value).any():
            break
    winner = int(value.argmax())
    row = rows[winner].copy()
    row[columns] = low + x[winner] * width
    return row, float(value[winner])


def _figures(
    figure: Figure, rows: FloatArray, columns: FloatArray, low: FloatArray, width: FloatArray, probes: FloatArray
) -> FloatArray:
    """(S, P) figures of probes (S, P, n), each in its own start's row."""
    count = probes.shape[1]
    block = np.repeat(rows, count, axis=0)
    block[:, columns] = low + probes.reshape(-1, probes.shape[2]) * width
    return in_blocks(figure, block).reshape(len(rows), count)


def find_jump(
    subject: Subject,
    value: Callable[[FloatArray], FloatArray],
    starts: FloatArray,
    ends: FloatArray,
    *,
    steps: int = 16,
    halvings: int = 30,
) -> tuple[float, FloatArray]:
    """The greatest jump of a value along straight paths between rows (N, C), and the row where it happens.

    `value` gives (N, k) vectors; their distance is what jumps. On each path the interval with the greatest
    change is halved again and again, keeping the half that changes more: what is continuous goes to 0, however
    steep it is, while a jump stays. The result is the change left over 2^-`halvings` of an interval.
    """
    share = np.linspace(0.0, 1.0, steps + 1)
    paths = starts[:, None] + share[:, None] * (ends - starts)[:, None]
    values = _values(value, paths)
    change = _apart(values[:, 1:], values[:, :-1])
    worst = change.argmax(axis=1)
    every = np.arange(len(starts))
    low, high = paths[every, worst], paths[every, worst + 1]
    at_low, at_high = values[every, worst], values[every, worst + 1]
    left = change[every, worst]
    for halving in range(halvings):
        if halving == 6 and len(low) > 16:  # what has not settled by now is among the largest
            kept = np.argsort(-left, kind="stable")[:16]
            low, high, at_low, at_high = low[kept], high[kept], at_low[kept], at_high[kept]
        middle = 0.5 * (low + high)
        at_middle = value(middle)
        below, above = _apart(at_middle, at_low), _apart(at_high, at_middle)
        lower = below >= above
        pick = lower[:, None]
        low, high = np.where(lower[:, None], low, middle), np.where(lower[:, None], middle, high)
        at_low, at_high = np.where(pick, at_low, at_middle), np.where(pick, at_middle, at_high)
        left = np.maximum(below, above)
    found = int(left.argmax())
    return float(left[found]), low[found]


def _values(value: Callable[[FloatArray], FloatArray], paths: FloatArray) -> FloatArray:
    flat = paths.reshape(-1, paths.shape[-1])
    parts = [value(flat[start : start + 4 * BLOCK]) for start in range(0, len(flat), 4 * BLOCK)]
    values = np.concatenate(parts)
    return values.reshape(*paths.shape[:2], *values.shape[1:])


def _apart(a: FloatArray, b: FloatArray) -> FloatArray:
    """(...) distances between vectors (..., k)."""
    return np.asarray(np.linalg.norm(a - b, axis=-1), dtype=np.float64)
