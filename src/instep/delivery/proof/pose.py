"""The worst pose, drawn in ink from the skinned mesh: only the foot or the leg that it is about."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from instep.character import Mesh
from instep.character.arrays import FloatArray
from instep.checks.model import Finding, Place
from instep.delivery.anatomy import Piece, foot_piece, leg_joints, leg_piece, weight_on
from instep.delivery.board import Board
from instep.delivery.content import SheetContent, WorstPose
from instep.delivery.ink import draw_ink
from instep.delivery.surface import prepare
from instep.delivery.views import extent, fit, looking
from instep.landmarks.model import LegLandmarks

Part = Literal["foot", "leg"]

SHOWN: Final[dict[str, Part]] = {
    "rest": "foot",
    "plant": "foot",
    "floor": "foot",
    "skin": "foot",
    "reach": "leg",
    "aim": "leg",
    "switch": "leg",
    "range": "leg",
}
"""What a check's worst pose is drawn of. The other checks are about the whole character: their worst poses set
dozens of channels at once and show nothing, so they are drawn only where they fall short."""

STANDING: Final = ("rest", "plant", "floor")
"""Checks whose feet stand on a floor; in other poses one would only seem to be broken through."""

SIDEWAYS: Final = ("bank", "twist", "yaw", "lean", "across")
"""Channels whose effect is seen from before rather than from the side."""

SIDEWAYS_LEAST: Final = 2.0
"""Degrees from which on such a channel turns the view."""


@dataclass(eq=False)
class Pieces:
    """The feet and legs of one character, each cut out once."""

    mesh: Mesh
    made: dict[tuple[str, Part], Piece] = field(default_factory=dict)

    def of(self, leg: LegLandmarks, part: Part) -> Piece:
        """A foot or a leg, ready to be posed."""
        key = (leg.name, part)
        if key not in self.made:
            self.made[key] = foot_piece(self.mesh, leg) if part == "foot" else leg_piece(self.mesh, (leg,))
        return self.made[key]


def part_shown(finding: Finding) -> Part | None:
    """What is drawn of a finding's worst pose, if anything."""
    if finding.verdict == "does not apply":
        return None
    if finding.verdict == "falls short":
        return SHOWN.get(finding.check, "leg")
    return SHOWN.get(finding.check)


def leg_of(finding: Finding, content: SheetContent) -> LegLandmarks:
    """The leg that a finding is about: as it says, by its place, or else the first."""
    legs = content.measurement.legs
    for leg in legs:
        if finding.leg == leg.name:
            return leg
    place = finding.place
    if place is not None:
        for leg in legs:
            if _stands_on(place, leg, content):
                return leg
    return legs[0]


def _stands_on(place: Place, leg: LegLandmarks, content: SheetContent) -> bool:
    """Whether a place is a landmark, a joint or mostly the skin of a leg."""
    if place.kind == "landmark":
        return place.name.startswith(f"{leg.name}.")
    if place.kind == "joint":
        return place.name in {content.character.skeleton.names[joint] for joint in leg_joints(leg)}
    mesh = content.character.mesh
    if mesh is None or not place.name.isdigit() or int(place.name) >= len(mesh):
        return False
    return bool(weight_on(mesh, leg_joints(leg))[int(place.name)] > 0.5)


def draw_worst(
    content: SheetContent,
    finding: Finding,
    worst: WorstPose,
    pieces: Pieces,
    width: float,
    tallest: float,
    description: str,
) -> str:
    """The worst pose of a finding as SVG. A foot stands on its own floor, wherever its control has put both."""
    leg = leg_of(finding, content)
    part = part_shown(finding) or "leg"
    R_world_body = content.measurement.R_world_body
    up = R_world_body[:, 1]
    piece = pieces.of(leg, part)
    carried = worst.feet[leg.name] if part == "foot" and leg.name in worst.feet else worst.root
    points = _back(np.asarray(piece.blend @ worst.vertices), carried)
    # what the pose turns sideways is seen from before the foot, the rest from its outer side
    outward = np.cross(up, leg.axis) * (1.0 if leg.side == "left" else -1.0)
    ahead = leg.axis - (leg.axis @ up) * up
    towards = outward
    if _sideways(finding, part):
        towards = 0.66 * outward + 0.75 * ahead
    R_view_world = looking(towards, up)
    at_rest = np.asarray(piece.blend @ pieces.mesh.positions)
    wide, tall = extent(points, R_view_world)
    rest_wide, rest_tall = extent(at_rest, R_view_world)
    scale = min((tallest - 14) / max(tall, 0.86 * rest_tall), (width - 26) / max(wide, 0.86 * rest_wide))
    frame = fit(points, R_view_world, scale)
    floor_y = float(frame.place(leg.heel.position[None])[0, 1])
    floored = finding.check in STANDING or (part == "leg" and abs(floor_y - frame.height) < 0.06 * frame.height)
    height = max(frame.height, floor_y if floored else 0.0) + 4.0
    shift = (0.5 * (width - frame.width), tallest - height)
    board = Board()
    board.add(f'<g transform="translate({shift[0]:.1f} {shift[1]:.1f})">')
    board.add(draw_ink(prepare(points, piece.faces, piece.part), frame, 0.75 if tallest < 200 else 1.0).svg())
    if floored:
        board.line([(-14.0, floor_y), (frame.width + 14.0, floor_y)], "floor")
    if part == "leg":
        joints = _back(worst.joints, carried)
        chain = frame.place(joints[[leg.thigh, leg.shin, leg.foot]])[:, :2]
        board.line(chain, f"bone {leg.side}")
        for x, y in chain:
            board.mark(float(x), float(y), leg.side, "joint")
    if finding.verdict == "falls short" and worst.place is not None:
        x, y = (float(v) for v in frame.place(_back(worst.place[None], carried))[0, :2])
        board.add(f'<circle class="worst" cx="{x:.1f}" cy="{y:.1f}" r="7"/>')
    board.add("</g>")
    return board.svg(width, tallest, "The worst pose", description)


def _back(points: FloatArray, carried: FloatArray) -> FloatArray:
    """(n, 3) points as they stood before a (3, 4) transform carried them."""
    return np.asarray(np.linalg.solve(carried[:, :3], (points - carried[:, 3]).T).T)


def _sideways(finding: Finding, part: Part) -> bool:
    """Whether a pose is better seen from before the foot. Where the foot stands is undone before a foot is drawn."""
    for name, value in finding.pose.items():
        quantity = name.rpartition(".")[2]
        own = name.endswith((".foot.bank", ".foot.twist")) or not name.endswith(f".foot.{quantity}")
        if quantity in SIDEWAYS and abs(value) > SIDEWAYS_LEAST and (own or part == "leg"):
            return True
    return False


def worst_by_check(content: SheetContent) -> dict[str, WorstPose]:
    """The poses by their check."""
    return {pose.check: pose for pose in content.worst}
