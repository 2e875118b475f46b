"""Few keys in place of one a frame, on cubic segments, with every joint within a stated distance in space.

The channels of one control share their key frames, as an animator sets them. Keys lie on the motion; their slopes are
fitted by least squares. A foot control has keys where its stances begin and end, and between these it is exactly as it
was: on a floor that rests its channels are constant there, and on one that moves they have the floor's own keys. So a
contact is as exact on few keys as on many; the pivots may then be keyed as coarsely as the joints allow.

Keys are put in one by one where a joint is farthest off, into the control that is to blame, until none is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.motion.blend import runs
from instep.motion.file import FLOOR_KEYS
from instep.motion.model import Keys, Motion
from instep.motion.splines import evaluate_keys, fit_slopes, key_slopes
from instep.motion.stance import AIR, BALL, FLAT, HEEL, TIP, modes_of
from instep.rig import Channel, Rig

MOST_ROUNDS: Final = 400
"""Rounds of putting keys in: each puts in at least one, and a clip has no more frames than that where it matters."""

STILL: Final = 1e-6
"""Fraction of leg length. A channel that moves no joint by more over the whole clip has one key."""

RESTS: Final[dict[str, tuple[int, ...]]] = {
    "foot.roll": (FLAT,),
    "heel": (FLAT, BALL, TIP),
    "ball": (HEEL, FLAT),
    "tip": (HEEL, FLAT, BALL),
    "toes": (FLAT,),
    "outer": (HEEL, FLAT, BALL, TIP),
    "inner": (HEEL, FLAT, BALL, TIP),
}
"""Controls that turn a foot about places of its sole, and while what bears they rest."""

SHARE_OF_FLOOR: Final = 0.4
"""Share of the allowed distance that goes to the keys of an uneven floor."""


@dataclass(frozen=True, slots=True, eq=False)
class Thinned:
    """A thinned motion: with `keys`, and as values what these say. keys, frames : how many keys there are now, and
    how many one a frame would be, over the channels that move. worst : greatest distance of a joint, file's unit."""

    motion: Motion
    keys: int
    frames: int
    worst: float


@dataclass(slots=True, eq=False)
class _Group:
    """The channels of one control that move, and the frames of their keys. `tied` (N,): frames on which the channels
    of place are held to the floor. `forced`: key frames that stay."""

    control: str
    columns: list[int]
    frames: set[int]
    tied: BoolArray
    forced: frozenset[int]


def thin(rig: Rig, motion: Motion, within: float) -> Thinned:
    """Thin a motion so that no joint moves by more than `within` (in the file's unit) on any frame."""
    count = len(motion)
    reach = sensitivities(rig)
    values = np.array(motion.values)
    floor_keys, moved = _thin_floor(rig, motion, SHARE_OF_FLOOR * within)
    floor = replace(motion.floor, path=moved) if moved is not None else motion.floor
    if moved is not None and motion.floor.path is not None:
        _carry_feet(rig, values, moved - motion.floor.path)
    groups = _groups(rig, motion, values, reach, floor_keys)
    wanted = rig.evaluate(motion.values).position
    made = np.array(values)
    still = [c for c in range(len(rig.channels)) if not any(c in group.columns for group in groups)]
    made[:, still] = values[0, still]
    slopes = _floor_slopes(floor_keys, motion)
    keys: dict[str, Keys] = {}
    for group in groups:
        _fit(rig, motion, group, values, made, keys, slopes)
    worst = _meet(rig, motion, groups, values, made, keys, slopes, wanted, reach, within)
    if worst <= within:
        _take_out(rig, motion, groups, values, made, keys, slopes, wanted, within)
        worst = _meet(rig, motion, groups, values, made, keys, slopes, wanted, reach, within)
    for column in still:
        keys[rig.channels[column].name] = Keys(np.zeros(1, np.int64), values[:1, column].copy(), np.zeros(1))
    ordered = {channel.name: keys[channel.name] for channel in rig.channels if _says(channel, keys[channel.name])}
    moving = sum(len(group.columns) for group in groups)
    total = sum(len(group.frames) * len(group.columns) for group in groups)
    ordered |= floor_keys
    return Thinned(replace(motion, values=made, keys=ordered, floor=floor), total, moving * count, worst)


