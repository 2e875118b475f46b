"""Gait events from the motion of the pelvis and the feet alone: a second opinion on contacts.

Zeni, Richards & Higginson 2008, Gait Posture 27:710: a foot strikes when its heel stands farthest ahead of the pelvis,
and its toes leave when they stand farthest behind it, along the way that the walker goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from instep.character.arrays import FloatArray
from instep.motion.contacts import Found
from instep.motion.model import PARTS
from instep.motion.sole import SoleTracks


@dataclass(frozen=True, slots=True)
class GaitEvent:
    """A heel strike or a toe-off of a leg."""

    leg: str
    kind: Literal["strike", "off"]
    time_s: float


def progression(tracks: SoleTracks, velocity: tuple[float, float], rate: float) -> FloatArray:
    """(2,) unit vector along left and forward: the way that the pelvis goes over the floor; forward where it stays."""
    seconds = (len(tracks.pelvis) - 1) / rate
    moved = tracks.pelvis[-1, [0, 2]] - tracks.pelvis[0, [0, 2]] - np.array(velocity) * seconds
    size = float(np.linalg.norm(moved))
    foot = float(np.mean(list(tracks.foot_length.values())))
    return np.asarray(moved / size, dtype=np.float64) if size > 0.5 * foot else np.array([0.0, 1.0])


def gait_events(
    tracks: SoleTracks, rate: float, start_s: float = 0.0, velocity: tuple[float, float] = (0.0, 0.0)
) -> tuple[GaitEvent, ...]:
    """The events of N frames of soles. Extremes at the very ends of a clip are none: they may lie beyond."""
    way = progression(tracks, velocity, rate)
    events: list[GaitEvent] = []
    least = max(round(0.4 * rate), 1)
    for leg, parts in tracks.parts.items():
        size = tracks.foot_length[leg]
        # A paw may have no heel of its own that treads: then its rearmost part that does.
        heel = next(parts[part] for part in PARTS if part in parts).points.mean(axis=1)
        toe = next(parts[part] for part in reversed(PARTS) if part in parts).points.mean(axis=1)
        kinds: tuple[tuple[Literal["strike", "off"], FloatArray, float], ...] = (
            ("strike", heel, 1.0),
            ("off", toe, -1.0),
        )
        for kind, spot, sign in kinds:
            ahead = sign * ((spot - tracks.pelvis)[:, [0, 2]] @ way)
            if len(ahead) > 3:
                ahead = gaussian_filter1d(ahead, max(0.008 * rate, 0.3), mode="nearest")
            peaks, _ = find_peaks(ahead, distance=least, prominence=0.5 * size)
            events += [GaitEvent(leg, kind, float(start_s + peak / rate)) for peak in peaks]
    return tuple(sorted(events, key=lambda event: event.time_s))


@dataclass(frozen=True, slots=True)
class Stride:
    """A stance as found from contacts, and what the second opinion says: times in seconds, None where it is silent."""

    leg: str
    start_s: float
    end_s: float
    strike_s: float | None
    off_s: float | None
    whole: bool


def stances_of(found: Found, times_s: FloatArray, events: tuple[GaitEvent, ...] = ()) -> tuple[Stride, ...]:
    """The stances of each leg: contacts that touch or overlap are one. `whole` where neither end is the clip's."""
    frame = float(times_s[1] - times_s[0]) if len(times_s) > 1 else 0.0
    strides: list[Stride] = []
    for leg in found.heights:
        spans: list[list[float]] = []
        for contact in sorted((c for c in found.contacts if c.leg == leg), key=lambda c: c.start_s):
            if spans and contact.start_s <= spans[-1][1] + 2.5 * frame:
                spans[-1][1] = max(spans[-1][1], contact.end_s)
            else:
                spans.append([contact.start_s, contact.end_s])
        for start, end in spans:
            whole = start > times_s[0] + 0.5 * frame and end < times_s[-1] - 0.5 * frame
            strides.append(
                Stride(
                    leg,
                    float(start),
                    float(end),
                    _near(events, leg, "strike", start),
                    _near(events, leg, "off", end),
                    bool(whole),
                )
            )
    return tuple(sorted(strides, key=lambda stride: stride.start_s))


def _near(events: tuple[GaitEvent, ...], leg: str, kind: str, time_s: float) -> float | None:
    """The nearest event within a quarter of a second."""
    own = [event.time_s for event in events if event.leg == leg and event.kind == kind]
    near = min(own, key=lambda t: abs(t - time_s), default=None)
    return near if near is not None and abs(near - time_s) <= 0.25 else None
