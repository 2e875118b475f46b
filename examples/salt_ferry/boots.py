"""A heeled boot: outline of the sole, plate, heel block, upper, strap.

Made in the foot's frame as in `feet`: for the left side, lengths as fractions of the boot's length. The upper
is modelled as for a flat foot and then raised with the sole, so that one recipe serves every height of heel.
"""

from __future__ import annotations

import numpy as np

from examples.salt_ferry.fields import (
    Field,
    Values,
    beside,
    cone,
    cut,
    ellipsoid,
    meet,
    on_surface,
    outline,
    shell,
    smooth_min,
    union,
)
from examples.salt_ferry.skin import ramp
from instep.character.arrays import FloatArray

OUTLINE = (
    # out, ahead: once around the sole, from the heel along the outer edge
    (0.000, 0.000),
    (0.078, 0.022),
    (0.116, 0.090),
    (0.116, 0.200),
    (0.104, 0.340),
    (0.136, 0.500),
    (0.178, 0.640),
    (0.168, 0.770),
    (0.118, 0.895),
    (0.040, 0.978),
    (-0.030, 1.000),
    (-0.098, 0.970),
    (-0.148, 0.890),
    (-0.176, 0.780),
    (-0.178, 0.690),
    (-0.138, 0.550),
    (-0.088, 0.400),
    (-0.096, 0.280),
    (-0.116, 0.180),
    (-0.114, 0.090),
    (-0.076, 0.022),
)
PLATE = 0.028
"""Thickness of the sole."""

SPRING = 0.012
"""How far the very tip of the sole is off the floor."""

LEAST_HEEL = 0.016
"""A heel lower than this has no block of its own: the plate lies flat."""


def boot(length: float, breadth: float, heel: float) -> Field:
    """A left boot up to the ankle, in its own frame, in metres.

    `breadth` is a fraction of the length, `heel` the height of the heel block in metres.
    """
    w, rise = breadth / 0.356, heel / length
    edge = outline(np.array(OUTLINE) * (w * length, length), 0.006 * length)

    def plan(p: FloatArray) -> FloatArray:
        return edge(p[:, [0, 2]])

    def under(z: FloatArray) -> FloatArray:
        """Height of the sole's underside at z, metres."""
        q = z / length
        raised = rise * (1.0 - ramp(q, 0.17, 0.655))
        return np.asarray((raised + SPRING * ramp(q, 0.925, 1.02)) * length)

    everywhere, centre = float(0.9 * length), np.array([0.0, 0.15, 0.5]) * length
    half = 0.5 * PLATE * length
    plate = Field(lambda p: np.asarray(0.9 * (np.abs(p[:, 1] - under(p[:, 2]) - half) - half)), centre, everywhere)
    sole = meet(plate, Field(plan, centre, everywhere), blend=0.011 * length)
    parts = [sole]
    if rise > LEAST_HEEL:

        def block(p: FloatArray) -> FloatArray:
            down = np.clip(rise * length - p[:, 1], 0.0, None)
            sides = plan(p) + 0.006 * length + 0.14 * down
            breast = p[:, 2] - 0.265 * length + 0.10 * down
            top = p[:, 1] - under(p[:, 2]) - half
            round_edge = 0.012 * length
            walls = -smooth_min(-0.97 * sides, -0.97 * breast, round_edge)
            return np.asarray(np.maximum(-smooth_min(-walls, p[:, 1], round_edge), 0.9 * top))

        parts.append(Field(block, centre, everywhere))

    upper = _upper(length, w, edge)

    def raised(p: FloatArray) -> FloatArray:
        q = p.copy()
        q[:, 1] -= under(p[:, 2])
        return np.asarray(0.9 * upper(q))

    above = Field(raised, centre, everywhere)
    return union(union(*parts, blend=0.003 * length), above, blend=0.008 * length)


def _upper(length: float, w: float, edge: Values) -> Field:
    """The upper of a flat boot, with its strap; `edge` is the outline of its sole."""

    def at(out: float, up: float, ahead: float) -> FloatArray:
        return np.array([w * out, up, ahead]) * length

    def egg(place: FloatArray, out: float, up: float, ahead: float) -> Field:
        return ellipsoid(place, np.array([w * out, up, ahead]) * length)

    leather = union(
        egg(at(0.0, 0.130, 0.122), 0.106, 0.170, 0.116),
        cone(at(0.0, 0.14, 0.15), at(0.0, 0.42, 0.220), 0.105 * length, 0.128 * length),
        cone(at(0.0, 0.34, 0.255), at(-0.012, 0.120, 0.630), 0.128 * length, 0.098 * length),
        cone(at(0.0, 0.10, 0.20), at(0.0, 0.080, 0.600), 0.095 * length, 0.110 * length),
        egg(at(-0.002, 0.065, 0.670), 0.170, 0.120, 0.190),
        egg(at(-0.022, 0.055, 0.830), 0.122, 0.092, 0.160),
        blend=0.09 * length,
    )

    def inside_edge(p: FloatArray) -> FloatArray:
        return np.asarray(edge(p[:, [0, 2]]) + 0.014 * length - 0.10 * np.maximum(p[:, 1] - 0.06 * length, 0.0))

    low = Field(lambda p: np.asarray(p[:, 1] - 0.5 * PLATE * length), leather.centre, np.inf)
    leather = meet(leather, Field(inside_edge, leather.centre, np.inf), blend=0.03 * length)
    leather = cut(leather, low, blend=0.0)

    across_instep = np.array([0.0, 0.62, -0.78])
    middle = at(0.0, 0.20, 0.40)

    def band(p: FloatArray) -> FloatArray:
        return np.asarray(np.abs((p - middle) @ across_instep) - 0.034 * length)

    strap = meet(shell(leather, 0.018 * length), Field(band, leather.centre, np.inf), blend=0.005 * length)
    out = on_surface(leather, at(0.0, 0.20, 0.40), np.array([1.0, 0.35, 0.28]), length)
    ring = cut(
        ellipsoid(out, np.array([0.024, 0.050, 0.050]) * length),
        ellipsoid(beside(out, 0.02 * length, 0.0, 0.0), np.array([0.030, 0.026, 0.026]) * length),
        blend=0.004 * length,
    )
    return union(leather, strap, ring, blend=0.003 * length)
