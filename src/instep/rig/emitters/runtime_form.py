"""What every language needs to write a rig: its programs, and the names and numbers of its tables."""

from __future__ import annotations

from dataclasses import dataclass

from instep.rig.channels import Channel
from instep.rig.program.model import Program

PER_JOINT = 7
"""Numbers of a joint: w x y z across up along. One number, the scale, stands before those of all joints."""


@dataclass(frozen=True, slots=True)
class RuntimeForm:
    """A rig, ready to be written in any language.

    Attributes
    ----------
    name : prefix of all names in the code: an identifier in lower case.
    character : the name of the character's file.
    program : from channels to joints: see `instep.rig.joints`.
    channels : in the order of the program's inputs.
    joints : names of the joints, in the order of the program's outputs.
    parents : for each joint, the number of its parent, or -1.
    bind : for each joint, where it stands in the bind pose, in the world.
    leg_length : hip to ankle in the bind pose, in the unit of the file.
    derivatives : the program of the derivatives that are not always zero, where they are wanted. Its outputs are, in
        order, those of `derivative_places`.
    derivative_places : (output, channel) of each derivative.
    """

    name: str
    character: str
    program: Program
    channels: tuple[Channel, ...]
    joints: tuple[str, ...]
    parents: tuple[int, ...]
    bind: tuple[tuple[float, float, float], ...]
    leg_length: float
    derivatives: Program | None = None
    derivative_places: tuple[tuple[int, int], ...] = ()
