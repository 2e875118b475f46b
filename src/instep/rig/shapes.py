"""Control shapes from the mesh itself: the outline of that very sole, sections through that very foot.

Sides are told apart by letter and by line as well as by colour: left solid, right dashed, middle plain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely

from instep.character import Mesh
from instep.character.arrays import BoolArray, FloatArray, IntArray
from instep.landmarks import LegLandmarks
from instep.rig.parts.leg import mark_distance
from instep.rig.rig import Rig

Side = Literal["left", "right", "middle"]

SOLE_MARGIN: Final = 0.044
"""Of the foot's length: how far the foot control's outline stands off the sole. Drawn so in the look."""
SECTION_MARGIN: Final = 0.035
"""Of the foot's length: how far a section stands off the skin."""
THIN: Final = 0.55
"""A section that fills less than this of its hull is an open line: skin is missing there."""
MARK_SIZE: Final = 0.03
"""Of the leg's length: half the width of the knee's mark."""


@dataclass(frozen=True, slots=True, eq=False)
class ControlShape:
    """What an animator grabs. When the rig is posed it goes with its control's frame (`Rig.control_frames`).

    Attributes
    ----------
    control : its name, "left.foot".
    side : colour and line go by it; the letter is `letter`.
    kind : "outline" on the floor, "section" around the body, "mark" in the air.
    polylines : each (n, 3) in the world, in the bind pose; a closed one ends where it starts.
    """

    control: str
    side: Side
    kind: Literal["outline", "section", "mark"]
    polylines: tuple[FloatArray, ...]

    @property
    def letter(self) -> str:
        """L, R, or nothing in the middle."""
        return {"left": "L", "right": "R", "middle": ""}[self.side]

    @property
    def line(self) -> str:
        """How it is drawn: solid on the left, dashed on the right, plain in the middle."""
        return {"left": "solid", "right": "dashed", "middle": "plain"}[self.side]


def control_shapes(rig: Rig) -> tuple[ControlShape, ...]:
    """A shape for each control that the rig has and that has a place of its own.

    `leg` has none: its channels belong to the whole leg. Raises nothing: where the mesh gives no section a ring
    of the size of the joint's surroundings is taken.
    """
    mesh = rig.character.mesh
    if mesh is None:
        return ()
    names = {channel.control for channel in rig.channels}
    shapes = [_root_outline(rig), _pelvis_section(rig, mesh)]
    for leg in rig.measurement.legs:
        shapes += _leg_shapes(rig, mesh, leg)
    shapes += _plain_shapes(rig, mesh)
    return tuple(shape for shape in shapes if shape.control in names)


def _leg_shapes(rig: Rig, mesh: Mesh, leg: LegLandmarks) -> list[ControlShape]:
    unit = rig.measurement.leg_length
    own = np.zeros(len(mesh), dtype=np.bool_)
    own[leg.vertices] = True
    grown = _grown_outline(leg.outline, leg.sole_normal, SOLE_MARGIN * leg.foot_length)
    margin = SECTION_MARGIN * leg.foot_length
    between = 0.5 * (leg.ball.position + leg.tip.position)

    # Where the foot stands steep over its ball (a paw), a section must not run up into the shank.
    low = own & (np.linalg.norm(mesh.positions - between, axis=1) < 0.75 * leg.foot_length)

    def section(point: FloatArray, normal: FloatArray, vertices: BoolArray) -> FloatArray:
        return _section(mesh, vertices, point, normal, margin, 0.15 * unit)

    shapes = [
        ControlShape(f"{leg.name}.foot", leg.side, "outline", (grown,)),
        ControlShape(f"{leg.name}.ball", leg.side, "section", (section(leg.ball.position, leg.axis, low),)),
        ControlShape(f"{leg.name}.toes", leg.side, "section", (section(between, leg.axis, low),)),
        ControlShape(f"{leg.name}.knee", leg.side, "mark", _knee_mark(rig, leg)),
    ]  # fmt: skip
    for place, landmark in (("heel", leg.heel), ("tip", leg.tip), ("outer", leg.outer), ("inner", leg.inner)):
        arc = _nearest_stretch(grown, landmark.position, 0.25 * leg.foot_length)
        shapes.append(ControlShape(f"{leg.name}.{place}", leg.side, "outline", (arc,)))
    bones = (
        ("thigh", leg.thigh, leg.hip, leg.knee),
        ("shin", leg.shin, leg.knee, leg.ankle),
        ("ankle", leg.foot, leg.ankle, None),
    )
    for control, joint, start, end in bones:
        along = leg.sole_normal if end is None else end.position - start.position
        middle = start.position if end is None else 0.5 * (start.position + end.position)
        near = _moved_by(mesh, [joint, leg.shin] if end is None else [joint])
        ring = section(middle, along / np.linalg.norm(along), near)
        shapes.append(ControlShape(f"{leg.name}.{control}", leg.side, "section", (ring,)))
    return shapes


