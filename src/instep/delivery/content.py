"""What a rig sheet is made from: plain data, so that the page knows nothing of how a rig works."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from instep.character import Character
from instep.character.arrays import FloatArray
from instep.landmarks.model import Measurement

if TYPE_CHECKING:  # the checks take a rig's whole machinery with them, which a drawing does without
    from instep.checks.model import Report


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """One channel of the rig.

    Attributes
    ----------
    control, name : for example "left.foot" and "roll".
    unit : "°", "m", or "" for a plain ratio. Lengths are in the file's unit, whatever `unit` says.
    low, high, default : the range and the value at rest, in `unit`.
    sentence : what it does, without the full stop.
    moves : the joints or places that it moves, in words.
    """

    control: str
    name: str
    unit: str
    low: float
    high: float
    default: float
    sentence: str
    moves: str


@dataclass(frozen=True, slots=True, eq=False)
class LegRoll:
    """A foot rolled from heel to tip, for one leg.

    Attributes
    ----------
    leg : name of the leg, as in the measurement.
    degrees : N values of the roll channel, increasing, 0 among them. Give them closely (each 5 degrees or
        less): the sheet draws as many as fit without touching.
    vertices : (N, V, 3) the skinned mesh at each, in the world.
    break_deg, tip_deg : roll at which the ball gives out, and at which the tip has taken over.
    hold : how far the toes undo the ball's turn, 0 to 1; None where the model has no toe joint.
    """

    leg: str
    degrees: tuple[float, ...]
    vertices: FloatArray
    break_deg: float
    tip_deg: float
    hold: float | None


@dataclass(frozen=True, slots=True, eq=False)
class ControlDrawing:
    """The shape of a control as it stands in the world at rest: polylines of (n, 3) points each."""

    control: str
    side: Literal["left", "right", "middle"]
    polylines: tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True, eq=False)
class WorstPose:
    """The pose in which a check found its worst figure.

    Attributes
    ----------
    check : the check's name.
    vertices : (V, 3) the skinned mesh, in the world.
    joints : (J, 3) where the joints stand.
    root : (3, 4) ``[A | t]`` of the root control: what stood at x goes to ``A x + t``.
    feet : by leg, the same of its foot control: the floor that the foot stands on goes with it.
    place : (3,) where the check's place has gone; None where it named none.
    """

    check: str
    vertices: FloatArray
    joints: FloatArray
    root: FloatArray
    feet: Mapping[str, FloatArray]
    place: FloatArray | None


@dataclass(frozen=True, slots=True, eq=False)
class SheetContent:
    """Everything on a rig sheet.

    Attributes
    ----------
    title : the character's name as a person writes it.
    file_name, rig_file_name : names only, without folders; `rig_file_name` is empty where there is none.
    date : as it shall be printed.
    character, measurement : must belong together, and the character must have a mesh.
    channels : in the order in which they shall be listed.
    rolls : at most one for each leg.
    controls : shapes; the foot's is drawn on the sole.
    remarks : sentences for the reader, without the full stop.
    proof : what the checks found; None where they were not run.
    worst : poses of the proof's findings. A finding without one is told without a drawing.
    """

    title: str
    file_name: str
    rig_file_name: str
    date: str
    character: Character
    measurement: Measurement
    channels: tuple[ChannelRow, ...] = ()
    rolls: tuple[LegRoll, ...] = ()
    controls: tuple[ControlDrawing, ...] = ()
    remarks: tuple[str, ...] = ()
    proof: Report | None = None
    worst: tuple[WorstPose, ...] = ()
