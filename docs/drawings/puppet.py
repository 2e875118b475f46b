"""A plain puppet to hang conventions on: a foot by its outlines, and a whole figure of rounded limbs.

Lengths are in foot lengths. Outlines are those of the left foot, ankle over the origin; `side_sign`
(+1 left, -1 right) mirrors them.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull

from docs.drawings.ink import INK, LIGHT, SHADE, FloatArray, Sheet, View, smooth, vector

BALL = vector(0, 0.06, 0.43)
HEEL = vector(0, 0, -0.24)
TIP = vector(0, 0, 0.73)
INNER = vector(-0.16, 0, 0.45)
OUTER = vector(0.175, 0, 0.43)

_PROFILE = [  # (z, y), from the shin's back down and along the sole to the shin's front
    (-0.135, 0.62), (-0.14, 0.45), (-0.185, 0.30), (-0.255, 0.18), (-0.275, 0.09), (-0.24, 0.0), (-0.24, 0.0),
    (0.0, 0.0), (0.2, 0.0), (0.38, 0.0), (0.45, 0.0), (0.55, 0.0), (0.72, 0.0), (0.73, 0.0),
    (0.765, 0.045), (0.71, 0.10), (0.58, 0.13), (0.42, 0.185), (0.25, 0.28), (0.14, 0.38), (0.125, 0.48), (0.14, 0.62),
]  # fmt: skip
_SOLE = [  # (x, z), heel first, by the outer edge to the tip
    (0.0, -0.26), (0.085, -0.21), (0.1, -0.08), (0.12, 0.12), (0.175, 0.43), (0.15, 0.57), (0.06, 0.68),
    (-0.05, 0.735), (-0.135, 0.68), (-0.16, 0.45), (-0.11, 0.22), (-0.065, 0.05), (-0.085, -0.1),
    (-0.08, -0.21),
]  # fmt: skip
_FRONT = [  # (x, y), from the shin's inner side down and round to its outer side
    (-0.085, 0.62), (-0.08, 0.45), (-0.105, 0.33), (-0.12, 0.22), (-0.165, 0.12), (-0.18, 0.05), (-0.15, 0.0),
    (-0.15, 0.0), (0.165, 0.0), (0.165, 0.0), (0.19, 0.05), (0.165, 0.11), (0.12, 0.19), (0.1, 0.3), (0.08, 0.45),
    (0.085, 0.62),
]  # fmt: skip
_TOES = [
    (-0.115, 0.062),
    (-0.03, 0.046),
    (0.035, 0.04),
    (0.09, 0.036),
    (0.14, 0.032),
]  # (x, radius), from before


def side_outline() -> FloatArray:
    """(n, 3) the foot's outline from the side, open at the shin."""
    return np.array([(0.0, y, z) for z, y in smooth(_PROFILE, closed=False)])


def sole_outline(side_sign: float, margin: float = 0.0) -> FloatArray:
    """(n, 3) the sole's outline, closed, grown by a margin along its normal."""
    p = smooth(_SOLE)
    along = np.roll(p, -1, axis=0) - np.roll(p, 1, axis=0)
    outwards = np.stack([along[:, 1], -along[:, 0]], axis=1)
    p = p + margin * outwards / np.linalg.norm(outwards, axis=1)[:, None]
    return np.stack([side_sign * p[:, 0], np.zeros(len(p)), p[:, 1]], axis=1)


def front_outline(side_sign: float) -> FloatArray:
    """(n, 3) the foot's outline from before, open at the shin."""
    p = smooth(_FRONT, closed=False)
    return np.stack([side_sign * p[:, 0], p[:, 1], np.full(len(p), 0.4)], axis=1)


def front_toes(side_sign: float) -> list[FloatArray]:
    """Each toe from before, as an arch (n, 3)."""
    t = np.linspace(0, np.pi, 20)
    return [
        np.stack([side_sign * (x + r * np.cos(t)), 0.004 + 1.6 * r * np.sin(t), np.full(20, 0.7)], axis=1)
        for x, r in _TOES
    ]


def bent(points: FloatArray, degrees: float) -> FloatArray:
    """Points of the side outline while the ball lifts the heel: what is ahead of the ball stays."""
    w = np.clip((points[:, 2] - BALL[2] + 0.06) / 0.12, 0.0, 1.0)[:, None]
    w = w * w * (3 - 2 * w)
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    y, z = (points - BALL)[:, 1], (points - BALL)[:, 2]
    lifted = BALL + np.stack([np.zeros(len(y)), y * cos - z * sin, y * sin + z * cos], axis=1)
    return np.asarray(w * points + (1 - w) * lifted, dtype=np.float64)


