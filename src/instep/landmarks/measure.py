"""Measuring a character: legs, orientation, and each foot's landmarks, in that order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from instep.character.arrays import FloatArray, IntArray, frozen
from instep.character.model import Character
from instep.errors import LandmarkError
from instep.landmarks.axis import find_axis
from instep.landmarks.ball import choose_ball, estimate_ball
from instep.landmarks.by_hand import plane_by_hand, read_by_hand
from instep.landmarks.confidence import joint_confidence, sole_confidence
from instep.landmarks.edges import edge_points
from instep.landmarks.foot import gather_foot
from instep.landmarks.heel import heel_point
from instep.landmarks.heel_height import heel_height
from instep.landmarks.legs import Leg, Legs, carriers, find_legs, leg_line
from instep.landmarks.limbs import branch
from instep.landmarks.model import Landmark, LegLandmarks, Measurement
from instep.landmarks.orientation import FACING_WEIGHTS, Up, body_axes, facing, find_up
from instep.landmarks.outline import sole_outline
from instep.landmarks.sole import UNCLEAR_DEG, SolePlane, fit_sole, level_sole, stands_level
from instep.landmarks.surface import Surface, weld
from instep.landmarks.tip import tip_point
from instep.landmarks.tread import edges_of, find_tread, foot_frame
from instep.tolerances import BONE_LENGTH, TREAD_BAND


@dataclass(frozen=True, slots=True, eq=False)
class _Foot:
    """A leg with what is known of its foot before the body's orientation is."""

    leg: Leg
    own: IntArray
    whole: IntArray
    plane: SolePlane
    name: str = ""
    side: Literal["left", "right"] = "left"


def measure(character: Character, by_hand: Mapping[str, Sequence[float]] | None = None) -> Measurement:
    """Measure legs and feet of a character.

    Parameters
    ----------
    character : with a skinned mesh, in its bind pose.
    by_hand : places in the world, in the file's unit, under names such as ``"left.heel"`` (see
        LANDMARK_NAMES). They are taken as they are; the sole's plane and axis follow them.

    Returns
    -------
    Measurement : lengths in the file's unit, positions in the world.

    Raises
    ------
    LandmarkError : no mesh; no legs, one leg, fewer than three joints in a leg, a bone without length; a foot
        without skin or without volume; a hand-set name that is unknown or a value that makes no sense.
    """
    where = character.source.name or character.name
    if character.mesh is None or not len(character.mesh.faces):
        raise LandmarkError(
            "the character has no skinned mesh, so its feet have no shape to measure",
            where=where,
            expected="a mesh that is bound to the skeleton",
            cure="Export the character together with its mesh",
        )
    surface = weld(character.mesh, len(character.skeleton))
    if not surface.solid.any():
        raise LandmarkError(
            "no triangle of the mesh has an area, so the feet have no shape to measure",
            where=where,
            expected="a mesh that is a surface",
            cure="Check the unit and the scale that the character was exported with",
        )
    found = find_legs(character, surface, where)
    feet = [_gather(character, surface, found, leg, where) for leg in found.legs]
    points = character.skeleton.positions

    lines = np.array([leg_line(points, leg.chain) for leg in found.legs])
    up = find_up(found.mirror.normal, _floors(surface, found, feet), lines)
    votes = _facing(character, surface, found, feet, up.direction)
    ahead = np.cross(found.mirror.normal, up.direction)
    turned = ahead if votes @ FACING_WEIGHTS >= 0 else -ahead
    R_world_body = body_axes(up.direction, found.mirror.normal, turned)
    feet = _named(character, feet, found, R_world_body)

    height = float(np.ptp(surface.points[surface.solid] @ R_world_body[:, 1]))
    places = {foot.name: _places(character, surface, foot) for foot in feet}
    hand = read_by_hand(by_hand or {}, places, height, where)
    remarks = _remarks(up, votes)
    legs = []
    for foot in feet:
        leg, said = _measure_foot(character, surface, found, foot, R_world_body, hand[foot.name], where)
        legs.append(leg)
        remarks.extend(said)
    first = [leg for foot, leg in zip(feet, legs, strict=True) if foot.leg.pair == feet[0].leg.pair]
    pelvis = feet[0].leg.limb.parent
    treads = [float((surface.points[foot.whole] @ R_world_body[:, 1]).min()) for foot in feet]
    frozen(R_world_body)
    return Measurement(
        R_world_body=R_world_body,
        floor=min(treads),
        pelvis=pelvis if pelvis >= 0 else feet[0].leg.limb.root,
        legs=tuple(legs),
        leg_length=float(np.mean([_leg_length(leg) for leg in first])),
        remarks=tuple(dict.fromkeys(remarks)),
    )


