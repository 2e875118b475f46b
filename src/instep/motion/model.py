"""A motion on a rig: channel values over time, what bears when, and on which floor."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np

from instep.character.arrays import BoolArray, FloatArray, IntArray

Part: TypeAlias = Literal["heel", "ball", "tip"]
PARTS: Final[tuple[Part, Part, Part]] = ("heel", "ball", "tip")


@dataclass(frozen=True, slots=True)
class Contact:
    """A part of a foot that bears from `start_s` to `end_s` (times of the first and the last frame).

    leg : name of the leg. confidence : 0 to 1. height : of the floor under it, in the file's unit.
    """

    leg: str
    part: Part
    start_s: float
    end_s: float
    confidence: float = 1.0
    height: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """The floor that a clip was found to stand on, in the body's axes (left, up, forward) and the file's unit.

    Attributes
    ----------
    kind : one height, one slope, or a height for each contact.
    height : under the origin.
    slope : rise along left and along forward, per unit of length.
    velocity : of the floor along left and forward, units a second: not zero on a treadmill and for a walk on the spot.
    path : (N, 2) how far the floor has moved along left and forward on each frame, where it moves unevenly, as under
        a walk that was keyed on the spot; `velocity` is then its mean. None: evenly.
    """

    kind: Literal["level", "slope", "steps"] = "level"
    height: float = 0.0
    slope: tuple[float, float] = (0.0, 0.0)
    velocity: tuple[float, float] = (0.0, 0.0)
    path: FloatArray | None = None

    def carried(self, frames: int, rate: float) -> FloatArray:
        """(frames, 3) how far the floor has moved since the first frame."""
        moved = np.zeros((frames, 3))
        if self.path is not None:
            moved[:, [0, 2]] = self.path
        else:
            moved[:, [0, 2]] = (np.arange(frames) / rate)[:, None] * np.array(self.velocity)
        return moved

    @property
    def normal(self) -> FloatArray:
        """(3,) unit normal."""
        raw = np.array([-self.slope[0], 1.0, -self.slope[1]])
        return np.asarray(raw / np.linalg.norm(raw), dtype=np.float64)

    def heights(self, across: FloatArray, along: FloatArray) -> FloatArray:
        """Height of the floor at places (for a floor of steps, that under the origin)."""
        return np.asarray(self.height + self.slope[0] * across + self.slope[1] * along, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Keys:
    """Keys of one channel: cubic segments as in glTF 2.0 (appendix C.5) with one slope a key.

    frames : (K,) frame numbers of the motion's own times. values, slopes : (K,); slopes per second.
    """

    frames: IntArray
    values: FloatArray
    slopes: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """A clip on a rig.

    Attributes
    ----------
    name : of the clip.
    rate : frames a second. start_s : time of the first frame.
    channels : names, in the rig's order.
    values : (N, C) channel values: degrees, the file's unit, shares.
    contacts, floor : what was found, or set by a person.
    keys : by channel, where the motion has been thinned; `values` are then what the keys say.
    cyclic : whether the last frame is the first again.
    """

    name: str
    rate: float
    start_s: float
    channels: tuple[str, ...]
    values: FloatArray
    contacts: tuple[Contact, ...] = ()
    floor: Floor = Floor()
    keys: dict[str, Keys] | None = None
    cyclic: bool = False

    def __len__(self) -> int:
        return len(self.values)

    @property
    def times_s(self) -> FloatArray:
        """(N,) seconds."""
        return np.asarray(self.start_s + np.arange(len(self.values)) / self.rate, dtype=np.float64)

    def with_values(self, values: FloatArray) -> Motion:
        """The same motion with other values, and no keys."""
        return replace(self, values=values, keys=None)

    def bearing(self, leg: str, part: Part) -> BoolArray:
        """(N,) the frames on which a part of a foot bears."""
        times = self.times_s
        slack = 1e-6 + 0.01 / self.rate
        mask = np.zeros(len(times), dtype=np.bool_)
        for contact in self.contacts:
            if contact.leg == leg and contact.part == part:
                mask |= (times >= contact.start_s - slack) & (times <= contact.end_s + slack)
        return mask