def _meet(
    rig: Rig,
    motion: Motion,
    groups: list[_Group],
    values: FloatArray,
    made: FloatArray,
    keys: dict[str, Keys],
    slopes: FloatArray,
    wanted: FloatArray,
    reach: FloatArray,
    within: float,
) -> float:
    """Put keys in until no joint is off by more than `within`; the greatest distance then."""
    worst = np.inf
    for _ in range(MOST_ROUNDS):
        away = np.linalg.norm(rig.evaluate(made).position - wanted, axis=2)
        worst = float(away.max())
        if worst <= within:
            break
        changed = _put_in(rig, groups, away, within, values, made, wanted, reach)
        if not changed:
            break
        for group in changed:
            _fit(rig, motion, group, values, made, keys, slopes)
    return worst


def _take_out(
    rig: Rig,
    motion: Motion,
    groups: list[_Group],
    values: FloatArray,
    made: FloatArray,
    keys: dict[str, Keys],
    slopes: FloatArray,
    wanted: FloatArray,
    within: float,
) -> None:
    """Take out the keys that turned out not to be needed: one after the other, where no joint near it gets too far
    off. Putting keys in one by one leaves a fifth too many."""
    for group in sorted(groups, key=lambda group: -len(group.columns) * len(group.frames)):
        for frame in sorted(group.frames - group.forced):
            frames = np.array(sorted(group.frames))
            at = int(np.searchsorted(frames, frame))
            low, high = int(frames[max(at - 3, 0)]), int(frames[min(at + 3, len(frames) - 1)]) + 1
            before = made[:, group.columns].copy()
            own = {rig.channels[column].name: keys[rig.channels[column].name] for column in group.columns}
            group.frames.discard(frame)
            _fit(rig, motion, group, values, made, keys, slopes)
            away = np.linalg.norm(rig.evaluate(made[low:high]).position - wanted[low:high], axis=2)
            if away.max() > within:
                group.frames.add(frame)
                made[:, group.columns] = before
                keys.update(own)


def _says(channel: Channel, keys: Keys) -> bool:
    """Whether a channel's keys say anything: a single key at rest is left out."""
    return len(keys.frames) > 1 or float(keys.values[0]) != channel.default


def sensitivities(rig: Rig) -> FloatArray:
    """(C,) the greatest distance by which a joint moves for one unit of each channel, about the rest pose."""
    count = len(rig.channels)
    step = 1e-3
    bent = np.tile(rig.defaults, (count + 1, 1))
    sunk = [number for number, channel in enumerate(rig.channels) if channel.name == "pelvis.up"]
    if sunk:
        bent[:, sunk[0]] -= 0.05 * rig.plan.unit  # away from the straight leg, where nothing moves it
    sizes = np.array([step * rig.plan.unit if channel.unit == "length" else step for channel in rig.channels])
    bent[np.arange(1, count + 1), np.arange(count)] += sizes
    position = rig.evaluate(bent).position
    away = np.linalg.norm(position[1:] - position[:1], axis=2).max(axis=1)
    return np.asarray(away / sizes, dtype=np.float64)


def _thin_floor(rig: Rig, motion: Motion, within: float) -> tuple[dict[str, Keys], FloatArray | None]:
    """Keys of an uneven floor, and (N, 2) what they say; with keys where stances begin and end."""
    path = motion.floor.path
    if path is None:
        return {}, None
    frames = {0, len(path) - 1}
    for leg in rig.plan.legs:
        for first, end in runs(modes_of(motion, leg) != AIR):
            frames |= {int(first), int(end) - 1}
    fixed = np.zeros(len(path), dtype=np.bool_)
    made = np.zeros_like(path)
    found: dict[str, Keys] = {}
    while True:
        at = np.array(sorted(frames), dtype=np.int64)
        for axis, name in enumerate(FLOOR_KEYS):
            found[name] = fit_slopes(path[:, axis], at, motion.rate, fixed, np.zeros(len(path)))
            made[:, axis] = evaluate_keys(found[name], len(path), motion.rate)
        away = np.linalg.norm(made - path, axis=1)
        if away.max() <= within or len(frames) == len(path):
            return found, made
        frames.add(int(away.argmax()))