def _knee_mark(rig: Rig, leg: LegLandmarks) -> tuple[FloatArray, ...]:
    """An open lozenge before the knee, and a line to the knee."""
    plan = next(plan for plan in rig.plan.legs if plan.name == leg.name)
    R = rig.measurement.R_world_body
    ahead = R @ np.array(list(plan.bend), dtype=np.float64)
    unit = rig.measurement.leg_length
    centre = leg.knee.position + ahead * mark_distance(unit)
    up, left = R[:, 1], R[:, 0]
    size = MARK_SIZE * unit
    lozenge = centre + size * np.array([up * 1.4, left, -up * 1.4, -left, up * 1.4])
    return lozenge, np.array([leg.knee.position, centre - ahead * size])


def _root_outline(rig: Rig) -> ControlShape:
    """One outline around all soles, on the floor."""
    R = rig.measurement.R_world_body
    points = np.concatenate([leg.outline @ R for leg in rig.measurement.legs if len(leg.outline)] or [np.zeros((0, 3))])
    foot = max(leg.foot_length for leg in rig.measurement.legs)
    if len(points) < 3:
        points = np.array([leg.ankle.position @ R for leg in rig.measurement.legs])
    hull = shapely.MultiPoint(points[:, [0, 2]]).convex_hull.buffer(0.45 * foot, quad_segs=12)
    ring = np.asarray(hull.exterior.coords)
    flat = np.insert(ring, 1, rig.measurement.floor, axis=1)
    return ControlShape("root", "middle", "outline", (flat @ R.T,))


def _pelvis_section(rig: Rig, mesh: Mesh) -> ControlShape:
    """A level section of the body at the pelvis."""
    pelvis = rig.measurement.pelvis
    legs = [leg.thigh for leg in rig.measurement.legs]
    near = _moved_by(mesh, [pelvis, *legs])
    up = rig.measurement.R_world_body[:, 1]
    unit = rig.measurement.leg_length
    point = rig.character.skeleton.positions[pelvis]
    ring = _section(mesh, near, point, up, 0.04 * unit, 0.3 * unit, whole=True)
    return ControlShape("pelvis", "middle", "section", (ring,))


def _plain_shapes(rig: Rig, mesh: Mesh) -> list[ControlShape]:
    """A section of the skin around each plain joint, across the direction to its children."""
    skeleton = rig.character.skeleton
    shapes: list[ControlShape] = []
    for plain in rig.plan.plains:
        joint = next(j for j, f in enumerate(rig.plan.followers) if rig.plan.drivers[f] == plain.name)
        point = skeleton.positions[joint]
        children = skeleton.children(joint)
        if children:
            along = skeleton.positions[children].mean(axis=0) - point
        else:
            along = point - skeleton.positions[skeleton.parents[joint]]
        size = float(np.linalg.norm(along))
        unit = rig.measurement.leg_length
        along = along / size if size > 1e-6 * unit else rig.measurement.R_world_body[:, 1]
        side: Side = "left" if plain.side > 0 else "right" if plain.side < 0 else "middle"
        near = _moved_by(mesh, [joint])
        ring = _section(mesh, near, point + along * 0.25 * size, along, 0.02 * unit, 0.08 * unit)
        shapes.append(ControlShape(plain.name, side, "section", (ring,)))
    return shapes


def _moved_by(mesh: Mesh, joints: list[int], least: float = 0.2) -> BoolArray:
    """(V,) whether the joints together have at least that share of a vertex."""
    moved: BoolArray = np.where(np.isin(mesh.joints, joints), mesh.weights, 0.0).sum(axis=1) >= least
    return moved


def _frame(normal: FloatArray) -> FloatArray:
    """(2, 3) two unit vectors across a normal, the first as level as can be."""
    hint = np.eye(3)[int(np.argmin(np.abs(normal)))]
    first = np.cross(normal, hint)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(normal, first)])


