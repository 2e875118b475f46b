"""A clip solved as a whole: banded Gauss-Newton over all frames, with smoothness.

Minimised over the channels x_t of all frames: sum_t |W (f(x_t) - y_t)|^2 + sum_k lambda_k sum_t (second difference of
x_k)^2, where f are the places and turns of pelvis, legs and toes, and y what the clip has. The normal equations have
blocks on five diagonals and are solved by scipy's banded Cholesky factorisation. A penalty on second differences is a
low-pass of fourth order whose response is half at the frequency f where lambda (2 sin(pi f / rate))^4 = 1 (Whittaker's
smoother), so lambda is told as that frequency.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from scipy.linalg import solveh_banded

from instep.character.arrays import BoolArray, FloatArray
from instep.motion.goals import Goals, goals_of
from instep.motion.inverse import solve_channels
from instep.rig import Rig, build_rig
from instep.rig.description import ByHand
from instep.rig.emitters.numpy_blocks import compile_numpy

MOST_STEPS: Final = 7
"""Steps of Gauss-Newton: from the closed form the design's trial took seven to machine precision."""

ENOUGH: Final = 1e-4
"""Degrees, or that share of a percent of the leg: a step that changes no channel by more ends the iteration."""

TURN_WEIGHT: Final = 0.25
"""Legs' lengths that a radian counts as: half a degree weighs as much as 2 mm on a leg of 0.9 m."""

PLACED: Final = ("across", "up", "along", "yaw", "pitch", "lean")
"""What a foot control is placed and turned by."""

WINDOW: Final = 3000
OVERLAP: Final = 90
"""Frames solved at once, and frames on either side that are solved and dropped: bounds the memory (8 kB a frame); what
a frame knows of one 90 frames away is below rounding at the frequencies that are of use."""


@lru_cache(maxsize=4)
def _reduced(rig: Rig) -> tuple[Rig, object, tuple[tuple[int, int], ...]]:
    """The rig with the channels that joint data determine alone, its derivatives' evaluator, and their places.

    Pivots, pole marks and the root are fixed at rest: the full set of channels is redundant (rank 22 of 58).
    """
    full = build_rig(
        rig.character,
        rig.measurement,
        rig.description.model_copy(update={"controls": "essential", "plain": False, "by_hand": _unpinned(rig)}),
    )
    wanted = [
        channel.name
        for channel in full.channels
        if channel.control == "pelvis"
        or (channel.control.endswith(".foot") and channel.quantity in PLACED)
        or channel.name.endswith((".knee.twist", ".toes.bend"))
    ]
    pins = {channel.name: channel.default for channel in full.channels if channel.name not in wanted}
    by_hand = _unpinned(rig).model_copy(update={"pinned": pins})
    small = build_rig(
        rig.character,
        rig.measurement,
        rig.description.model_copy(update={"controls": "essential", "plain": False, "by_hand": by_hand}),
    )
    program = small.jacobian
    rows = {name: number for number, name in enumerate(small.program.outputs)}
    columns = {channel.name: number for number, channel in enumerate(small.channels)}
    places = []
    for name in program.outputs:
        output, _, channel_name = name.partition(" / ")
        places.append((rows[output], columns[channel_name]))
    return small, compile_numpy(program), tuple(places)


def _unpinned(rig: Rig) -> ByHand:
    return rig.description.by_hand.model_copy(update={"pinned": {}, "ranges": {}})


def smooth_goals(rig: Rig, goals: Goals, rate: float, smooth_hz: float) -> Goals:
    """The goals that the rig can reach and that move smoothly, nearest to the given ones in the least squares.

    `smooth_hz` is the frequency at which half of a motion is kept. Plain joints are smoothed one by one, by the same
    rule. The result is exactly reachable: the closed form then returns it.
    """
    small, derivatives, places = _reduced(rig)
    start = solve_channels(small, goals)
    data = _data(small, goals)
    power = 1.0 / (2.0 * np.sin(np.pi * min(smooth_hz / rate, 0.49))) ** 4
    frames = len(goals)
    lambdas = _lambdas(small, derivatives, places, start, power)
    values = np.empty_like(start)
    for first in range(0, frames, WINDOW):
        low, high = max(first - OVERLAP, 0), min(first + WINDOW + OVERLAP, frames)
        solved = _solve(small, derivatives, places, start[low:high], data[:, low:high], lambdas)
        values[first : first + WINDOW] = solved[first - low : first - low + WINDOW]
    reached = goals_of(small, small.evaluate(values))
    plains = _smooth_turns(goals.plains, power)
    return Goals(reached.pelvis_turn, reached.pelvis_place, reached.legs, plains)


