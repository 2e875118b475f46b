"""Skin weights: how a vertex is shared along the joint tree.

Each joint has a gate: the fraction of what reaches its parent that goes on to it. Across a joint a gate is a
smooth step over a plane, so that weights are smooth; where limbs come near each other a gate also asks which
limb's field the vertex belongs to, so that nothing leaks from one to another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from examples.salt_ferry.fields import Field
from instep.character.arrays import FloatArray, IntArray

Gate = Callable[[FloatArray], FloatArray]
"""(n, 3) points to (n,) fractions from 0 to 1."""

INFLUENCES = 4
"""Influences a vertex at most: what one set of joints and weights in glTF holds."""


def ramp(x: FloatArray, start: float | FloatArray, end: float | FloatArray) -> FloatArray:
    """Smooth step: 0 at `start`, 1 at `end`, slope and curvature 0 at both."""
    t = np.clip((x - start) / (np.asarray(end) - start), 0.0, 1.0)
    return np.asarray(t * t * t * (t * (6.0 * t - 15.0) + 10.0))


def always(points: FloatArray) -> FloatArray:
    """The gate of a part that hangs on one joint, or of the first joint of a chain."""
    return np.ones(len(points))


def across(place: Sequence[float] | FloatArray, out: Sequence[float] | FloatArray, behind: float, ahead: float) -> Gate:
    """A step over the plane at `place`, from `behind` metres before it to `ahead` metres beyond along `out`."""
    c, n = np.asarray(place, dtype=np.float64), np.asarray(out, dtype=np.float64)
    n = n / np.linalg.norm(n)
    return lambda p: ramp((p - c) @ n, -behind, ahead)


def belonging(limb: Field, trunk: Field, width: float) -> Gate:
    """A step from the trunk's field to the limb's: one half where both are equally far."""
    return lambda p: ramp(trunk(p) - limb(p), -0.5 * width, 0.5 * width)


def aside(width: float) -> Gate:
    """0 at the middle of the body, 1 from `width` metres on: what is left leaves the middle smoothly."""
    return lambda p: ramp(np.abs(p[:, 0]), 0.0, width)


def both(*gates: Gate) -> Gate:
    """The product of gates."""

    def gate(points: FloatArray) -> FloatArray:
        total = gates[0](points)
        for other in gates[1:]:
            total = total * other(points)
        return total

    return gate


def either(*gates: Gate) -> Gate:
    """1 less the product of what the gates leave: open where any of them is."""

    def gate(points: FloatArray) -> FloatArray:
        left = 1.0 - gates[0](points)
        for other in gates[1:]:
            left = left * (1.0 - other(points))
        return np.asarray(1.0 - left)

    return gate


def opposite(gate: Gate) -> Gate:
    """What a gate leaves."""
    return lambda p: np.asarray(1.0 - gate(p))


def led(gates: Mapping[str, Gate], own: Gate, path: Sequence[str]) -> dict[str, Gate]:
    """Gates with those of `path` opened, and all others closed, to what belongs to a limb by `own`.

    A hand that hangs below the hips still belongs to the chest: a plane across the spine cannot tell.
    """
    closed = opposite(own)
    return {
        name: gate if gate is always else either(gate, own) if name in path else both(gate, closed)
        for name, gate in gates.items()
    }


def weigh(points: FloatArray, names: Sequence[str], parents: IntArray, gates: Mapping[str, Gate]) -> FloatArray:
    """(n, J) weights of points (n, 3); rows sum to 1, with at most INFLUENCES above 0.

    `gates` names the joints that take part. A joint's share comes from the nearest joint above it that takes
    part; exactly one has none above it and starts with everything. Where the gates of several children sum
    to more than 1 they are scaled down to 1.
    """
    taking_part = [j for j, name in enumerate(names) if name in gates]
    assert len(taking_part) == len(gates), "a gate for an unknown joint"
    above: dict[int, int] = {}
    for j in taking_part:
        parent = int(parents[j])
        while parent >= 0 and parent not in taking_part:
            parent = int(parents[parent])
        above[j] = parent
    first = [j for j in taking_part if above[j] < 0]
    assert len(first) == 1, "one joint starts with everything"
    weights = np.zeros((len(points), len(names)))
    weights[:, first[0]] = 1.0
    for j in taking_part:  # parents stand before children
        children = [c for c in taking_part if above[c] == j]
        if not children:
            continue
        opened = np.stack([gates[names[c]](points) for c in children], axis=1)
        opened /= np.maximum(opened.sum(axis=1), 1.0)[:, None]
        share = weights[:, j].copy()
        weights[:, children] = share[:, None] * opened
        weights[:, j] = share * (1.0 - opened.sum(axis=1))
    weights[weights < 1e-4] = 0.0
    if weights.shape[1] > INFLUENCES:
        least = np.sort(weights, axis=1)[:, -INFLUENCES][:, None]
        weights = np.where(weights >= least, weights, 0.0)
    return np.asarray(weights / weights.sum(axis=1)[:, None])


def packed(weights: FloatArray) -> tuple[IntArray, FloatArray]:
    """(n, 4) joints and weights of dense weights (n, J), heaviest first; joint 0 where the weight is 0."""
    order = np.argsort(-weights, axis=1, kind="stable")[:, :INFLUENCES]
    values = np.take_along_axis(weights, order, axis=1)
    return np.where(values > 0.0, order, 0).astype(np.int64), values