def _grown_outline(outline: FloatArray, normal: FloatArray, margin: float) -> FloatArray:
    """(n, 3) closed: an outline in a plane across `normal`, grown by `margin`."""
    if len(outline) < 3:
        return np.zeros((0, 3))
    axes = _frame(normal)
    origin = outline.mean(axis=0)
    ring = shapely.Polygon((outline - origin) @ axes.T).buffer(0.0)
    ring = shapely.MultiPolygon([ring]) if ring.geom_type == "Polygon" else ring
    largest = max(ring.geoms, key=lambda polygon: polygon.area)
    grown = largest.buffer(margin, quad_segs=8).simplify(0.02 * margin)
    return np.asarray(origin + np.asarray(grown.exterior.coords) @ axes, dtype=np.float64)


def _section(
    mesh: Mesh,
    vertices: BoolArray,
    point: FloatArray,
    normal: FloatArray,
    margin: float,
    radius: float,
    *,
    whole: bool = False,
) -> FloatArray:
    """(n, 3) closed: where the plane through `point` cuts the skin of `vertices`, as one ring, grown by `margin`.

    The hull of all that is cut where `whole` is asked for. A circle of `radius` where the plane cuts nothing.
    """
    axes = _frame(normal)
    segments = _cut(mesh, vertices, point, normal)
    if len(segments) < 3:
        turn = np.linspace(0.0, 2.0 * np.pi, 49)[:, None]
        return np.asarray(point + radius * (np.cos(turn) * axes[0] + np.sin(turn) * axes[1]))
    flat = (segments - point) @ axes.T
    ring = shapely.MultiPoint(flat.reshape(-1, 2)).convex_hull if whole else _nearest_piece(flat, 1.5 * margin)
    # Out too far and back: the corners that face inward become round.
    grown = ring.buffer(2.5 * margin, quad_segs=8).buffer(-1.5 * margin, quad_segs=8).simplify(0.02 * margin)
    return np.asarray(point + np.asarray(grown.exterior.coords) @ axes, dtype=np.float64)


def _nearest_piece(segments: FloatArray, gap: float) -> shapely.Polygon:
    """The area within (n, 2, 2) segments that lies nearest to the origin; pieces nearer than 2 `gap` join.

    Where skin is missing the cut is an open line, a thin thing when thickened: then its hull is the area.
    """
    lines = shapely.multilinestrings(shapely.linestrings(segments))
    joined = shapely.buffer(shapely.buffer(lines, gap, quad_segs=3), -0.98 * gap, quad_segs=3)
    pieces = [
        piece for piece in getattr(joined, "geoms", [joined]) if piece.geom_type == "Polygon" and not piece.is_empty
    ]
    if not pieces:
        return shapely.MultiPoint(segments.reshape(-1, 2)).convex_hull.buffer(1e-3 * gap)
    nearest = min(pieces, key=lambda piece: shapely.Polygon(piece.exterior).distance(shapely.Point(0.0, 0.0)))
    filled = shapely.Polygon(nearest.exterior)
    hull = filled.convex_hull
    return filled if filled.area > THIN * hull.area else hull


def _cut(mesh: Mesh, vertices: BoolArray, point: FloatArray, normal: FloatArray) -> FloatArray:
    """(n, 2, 3) the segments in which a plane cuts the triangles that have a corner among `vertices`."""
    faces: IntArray = mesh.faces[vertices[mesh.faces].any(axis=1)]
    height = (mesh.positions - point) @ normal
    above = height[faces] > 0.0
    faces, above = faces[above.any(axis=1) & ~above.all(axis=1)], above[above.any(axis=1) & ~above.all(axis=1)]
    if not len(faces):
        return np.zeros((0, 2, 3))
    # The corner that stands alone on its side; both edges from it are cut.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    rows = np.arange(len(faces))
    apex = faces[rows, alone]
    ends = []
    for step in (1, 2):
        other = faces[rows, (alone + step) % 3]
        share = height[apex] / (height[apex] - height[other])
        ends.append(mesh.positions[apex] + share[:, None] * (mesh.positions[other] - mesh.positions[apex]))
    return np.stack(ends, axis=1)


def _nearest_stretch(ring: FloatArray, point: FloatArray, span: float) -> FloatArray:
    """The stretch of a closed ring that lies within half of `span` of the ring's place nearest to `point`."""
    if len(ring) < 3:
        return ring
    lengths = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    whole = along[-1]
    dense = np.linspace(0.0, whole, 200)
    places = np.stack([np.interp(dense, along, ring[:, k]) for k in range(3)], axis=1)
    centre = dense[int(np.linalg.norm(places - point, axis=1).argmin())]
    wanted = (centre + np.linspace(-0.5, 0.5, 25) * span) % whole
    return np.stack([np.interp(wanted, along, ring[:, k]) for k in range(3)], axis=1)