def _gather(character: Character, surface: Surface, found: Legs, leg: Leg, where: str) -> _Foot:
    points, chain = character.skeleton.positions, leg.chain
    down = points[chain.ankle] - points[chain.knee]
    down = down / np.linalg.norm(down) - found.stance.up
    if np.linalg.norm(down) < 1e-6:
        down = -found.stance.up
    down = down / np.linalg.norm(down)
    foot_joints = branch(found.parents, chain.ankle)
    shin_joints = [joint for joint in branch(found.parents, chain.knee) if joint not in foot_joints]
    own, whole = gather_foot(surface, foot_joints, shin_joints, points[chain.ankle], down)
    plane = fit_sole(surface.points[whole], down) if len(own) else None
    if plane is None:
        name = character.skeleton.names[chain.ankle]
        raise LandmarkError(
            f"the foot of joint {name!r} has no shape: {len(own)} vertices are bound to it and to the joints below it",
            where=where,
            expected="skin around the foot that encloses a volume",
            cure="Bind the foot's skin to its joints, each vertex with more than half of its weight",
        )
    return _Foot(leg, own, whole, plane)


def _floors(surface: Surface, found: Legs, feet: list[_Foot]) -> FloatArray:
    """(n, 3) normals of the floor: each foot's own sole, or what several pairs of feet stand on together."""
    up, across = found.stance.up, found.mirror.normal
    lowest = []
    for pair in sorted({foot.leg.pair for foot in feet}):
        points = np.concatenate([surface.points[foot.whole] for foot in feet if foot.leg.pair == pair])
        lowest.append(points[int(np.argmin(points @ up))])
    if len(lowest) < 2:
        return np.array([foot.plane.normal for foot in feet])
    apart = max((one - two for one in lowest for two in lowest), key=lambda v: float(np.linalg.norm(v)))
    normal = np.cross(apart, across)
    return np.asarray(normal * np.sign(normal @ up))[None]


def _facing(character: Character, surface: Surface, found: Legs, feet: list[_Foot], up: FloatArray) -> FloatArray:
    """Votes for the mirror's ``normal x up`` being forward."""
    points = character.skeleton.positions
    ahead = np.cross(found.mirror.normal, up)
    ankles, balls, reach, bends = [], [], [], []
    for foot in feet:
        chain = foot.leg.chain
        if chain.below:
            ankles.append(points[chain.ankle])
            balls.append(points[chain.below[0]])
        height = surface.points[foot.whole] @ foot.plane.normal - foot.plane.offset
        tread = surface.points[foot.whole[height < 2 * TREAD_BAND * np.ptp(height) + np.ptp(height) * 0.1]]
        offset = (tread - points[chain.ankle]) @ ahead
        reach.append([max(float(offset.max()), 0.0), max(float(-offset.min()), 0.0)])
        if len(feet) == 2:  # Elbows of fore legs bend the other way.
            line = leg_line(points, chain)
            length = float(np.linalg.norm(line))
            knee = points[chain.knee] - points[chain.ankle]
            bends.append((knee - (knee @ line) / length**2 * line) / length)
    return facing(ahead, np.array(ankles), np.array(balls), np.array(reach), np.array(bends))


def _named(character: Character, feet: list[_Foot], found: Legs, R_world_body: FloatArray) -> list[_Foot]:
    """Feet in order, hind before fore and left before right, with their names."""
    points = character.skeleton.positions
    here_is_left = bool(found.mirror.normal @ R_world_body[:, 0] > 0)
    pairs = sorted(
        {foot.leg.pair for foot in feet}, key=lambda pair: _hip_place(points, feet, pair, R_world_body[:, 2])
    )
    words = {1: ("",), 2: (".hind", ".fore")}.get(len(pairs), tuple(f".{i + 1}" for i in range(len(pairs))))
    ordered = []
    for pair, word in zip(pairs, words, strict=True):
        for side in ("left", "right"):
            for foot in feet:
                if foot.leg.pair == pair and (foot.leg.here == here_is_left) == (side == "left"):
                    name: Literal["left", "right"] = "left" if side == "left" else "right"
                    ordered.append(_Foot(foot.leg, foot.own, foot.whole, foot.plane, f"{side}{word}", name))
    return ordered


def _hip_place(points: FloatArray, feet: list[_Foot], pair: int, forward: FloatArray) -> float:
    return float(sum(points[foot.leg.chain.hip] @ forward for foot in feet if foot.leg.pair == pair))


