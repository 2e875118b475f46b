"""How far the ankle goes towards its goal: soft at full reach, never nearer than the bones allow, stretched on
request."""

from __future__ import annotations

from dataclasses import dataclass

from instep.frames.scalar import Scalar, largest, least
from instep.tolerances import GUARD, LEAST_REACH


@dataclass(frozen=True, slots=True)
class Reach:
    """`distance` from hip to ankle for which the triangle is solved, and `factor` by which it is then scaled.

    `slack` is how much shorter the distance is than both bones together, in a form that does not cancel: far beyond
    reach it is a millionth of the leg, and as a difference of lengths its rounding would turn the knee.
    """

    distance: Scalar
    slack: Scalar
    factor: Scalar


def soften(wanted: Scalar, start: Scalar, zone: Scalar, guard: float) -> Scalar:
    """`wanted` up to `start`; beyond, start + zone t / (1 + t) with t = (wanted - start) / zone.

    Continuous in value and slope at `start`; never reaches start + zone. Rational, not exponential: it keeps
    single precision. `zone` may be 0.
    """
    past = largest(wanted - start, 0.0)
    return least(wanted, start) + zone * past / (zone + past + guard)


def limit_reach(
    wanted: Scalar,
    thigh: Scalar,
    shin: Scalar,
    zone: Scalar,
    stretch: Scalar,
    stretch_limit: float,
    unit: float,
) -> Reach:
    """The distance to solve for, from the one `wanted`, with bones of length `thigh` and `shin`.

    `stretch` (0 to 1) is how much of what is missing the bones make up by growing, up to `stretch_limit`; the
    last half of that growth is softened as well, so that the limit is met with a continuous slope.
    """
    whole = thigh + shin
    nearest = largest(thigh - shin, shin - thigh) + LEAST_REACH * unit
    guard = GUARD * unit
    start = whole - zone
    distance = largest(soften(wanted, start, zone, guard), nearest)
    past = largest(wanted - start, 0.0)
    # The greater of the two is always the right one, since (zone - past)(zone + past) < zone^2. Before the zone it is
    # the very difference that the rest pose's slack is: a nearly straight leg shows the root of any other rounding.
    slack = least(largest(whole - wanted, zone * (zone + guard) / (zone + past + guard)), whole - nearest)
    missing = largest(wanted - distance, 0.0) / distance
    half = 0.5 * (stretch_limit - 1.0)
    growth = soften(missing, half, half, GUARD)
    return Reach(distance, slack, 1.0 + stretch * growth)
