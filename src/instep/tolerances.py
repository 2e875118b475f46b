"""Every tolerance, with its unit and its reason. Lengths are fractions of the leg (hip to ankle, at rest).

A tolerance that is a fraction holds for a character of any size and in any unit.
"""

from __future__ import annotations

from typing import Final

REST: Final = 1e-9
"""Fraction of leg length. At default channels each joint is this close to its bind position.
Double precision leaves about 1e-15; the margin is for long chains of joints."""

STRAIGHT_LEG: Final = 1e-6
"""Fraction of leg length. A knee closer than this to the line from hip to ankle has no bend direction
of its own: the foot's forward direction is taken instead."""

LEAST_REACH: Final = 1e-4
"""Fraction of leg length, added to the difference of the bone lengths: the ankle comes no nearer to the hip.
The triangle of hip, knee and ankle stays open, so that its angles have derivatives."""

FULL_REACH: Final = 1e-9
"""Fraction of leg length by which the straight leg falls short: keeps the square root of the knee's
sine away from zero. Flexes the knee by 2 acos(1 - 1e-9), 0.005 degrees."""

GUARD: Final = 1e-12
"""Fraction of leg length squared under a root, or added to a divisor. Too small to move a joint by
1e-9 of the leg; large enough that 0/0 becomes 0."""

AIM_FADE: Final = 0.05
"""Fraction of leg length. When the knee's mark comes closer than this to the line from hip to goal its
direction loses meaning, and the leg's own direction fades in. Outside the mark is obeyed exactly."""

HIP_FADE: Final = 1e-3
"""Fraction of leg length. Closer than this to the hip a goal has no direction: that of rest fades in."""

BONE_LENGTH: Final = 1e-6
"""Fraction of the character's height. A thigh, shin or foot shorter than this is an error in the model."""

WEIGHT_SUM: Final = 1e-3
"""Unitless. Weights at a vertex that sum to 1 within this are normalised in silence, others with a note.
glTF 2.0 (3.7.3.3) asks for 2e-7 a weight; 8-bit weights of real files miss by up to 4e-3."""

BIND_AGREEMENT: Final = 1e-4
"""Fraction of the character's height. Two skins that place a joint further apart than this disagree."""
