"""The tables of a rig sheet: proportions, landmarks, and what each control moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.delivery.content import ChannelRow, SheetContent
from instep.delivery.lengths import Lengths, number, shortest
from instep.landmarks.model import Landmark, LegLandmarks

WORDS: Final = {
    "toe": "toe joint",
    "heel": "heel point",
    "tip": "toe tip",
    "inner": "inner edge",
    "outer": "outer edge",
}

UNLIKE: Final = 0.005
"""Share of the leg. Where the two sides differ by more than this the right side gets a row of its own."""

LISTED: Final = 12
"""Names of plain controls that are listed before the rest is only counted."""

FAR: Final = 10_000.0
"""Millimetres from which on the ends of a range are given in metres."""

ALIKE_CONTROLS: Final = 3
"""From this many controls with the same channels on, they share one group of rows."""


@dataclass(frozen=True, slots=True)
class LandmarkRow:
    """A row of the table of landmarks; `side` is empty where it speaks for both."""

    name: str
    side: str
    up: str
    ahead: str
    out: str
    left: str
    right: str
    source: str
    by_hand: str


@dataclass(frozen=True, slots=True)
class ControlGroup:
    """The channels of one control, or of several that have the same: (channel, what it moves, range).

    Several that have the same move one joint each, and are named as what is moved.
    """

    control: str
    rows: tuple[tuple[str, str, str], ...]


def proportions(content: SheetContent, leg: LegLandmarks, lengths: Lengths) -> list[tuple[str, str]]:
    """Names and values: what makes this foot and leg different from others."""
    heel = leg.heel.position
    thigh = float(np.linalg.norm(leg.knee.position - leg.hip.position))
    shin = float(np.linalg.norm(leg.ankle.position - leg.knee.position))
    ahead = float((leg.ball.position - heel) @ leg.axis)
    reach = float((leg.tip.position - heel) @ leg.axis)
    rows = [
        ("leg, hip to ankle", lengths.text(thigh + shin)),
        ("ball along the tread", f"{number(100 * ahead / reach, 0)} %"),
        ("foot to leg", f"{number(leg.foot_length / (thigh + shin), 2)} : 1"),
        ("heel raised", lengths.text(leg.heel_height)),
    ]
    for roll in content.rolls:
        if roll.leg == leg.name and roll.hold is not None:
            rows.append(("toes held", f"{number(100 * roll.hold, 0)} %"))
    return rows


def place_of(mark: Landmark, leg: LegLandmarks, content: SheetContent) -> FloatArray:
    """(3,) up, ahead along the foot's axis, and out from the body's middle, from the floor under the ankle."""
    up = content.measurement.R_world_body[:, 1]
    ahead = leg.axis - (leg.axis @ up) * up
    ahead /= np.linalg.norm(ahead)
    out = np.cross(up, ahead) * (1.0 if leg.side == "left" else -1.0)
    from_ankle = mark.position - leg.ankle.position
    height = float(mark.position @ up) - content.measurement.floor
    return np.array([height, float(from_ankle @ ahead), float(from_ankle @ out)])


def landmark_rows(content: SheetContent, legs: tuple[LegLandmarks, ...], lengths: Lengths) -> list[LandmarkRow]:
    """One row a landmark, two where the sides differ."""
    rows: list[LandmarkRow] = []
    names = dict.fromkeys(name for leg in legs for name in leg.landmarks)
    for name in names:
        having = [leg for leg in legs if name in leg.landmarks]
        places = [place_of(leg.landmarks[name], leg, content) for leg in having]
        sure = {leg.side: _sure(leg.landmarks[name]) for leg in having}
        hand = [leg.side for leg in having if leg.landmarks[name].by_hand]
        limit = UNLIKE * content.measurement.leg_length
        alike = len(having) == 2 and bool(np.abs(places[1] - places[0]).max() <= limit)
        for leg, place in zip(having[:1] if alike else having, places, strict=False):
            mark = leg.landmarks[name]
            source = mark.source
            if alike and hand:
                source = "by hand, " + " and ".join(side[0].upper() for side in hand)
            own_hand = hand[0] if alike and hand else (leg.side if mark.by_hand else "")
            up, ahead, out = (lengths.number(float(v)) for v in place)
            rows.append(
                LandmarkRow(
                    name=WORDS.get(name, name),
                    side="" if alike else leg.side[0].upper(),
                    up=up,
                    ahead=ahead,
                    out=out,
                    left=sure.get("left", "") if alike or leg.side == "left" else "",
                    right=sure.get("right", "") if alike or leg.side == "right" else "",
                    source=source,
                    by_hand=own_hand,
                )
            )
    return rows


def _sure(mark: Landmark) -> str:
    """Confidence with two decimals; a dash for what was set by hand."""
    return "—" if mark.by_hand else f"{mark.confidence:.2f}"


def control_groups(channels: tuple[ChannelRow, ...], lengths: Lengths) -> list[ControlGroup]:
    """Channels by control: right controls left out where the left ones are alike, equal rows joined."""
    by_control: dict[str, list[ChannelRow]] = {}
    for channel in channels:
        by_control.setdefault(channel.control, []).append(channel)
    shown: list[tuple[str, tuple[tuple[str, str, str], ...]]] = []
    for control, rows in by_control.items():
        side, _, rest = control.partition(".")
        mirrored = by_control.get(f"left.{rest}") if side == "right" else None
        if mirrored is not None and _signature(mirrored) == _signature(rows):
            continue
        both = side == "left" and f"right.{rest}" in by_control
        alike = both and _signature(by_control[f"right.{rest}"]) == _signature(rows)
        name = rest.replace(".", " ") if alike else control
        shown.append((name, _joined(rows, lengths)))
    groups: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for index, (_, joined) in enumerate(shown):
        groups.setdefault(tuple((names, limits) for names, _, limits in joined), []).append(index)
    result: list[ControlGroup] = []
    for index, (name, joined) in enumerate(shown):
        members = groups[tuple((names, limits) for names, _, limits in joined)]
        if len(members) < ALIKE_CONTROLS:
            result.append(ControlGroup(name, joined))
        elif members[0] == index:
            names = [shown[k][0] for k in members]
            listed = ", ".join(names[:LISTED]) + (f" and {len(names) - LISTED} more" if len(names) > LISTED else "")
            rows_of_all = tuple((channels, listed, limits) for channels, _, limits in joined)
            result.append(ControlGroup(f"{len(names)} plain ones", rows_of_all))
    return result


def _signature(rows: list[ChannelRow]) -> list[tuple[str, str, float, float]]:
    return [(row.name, row.unit, row.low, row.high) for row in rows]


def _joined(rows: list[ChannelRow], lengths: Lengths) -> tuple[tuple[str, str, str], ...]:
    """Channels of one control that move the same through the same range, in one row."""
    joined: list[tuple[str, str, str]] = []
    for row in rows:
        limits = span(row, lengths)
        if joined and joined[-1][1:] == (row.moves, limits):
            joined[-1] = (f"{joined[-1][0]}, {row.name}", row.moves, limits)
        else:
            joined.append((row.name, row.moves, limits))
    return tuple(joined)


def span(row: ChannelRow, lengths: Lengths) -> str:
    """A channel's range with its unit: ``−25° … 80°``, ``±300 mm``, ``0 … 1``."""
    if row.unit in ("°", ""):
        low, high = shortest(row.low), shortest(row.high)
        return f"±{high}{row.unit}" if row.low == -row.high else f"{low}{row.unit} … {high}{row.unit}"
    low, high, unit = lengths.number(row.low), lengths.number(row.high), lengths.unit
    if unit == "mm" and max(abs(row.low), abs(row.high)) * lengths.factor >= FAR:
        low, high, unit = shortest(row.low, 1), shortest(row.high, 1), "m"
    return f"±{high} {unit}" if row.low == -row.high else f"{low} … {high} {unit}"