def _places(character: Character, surface: Surface, foot: _Foot) -> FloatArray:
    chain = foot.leg.chain
    joints = character.skeleton.positions[[chain.hip, chain.knee, chain.ankle, *chain.below]]
    return np.concatenate([joints, surface.points[foot.whole]])


def _measure_foot(
    character: Character,
    surface: Surface,
    found: Legs,
    foot: _Foot,
    R_world_body: FloatArray,
    hand: dict[str, FloatArray],
    where: str,
) -> tuple[LegLandmarks, list[str]]:
    skeleton, chain = character.skeleton, foot.leg.chain
    names, joints = skeleton.names, skeleton.positions
    shape = surface.points[foot.whole]
    up, forward = R_world_body[:, 1], R_world_body[:, 2]
    plane = foot.plane
    if stands_level(shape, plane, up, forward) or not plane.is_clear(up):
        plane = level_sole(shape, plane, up)
    place = np.full(len(surface.points), -1)
    place[foot.whole] = np.arange(len(foot.whole))
    faces = place[surface.faces]
    inside = faces[np.all(faces >= 0, axis=1)]
    edges = edges_of(inside, len(shape))
    size = float(np.linalg.norm(np.ptp(shape, axis=0)))
    step = _ankle_to_ball(joints, chain.ankle, chain.below, plane, forward, size)
    guess = forward if step is None else step
    seen = find_axis(shape, edges, plane, guess, step)
    if seen is None:
        raise LandmarkError(
            f"the sole of the foot of joint {names[chain.ankle]!r} has no width or no length",
            where=where,
            expected="a tread that is a surface",
            cure="Check the foot's mesh, or set heel, tip, inner and outer by hand",
        )
    frame, tread, axis_sure = seen
    if axis_sure < 0.5 and plane.normal @ up > np.cos(np.radians(UNCLEAR_DEG)):
        # A paw or a hoof is too short for its own tilt to mean anything.
        level = level_sole(shape, plane, up)
        standing = find_axis(shape, edges, level, guess, step, hold=True)
        if standing is not None:
            plane, (frame, tread, axis_sure) = level, standing
    measured = frame, tread
    if hand:
        plane = plane_by_hand(plane, hand, frame.length)
        measured_tip = tip_point(frame.into(shape), inside, frame, tread)
        along = hand.get("tip", measured_tip) - hand.get("heel", heel_point(frame, tread))
        if not hand.keys() & {"heel", "tip"}:
            along = frame.R_world_foot[:, 2]
        frame = foot_frame(shape, plane, along)
        tread = find_tread(frame.into(shape), edges, frame) or tread
    p_foot = frame.into(shape)
    extent = (float(p_foot[:, 2].min()), float(p_foot[:, 2].max()))

    toes = choose_ball(chain.below, joints, frame, extent)
    below = branch(found.parents, toes)[1:] if toes is not None else []
    toe_end = max(below, key=lambda joint: float(frame.into(joints[joint])[2])) if below else None
    sure = joint_confidence(chain)
    ball = (
        _joint(joints[toes], sure)
        if toes is not None
        else _seen(estimate_ball(p_foot, frame, tread), 0.4, foot.whole[:0], "foot's proportions")
    )
    if "ball" in hand:
        ball = _by_hand(hand["ball"])
    ball_along = float(frame.into(ball.position)[2])
    right, left = edge_points(frame, tread, ball_along)
    inner, outer = (right, left) if foot.side == "left" else (left, right)
    flat_sure = sole_confidence(plane.flatness, len(tread.vertices))
    places = {
        "heel": (heel_point(frame, tread), min(flat_sure, axis_sure + 0.1)),
        "tip": (tip_point(p_foot, inside, frame, tread), flat_sure),
        "inner": (inner, flat_sure),
        "outer": (outer, flat_sure),
    }
    found_marks = {
        name: _by_hand(hand[name])
        if name in hand
        else _on_sole(surface, foot.whole[tread.vertices], place, frame.length, sureness)
        for name, (place, sureness) in places.items()
    }
    for name, joint in (("hip", chain.hip), ("knee", chain.knee), ("ankle", chain.ankle)):
        found_marks[name] = _by_hand(hand[name]) if name in hand else _joint(joints[joint], sure)
    toe = _joint(joints[toe_end], sure) if toe_end is not None else None
    if "toe" in hand:
        toe = _by_hand(hand["toe"])
    _check_foot_bone(surface, names, found_marks["ankle"], ball, chain.ankle, toes, where)

    m_frame, m_tread = measured
    raised = heel_height(m_frame.into(shape), inside, m_tread, m_frame.length)
    remarks = []
    if toes is None:
        remarks.append(
            f"{foot.name}: the model has no joint that turns the toes. The ball was placed at "
            f"{(ball_along - extent[0]) / (extent[1] - extent[0]):.2f} of the foot's length: the foot can roll "
            "about heel, tip and edges as one piece. To bend at the ball, add a joint there under "
            f"{names[chain.ankle]!r} and bind the toes to it"
        )
    outline = sole_outline(p_foot, inside, frame, raised)
    axis = np.ascontiguousarray(frame.R_world_foot[:, 2])
    normal = np.array(plane.normal)
    sole, vertices = surface.mesh_vertices(foot.whole[tread.vertices]), surface.mesh_vertices(foot.own)
    for array in (axis, normal, outline, sole, vertices):
        frozen(array)
    leg = LegLandmarks(
        name=foot.name,
        side=foot.side,
        thigh=chain.hip,
        shin=chain.knee,
        foot=chain.ankle,
        toes=toes,
        toe_end=toe_end,
        joints=carriers(found.parents, chain, toes),
        hip=found_marks["hip"],
        knee=found_marks["knee"],
        ankle=found_marks["ankle"],
        ball=ball,
        toe=toe,
        heel=found_marks["heel"],
        tip=found_marks["tip"],
        inner=found_marks["inner"],
        outer=found_marks["outer"],
        sole_normal=normal,
        axis=axis,
        heel_height=raised,
        outline=outline,
        sole=sole,
        vertices=vertices,
        foot_length=extent[1] - extent[0],
    )
    return leg, remarks


