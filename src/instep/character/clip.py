"""Joint animation as it stands in a file: tracks of keys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from instep.character.arrays import FloatArray
from instep.character.pose import Poses


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Keys of one property of one joint, in the joint's own (local) frame.

    Attributes
    ----------
    joint : name of the joint.
    path : which property; rotations are quaternions w, x, y, z.
    times : (T,) seconds, strictly increasing.
    values : (T, 3) or (T, 4); with CUBICSPLINE (T, 3, n): in-tangent, value, out-tangent.
    interpolation : as in glTF 2.0, 3.11.
    """

    joint: str
    path: Literal["translation", "rotation", "scale"]
    times: FloatArray
    values: FloatArray
    interpolation: Literal["LINEAR", "STEP", "CUBICSPLINE"] = "LINEAR"


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """A named animation: at most one track for each joint and path."""

    name: str
    tracks: tuple[Track, ...]

    @property
    def duration_s(self) -> float:
        """Time of the last key, in seconds."""
        return max((float(track.times[-1]) for track in self.tracks if len(track.times)), default=0.0)


@dataclass(frozen=True, slots=True, eq=False)
class BakedClip:
    """A named animation as one pose a frame: `times` (N,) in seconds, strictly increasing, and N `poses`."""

    name: str
    times: FloatArray
    poses: Poses
