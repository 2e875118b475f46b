"""Grub's head: heavy brow, drooping nose and ears, tusks, a wart on one side, a crest of moss."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from examples.salt_ferry.fields import Field, ball, beside, cone, cut, ellipsoid, limb, mirrored, union
from examples.salt_ferry.member import Piece, box
from examples.salt_ferry.skin import always
from examples.salt_ferry.spine import Place, spine_gates
from examples.salt_ferry.surface import Grid
from instep.character.arrays import FloatArray


def _head(at: Place, u: float) -> Field:
    skull = union(
        ellipsoid(at(0.0, 0.710, 0.130), np.array([0.140, 0.150, 0.155]) * u),
        ellipsoid(at(0.0, 0.605, 0.195), np.array([0.165, 0.095, 0.135]) * u),
        cone(at(0.0, 0.480, 0.000), at(0.0, 0.620, 0.110), 0.120 * u, 0.110 * u),
        mirrored(ball(at(0.105, 0.630, 0.205), 0.070 * u), 0.0),
        blend=0.09 * u,
    )
    brow = mirrored(
        limb(
            [at(0.0, 0.732, 0.268), at(0.062, 0.736, 0.272), at(0.125, 0.712, 0.205)],
            np.array([0.038, 0.046, 0.030]) * u,
        ),
        0.02 * u,
    )
    nose = union(
        limb(
            [at(0.0, 0.705, 0.285), at(0.0, 0.655, 0.350), at(0.0, 0.618, 0.352)], np.array([0.030, 0.044, 0.050]) * u
        ),
        mirrored(ball(at(0.042, 0.622, 0.325), 0.030 * u), 0.0),
        blend=0.025 * u,
    )
    chin = union(
        ellipsoid(at(0.0, 0.545, 0.265), np.array([0.085, 0.045, 0.060]) * u),
        mirrored(
            limb([at(0.0, 0.560, 0.325), at(0.070, 0.557, 0.300), at(0.120, 0.580, 0.245)], np.full(3, 0.020) * u),
            0.01 * u,
        ),
        blend=0.04 * u,
    )
    ear_path = [at(0.125, 0.705, 0.075), at(0.210, 0.710, 0.050), at(0.275, 0.635, 0.040), at(0.300, 0.525, 0.055)]
    dent_path = [at(0.165, 0.710, 0.105), at(0.225, 0.690, 0.092), at(0.268, 0.620, 0.080), at(0.287, 0.560, 0.086)]
    ear = cut(
        limb(ear_path, np.array([0.038, 0.048, 0.046, 0.010]) * u),
        limb(dent_path, np.array([0.020, 0.032, 0.030, 0.006]) * u),
        blend=0.014 * u,
    )
    socket = ellipsoid(at(0.066, 0.694, 0.276), np.array([0.040, 0.030, 0.034]) * u)
    lumps = mirrored(
        union(ball(at(0.100, 0.800, 0.110), 0.034 * u), ball(at(0.060, 0.832, 0.170), 0.026 * u), blend=0.02 * u), 0.0
    )
    skull = union(skull, lumps, blend=0.04 * u)
    face = cut(union(skull, brow, nose, chin, blend=0.030 * u), mirrored(socket, 0.0), blend=0.020 * u)
    mouth = limb(
        [at(0.0, 0.578, 0.350), at(0.070, 0.574, 0.328), at(0.135, 0.606, 0.255)], np.array([0.007, 0.008, 0.005]) * u
    )
    return union(cut(face, mirrored(mouth, 0.0), blend=0.014 * u), mirrored(ear, 0.0), blend=0.025 * u)


def head_piece(at: Place, spine: Mapping[str, FloatArray], u: float, h: float) -> Piece:
    """Head and neck, on a grid finer than the body's; the neck starts inside the trunk, under the cape."""
    low, high = box(at(0.0, 0.33, -0.16), at(0.35, 0.90, 0.43))
    gates = spine_gates(spine, "chest", "head")
    return Piece("body", _head(at, u), Grid((0.0, *low[1:]), high, 0.68 * h), gates)


def wart_piece(at: Place, u: float, h: float) -> Piece:
    """A wart on the left cheek only, with a smaller one on top."""
    field = union(ball(at(0.118, 0.668, 0.262), 0.024 * u), ball(at(0.128, 0.680, 0.275), 0.014 * u), blend=0.012 * u)
    low, high = box(at(0.08, 0.63, 0.22), at(0.16, 0.71, 0.31))
    return Piece("body", field, Grid(low, high, 0.5 * h), {"head": always}, one_sided=True)


def crest_piece(at: Place, u: float, h: float) -> Piece:
    """A crest of moss along the crown."""
    locks = []
    for i, lean in enumerate(np.linspace(0.0, 1.0, 6)):
        up, back = np.cos(1.9 * lean - 0.35), -np.sin(1.9 * lean - 0.35)
        root = np.array([0.004, 0.710 + 0.140 * up, 0.130 + 0.145 * back])
        size = 0.075 + 0.020 * (i % 2)
        tip = beside(root, 0.006 + 0.016 * (i % 2), size * up, size * back - 0.045)
        locks.append(
            limb(
                [at(*root), at(*beside(0.5 * (root + tip), 0.0, 0.018, 0.0)), at(*tip)],
                np.array([0.040, 0.028, 0.005]) * u,
            )
        )
    field = mirrored(union(*locks, blend=0.014 * u), 0.010 * u)
    low, high = box(at(0.0, 0.56, -0.24), at(0.14, 0.99, 0.30))
    return Piece("moss", field, Grid((0.0, *low[1:]), high, 0.8 * h), {"head": always})


def tusk_piece(at: Place, u: float, h: float) -> Piece:
    field = limb(
        [at(0.076, 0.560, 0.310), at(0.084, 0.595, 0.334), at(0.080, 0.632, 0.332)], np.array([0.017, 0.014, 0.004]) * u
    )
    low, high = box(at(0.04, 0.53, 0.27), at(0.12, 0.65, 0.37))
    return Piece("teeth", field, Grid(low, high, 0.45 * h), {"head": always})


def eye_piece(at: Place, u: float, h: float) -> Piece:
    field = ball(at(0.064, 0.688, 0.254), 0.019 * u)
    low, high = box(at(0.03, 0.66, 0.22), at(0.10, 0.73, 0.29))
    return Piece("eyes", field, Grid(low, high, 0.45 * h), {"head": always})
