"""An arm from collar to hand, standing away from the body, with a simple hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from examples.salt_ferry.fields import Field, ellipsoid, limb, union
from examples.salt_ferry.legs import triple
from examples.salt_ferry.member import Joint
from examples.salt_ferry.skin import Gate, across, always, aside, belonging, both, either, led
from instep.character.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Arm:
    """A left arm. Places are (3,) in the world, in metres."""

    collar: FloatArray
    shoulder: FloatArray
    elbow: FloatArray
    wrist: FloatArray

    @property
    def along(self) -> FloatArray:
        """(3,) unit direction of the forearm."""
        return np.asarray((self.wrist - self.elbow) / np.linalg.norm(self.wrist - self.elbow))

    def joints(self) -> list[Joint]:
        """The arm's joints, under ``chest``."""
        return [
            Joint("collar.left", "chest", triple(self.collar)),
            Joint("upper_arm.left", "collar.left", triple(self.shoulder)),
            Joint("forearm.left", "upper_arm.left", triple(self.elbow)),
            Joint("hand.left", "forearm.left", triple(self.wrist)),
        ]

    def gates(self) -> dict[str, Gate]:
        """Gates of forearm and hand."""
        upper = self.elbow - self.shoulder
        fore = self.wrist - self.elbow
        size = float(np.linalg.norm(fore))
        bend = upper / np.linalg.norm(upper) + fore / size
        return {
            "forearm.left": across(self.elbow, bend, 0.25 * size, 0.25 * size),
            "hand.left": across(self.wrist, fore, 0.22 * size, 0.10 * size),
        }

    def with_trunk(self, gates: Mapping[str, Gate], sleeve: Field, trunk: Field, width: float) -> dict[str, Gate]:
        """Gates of a trunk (`gates`) with the arm's added, for a surface that is trunk and arm in one.

        `sleeve` and `trunk` are the two solids that it was made of, `width` the length in metres over which a
        vertex passes from the one to the other.
        """
        upper = self.elbow - self.shoulder
        span = float(np.linalg.norm(self.shoulder - self.collar))
        own = belonging(sleeve, trunk, width)
        top = both(
            across(0.5 * (self.collar + self.shoulder), (1.0, 0.0, 0.0), 0.5 * span, 0.4 * span),
            across(self.shoulder - (0.0, 0.6 * span, 0.0), (0.0, 1.0, 0.0), 0.3 * span, 0.5 * span),
        )
        return {
            **led(gates, own, ("spine.lower", "spine.upper", "chest")),
            "collar.left": both(either(own, top), aside(0.3 * span)),
            "upper_arm.left": both(own, across(self.shoulder, upper, 0.5 * width, 0.7 * width)),
            **self.gates(),
        }

    def bare_gates(self) -> dict[str, Gate]:
        """Gates of a surface that is an arm and nothing else."""
        return {"upper_arm.left": always, **self.gates()}


def hang_arm(
    collar: FloatArray, shoulder: FloatArray, upper: float, fore: float, down_deg: float, bend_deg: float
) -> Arm:
    """A left arm that hangs `down_deg` below the horizontal, with the elbow bent forward by `bend_deg`."""
    a, b = np.radians(down_deg), np.radians(bend_deg)
    out = np.array([np.cos(a), -np.sin(a), 0.0])
    elbow = shoulder + upper * out
    wrist = elbow + fore * (np.cos(b) * out + np.sin(b) * np.array([0.0, -0.35, 0.94]))
    return Arm(collar, shoulder, elbow, wrist)


def hand(arm: Arm, length: float, thickness: float, fingers: Sequence[Sequence[float]]) -> Field:
    """A relaxed hand with the thumb in front, in the world.

    `fingers` are rows of: place across the palm (0.5 the front edge, -0.5 the back edge), length, radius; the
    first is the thumb. All are fractions of `length`, which is from wrist to the longest finger's tip; so is
    `thickness`, half of the palm's.
    """
    along = arm.along
    front = np.array([0.0, 0.0, 1.0]) - along[2] * along
    front /= np.linalg.norm(front)
    back = np.cross(front, along)  # out of the back of the hand: up and outwards

    def at(ahead: float, across_palm: float, up: float) -> FloatArray:
        return np.asarray(arm.wrist + length * (ahead * along + across_palm * front + up * back))

    rows = np.asarray(fingers, dtype=np.float64)
    wide = float(np.abs(rows[1:, 0]).max())
    palm = ellipsoid(
        at(0.27, 0.0, -0.005),
        np.array([0.30, wide + 1.1 * float(rows[1:, 2].max()), thickness]) * length,
        np.stack([along, front, back], axis=1),
    )
    knuckles = limb(
        [at(0.40, -wide, -0.02), at(0.46, 0.0, 0.01), at(0.43, wide, -0.01)], np.full(3, 1.1 * rows[1, 2] * length)
    )
    digits = []
    for across_palm, size, radius in rows[1:]:
        base = 0.45 - 0.35 * across_palm * across_palm
        fan = 1.0 + 0.30 * size
        digits.append(
            limb(
                [
                    at(base - 0.06, across_palm, 0.0),
                    at(base + 0.45 * size, across_palm * (1.0 + 0.5 * (fan - 1.0)), 0.015),
                    at(base + 0.78 * size, across_palm * fan, -0.05),
                    at(base + 0.97 * size - radius, across_palm * fan, -0.13),
                ],
                np.array([1.1, 1.0, 0.95, 0.86]) * radius * length,
                steps=3,
            )
        )
    across_palm, size, radius = rows[0]
    thumb = limb(
        [
            at(0.10, 0.6 * across_palm, -0.03),
            at(0.10 + 0.42 * size, across_palm + 0.10, -0.09),
            at(0.10 + 0.75 * size, across_palm + 0.20, -0.12),
            at(0.10 + size, across_palm + 0.235, -0.15),
        ],
        np.array([1.5, 1.25, 1.0, 0.85]) * radius * length,
        steps=3,
    )
    body = union(palm, knuckles, blend=0.10 * length)
    return union(body, union(*digits, blend=0.012 * length), thumb, blend=0.06 * length)


FIVE = (
    # across, length, radius: thumb, then fore, middle, ring and little finger
    (0.20, 0.42, 0.058),
    (0.195, 0.47, 0.048),
    (0.066, 0.53, 0.050),
    (-0.064, 0.49, 0.048),
    (-0.188, 0.40, 0.042),
)
FOUR = (
    (0.24, 0.48, 0.085),
    (0.215, 0.48, 0.078),
    (0.0, 0.54, 0.080),
    (-0.205, 0.47, 0.074),
)
