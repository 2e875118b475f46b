"""A leg from hip to toes: where its joints stand, and the gates of its weights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from examples.salt_ferry.feet import FootFrame, standing_frame, toes_gate
from examples.salt_ferry.member import Joint, Triple
from examples.salt_ferry.skin import Gate, across, always, aside, both
from instep.character.arrays import FloatArray

KNEE_FLEX_RAD = float(np.radians(2.0))
"""The knee's bend at rest: enough to say which way the knee goes, too little to see."""


def triple(place: FloatArray) -> Triple:
    """A place as three plain numbers."""
    return float(place[0]), float(place[1]), float(place[2])


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A left leg. Places are (3,) in the world, in metres."""

    hip: FloatArray
    knee: FloatArray
    ankle: FloatArray
    ball: FloatArray
    frame: FootFrame
    ball_up: float
    ball_ahead: float

    @property
    def length(self) -> float:
        """From hip over knee to ankle, metres."""
        return float(np.linalg.norm(self.knee - self.hip) + np.linalg.norm(self.ankle - self.knee))

    def joints(self) -> list[Joint]:
        """The leg's joints, under ``pelvis``."""
        return [
            Joint("thigh.left", "pelvis", triple(self.hip)),
            Joint("shin.left", "thigh.left", triple(self.knee)),
            Joint("foot.left", "shin.left", triple(self.ankle)),
            Joint("toes.left", "foot.left", triple(self.ball)),
        ]

    def gates(self) -> dict[str, Gate]:
        """Gates of thigh, shin, foot and toes; the thigh's from the pelvis, for a surface that has both."""
        thigh, height = float(np.linalg.norm(self.knee - self.hip)), float(self.ankle[1])
        bend = self.ankle - self.hip
        return {
            "thigh.left": both(
                across(self.hip, (0.30, -1.0, 0.0), 0.20 * thigh, 0.26 * thigh), aside(0.5 * self.hip[0])
            ),
            "shin.left": across(self.knee, bend, 0.22 * thigh, 0.22 * thigh),
            "foot.left": across(self.ankle, (0.0, -1.0, 0.28), 0.45 * height, 0.35 * height),
            "toes.left": toes_gate(self.frame, self.ball_up, self.ball_ahead),
        }

    def gates_from(self, joint: str) -> dict[str, Gate]:
        """The gates of a surface that starts at `joint`, without the pelvis."""
        gates = self.gates()
        names = list(gates)
        return {joint: always, **{name: gates[name] for name in names[names.index(joint) + 1 :]}}

    def truth(self, tread: Mapping[str, Triple], heel_height: float) -> dict[str, Triple]:
        """What is known of both legs, by name, from the left's tread."""
        left = {
            "hip": triple(self.hip),
            "knee": triple(self.knee),
            "ankle": triple(self.ankle),
            "ball": triple(self.ball),
            **tread,
            "heel_height": (0.0, float(heel_height), 0.0),
        }
        right = {name: (-x, y, z) if x else (x, y, z) for name, (x, y, z) in left.items()}
        return {
            f"{side}.{name}": at for side, known in (("left", left), ("right", right)) for name, at in known.items()
        }


def stand_leg(
    *,
    hip_out: float,
    ankle_out: float,
    leg_length: float,
    ankle_up: float,
    foot_length: float,
    foot_breadth: float,
    toes_out_deg: float,
    ankle_ahead: float,
    ball_up: float,
    ball_ahead: float,
    knee_down: float = 0.5,
) -> Leg:
    """A standing left leg.

    `hip_out` and `ankle_out` in metres from the middle; `leg_length` from hip over knee to ankle and
    `ankle_up` over the floor in metres; `foot_breadth`, `ankle_ahead`, `ball_up` and `ball_ahead` as fractions
    of `foot_length`; `knee_down` is the thigh's fraction of the leg. The feet stand further apart than
    `ankle_out` where they are so broad that they would meet.
    """
    ankle_out = max(ankle_out, (0.55 * foot_breadth + 0.04) * foot_length)
    thigh, shin = knee_down * leg_length, (1.0 - knee_down) * leg_length
    reach = np.sqrt(thigh**2 + shin**2 + 2.0 * thigh * shin * np.cos(KNEE_FLEX_RAD))
    ankle = np.array([ankle_out, ankle_up, 0.0])
    hip = np.array([hip_out, ankle_up + np.sqrt(reach**2 - (hip_out - ankle_out) ** 2), 0.0])
    along = (ankle - hip) / reach
    down = (thigh**2 - shin**2 + reach**2) / (2.0 * reach)
    forward = np.array([0.0, 0.0, 1.0])
    knee = hip + down * along + np.sqrt(thigh**2 - down**2) * forward
    frame = standing_frame(ankle, foot_length, toes_out_deg, ankle_ahead)
    ball = frame.place(0.0, ball_up, ball_ahead)
    return Leg(hip, knee, ankle, ball, frame, ball_up, ball_ahead)