def draw_open(sheet: Sheet, outline: FloatArray) -> None:
    """An outline (n, 2) that is open at the shin: filled, with ink only where there is skin."""
    sheet.path(outline, closed=True, fill=LIGHT, stroke="none")
    sheet.path(outline)


Limb = list[tuple[FloatArray, float]]  # balls (centre, radius) whose common hull is a rounded body


def foot_limbs(ankle: FloatArray, side_sign: float, size: float, shin: float = 0.5) -> list[Limb]:
    """The foot as three rounded bodies: shin, rear, toes. `ankle` is the place on the floor under it."""

    def at(x: float, y: float, z: float) -> FloatArray:
        return ankle + size * vector(side_sign * x, y, z)

    shin_limb = [(at(0, 0.33, 0.0), 0.11), (at(0, 0.33 + shin, 0.0), 0.125)]
    rear = [
        (at(0, 0.085, -0.17), 0.085),
        (at(0, 0.3, 0.0), 0.115),
        (at(-0.08, 0.08, 0.4), 0.08),
        (at(0.1, 0.06, 0.37), 0.06),
    ]
    toes = [
        (at(-0.08, 0.065, 0.46), 0.066),
        (at(0.1, 0.05, 0.43), 0.05),
        (at(-0.07, 0.05, 0.66), 0.05),
        (at(0.1, 0.035, 0.55), 0.035),
    ]
    return [[(centre, radius * size) for centre, radius in limb] for limb in (shin_limb, rear, toes)]


def figure_limbs(size: float) -> list[Limb]:
    """A whole figure, feet on the floor, as rounded bodies; `size` is its foot's length."""
    limbs: list[Limb] = []
    s = size
    for side in (1.0, -1.0):
        ankle = s * vector(0.42 * side, 0, 0)
        knee, hip = s * vector(0.42 * side, 1.35, 0.05), s * vector(0.36 * side, 2.3, 0)
        limbs += foot_limbs(ankle, side, s, shin=0.3)
        limbs.append([(ankle + s * vector(0, 0.55, 0.0), 0.12 * s), (knee, 0.16 * s)])
        limbs.append([(knee, 0.165 * s), (hip, 0.25 * s)])
        shoulder, elbow = s * vector(0.62 * side, 3.85, 0), s * vector(1.02 * side, 3.05, -0.03)
        wrist = s * vector(1.32 * side, 2.35, 0.12)
        limbs.append([(shoulder, 0.17 * s), (elbow, 0.125 * s)])
        limbs.append([(elbow, 0.125 * s), (wrist, 0.085 * s)])
        limbs.append([(wrist, 0.09 * s), (wrist + s * vector(0.1 * side, -0.28, 0.06), 0.1 * s)])
    limbs.append([(s * vector(x, 2.42, 0), 0.27 * s) for x in (-0.28, 0.28)])
    chest = [(-0.2, 2.75, 0.25), (0.2, 2.75, 0.25), (-0.4, 3.72, 0.27), (0.4, 3.72, 0.27)]  # x, y, radius
    limbs.append([(s * vector(x, y, 0), r * s) for x, y, r in chest])
    limbs.append([(s * vector(0, 3.95, 0), 0.14 * s), (s * vector(0, 4.3, 0.04), 0.14 * s)])
    limbs.append([(s * vector(0, 4.5, 0.08), 0.3 * s), (s * vector(0, 4.78, 0.02), 0.38 * s)])
    limbs.append(
        [(s * vector(0, 4.5, 0.46), 0.055 * s), (s * vector(0, 4.56, 0.34), 0.06 * s)]
    )  # a nose, to tell the front
    return limbs


def draw_limbs(sheet: Sheet, view: View, limbs: list[Limb], name: str) -> None:
    """Rounded bodies from the far one to the near one; light falls from the upper left of the paper."""
    t = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    ring = np.stack([np.cos(t), np.sin(t)], axis=1)
    depth = [np.mean([float(centre @ view.towards) for centre, _ in limb]) for limb in limbs]
    for index in np.argsort(depth, kind="stable"):
        limb = limbs[index]
        rims = np.concatenate([view(centre) + view.scale * radius * ring for centre, radius in limb])
        outline = rims[ConvexHull(rims).vertices]
        clip = f"{name}-{index}"
        sheet.marks.append(f'<clipPath id="{clip}">')
        sheet.path(outline, closed=True)
        sheet.marks.append("</clipPath>")
        widest = view.scale * max(radius for _, radius in limb)
        sheet.path(outline, closed=True, fill=SHADE, stroke="none")
        sheet.path(outline - 0.32 * widest, closed=True, fill=LIGHT, stroke="none", clip_path=f"url(#{clip})")
        sheet.path(outline, closed=True, stroke=INK, stroke_width=1.5)
