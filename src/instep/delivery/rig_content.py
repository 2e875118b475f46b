"""What a rig sheet says of a rig: its channels with what they move, its shapes, its feet rolled."""

from __future__ import annotations

from datetime import date
from typing import Final

import numpy as np

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.character.pose import rotation_matrices
from instep.character.skinning import skin_vertices
from instep.checks.model import Finding, Report
from instep.delivery.content import ChannelRow, ControlDrawing, LegRoll, SheetContent, WorstPose
from instep.landmarks import LegLandmarks
from instep.rig import Rig
from instep.rig.shapes import ControlShape, control_shapes

UNITS: Final = {"deg": "°", "length": "m", "share": ""}
"""As the sheet's rows name them."""

ROLL_STEP_DEG: Final = 5.0
"""Between two poses of a foot that are worked out for the drawing of its roll."""

MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def sheet_content(
    rig: Rig,
    rig_file_name: str,
    day: date,
    proof: Report | None = None,
    shapes: tuple[ControlShape, ...] | None = None,
) -> SheetContent:
    """The content of a rig's sheet, with its proof where checks were run. The character must have a mesh.

    `shapes` are the rig's control shapes, where they have been worked out already.
    """
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
            for shape in (control_shapes(rig) if shapes is None else shapes)
            if all(len(line) > 1 for line in shape.polylines)
        ),
        proof=proof,
        worst=worst_poses(rig, proof) if proof else (),
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


def worst_poses(rig: Rig, report: Report) -> tuple[WorstPose, ...]:
    """The worst pose of each finding, skinned; none for a finding that has nothing to look at.

    The poses of a report come from the rig that it was made of. A channel that this rig has not got stays at rest.
    """
    mesh = rig.character.mesh
    findings = [finding for finding in report.findings if finding.verdict != "does not apply"]
    if mesh is None or not findings:
        return ()
    numbers = {channel.name: number for number, channel in enumerate(rig.channels)}
    values = np.tile(rig.defaults, (len(findings), 1))
    for row, finding in enumerate(findings):
        for name, value in finding.pose.items():
            if name in numbers:
                values[row, numbers[name]] = value
    poses = rig.evaluate(values)
    frames = rig.control_frames_at(values)
    root = frames.get("root", np.tile(np.eye(3, 4), (len(findings), 1, 1)))
    vertices = skin_vertices(mesh, rig.character.skeleton, poses)
    feet = {leg.name: frames[f"{leg.name}.foot"] for leg in rig.measurement.legs if f"{leg.name}.foot" in frames}
    return tuple(
        WorstPose(
            finding.check,
            vertices[row],
            poses.position[row],
            root[row],
            {leg: frame[row] for leg, frame in feet.items()},
            _place_in(rig, finding, poses, vertices[row], row),
        )
        for row, finding in enumerate(findings)
    )


def _place_in(rig: Rig, finding: Finding, poses: Poses, vertices: FloatArray, row: int) -> FloatArray | None:
    """(3,) where a finding's place has gone in its worst pose."""
    place = finding.place
    if place is None:
        return None
    skeleton = rig.character.skeleton
    if place.kind == "vertex":
        number = int(place.name)
        return np.asarray(vertices[number]) if number < len(vertices) else None
    if place.kind == "joint":
        return (
            np.asarray(poses.position[row, skeleton.names.index(place.name)]) if place.name in skeleton.names else None
        )
    joint = _carrier(rig, place.name)
    if joint is None:
        return None
    turn = rotation_matrices(poses.rotation[row, joint])
    offset = np.array(place.position) - skeleton.positions[joint]
    return np.asarray(poses.position[row, joint] + poses.scale[row] * (turn @ offset))


def _carrier(rig: Rig, landmark: str) -> int | None:
    """The joint that a landmark goes with."""
    name, _, mark = landmark.rpartition(".")
    for leg in rig.measurement.legs:
        if leg.name == name:
            toes = leg.foot if leg.toes is None else leg.toes
            joints = {"hip": leg.thigh, "knee": leg.shin, "ball": toes, "toe": toes, "tip": toes}
            return joints.get(mark, leg.foot)
    return None
