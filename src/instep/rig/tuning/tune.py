"""All numbers that can be solved from the mesh, on one rig, and into its rig file."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.errors import LandmarkError, RigFileError
from instep.landmarks import LegLandmarks
from instep.rig.description import HandTunedLeg, LegOptions, RigDescription, TunedLeg
from instep.rig.file import (
    build_described_rig,
    measure_described,
    read_described_character,
    read_rig_file,
    write_rig_file,
)
from instep.rig.nearest import nearest_name
from instep.rig.plan import LegPlan
from instep.rig.rig import Rig
from instep.rig.tuning.ball import OVER_DEG, solve_ball_gives_out
from instep.rig.tuning.edges import bank_heights, off_floor, solve_edge
from instep.rig.tuning.hold import pad_departure, solve_hold
from instep.rig.tuning.knee import solve_knee_aim
from instep.rig.tuning.soft import lengths_of_bones, solve_soft, zone_cost
from instep.rig.tuning.solved import Solved, Value
from instep.rig.tuning.tip import solve_tip_takes_over
from instep.rig.tuning.tread import RollSinking, Tread, full_rig

NUMBERS: Final[Mapping[str, tuple[str, ...]]] = {
    "hold": ("hold",),
    "ball": ("ball_gives_out_deg",),
    "tip": ("tip_takes_over_deg",),
    "soft": ("soft",),
    "knee": ("knee_aim_deg",),
    "edges": ("outer_shift", "inner_shift"),
}
"""What can be solved, in the order in which it is, and the names in the rig file's table ``tuned``."""

BOTH_SIDES: Final[Mapping[str, float]] = {
    "hold": 0.02,
    "ball_gives_out_deg": 2.0,
    "tip_takes_over_deg": 2.0,
    "soft": 2e-3,
    "knee_aim_deg": 1.0,
    "outer_shift": 5e-3,
    "inner_shift": 5e-3,
}
"""Two sides whose solved numbers differ by no more than this get one value: so a mirrored pose stays mirrored on a
model that was modelled by hand. In the number's own unit: below it nobody sees a difference."""

BY_HAND_NOTE: Final = "set by hand: kept"


@dataclass(frozen=True)
class _Found:
    """A solved number, and its figure at any other value: for the value that both sides get."""

    solved: Solved
    figure_at: Callable[[Value], float] | None = None


def tune_rig(rig: Rig, only: Collection[str] | None = None) -> tuple[Solved, ...]:
    """Solve the numbers of every leg; `only` names some of NUMBERS. What is set by hand is told, and not solved.

    Raises RigFileError for a name that is none of NUMBERS, LandmarkError where the character has no mesh.
    """
    chosen = chosen_numbers(only)
    if rig.character.mesh is None:
        raise LandmarkError("the file has no mesh, so there is nothing to tune to", where=rig.character.source.name)
    full = full_rig(rig)
    found: list[_Found] = []
    for leg, plan in zip(rig.measurement.legs, rig.plan.legs, strict=True):
        found += _tune_leg(rig, full, leg, plan, chosen)
    return tuple(entry.solved for entry in _one_value_for_both_sides(found))


def chosen_numbers(only: Collection[str] | None) -> tuple[str, ...]:
    """The names of NUMBERS that are asked for, in their order; RigFileError for a name that is none."""
    for name in only or ():
        if name not in NUMBERS:
            near = nearest_name(name, NUMBERS)
            raise RigFileError(
                f'"{name}" is nothing that can be tuned',
                expected=f'one such as "{near}"' if near else "one of " + ", ".join(NUMBERS),
                cure="Correct the name",
            )
    return tuple(name for name in NUMBERS if only is None or name in only)


def _tune_leg(rig: Rig, full: Rig, leg: LegLandmarks, plan: LegPlan, chosen: tuple[str, ...]) -> list[_Found]:
    hand = rig.description.by_hand.tuned.get(leg.name, HandTunedLeg())
    found: list[_Found] = []
    hold = plan.hold
    if "hold" in chosen and plan.has_toes:
        if hand.hold is not None:
            found.append(_kept(leg, "hold", hand.hold))
        else:
            entry = _hold(rig, full, leg, plan)
            if entry is not None:
                found.append(entry)
                hold = entry.solved.value if isinstance(entry.solved.value, float) else hold
    if plan.has_toes and len(leg.sole) and {"ball", "tip"} & set(chosen):
        found += _ball_and_tip(full, leg, plan, hand, hold, chosen)
    if "soft" in chosen:
        found.append(_soft(rig, leg, plan))
    if "knee" in chosen:
        if leg.knee.by_hand:
            found.append(_kept(leg, "knee_aim_deg", "the knee's landmark"))
        else:
            R = np.asarray(rig.measurement.R_world_body, dtype=np.float64)
            found.append(
                _Found(
                    solve_knee_aim(leg, plan, R, rig.measurement.leg_length),
                    lambda value: abs(value) if isinstance(value, float) else 0.0,
                )
            )
    if "edges" in chosen and len(leg.sole):
        found += _edges(rig, full, leg)
    return found