def _floor_slopes(floor_keys: dict[str, Keys], motion: Motion) -> FloatArray:
    """(N, 2) the velocity at each frame of what the floor's keys say."""
    slopes = np.tile(np.array(motion.floor.velocity), (len(motion), 1))
    for axis, name in enumerate(FLOOR_KEYS):
        if name in floor_keys:
            slopes[:, axis] = key_slopes(floor_keys[name], len(motion), motion.rate)
    return slopes


def _carry_feet(rig: Rig, values: FloatArray, change: FloatArray) -> None:
    """Feet carried by what the floor's keys change of its path."""
    for leg in rig.plan.legs:
        values[:, rig.channel(f"{leg.name}.foot.across")] += change[:, 0] * leg.side
        values[:, rig.channel(f"{leg.name}.foot.along")] += change[:, 1]


def _groups(
    rig: Rig, motion: Motion, values: FloatArray, reach: FloatArray, floor_keys: dict[str, Keys]
) -> list[_Group]:
    """Controls with channels that move. A foot has keys at the ends of its stances; all others at the strikes."""
    count = len(motion)
    moves = np.ptp(values, axis=0) * reach > STILL * rig.plan.unit
    ends: dict[str, set[int]] = {}
    tied: dict[str, BoolArray] = {}
    strikes: dict[str, set[int]] = {}
    modes: dict[str, IntArray] = {}
    for leg in rig.plan.legs:
        modes[leg.name] = modes_of(motion, leg)
        bears = modes[leg.name] != AIR
        frames: set[int] = set()
        own: set[int] = set()
        for first, end in runs(bears):
            frames |= {int(first), int(end) - 1}
            own |= {int(first), int(end) - 1}
            if floor_keys:
                frames |= {int(f) for f in floor_keys[FLOOR_KEYS[0]].frames if first <= f < end}
        ends[leg.name], strikes[leg.name], tied[leg.name] = frames, own, bears
    by_control: dict[str, list[int]] = {}
    for column, channel in enumerate(rig.channels):
        if moves[column]:
            by_control.setdefault(_control(channel), []).append(column)
    groups = []
    for control, columns in by_control.items():
        leg_name = next((name for name in ends if control.startswith(f"{name}.")), None)
        frames = {0, count - 1}
        mask = np.zeros(count, dtype=np.bool_)
        pivot = "" if leg_name is None else control.partition(f"{leg_name}.")[2]
        if leg_name is not None and pivot in RESTS:
            # A flat foot stands on heel and ball: nothing rolls it until the heel leaves.
            mask = np.isin(modes[leg_name], RESTS[pivot])
            frames |= {frame for first, end in runs(mask) for frame in (int(first), int(end) - 1)}
            frames |= strikes[leg_name] if pivot == "foot.roll" else set()
        if leg_name is not None and control in (f"{leg_name}.foot", f"{leg_name}.foot.turn"):
            frames |= ends[leg_name] if control.endswith(".foot") else strikes[leg_name]
            mask = tied[leg_name]
        groups.append(_Group(control, columns, frames, mask, frozenset(frames)))
    return groups


def _control(channel: Channel) -> str:
    """The control that a channel shares its key frames with. A foot control has three: its place and its turn, which
    rest or go with the floor in a stance, and what rolls the foot, which moves then."""
    if channel.control.endswith(".foot"):
        if channel.quantity in ("yaw", "pitch", "lean"):
            return channel.control + ".turn"
        if channel.quantity in ("roll", "bank", "twist"):
            return channel.control + ".roll"
    return channel.control