def _data(small: Rig, goals: Goals) -> FloatArray:
    """(O, N) what the clip has for each output of the program."""
    R = small.plan.R_world_body
    frames = len(goals)
    turns: dict[str, FloatArray] = {"pelvis": goals.pelvis_turn}
    spots: dict[str, FloatArray] = {"pelvis": goals.pelvis_place}
    for name, leg in goals.legs.items():
        turns |= {f"{name}.thigh": leg.thigh, f"{name}.foot": leg.foot, f"{name}.toes": leg.toes}
        spots |= {f"{name}.shin": leg.knee, f"{name}.foot": leg.ankle}
    data = np.full((len(small.program.outputs), frames), np.nan)
    for number, driver in enumerate(small.plan.drivers):
        base = 1 + 7 * number
        if driver in turns:
            data[base] = turns[driver][:, 0]
            data[base + 1 : base + 4] = (turns[driver][:, 1:] @ R.T).T
        if driver in spots:
            data[base + 4 : base + 7] = (spots[driver] @ R.T).T
    return data


def _residuals(small: Rig, outputs: FloatArray, data: FloatArray) -> FloatArray:
    """(O, N) weighted differences; zero where the clip says nothing. Quaternions are compared on the nearer side."""
    aligned = data.copy()
    for number in range(len(small.plan.drivers)):
        rows = slice(1 + 7 * number, 5 + 7 * number)
        near = np.asarray(np.sum(outputs[rows] * data[rows], axis=0), dtype=np.float64)
        aligned[rows] *= np.where(near < 0.0, -1.0, 1.0)
    difference = (outputs - aligned) * _weights(small)[:, None]
    return np.asarray(np.where(np.isnan(aligned), 0.0, difference), dtype=np.float64)


def _weights(small: Rig) -> FloatArray:
    weights = np.zeros(len(small.program.outputs))
    for number in range(len(small.plan.drivers)):
        base = 1 + 7 * number
        weights[base : base + 4] = 2.0 * TURN_WEIGHT  # a small turn by a radian changes a quaternion by a half
        weights[base + 4 : base + 7] = 1.0 / small.plan.unit
    return weights


SAMPLED: Final = 256
"""Frames over which the weight of the smoothness is levelled: one for the whole clip, so that windows join."""


def _lambdas(
    small: Rig, derivatives: object, places: tuple[tuple[int, int], ...], start: FloatArray, power: float
) -> FloatArray:
    """(n,) the weight of each channel's smoothness: `power` times what the joints say of it, on the mean."""
    assert callable(derivatives)
    frames = np.unique(np.linspace(0, len(start) - 1, min(len(start), SAMPLED)).round().astype(np.int64))
    entries = derivatives(np.ascontiguousarray(start[frames].T))
    weights = _weights(small)
    diagonal = np.zeros(start.shape[1])
    for (row, column), entry in zip(places, entries, strict=True):
        diagonal[column] += float(np.mean((entry * weights[row]) ** 2))
    return np.asarray(power * np.maximum(diagonal, 1e-9 * diagonal.max()), dtype=np.float64)