def _kept(leg: LegLandmarks, name: str, what: float | str) -> _Found:
    said = f"{what:g}" if isinstance(what, float) else what
    return _Found(Solved(leg.name, name, None, 0.0, 0.0, "", "", f"{said}, {BY_HAND_NOTE}"))


def _hold(rig: Rig, full: Rig, leg: LegLandmarks, plan: LegPlan) -> _Found | None:
    one = replace(rig.measurement, legs=(leg,))
    fit = solve_hold(replace(rig, measurement=one), full).get(leg.name)
    if fit is None:
        return None

    def figure(value: Value) -> float:
        assert isinstance(value, float)
        return pad_departure(full, leg, value) / leg.foot_length

    solved = Solved(
        leg.name, "hold", fit.hold, figure(plan.hold), figure(fit.hold), "toe pad off its rest height over the lift",
        "of foot length",
    )  # fmt: skip
    return _Found(solved, figure)


def _ball_and_tip(
    full: Rig, leg: LegLandmarks, plan: LegPlan, hand: HandTunedLeg, hold: float, chosen: tuple[str, ...]
) -> list[_Found]:
    tread = Tread.of(full, leg)
    if not tread.has("ball.pitch", "tip.pitch", "toes.hold", "foot.up"):
        return []  # pinned: there is no roll to share
    sinking = RollSinking.of(tread, hold, plan.settle_deg)
    before = (plan.ball_gives_out_deg, plan.tip_takes_over_deg)
    gives_out = plan.ball_gives_out_deg
    found: list[_Found] = []
    if "ball" in chosen:
        if hand.ball_gives_out_deg is not None:
            found.append(_kept(leg, "ball_gives_out_deg", hand.ball_gives_out_deg))
        else:
            ball = solve_ball_gives_out(leg.name, sinking, tread.share, before, hand.tip_takes_over_deg)
            gives_out = ball.value if isinstance(ball.value, float) else gives_out
            found.append(
                _Found(
                    ball,
                    lambda value: sinking.deepest(_number(value), hand.tip_takes_over_deg or _number(value) + OVER_DEG),
                )
            )
    if "tip" in chosen:
        if hand.tip_takes_over_deg is not None:
            found.append(_kept(leg, "tip_takes_over_deg", hand.tip_takes_over_deg))
        else:
            tip = solve_tip_takes_over(leg.name, sinking, gives_out, before)
            found.append(_Found(tip, lambda value: sinking.deepest(gives_out, _number(value))))
    return found


def _array(value: Value | None) -> FloatArray:
    return np.atleast_1d(np.asarray(value, dtype=np.float64))


def _number(value: Value) -> float:
    assert isinstance(value, float)
    return value


def _soft(rig: Rig, leg: LegLandmarks, plan: LegPlan) -> _Found:
    options = rig.description.options.get(leg.name, LegOptions())
    if options.soft != LegOptions().soft:
        return _kept(leg, "soft", options.soft)
    unit = rig.measurement.leg_length
    return _Found(
        solve_soft(leg, plan, unit), lambda value: zone_cost(*lengths_of_bones(leg), _number(value) * unit, unit)
    )


def _edges(rig: Rig, full: Rig, leg: LegLandmarks) -> list[_Found]:
    tread = Tread.of(full, leg)
    now = rig.description.tuned.get(leg.name, TunedLeg())
    found = []
    for edge, landmark, shift in (
        ("outer", leg.outer, now.outer_shift),
        ("inner", leg.inner, now.inner_shift),
    ):
        if landmark.by_hand:
            found.append(_kept(leg, f"{edge}_shift", f"the landmark {leg.name}.{edge}"))
        elif tread.has(f"{edge}.lean", "foot.up"):
            solved = solve_edge(tread, edge, shift or (0.0, 0.0))
            found.append(_Found(solved, _edge_figure(tread, edge, shift or (0.0, 0.0))))
    return found


