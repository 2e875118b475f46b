"""What measuring returns: places on the body, how sure they are, and the vertices that are their evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from instep.character.arrays import FloatArray, IntArray

LANDMARK_NAMES = ("hip", "knee", "ankle", "ball", "toe", "heel", "tip", "inner", "outer")
"""The landmarks of a leg that can be set by hand, from the hip down; the last four lie on the sole."""


@dataclass(frozen=True, slots=True, eq=False)
class Landmark:
    """A place on the body.

    Attributes
    ----------
    position : (3,) in the world, in the bind pose, in the file's unit.
    confidence : 0 (guessed) to 1 (certain).
    evidence : indices of the mesh's vertices that it was measured from; empty for a joint.
    source : what it was seen from, in a few words: "joint", "14 points", "by hand".
    by_hand : set by a person; never measured over.
    """

    position: FloatArray
    confidence: float
    evidence: IntArray
    source: str
    by_hand: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class LegLandmarks:
    """One leg with its foot.

    Attributes
    ----------
    name : "left" or "right"; with more than two legs "left.hind", "left.fore" and so on.
    side : "left" or "right".
    thigh, shin, foot : joint indices: the joints at hip, knee and ankle.
    toes : joint index of the joint at the ball, which turns the toes; None where the model has none.
    toe_end : joint index of the joint at the toes' end, where there is one.
    joints : every joint of the leg with the joint that carries it, as (joint, carrier) with carrier one of
        thigh, shin, foot, toes: twist joints, joints inside the foot, ends.
    hip, knee, ankle : joint centres.
    ball : the ball joint: of the toes' joint where there is one, otherwise estimated from shape.
    toe : end of the toes' joint chain, where there is one.
    heel, tip, inner, outer : on the sole: rearmost tread, foremost tread, and the widest places of the
        tread towards the body's middle and away from it.
    sole_normal : (3,) unit normal of the sole plane, up into the foot; the plane passes through `heel`.
    axis : (3,) unit vector in the sole plane, from heel to toe.
    heel_height : how far the foot's rear is raised over its front by a heel or a wedge inside the shape,
        in the file's unit: 0 for a flat or bare foot.
    outline : (n, 3) outline of the sole, in the sole plane, counter-clockwise seen from above.
    sole : indices of the vertices that make up the tread (within a small height of the sole plane).
    vertices : indices of all vertices of this foot (weighted mostly to foot or toes).
    foot_length : from the rearmost to the foremost point of the foot along its axis, in the file's unit.
    """

    name: str
    side: Literal["left", "right"]
    thigh: int
    shin: int
    foot: int
    toes: int | None
    toe_end: int | None
    joints: tuple[tuple[int, int], ...]
    hip: Landmark
    knee: Landmark
    ankle: Landmark
    ball: Landmark
    toe: Landmark | None
    heel: Landmark
    tip: Landmark
    inner: Landmark
    outer: Landmark
    sole_normal: FloatArray
    axis: FloatArray
    heel_height: float
    outline: FloatArray
    sole: IntArray
    vertices: IntArray
    foot_length: float

    @property
    def landmarks(self) -> dict[str, Landmark]:
        """The landmarks by name, in the order of LANDMARK_NAMES, without those that the model lacks."""
        found = {name: getattr(self, name) for name in LANDMARK_NAMES}
        return {name: landmark for name, landmark in found.items() if landmark is not None}


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """What was measured on a character.

    Attributes
    ----------
    R_world_body : (3, 3) rotation whose columns are the body's left, up and forward directions in the world.
        The identity for a character that stands as glTF asks (Y up, facing +Z).
    floor : height of the floor under the feet along the body's up direction, in the file's unit.
    pelvis : joint index of the pelvis: the joint that all legs share (with four legs, the hind legs).
    legs : left before right; hind before fore.
    leg_length : mean length from hip over knee to ankle of the first pair, in the file's unit: the measure
        that tolerances are fractions of.
    remarks : sentences for the user: what is missing, what was guessed, what it would take to have it.
    """

    R_world_body: FloatArray
    floor: float
    pelvis: int
    legs: tuple[LegLandmarks, ...]
    leg_length: float
    remarks: tuple[str, ...] = ()