def _fit(
    rig: Rig,
    motion: Motion,
    group: _Group,
    values: FloatArray,
    made: FloatArray,
    keys: dict[str, Keys],
    floor_slopes: FloatArray,
) -> None:
    """Fit the keys of a group's channels, and write what they say into `made`."""
    frames = np.array(sorted(group.frames), dtype=np.int64)
    sides = {leg.name: leg.side for leg in rig.plan.legs}
    for column in group.columns:
        channel = rig.channels[column]
        slopes = np.zeros(len(motion))
        if group.tied.any() and channel.quantity in ("across", "along"):
            side = sides.get(channel.control.removesuffix(".foot"), 1.0)
            slopes = floor_slopes[:, 0] * side if channel.quantity == "across" else floor_slopes[:, 1]
        tied = group.tied
        if channel.quantity not in ("across", "along"):
            # What rises for the skin's sake moves within a stance, and is fitted as it is.
            tied = _resting(values[:, column], group.tied, 1e-9 * max(rig.plan.unit, 1.0))
        own = fit_slopes(values[:, column], frames, motion.rate, tied, slopes)
        keys[channel.name] = own
        made[:, column] = evaluate_keys(own, len(motion), motion.rate)


def _resting(curve: FloatArray, tied: BoolArray, within: float) -> BoolArray:
    """The tied runs over which a curve does rest."""
    kept = np.zeros_like(tied)
    for first, end in runs(tied):
        kept[first:end] = np.ptp(curve[first:end]) <= within
    return kept


def _put_in(
    rig: Rig,
    groups: list[_Group],
    away: FloatArray,
    within: float,
    values: FloatArray,
    made: FloatArray,
    wanted: FloatArray,
    reach: FloatArray,
) -> list[_Group]:
    """Put keys where joints are too far off: in each stretch between keys at most one a control and round.

    `away` (N, J) distances of joints. To blame is the control that brings the joint nearest when it alone is as it
    was: tried out on the frames that are off worst, since what a joint makes of a control's error (a knee of a leg
    that is nearly straight moves five times as far as its foot) is not to be guessed.
    """
    worst = np.where((away > within).any(axis=1), away.max(axis=1), 0.0)
    peaks = [int(first + worst[first:end].argmax()) for first, end in runs(worst > 0.0)]
    frames = np.repeat(np.array(peaks, dtype=np.int64), len(groups))
    trial = made[frames].copy()
    for number, group in enumerate(groups):
        rows = np.arange(number, len(frames), len(groups))
        columns = np.array(group.columns)
        trial[rows[:, None], columns] = values[frames[rows][:, None], columns]
    left = np.linalg.norm(rig.evaluate(trial).position - wanted[frames], axis=2)
    changed: list[_Group] = []
    for place, peak in enumerate(peaks):
        joint = int(away[peak].argmax())
        own = left[place * len(groups) : (place + 1) * len(groups), joint]
        for number in np.argsort(own, kind="stable"):
            group = groups[int(number)]
            if own[int(number)] >= away[peak, joint] or _key_near(group, peak, values, made, reach):
                if own[int(number)] < away[peak, joint] and group not in changed:
                    changed.append(group)
                break
    if not changed:
        # No single control helps: a key for each control at the worst frame.
        worst_frame = int(away.max(axis=1).argmax())
        changed = [group for group in groups if _key_near(group, worst_frame, values, made, reach)]
    return changed


def _key_near(group: _Group, frame: int, values: FloatArray, made: FloatArray, reach: FloatArray) -> bool:
    """Put a key into the stretch of a control that holds a frame, where the control is farthest off there; False where
    that stretch has no room."""
    keyed = np.array(sorted(group.frames))
    left = int(np.clip(np.searchsorted(keyed, frame, side="right") - 1, 0, len(keyed) - 1))
    stretches = [left] if keyed[left] != frame else [left - 1, left]
    best, most = -1, 0.0
    for stretch in stretches:
        if not 0 <= stretch < len(keyed) - 1:
            continue
        inside = np.arange(keyed[stretch] + 1, keyed[stretch + 1])
        if len(inside):
            apart = np.abs(made[inside][:, group.columns] - values[inside][:, group.columns])
            off = (apart * reach[group.columns]).sum(axis=1)
            at = int(off.argmax())
            if off[at] > most:
                best, most = int(inside[at]), float(off[at])
    if best < 0:
        return False
    group.frames.add(best)
    return True
