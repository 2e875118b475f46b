"""What a rig sheet says of a rig: its channels with what they move, its shapes, its feet rolled."""

from __future__ import annotations

from datetime import date
from typing import Final

import numpy as np

from instep.character.skinning import skin_vertices
from instep.delivery.content import ChannelRow, ControlDrawing, LegRoll, SheetContent
from instep.landmarks import LegLandmarks
from instep.rig import Rig
from instep.rig.shapes import control_shapes

UNITS: Final = {"deg": "°", "length": "m", "share": ""}
"""As the sheet's rows name them."""

ROLL_STEP_DEG: Final = 5.0
"""Between two poses of a foot that are worked out for the drawing of its roll."""

MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def sheet_content(rig: Rig, rig_file_name: str, day: date) -> SheetContent:
    """The content of a rig's sheet. The character must have a mesh."""
    source = rig.character.source
    return SheetContent(
        title=title_of(source.stem),
        file_name=source.name,
        rig_file_name=rig_file_name,
        date=f"{day.day} {MONTHS[day.month - 1]} {day.year}",
        character=rig.character,
        measurement=rig.measurement,
        channels=tuple(_channel_row(rig, number) for number in range(len(rig.channels))),
        rolls=_rolls(rig, rig.measurement.legs[0]),
        controls=tuple(
            ControlDrawing(shape.control, shape.side, shape.polylines)
            for shape in control_shapes(rig)
            if all(len(line) > 1 for line in shape.polylines)
        ),
    )


def title_of(stem: str) -> str:
    """A file's name as a title: spaces for low lines and hyphens, a capital at its start."""
    words = stem.replace("_", " ").replace("-", " ").strip() or stem
    return words[:1].upper() + words[1:]


def _channel_row(rig: Rig, number: int) -> ChannelRow:
    channel = rig.channels[number]
    return ChannelRow(
        control=channel.control,
        name=channel.quantity,
        unit=UNITS[channel.unit],
        low=channel.low,
        high=channel.high,
        default=channel.default,
        sentence=channel.sentence.rstrip("."),
        moves=moves_in_words(rig, number),
    )


def moves_in_words(rig: Rig, number: int) -> str:
    """What a channel moves, read off the rig's data flow: parts of its own leg, other legs, other joints."""
    plan = rig.plan
    used = set(rig.plan.followers.tolist())
    moved = {plan.drivers[k] for k in np.flatnonzero(rig.influence[:, number]) if k in used}
    if moved == {plan.drivers[k] for k in used}:
        return "everything"
    name = rig.channels[number].control
    legs = {leg.name: [name for name in plan.drivers if name.startswith(f"{leg.name}.")] for leg in plan.legs}
    plains = {plain.name for plain in plan.plains}
    words = ["pelvis"] if "pelvis" in moved else []
    if all(moved.issuperset(own) for own in legs.values()):
        words.append("both legs" if len(legs) == 2 else f"all {len(legs)} legs")
    else:
        for leg, own in legs.items():
            parts = [name.removeprefix(f"{leg}.") for name in own if name in moved]
            own_control = name.startswith(f"{leg}.")
            if parts:
                part = "the whole leg" if len(parts) == len(own) else ", ".join(parts)
                words.append(part if own_control else f"{part}, {leg}")
    others = len(moved & plains)
    if name in moved & plains:
        words.append("its joint" if others == 1 else f"its joint and {others - 1} that hang on it")
    elif others:
        words.append("all other joints" if others == len(plains) else f"{others} other joints")
    return ", ".join(words) or "nothing"


def _rolls(rig: Rig, leg: LegLandmarks) -> tuple[LegRoll, ...]:
    """The leg's foot over its whole roll; none where its roll is pinned."""
    mesh = rig.character.mesh
    name = f"{leg.name}.foot.roll"
    channel = next((channel for channel in rig.channels if channel.name == name), None)
    if channel is None or mesh is None:
        return ()
    below = np.arange(-ROLL_STEP_DEG, channel.low - 1e-9, -ROLL_STEP_DEG)[::-1]
    degrees = np.concatenate([below, np.arange(0.0, channel.high + 1e-9, ROLL_STEP_DEG)])
    poses = rig.pose({name: degrees})
    plan = next(plan for plan in rig.plan.legs if plan.name == leg.name)
    return (
        LegRoll(
            leg=leg.name,
            degrees=tuple(degrees.tolist()),
            vertices=skin_vertices(mesh, rig.character.skeleton, poses),
            break_deg=plan.ball_gives_out_deg,
            tip_deg=plan.tip_takes_over_deg,
            hold=plan.hold if plan.has_toes else None,
        ),
    )
