"""When heel, ball and tip bear: from height and speed of the sole's own points, over a floor that is found.

A part bears where its lowest point is near the floor and moves slowly against it, with hysteresis: it starts to bear
inside the narrow limits and goes on inside the wide ones. All limits are fractions of the foot's length, so they hold
for a character of any size. The floor's own motion (a treadmill, a walk on the spot), its slope and its steps are
found from where the feet rest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter1d

from instep.character.arrays import BoolArray, FloatArray
from instep.motion.blend import runs
from instep.motion.faults import MotionError
from instep.motion.floor import Rest, find_floor, find_velocity, uneven_velocity
from instep.motion.model import Contact, Floor, Part
from instep.motion.sole import SolePart, SoleTracks


@dataclass(frozen=True, slots=True)
class Limits:
    """What counts as bearing. Heights are fractions of foot length, speeds foot lengths a second, times seconds.

    Defaults: a heel strikes at about 2 m/s and slows within 50 ms, and toes leave at 1 m/s within 20 ms, so that
    2 foot lengths (0.5 m/s) a second lie within 20 ms of the force plates in `../shared/data/motion`.
    """

    height_on: float = 0.07
    height_off: float = 0.11
    speed_on: float = 1.6
    speed_off: float = 2.2
    shortest_s: float = 0.06
    gap_s: float = 0.08
    smooth_s: float = 0.010


DEFAULT: Final = Limits()

UNEVEN_SPREAD: Final = 0.3
"""Foot lengths a second. A floor against which the bearing feet's speeds spread more than this moves unevenly; the
spread of feet on a treadmill is below 0.1."""

UNEVEN_LEFT: Final = 0.6
"""Share of that spread that is allowed for once the floor's own unevenness is known."""


PATH_SMOOTH_S: Final = 0.06
"""Seconds over which the path of an uneven floor is smoothed."""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Contacts of a clip, the floor, and by leg and part (N,) height over the floor and speed against it."""

    contacts: tuple[Contact, ...]
    floor: Floor
    heights: dict[str, dict[Part, FloatArray]]
    speeds: dict[str, dict[Part, FloatArray]]


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What is looked at: places and velocities of the lowest point of each part and of each foot."""

    lows: dict[str, dict[Part, tuple[FloatArray, FloatArray]]]
    feet: dict[str, tuple[FloatArray, FloatArray]]
    foot_length: dict[str, float]
    rate: float
    limits: Limits
    expected: float | None


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What is seen against a floor: by leg its height (N,), by leg and part which frames bear, height and speed as
    fractions of the foot's length."""

    floor: Floor
    ground: dict[str, FloatArray]
    bears: dict[str, dict[Part, BoolArray]]
    high: dict[str, dict[Part, FloatArray]]
    fast: dict[str, dict[Part, FloatArray]]
    limits: dict[str, Limits]


def find_contacts(
    tracks: SoleTracks,
    rate: float,
    start_s: float = 0.0,
    *,
    limits: Limits = DEFAULT,
    velocity: tuple[float, float] | None = None,
    expected: float | None = None,
    cyclic: bool = False,
) -> Found:
    """The contacts of N frames of soles at `rate` frames a second.

    `velocity` is the floor's own, along left and forward, where it is known; otherwise it is found. `expected` is the
    height of the character's own floor. A `cyclic` clip (its last frame is its first) is looked at with what comes
    before and after it. Raises MotionError where there are no frames or a number is not finite. A clip that never
    touches a floor has no contacts, and that is no error.
    """
    _refuse_nonsense(tracks)
    frames = len(tracks.pelvis)
    pad = min(frames - 1, round(rate)) if cyclic and frames > 2 else 0
    shown = slice(pad, pad + frames)
    if pad:
        tracks = _unrolled(tracks, frames, pad)
    lows = {
        leg: {part: _lowest(own, rate, limits.smooth_s) for part, own in parts.items()}
        for leg, parts in tracks.parts.items()
    }
    feet = {leg: _lowest_of_foot(parts) for leg, parts in lows.items()}
    seen = _Seen(lows, feet, tracks.foot_length, rate, limits, expected)
    even, spread = find_velocity(feet, tracks.foot_length, limits.speed_on)
    if velocity is not None:
        even, spread = velocity, 0.0
    drift = np.tile([even[0], 0.0, even[1]], (len(tracks.pelvis), 1))
    look = _look(seen, drift, spread)
    path: FloatArray | None = None
    if spread > UNEVEN_SPREAD * float(np.mean(list(tracks.foot_length.values()))):
        # The floor moves unevenly: what the bearing feet share on each frame. Then all is looked at against that.
        speeds = {leg: {part: speed for part, (_, speed) in parts.items()} for leg, parts in lows.items()}
        drift = uneven_velocity(speeds, look.bears, look.high, drift, rate)
        look = _look(seen, drift, UNEVEN_LEFT * spread)
        # What bears is seen against the floor as it is; what feet are planted on moves no faster than a walker sways.
        moved = _path(gaussian_filter1d(drift, PATH_SMOOTH_S * rate, axis=0, mode="nearest"), rate)[shown]
        path = (moved - moved[0])[:, [0, 2]]
        mean = path[-1] * rate / max(frames - 1, 1)
        even = (float(mean[0]), float(mean[1]))
    floor = replace(look.floor, velocity=even, path=path)
    contacts: list[Contact] = []
    for leg, parts in look.bears.items():
        for part, bears in parts.items():
            for first, end in runs(bears[shown]):
                inside = slice(pad + first, pad + end)
                contacts.append(
                    Contact(
                        leg,
                        part,
                        round(start_s + first / rate, 6),
                        round(start_s + (end - 1) / rate, 6),
                        _confidence(look.high[leg][part][inside], look.fast[leg][part][inside], look.limits[leg]),
                        round(float(np.median(look.ground[leg][inside])), 6),
                    )
                )
    sized = {leg: tracks.foot_length[leg] for leg in look.high}
    return Found(
        tuple(sorted(contacts, key=lambda c: (c.start_s, c.leg, c.part))),
        floor,
        {leg: {part: own[shown] * sized[leg] for part, own in parts.items()} for leg, parts in look.high.items()},
        {leg: {part: own[shown] * sized[leg] for part, own in parts.items()} for leg, parts in look.fast.items()},
    )


