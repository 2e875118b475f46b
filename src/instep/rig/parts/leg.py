"""The leg: two bones from hip to ankle, solved in closed form.

Tolani, Goswami & Badler 2000, Graphical Models 62:353, with half angles in place of inverse trigonometry: by
Heron's factors, with sides a (thigh), b (shin) and d (hip to ankle), the angle at the hip has

    sin^2(alpha/2) = (b - a + d)(b + a - d) / (4 a d)      cos^2(alpha/2) = (a + d - b)(a + d + b) / (4 a d)

in which nothing cancels as the leg straightens.
"""

from __future__ import annotations

from dataclasses import dataclass

from instep.frames.quaternion import Quat, swing, turn_about, twist_between
from instep.frames.rigid import Rigid
from instep.frames.scalar import Scalar, largest, sqrt
from instep.frames.vector import Vec, across, cross, dot, length, mix_vectors, unit
from instep.rig.channels import ChannelBook
from instep.rig.parts.reach import limit_reach
from instep.rig.parts.turns import take_shift
from instep.rig.plan import LegPlan
from instep.tolerances import AIM_FADE, GUARD, HIP_FADE, REST


@dataclass(frozen=True, slots=True)
class Bones:
    """A solved leg in root space: turns of thigh and shin (as changes), the places of the three joints, and the place
    of the mark that the knee points to."""

    thigh: Quat
    shin: Quat
    hip: Vec
    knee: Vec
    ankle: Vec
    mark: Vec


@dataclass(frozen=True, slots=True)
class _Aim:
    """The knee's channels."""

    shift: Vec
    twist_deg: Scalar
    follow: Scalar
    pin: Scalar
    slide: Scalar


def build_leg(book: ChannelBook, leg: LegPlan, carrier: Rigid, goal: Vec, unit_length: float) -> Bones:
    """The leg that brings its ankle to `goal` as far as it reaches, with its hip carried by `carrier`."""
    aim = _take_aim(book, leg, unit_length)
    soft = book.take(
        f"{leg.name}.leg.soft",
        "share",
        0.0,
        1.0,
        "How softly the knee comes to full reach: 1 over the whole soft zone, 0 hard.",
        default=1.0,
    )
    stretch = book.take(f"{leg.name}.leg.stretch", "share", 0.0, 1.0, "How much the leg stretches to reach its goal.")
    hip = carrier @ leg.hip
    line = leg.ankle - leg.hip
    u_rest = unit(line)
    rest_thigh, rest_shin = length(leg.knee - leg.hip), length(leg.ankle - leg.knee)

    # Towards the goal; a goal on the hip itself has no direction, so that of rest fades in.
    to_goal = goal - hip
    near = 1.0 - dot(to_goal, to_goal) * (1.0 / (HIP_FADE * unit_length) ** 2)
    u_goal = unit(to_goal + u_rest * (largest(near, 0.0) * (HIP_FADE * unit_length)), GUARD * unit_length)
    thigh, shin = rest_thigh * (1.0 + aim.slide), rest_shin - rest_thigh * aim.slide
    reach = limit_reach(
        length(to_goal, GUARD * unit_length),
        thigh,
        shin,
        leg.soft * soft,
        stretch,
        leg.stretch_limit,
        unit_length,
    )

    carried = swing(u_rest, u_goal, cross(leg.bend, u_rest))
    plane, place, mark = _turn_to_plane(leg, aim, carried, hip, u_goal, unit_length)
    hinge = cross(u_rest, leg.bend)
    d_rest = length(line)
    # A nearly straight knee may stand beside the plane that it bends in: the triangle there is a little shorter.
    beside = dot(hinge, leg.knee - leg.hip)
    thigh_lost, shin_lost = (_beside(beside, bone, unit_length) for bone in (rest_thigh, rest_shin))
    slack, rest_slack = reach.slack, rest_thigh + rest_shin - d_rest
    if thigh_lost or shin_lost:
        thigh_in, shin_in, slack = thigh - thigh_lost, shin - shin_lost, slack - (thigh_lost + shin_lost)
        rest_slack = rest_slack - (thigh_lost + shin_lost)
    else:
        thigh_in, shin_in = thigh, shin
    rest_thigh_in, rest_shin_in = rest_thigh - thigh_lost, rest_shin - shin_lost
    at_hip = _opened(
        hinge,
        1.0,
        _half_angle(thigh_in, shin_in, reach.distance, slack),
        _half_angle(rest_thigh_in, rest_shin_in, d_rest, rest_slack),
    )
    at_ankle = _opened(
        hinge,
        -1.0,
        _half_angle(shin_in, thigh_in, reach.distance, slack),
        _half_angle(rest_shin_in, rest_thigh_in, d_rest, rest_slack),
    )
    q_thigh, q_shin = plane @ at_hip, plane @ at_ankle
    knee = hip + (q_thigh @ (leg.knee - leg.hip)) * (reach.factor * (thigh * (1.0 / rest_thigh)))
    # Not by way of the knee: where the ankle is must not hang on where the knee points, not even by rounding.
    ankle = hip + u_goal * (reach.distance * reach.factor)
    return _pinned(Bones(q_thigh, q_shin, hip, knee, ankle, mark), goal, place, aim.pin, leg, unit_length)


