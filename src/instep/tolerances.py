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

CARRY: Final = 1e-9
"""Fraction of leg length and root scale, and radians. The root carries each joint by exactly its own move: double
precision leaves 1e-13 for a character some legs away from the origin."""

MIRRORED_POSE: Final = 1e-6
"""Fraction of leg length, and radians. A mirrored pose is the pose of the mirrored channels: rounding is magnified
to 1e-8 where a leg is straight, since a knee moves by the root of what its ankle is off."""

SAME_SIDES: Final = 1e-9
"""Fraction of leg length. Two sides of a model that differ by less are judged as equal."""

PLANTED: Final = 1e-3
"""Fraction of foot length. A contact that a pivot holds drifts by no more: a quarter of a millimetre on a person,
a hundredth of what is noticed (sliding is seen from below 21 mm: Pražák, Hoyet & O'Sullivan, SCA 2011:287)."""

SOLE_SINKS: Final = 5e-3
"""Fraction of foot length by which a sole may sink into the floor while it rolls or banks: a millimetre and a quarter
on a person, what a skin's blend at the ball leaves at its best hold. A sole that is uneven by more at rest may sink
by as much again as its own lumps, at most twice this in all."""

SOLE_FLOATS: Final = 1e-2
"""Fraction of foot length by which the lowest place of a sole may hover over the floor that the foot stands on."""

TOES_SINK: Final = 2e-2
"""Fraction of foot length by which the sole may sink when the toes bend up besides: the crease under the ball is
pushed down by any smooth blend of weights, by the blend's width times the sine of the bend."""

KNEE_RATE_SLACK: Final = 1e-3
"""Share by which a measured knee rate may pass its bound: differences over a finite travel, and rounding."""

STRAIGHTEST_DEG: Final = 1.0
"""Degrees by which a knee is bent at rest at least: below, which way it bends is a matter of chance, and the soft
zone that keeps it from popping has no room."""

ANKLE_MEETS: Final = 1e-9
"""Fraction of leg length by which an ankle misses a goal that the leg reaches: a closed form leaves rounding."""

CONTINUOUS: Final = 1e-3
"""Radians, or a share of a slope: what is left of a change over a billionth of its path. A jump leaves all of it; the
steepest continuous place of a leg, a knee next to straight, leaves 2e-4."""

AIMED_DEG: Final = 0.1
"""Degrees by which a knee may point away from its mark: a closed form leaves 1e-6; below this nobody sees it."""

SWITCHED: Final = 1e-6
"""Fraction of leg length by which a joint may move when a leg changes how it is posed."""

SWITCHED_DEG: Final = 1e-3
"""Degrees by which a joint may turn when a leg changes how it is posed: a straight knee magnifies rounding to 1e-5."""

PROGRAMS_AGREE: Final = 1e-9
"""Fraction of leg length, or chord of a quaternion. A generated program and the reference differ by rounding: 1e-14,
magnified to 1e-10 where a leg is nearly straight."""

SKIN_SUM: Final = 1e-6
"""Unitless. Weights at a vertex sum to 1 to single precision (glTF 2.0, 3.7.3.3: 2e-7 a weight) once they are read."""

STRAY_WEIGHT: Final = 0.01
"""Unitless. A vertex of a shin or a foot may follow another leg by this much: below, it moves by a hundredth."""

FOLDED_SKIN: Final = 0.03
"""Fraction of the foot's skin whose triangles may turn inside out or shrink to nothing: the crease in front of an
ankle at the end of its range is about that."""

FOOT_VOLUME: Final = 0.06
"""Fraction of the foot's volume that a pose may lose or gain: linear blending loses some at every bend
(Jacobson et al. 2011, ACM TOG 30:78, show the shrinking), and a tenth is plainly seen."""

SAME_LENGTH: Final = 0.01
"""Fraction of the leg by which the two sides may differ in length: then one knee is visibly straighter (a leg shorter
by 1 % flexes a straight knee by 16 degrees)."""

LEVEL_FOOT_DEG: Final = 3.0
"""Degrees by which the sole plane may lean from the floor at rest: 1 % of foot length in height at the ball."""

KNEE_PLANE_DEG: Final = 25.0
"""Degrees between the way that a knee bends and the foot points, seen along the leg: people's feet point outward by 5
to 18 degrees (common practice: up to 20 in a model); more sends the knee across the foot."""

BALL_HEIGHT: Final = 0.25
"""Fraction of foot length by which the ball joint may stand over the sole. People: 0.07 to 0.12 with skin."""

JOINT_OUTSIDE: Final = 0.03
"""Fraction of leg length by which a joint may lie outside the mesh: open seams between pieces of a limb are that wide;
beyond, the joint is plainly beside its limb."""

SOLE_LEFT_BEHIND: Final = 0.05
"""Unitless. Weight that a vertex of the sole may have on joints above the ankle: it then stays behind by that share
of each turn of the foot."""

NEARLY_STRAIGHT: Final = 5e-4
"""Fraction of leg length. A knee this close to the line from hip to ankle (0.1 degrees of flexion) lies on one side of
it by chance: a solved aim may take its place. Bending about another axis then shortens the leg's reach by the square of
this, 5e-7 of the leg, and never moves the ankle."""

AIM_APART_DEG: Final = 75.0
"""Degrees between a solved aim and the side on which a nearly straight knee stands, at most: a knee that bent to the
opposite side would first have to straighten, which a leg that grows shorter cannot do."""

TOES_EXTEND_DEG: Final = (40.0, 65.0)
"""Degrees. Extension of the toes at toe-off: 42 (Nawoczenski 1999, JBJS 81A:370) to about 60 (Neumann), accepted 40
to 65."""

SMOOTH_HANDOVER: Final = 0.06
"""Share of the roll's rate that may pass from ball to tip in a degree of roll: the smooth step passes at most 1.5 over
its width, so that the width is 25 degrees or more. Common practice is 27."""

LEAST_GAIN: Final = 1e-4
"""Fraction of foot length. A solved number that brings a sole less than this nearer to the floor is not worth having:
some hundredths of a millimetre on a person."""

FAR_FROM_MESH: Final = 0.03
"""Fraction of leg length. A place set by hand that lies this much further from the mesh than it did was meant for
another model: a foot's thickness is about 0.08 to 0.1 of a leg, a moved vertex under 0.01."""