def _look(seen: _Seen, drift: FloatArray, spread: float) -> _Look:
    """Against a floor of velocity (N, 3), with twice `spread` allowed on top of the limits of speed."""
    carried = _path(drift, seen.rate)
    still: list[Rest] = []
    limits: dict[str, Limits] = {}
    for leg, (spot, speed) in seen.feet.items():
        size = seen.foot_length[leg]
        more = 2.0 * spread / size
        limits[leg] = replace(seen.limits, speed_on=seen.limits.speed_on + more, speed_off=seen.limits.speed_off + more)
        slow = np.linalg.norm(speed - drift, axis=1) < limits[leg].speed_off * size
        still += _rests(leg, slow, spot - carried, _lie(seen.lows[leg]), seen.rate, size, seen.limits.shortest_s)
    moves = bool(np.abs(drift).max(initial=0.0) > 0.0)
    floor, rests = find_floor(still, seen.foot_length, seen.expected, moves=moves)
    ground: dict[str, FloatArray] = {}
    bears: dict[str, dict[Part, BoolArray]] = {}
    high: dict[str, dict[Part, FloatArray]] = {}
    fast: dict[str, dict[Part, FloatArray]] = {}
    for leg, parts in seen.lows.items():
        size = seen.foot_length[leg]
        own = [rest for rest in rests if rest.leg == leg]
        ground[leg] = _ground_under(own, floor, seen.feet[leg][0] - carried)
        bears[leg], high[leg], fast[leg] = {}, {}, {}
        wide = limits[leg]
        for part, (spot, speed) in parts.items():
            # On a slope the floor is not as high under the ball as under the heel.
            h = (spot[:, 1] - _ground_under(own, floor, spot - carried)) / size
            v = np.linalg.norm(speed - drift, axis=1) / size
            on = _hysteresis((h < wide.height_on) & (v < wide.speed_on), (h < wide.height_off) & (v < wide.speed_off))
            bears[leg][part] = _tidy(on, seen.rate, wide) if own else np.zeros(len(on), dtype=np.bool_)
            high[leg][part], fast[leg][part] = h, v
    return _Look(floor, ground, bears, high, fast, limits)


def _path(drift: FloatArray, rate: float) -> FloatArray:
    """(N, 3) how far a floor of velocity (N, 3) has moved, by the trapezoidal rule."""
    steps = 0.5 * (drift[1:] + drift[:-1]) / rate
    return np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])


def _unrolled(tracks: SoleTracks, frames: int, pad: int) -> SoleTracks:
    """The cycle with `pad` frames before and after it."""
    index = np.arange(-pad, frames + pad) % (frames - 1)
    parts = {
        leg: {part: SolePart(own.points[index], own.rest) for part, own in of_leg.items()}
        for leg, of_leg in tracks.parts.items()
    }
    return SoleTracks(parts, tracks.foot_length, tracks.pelvis[index])


