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

WELD: Final = 1e-6
"""Fraction of the size of the mesh (the diagonal of its box). Vertices closer than this are one vertex:
seams differ by rounding only (single precision leaves 1e-7), while the finest modelled detail, a toenail's
edge, is about 1e-4."""

MIRROR: Final = 0.015
"""Fraction of the size of the mesh. A joint this close to another's mirror image is its partner: modelled by
hand, two sides differ by some thousandths; a foot is about 0.1 of the size and a joint apart from the next."""

SKIN_GAP: Final = 0.01
"""Fraction of the size of the mesh. Skins of two joints closer than this continue each other: more than the
spacing of a coarse mesh's seam between a leg and a foot, less than a hand hanging beside a thigh."""

GROUND_BAND: Final = 0.03
"""Fraction of the size of the mesh above its lowest place: what lies there can bear it. About the height of a
sole and its lumps; an ankle stands at 0.04."""

STRAY_AREA: Final = 2e-5
"""Fraction of the whole surface's area. A connected piece smaller than this is a stray: a claw or a button on
a body of 1.8 square metres is at least a tenth of a square centimetre, 5e-6 to 1e-4 of it; a stray is nothing."""

BIND_NOISE: Final = 1e-5
"""Fraction of the skeleton's size. A joint whose bind and rest transforms differ by less is taken to stand in
its bind pose at rest: single-precision inverse bind matrices leave about 1e-6."""

TRACK_STILL: Final = 1e-7
"""Fraction of the skeleton's size for positions, plain number for rotations and scales. A track that stays this
close to the file's rest pose moves nothing and is not written: single precision resolves 6e-8."""

FOOT_PIECE_GAP: Final = 0.12
"""Fraction of the size of the foot's largest piece. Pieces this near (toes, claws, a boot's sole) belong to
the foot; farther ones are strays. A gap between toes is about 0.03."""

TREAD_BAND: Final = 0.025
"""Fraction of foot length over the sole plane: what lies there can bear the foot. Lumps of a sole are 0.01 to
0.02; a shoe's welt or a toe's side begins at about 0.04."""

LEVEL_GAP: Final = 0.012
"""Fraction of foot length. A foot whose rear and front touch a level floor to within this stands level: half
of what lumps of 0.02 can leave open; a pitch of 0.7 degrees."""

SNAP_DEG: Final = 1.5
"""Degrees. A body this close to the axes of its file stands along them exactly: what is modelled to face
forward misses by some tenths of a degree, from rounded rotations and lumpy soles."""

HAND_SPREAD: Final = 0.05
"""Fraction of foot length. Places set by hand that are closer together than this do not turn the sole plane:
a slip of 0.005 would turn it by 6 degrees."""

LANDMARK_MOVED: Final = 1e-3
"""Fraction of leg length. A landmark that lies further than this from where the rig file says it was measured has
moved with the model: under a millimetre on a person, more than rounding and single precision leave."""

LANDMARK_ROUNDING: Final = 1e-6
"""Fraction of leg length to which measured landmarks are rounded in a rig file, so that a person can read them."""
