"""The heel point: the rearmost tread, on the foot's axis."""

from __future__ import annotations

from instep.character.arrays import FloatArray
from instep.landmarks.axis import HEEL_SECTION
from instep.landmarks.tread import FootFrame, Tread


def heel_point(frame: FootFrame, tread: Tread) -> FloatArray:
    """(3,) in the world: on the sole plane, where the axis leaves the tread behind."""
    return frame.world(tread.middle(tread.rear + HEEL_SECTION * tread.length), 0.0, tread.rear)
