"""How far the ankle goes towards its goal: soft at full reach, never nearer than the bones allow, stretched on
request."""

from __future__ import annotations

from dataclasses import dataclass

from instep.frames.scalar import Scalar, largest, least
from instep.tolerances import GUARD, LEAST_REACH


@dataclass(frozen=True, slots=True)
class Reach:
    """`distance` from hip to ankle for which the triangle is solved, and `factor` by which it is then scaled."""

    distance: Scalar
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
    distance = largest(soften(wanted, whole - zone, zone, GUARD * unit), nearest)
    missing = largest(wanted - distance, 0.0) / distance
    half = 0.5 * (stretch_limit - 1.0)
    growth = soften(missing, half, half, GUARD)
    return Reach(distance, 1.0 + stretch * growth)