def _ankle_to_ball(
    joints: FloatArray, ankle: int, below: tuple[int, ...], plane: SolePlane, forward: FloatArray, size: float
) -> FloatArray | None:
    """(3,) from ankle to ball; None where they are not clearly apart along the sole, or it points backward."""
    if not below:
        return None
    step = joints[below[0]] - joints[ankle]
    flat = step - (step @ plane.normal) * plane.normal
    length = float(np.linalg.norm(flat))
    return step if length > 0.15 * size and flat @ forward > 0.5 * length else None


def _check_foot_bone(
    surface: Surface,
    names: tuple[str, ...],
    ankle: Landmark,
    ball: Landmark,
    foot: int,
    toes: int | None,
    where: str,
) -> None:
    if toes is not None and np.linalg.norm(ankle.position - ball.position) < BONE_LENGTH * surface.size:
        raise LandmarkError(
            f"the foot has no length: joints {names[foot]!r} and {names[toes]!r} stand at one place",
            where=where,
            expected="ankle and ball apart from each other in the bind pose",
            cure="Move the joints to their places and bind the skin again",
        )


def _remarks(up: Up, votes: FloatArray) -> list[str]:
    remarks = []
    if not up.standing:
        remarks.append("the feet do not stand level in the bind pose: up was taken from the legs")
    decided = float(np.sign(votes @ FACING_WEIGHTS))
    if votes[2] * decided < -0.5:
        remarks.append("the knees bend backward from where the feet point: forward was taken from the feet")
    return remarks


def _leg_length(leg: LegLandmarks) -> float:
    hip, knee, ankle = leg.hip.position, leg.knee.position, leg.ankle.position
    return float(np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee))


def _on_sole(surface: Surface, tread: IntArray, place: FloatArray, length: float, sure: float) -> Landmark:
    """A landmark on the sole, with the tread's vertices around it as evidence."""
    distance = np.linalg.norm(surface.points[tread] - place, axis=1)
    near = distance <= max(0.04 * length, float(distance.min()) * 1.000001)
    count = int(near.sum())
    source = "1 point" if count == 1 else f"{count} points"
    return _seen(place, sure, surface.mesh_vertices(tread[near]), source)


def _seen(place: FloatArray, sure: float, evidence: IntArray, source: str) -> Landmark:
    position = np.array(place, dtype=np.float64)
    frozen(position)
    frozen(evidence)
    return Landmark(position, round(sure, 2), evidence, source)


def _joint(place: FloatArray, sure: float) -> Landmark:
    return _seen(place, sure, np.zeros(0, dtype=np.int64), "joint")


def _by_hand(place: FloatArray) -> Landmark:
    position = np.array(place, dtype=np.float64)
    frozen(position)
    return Landmark(position, 1.0, np.zeros(0, dtype=np.int64), "by hand", by_hand=True)