def _refuse_nonsense(tracks: SoleTracks) -> None:
    if not len(tracks.pelvis):
        raise MotionError("the clip has no frames", expected="at least one")
    for leg, parts in tracks.parts.items():
        for own in parts.values():
            bad = ~np.isfinite(own.points).all(axis=(1, 2))
            if bad.any():
                raise MotionError(
                    f"the {leg} foot has no place at frame {int(np.flatnonzero(bad)[0])}",
                    expected="finite numbers",
                    cure="Fill the gaps of the clip first",
                )


def _lowest(part: SolePart, rate: float, smooth_s: float) -> tuple[FloatArray, FloatArray]:
    """(N, 3) the place of a part's lowest point over its own rest height, and (N, 3) that point's velocity."""
    points = part.points
    sigma = smooth_s * rate
    if sigma > 0.4 and len(points) > 3:
        points = gaussian_filter1d(points, sigma, axis=0, mode="nearest")
    speed = np.gradient(points, 1.0 / rate, axis=0) if len(points) > 1 else np.zeros_like(points)
    raised = points[:, :, 1] - part.rest
    which = raised.argmin(axis=1)
    frames = np.arange(len(points))
    spot = points[frames, which].copy()
    spot[:, 1] = raised[frames, which]
    return spot, speed[frames, which]


def _lowest_of_foot(parts: dict[Part, tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """Place and velocity of the lowest of a foot's parts at each frame."""
    spots = np.stack([spot for spot, _ in parts.values()])
    speeds = np.stack([speed for _, speed in parts.values()])
    which = spots[:, :, 1].argmin(axis=0)
    frames = np.arange(spots.shape[1])
    return spots[which, frames], speeds[which, frames]


def _lie(parts: dict[Part, tuple[FloatArray, FloatArray]]) -> FloatArray:
    """(N, 3) the way from a foot's heel to its ball, or to its tip where it has no ball."""
    front = parts.get("ball", parts.get("tip"))
    if front is None or "heel" not in parts:
        return np.zeros_like(next(iter(parts.values()))[0])
    return np.asarray(front[0] - parts["heel"][0], dtype=np.float64)


def _rests(
    leg: str, slow: BoolArray, spot: FloatArray, lie: FloatArray, rate: float, size: float, shortest_s: float
) -> list[Rest]:
    """Where a foot rests: it is slow, and before and after it stands no lower (so the top of a jump is none)."""
    found: list[Rest] = []
    around = max(round(0.1 * rate), 1)
    for first, end in runs(slow):
        if (end - first) / rate < shortest_s and first > 0 and end < len(slow):
            continue
        height = float(np.median(spot[first:end, 1]))
        before, after = spot[max(first - around, 0) : first, 1], spot[end : end + around, 1]
        if min(before.min(initial=np.inf), after.min(initial=np.inf)) < height - 0.05 * size:
            continue
        found.append(
            Rest(leg, int(first), int(end), np.median(spot[first:end], axis=0), np.median(lie[first:end], axis=0))
        )
    return found


def _ground_under(own: list[Rest], floor: Floor, spot: FloatArray) -> FloatArray:
    """(N,) height of the floor under a foot; on steps that of the nearest rest in time."""
    if floor.kind != "steps" or not own:
        return floor.heights(spot[:, 0], spot[:, 2])
    frames = np.arange(len(spot))
    distance = np.stack([np.maximum(np.maximum(r.first - frames, frames - r.end + 1), 0) for r in own])
    return np.asarray(np.array([r.place[1] for r in own])[distance.argmin(axis=0)], dtype=np.float64)


def _hysteresis(starts: BoolArray, goes_on: BoolArray) -> BoolArray:
    """True from where `starts` holds for as long as `goes_on` does."""
    kept = np.zeros(len(starts), dtype=np.bool_)
    for first, end in runs(goes_on):
        begun = np.flatnonzero(starts[first:end])
        if len(begun):
            kept[first + begun[0] : end] = True
    return kept


def _tidy(bears: BoolArray, rate: float, limits: Limits) -> BoolArray:
    """Short gaps closed, then short contacts dropped (but for those at the clip's ends, which may be longer)."""
    tidy = bears.copy()
    for first, end in runs(~tidy):
        if first > 0 and end < len(tidy) and (end - first) / rate < limits.gap_s:
            tidy[first:end] = True
    for first, end in runs(tidy):
        if first > 0 and end < len(tidy) and (end - first) / rate < limits.shortest_s:
            tidy[first:end] = False
    return tidy


def _confidence(high: FloatArray, fast: FloatArray, limits: Limits) -> float:
    """1 for a part that lies still on the floor, 0 at the wide limits: one minus the mean share of the worse."""
    share = np.maximum(np.abs(high) / limits.height_off, fast / limits.speed_off)
    return round(float(np.clip(1.0 - np.mean(share), 0.0, 1.0)), 3)
