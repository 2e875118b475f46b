"""What the parts are built from: the landmarks as plain numbers in the body's axes, and who carries whom."""

from __future__ import annotations

from dataclasses import dataclass

from instep.character.arrays import FloatArray, IntArray
from instep.frames.vector import Vec


@dataclass(frozen=True, slots=True)
class LegPlan:
    """One leg. Positions and directions are in the body's axes (left, up, forward) in the bind pose.

    Attributes
    ----------
    name : "left", "right", "left.hind", ...
    side : +1 on the left, -1 on the right.
    carrier : driver that carries the hip.
    hip, knee, ankle, ball : joint centres; `ball` is the pivot estimated from shape where there is no joint.
    has_toes : whether a joint turns the toes.
    heel, tip, inner, outer : points on the sole.
    foot_axes : left, up, forward of the foot: across the sole, normal to it, from heel to toe along it.
    bend : unit vector across the line from hip to ankle, to where the knee lies (or will bend).
    spaces : drivers besides the root and the world that the foot can follow.
    soft : length of the soft zone at full reach, already short enough never to reach the rest pose.
    stretch_limit : greatest factor on the leg's length.
    hold : how far the toes undo the ball's turn, by default.
    ball_gives_out_deg, tip_takes_over_deg : where roll starts to pass from ball to tip, and where it has passed.
    settle_deg : roll and bank ease in over this angle, so that their slope does not jump where the pivot changes.
    """

    name: str
    side: float
    carrier: str
    hip: Vec
    knee: Vec
    ankle: Vec
    ball: Vec
    has_toes: bool
    heel: Vec
    tip: Vec
    inner: Vec
    outer: Vec
    foot_axes: tuple[Vec, Vec, Vec]
    bend: Vec
    spaces: tuple[str, ...]
    soft: float
    stretch_limit: float
    hold: float
    ball_gives_out_deg: float
    tip_takes_over_deg: float
    settle_deg: float


@dataclass(frozen=True, slots=True)
class PlainPlan:
    """A joint that no leg owns. `side` is +1 or 0 on the left and in the middle, -1 on the right."""

    name: str
    side: float
    carrier: str
    point: Vec


@dataclass(frozen=True, slots=True, eq=False)
class RigPlan:
    """All that the rig's function is written from.

    A *driver* is something that the function computes a change for: the root, the pelvis, each plain joint, and
    the thigh, shin, foot and toes of each leg. Every joint follows one driver rigidly.

    Attributes
    ----------
    R_world_body : (3, 3) the body's left, up and forward directions in the world.
    root : point on the floor under the pelvis, about which the root turns and scales.
    pelvis : the pelvis joint.
    unit : leg length, the measure of lengths.
    drivers : names, in the order of the program's outputs.
    points : (D, 3) the point of each driver that the program places, in the world: its joint.
    followers : (J,) the driver that carries each joint.
    """

    R_world_body: FloatArray
    root: Vec
    pelvis: Vec
    unit: float
    legs: tuple[LegPlan, ...]
    plains: tuple[PlainPlan, ...]
    drivers: tuple[str, ...]
    points: FloatArray
    followers: IntArray