def _beside(offset: Scalar, bone: Scalar, unit_length: float) -> float:
    """By how much a bone is shorter as seen in the plane that the knee bends in, with the knee `offset` beside it."""
    a, b = abs(float(offset)), float(bone)
    return a * a / (b + float(sqrt(b * b - a * a))) if a > REST * unit_length else 0.0


def _take_aim(book: ChannelBook, leg: LegPlan, unit_length: float) -> _Aim:
    control = f"{leg.name}.knee"
    # The shin keeps at least half of its length, also where it is far shorter than the thigh.
    slide = min(0.3, 0.5 * float(length(leg.ankle - leg.knee) / length(leg.knee - leg.hip)))
    shift = take_shift(book, control, leg.side, 2.0 * unit_length, "the mark that the knee points to", essential=True)
    return _Aim(
        shift,
        book.take(f"{control}.twist", "deg", -120.0, 120.0, "Swings the knee outward about the leg.", essential=True),
        book.take(
            f"{control}.follow",
            "share",
            0.0,
            1.0,
            "Whether the knee's mark is carried by the leg (1) or stays with the root (0).",
            default=1.0,
        ),
        book.take(f"{control}.pin", "share", 0.0, 1.0, "Pins the knee to its place, stretching both bones."),
        book.take(f"{control}.slide", "share", -0.3, slide, "Slides the knee along the leg, as a share of the thigh."),
    )


def mark_distance(unit_length: float) -> float:
    """How far before the knee its mark stands at rest."""
    return 0.5 * unit_length


def _turn_to_plane(
    leg: LegPlan, aim: _Aim, carried: Quat, hip: Vec, u_goal: Vec, unit_length: float
) -> tuple[Quat, Vec, Vec]:
    """The turn from the rest triangle's plane to the solved one, where the knee itself is told to be, and its mark."""
    from_hip = leg.knee - leg.hip + aim.shift
    knee_place = mix_vectors(leg.knee + aim.shift, hip + carried @ from_hip, aim.follow)
    ahead = leg.bend * mark_distance(unit_length)
    mark = mix_vectors(leg.knee + aim.shift + ahead, hip + carried @ (from_hip + ahead), aim.follow)
    bend_carried = carried @ leg.bend
    # A nearly straight knee may stand beside the plane that it is to bend in. What tells the plane is then measured
    # from beside the knee, in that plane: at rest it tells exactly the plane of rest.
    hinge = cross(unit(leg.ankle - leg.hip), leg.bend)
    within = ahead - hinge * dot(hinge, leg.knee - leg.hip)
    teller = mix_vectors(leg.knee + aim.shift + within, hip + carried @ (from_hip + within), aim.follow)
    told = across(teller - hip, u_goal)
    # Near the leg's own line the mark says nothing; the carried direction fades in. Exact outside.
    fade = largest(1.0 - dot(told, told) * (1.0 / (AIM_FADE * unit_length) ** 2), 0.0)
    n = unit(told + bend_carried * (fade * fade * (AIM_FADE * unit_length)), GUARD * unit_length)
    twist = aim.twist_deg * -leg.side  # outward: the leg's line points down, hence the sign
    q_twist = turn_about(u_goal, twist) @ twist_between(bend_carried, n, u_goal)
    return q_twist @ carried, knee_place, mark


def _half_angle(adjacent: Scalar, opposite: Scalar, third: Scalar, slack: Scalar) -> tuple[Scalar, Scalar]:
    """Cosine and sine of half the angle between sides `adjacent` and `third`, by Heron's factors; `slack` is the one
    that vanishes as the leg straightens, opposite + adjacent - third.

    The sine is sqrt(x + g^2) - g, g = 1e-12: exactly 0 for the straight leg, with a finite derivative there.
    """
    share = 1.0 / (4.0 * adjacent * third)
    sine2 = largest((opposite - adjacent + third) * slack * share, 0.0)
    cosine2 = largest((adjacent + third - opposite) * (adjacent + third + opposite) * share, 0.0)
    return sqrt(cosine2), sqrt(sine2 + GUARD * GUARD) - GUARD


def _opened(axis: Vec, sign: float, now: tuple[Scalar, Scalar], rest: tuple[Scalar, Scalar]) -> Quat:
    """Turn about `axis` by the change of an angle from `rest` to `now`, each as (cos, sin) of its half."""
    (c, s), (c0, s0) = now, rest
    v = (s * c0 - c * s0) * sign
    return Quat(c * c0 + s * s0, axis.x * v, axis.y * v, axis.z * v)


def _pinned(bones: Bones, goal: Vec, place: Vec, pin: Scalar, leg: LegPlan, unit_length: float) -> Bones:
    """The knee at `place`, by the share `pin`; the bones turn and stretch to knee and goal."""
    guard = GUARD * unit_length
    knee = mix_vectors(bones.knee, place, pin)
    ankle = mix_vectors(bones.ankle, goal, pin)
    hinge = cross(leg.bend, unit(leg.ankle - leg.hip))  # across both bones, and so it stays as they turn
    thigh = swing(unit(bones.knee - bones.hip, guard), unit(knee - bones.hip, guard), bones.thigh @ hinge) @ bones.thigh
    shin = swing(unit(bones.ankle - bones.knee, guard), unit(ankle - knee, guard), bones.shin @ hinge) @ bones.shin
    if isinstance(pin, float) and pin == 0.0:
        return bones
    return Bones(thigh, shin, bones.hip, knee, ankle, bones.mark)