def _solve(
    small: Rig,
    derivatives: object,
    places: tuple[tuple[int, int], ...],
    start: FloatArray,
    data: FloatArray,
    lambdas: FloatArray,
) -> FloatArray:
    assert callable(derivatives)
    frames, count = start.shape
    rows = np.array([row for row, _ in places])
    columns = np.array([column for _, column in places])
    used: BoolArray = np.asarray(~np.isnan(data).all(axis=1))
    weights = np.where(used, _weights(small), 0.0)
    # Only rows that count: the program's zeros are left out already.
    keep = used[rows]
    compact = {int(row): number for number, row in enumerate(np.unique(rows[keep]))}
    at = np.array([compact[int(row)] for row in rows[keep]])
    second = _second_difference_bands(frames)
    values = start.copy()
    scale = np.array([1.0 if channel.unit == "deg" else 1.0 / small.plan.unit for channel in small.channels])
    order = np.array(sorted(compact, key=compact.__getitem__))
    for _ in range(MOST_STEPS):
        residual = _residuals(small, small.evaluate_outputs(values), data)
        entries = derivatives(np.ascontiguousarray(values.T))
        jacobian = np.zeros((frames, len(compact), count))
        jacobian[:, at, columns[keep]] = (entries[keep] * weights[rows[keep], None]).T
        transposed = np.swapaxes(jacobian, 1, 2)
        blocks = transposed @ jacobian
        gradient = (transposed @ residual[order].T[:, :, None])[:, :, 0]
        gradient += lambdas * _apply_second(values)
        bands = _banded(blocks, lambdas, second)
        step = solveh_banded(bands, -gradient.ravel(), lower=True, check_finite=False).reshape(frames, count)
        values = values + step
        if np.abs(step * scale).max() < ENOUGH:
            break
    return values


def _second_difference_bands(frames: int) -> FloatArray:
    """(3, N) main, first and second lower diagonal of D'D, with D the second difference."""
    bands = np.zeros((3, frames))
    for k in range(frames - 2):
        for i, a in ((0, 1.0), (1, -2.0), (2, 1.0)):
            for j, b in ((0, 1.0), (1, -2.0), (2, 1.0)):
                if i >= j:
                    bands[i - j, k + j] += a * b
        if k == 2 and frames > 8:
            break
    if frames > 8:
        bands[:, 2 : frames - 2] = np.array([[6.0], [-4.0], [1.0]])
        bands[:, frames - 2] = [5.0, -2.0, 0.0]
        bands[:, frames - 1] = [1.0, 0.0, 0.0]
        bands[1, frames - 2] = -2.0
        bands[2, frames - 2 :] = 0.0
        bands[:, 0], bands[:, 1] = [1.0, -2.0, 1.0], [5.0, -4.0, 1.0]
    return bands


def _apply_second(values: FloatArray) -> FloatArray:
    """(N, n) D'D applied along the frames."""
    if len(values) < 3:
        return np.zeros_like(values)
    bend = np.diff(values, 2, axis=0)
    result = np.zeros_like(values)
    result[:-2] += bend
    result[1:-1] -= 2.0 * bend
    result[2:] += bend
    return result


def _banded(blocks: FloatArray, lambdas: FloatArray, second: FloatArray) -> FloatArray:
    """Lower banded form (2 n + 1, N n) of the blocks and of the smoothness that couples frames."""
    frames, count, _ = blocks.shape
    bands = np.zeros((2 * count + 1, frames, count))
    for offset in range(count):
        for column in range(count - offset):
            bands[offset, :, column] = blocks[:, column + offset, column]
    bands[0] += second[0][:, None] * lambdas
    if frames > 1:
        bands[count] += second[1][:, None] * lambdas
    if frames > 2:
        bands[2 * count] += second[2][:, None] * lambdas
    return bands.reshape(2 * count + 1, frames * count)


def _smooth_turns(turns: dict[str, FloatArray], power: float) -> dict[str, FloatArray]:
    """Each joint's whole turn smoothed by its quaternion's parts (Whittaker), then made a turn again."""
    if not turns:
        return {}
    stacked = np.concatenate(list(turns.values()), axis=1)
    frames = len(stacked)
    smooth = stacked
    if frames > 2:
        bands = power * _second_difference_bands(frames)
        bands[0] += 1.0
        smooth = solveh_banded(bands, stacked, lower=True)
    made = {}
    for number, name in enumerate(turns):
        own = smooth[:, 4 * number : 4 * number + 4]
        made[name] = own / np.linalg.norm(own, axis=1, keepdims=True)
    return made