def _edge_figure(tread: Tread, edge: str, now: tuple[float, float]) -> Callable[[Value], float]:
    lowest = bank_heights(tread, edge).min(axis=1) / tread.leg.foot_length
    return lambda value: off_floor(lowest, np.array(value) - np.array(now))


def _one_value_for_both_sides(found: list[_Found]) -> list[_Found]:
    """Of a pair of legs whose numbers nearly agree, both with the mean; their figures are worked out anew."""
    at = {(entry.solved.leg, entry.solved.name): number for number, entry in enumerate(found)}
    result = list(found)
    for entry in found:
        solved = entry.solved
        first, dot, rest = solved.leg.partition(".")
        other = at.get(("right" + dot + rest, solved.name)) if first == "left" else None
        if other is None or solved.value is None or found[other].solved.value is None:
            continue
        one, two = _array(solved.value), _array(found[other].solved.value)
        if np.array_equal(one, two) or np.abs(one - two).max() > BOTH_SIDES[solved.name]:
            continue
        # Whole degrees stay whole, and the ball gives out no later than either sole allows.
        mean = np.minimum(one, two) if solved.name.endswith("_deg") else np.round(0.5 * (one + two), 5)
        value: Value = float(mean[0]) if isinstance(solved.value, float) else (float(mean[0]), float(mean[1]))
        for number in (at[solved.leg, solved.name], other):
            own = result[number]
            after = own.figure_at(value) if own.figure_at is not None else own.solved.after
            result[number] = replace(own, solved=replace(own.solved, value=value, after=after))
    return result


def with_solved(description: RigDescription, solved: Collection[Solved]) -> RigDescription:
    """The description with solved numbers written in, and the figures that they reach. What was solved before and is
    not among them stays; what a hand set is never touched."""
    tuned = {leg: numbers.model_dump(exclude_none=True) for leg, numbers in description.tuned.items()}
    reached = {leg: dict(figures) for leg, figures in description.reached.items()}
    for entry in solved:
        if entry.value is not None:
            tuned.setdefault(entry.leg, {})[entry.name] = entry.value
            reached.setdefault(entry.leg, {})[entry.name] = (_short(entry.before), _short(entry.after))
        elif entry.note.endswith(BY_HAND_NOTE):
            tuned.get(entry.leg, {}).pop(entry.name, None)
            reached.get(entry.leg, {}).pop(entry.name, None)
    legs = {leg: TunedLeg.model_validate(numbers) for leg, numbers in tuned.items() if numbers}
    return description.model_copy(
        update={"tuned": legs, "reached": {leg: figures for leg, figures in reached.items() if figures}}
    )


def _short(figure: float) -> float:
    """A figure to three digits; what is rounding counts as 0."""
    return float(f"{figure:.3g}") if np.isfinite(figure) and abs(figure) > 1e-9 else 0.0


def solved_before(description: RigDescription) -> tuple[str, ...]:
    """The names of NUMBERS that the tool has solved in a description: what is solved again when it is built anew."""
    there = {name for tuned in description.tuned.values() for name in tuned.model_dump(exclude_none=True)}
    return tuple(number for number, names in NUMBERS.items() if there & set(names))


@dataclass(frozen=True, eq=False)
class Tuning:
    """What tuning a rig file came to; `rig` is the rig as tuned."""

    rig: Rig
    rig_file: Path
    solved: tuple[Solved, ...]
    description: RigDescription


def tune_file(path: Path | str, only: Collection[str] | None = None, *, write: bool = True) -> Tuning:
    """Solve the numbers of a rig file's rig and write them into it, whole or not at all.

    Raises InstepError of the kinds that reading, measuring and building raise, OutputError where it cannot be written.
    """
    path = Path(path)
    chosen_numbers(only)
    description = read_rig_file(path)
    character = read_described_character(description, path)
    measurement = measure_described(character, description, path)
    rig = build_described_rig(character, measurement, description, path)
    solved = tune_rig(rig, only)
    tuned = with_solved(description, solved)
    # Built before it is written: a file that does not build shall not take the place of one that does.
    rebuilt = build_described_rig(character, measure_described(character, tuned, path), tuned, path)
    if write:
        write_rig_file(tuned, path)
    return Tuning(rebuilt, path, solved, tuned)
