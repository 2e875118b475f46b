"""Odile's head: face, hair drawn back to a bun, eyes.

Places are those of a head of life size whose chin stands at 0.575; `at` brings them to where the head is.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from examples.salt_ferry.fields import Field, ball, beside, cone, cut, ellipsoid, grow, limb, mirrored, union
from examples.salt_ferry.member import Piece, box
from examples.salt_ferry.skin import always
from examples.salt_ferry.spine import Place, spine_gates
from examples.salt_ferry.surface import Grid
from instep.character.arrays import FloatArray


def _skull(at: Place, u: float) -> Field:
    return union(
        ellipsoid(at(0.0, 0.677, -0.012), np.array([0.077, 0.092, 0.096]) * u),
        ellipsoid(at(0.0, 0.622, 0.016), np.array([0.060, 0.068, 0.068]) * u),
        blend=0.04 * u,
    )


def head_piece(at: Place, spine: Mapping[str, FloatArray], u: float, h: float) -> Piece:
    face = union(
        _skull(at, u),
        mirrored(ball(at(0.038, 0.636, 0.044), 0.026 * u), 0.0),
        ellipsoid(at(0.0, 0.566, 0.056), np.array([0.024, 0.018, 0.020]) * u),
        cone(at(0.0, 0.420, -0.030), at(0.0, 0.600, -0.012), 0.040 * u, 0.036 * u),
        blend=0.035 * u,
    )
    socket = ellipsoid(at(0.031, 0.659, 0.092), np.array([0.020, 0.013, 0.016]) * u)
    face = cut(face, mirrored(socket, 0.0), blend=0.016 * u)
    nose = limb(
        [at(0.0, 0.668, 0.076), at(0.0, 0.640, 0.096), at(0.0, 0.628, 0.097)], np.array([0.006, 0.0085, 0.0095]) * u
    )
    wings = mirrored(ball(at(0.009, 0.626, 0.087), 0.0075 * u), 0.0)
    lips = union(
        mirrored(
            limb(
                [at(0.0, 0.6045, 0.0795), at(0.014, 0.6055, 0.0765), at(0.029, 0.6015, 0.0655)],
                np.array([0.0042, 0.0044, 0.0028]) * u,
            ),
            0.0,
        ),
        mirrored(limb([at(0.0, 0.5950, 0.0775), at(0.022, 0.5980, 0.0695)], np.array([0.0048, 0.0034]) * u), 0.0),
        blend=0.002 * u,
    )
    lid = limb(
        [at(0.018, 0.664, 0.0755), at(0.031, 0.6695, 0.0775), at(0.046, 0.662, 0.0670)],
        np.array([0.003, 0.0045, 0.003]) * u,
    )
    lips = union(lips, mirrored(lid, 0.0), blend=0.0)
    ear = cut(
        ellipsoid(at(0.076, 0.640, -0.010), np.array([0.011, 0.028, 0.018]) * u),
        ellipsoid(at(0.088, 0.643, -0.004), np.array([0.008, 0.018, 0.010]) * u),
        blend=0.006 * u,
    )
    field = union(face, nose, blend=0.010 * u)
    field = union(field, wings, lips, mirrored(ear, 0.0), blend=0.006 * u)
    low, high = box(at(0.0, 0.36, -0.12), at(0.10, 0.78, 0.12))
    return Piece("body", field, Grid((0.0, *low[1:]), high, 0.50 * h), spine_gates(spine, "chest", "head"))


def hair_piece(at: Place, u: float, h: float) -> Piece:
    """Hair drawn back in strands to a bun; brows."""
    face = ellipsoid(at(0.0, 0.630, 0.105), np.array([0.064, 0.080, 0.072]) * u)
    neck = ellipsoid(at(0.0, 0.545, 0.000), np.array([0.12, 0.075, 0.16]) * u)
    ears = mirrored(ellipsoid(at(0.080, 0.632, 0.000), np.array([0.030, 0.036, 0.032]) * u), 0.0)
    bun_place = at(0.0, 0.752, -0.112)

    def strands(p: FloatArray) -> FloatArray:
        q = (p - bun_place) / u
        turn = np.arctan2(q[:, 0], q[:, 1] + 0.5 * q[:, 2])
        return np.asarray((0.013 + 0.0022 * np.cos(26.0 * turn)) * u)

    temple = mirrored(ellipsoid(at(0.078, 0.602, 0.032), np.array([0.040, 0.056, 0.044]) * u), 0.0)
    cap = cut(grow(_skull(at, u), strands), face, neck, ears, temple, blend=0.012 * u)
    coil = []
    for turn in np.linspace(0.0, np.pi, 7):
        coil.append(bun_place + 0.031 * u * np.array([np.sin(turn), 0.75 * np.cos(turn), -0.66 * -np.cos(turn)]))
    bun = union(
        mirrored(limb(coil, np.full(7, 0.024) * u, steps=3), 0.0),
        ellipsoid(beside(bun_place, 0.0, 0.014 * u, -0.014 * u), np.array([0.026, 0.026, 0.026]) * u),
        blend=0.006 * u,
    )
    brow = limb(
        [at(0.013, 0.676, 0.088), at(0.030, 0.682, 0.081), at(0.048, 0.676, 0.066)],
        np.array([0.004, 0.0045, 0.002]) * u,
    )
    field = union(cap, bun, blend=0.010 * u)
    field = union(field, mirrored(brow, 0.0), blend=0.0)
    low, high = box(at(0.0, 0.57, -0.19), at(0.11, 0.84, 0.12))
    return Piece("hair", field, Grid((0.0, *low[1:]), high, 0.62 * h), {"head": always})


def eye_piece(at: Place, u: float, h: float) -> Piece:
    field = ellipsoid(at(0.0305, 0.658, 0.0705), np.array([0.0110, 0.0098, 0.009]) * u)
    low, high = box(at(0.012, 0.63, 0.05), at(0.05, 0.68, 0.09))
    return Piece("eyes", field, Grid(low, high, 0.45 * h), {"head": always})
