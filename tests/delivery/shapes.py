"""Simple surfaces with known outlines, and the paths of a drawing read back."""

from __future__ import annotations

import re

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.delivery.surface import Surface, prepare
from instep.delivery.views import Frame


def ball(
    radius: float = 1.0, centre: tuple[float, float, float] = (0.0, 0.0, 0.0), around: int = 96
) -> tuple[FloatArray, IntArray]:
    """A ball of `around` meridians and half as many parallels, its poles closed by fans."""
    rows = around // 2
    polar = np.linspace(0, np.pi, rows + 1)[1:-1]
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)
    ring = np.stack([np.cos(turn), np.zeros(around), -np.sin(turn)], axis=1)
    points = np.sin(polar)[:, None, None] * ring + np.cos(polar)[:, None, None] * np.array([0.0, 1.0, 0.0])
    points = np.concatenate([points.reshape(-1, 3), [[0, 1, 0], [0, -1, 0]]])
    i = np.arange(around)
    k = (i + 1) % around
    faces = []
    for row in range(len(polar) - 1):
        a, b = row * around, (row + 1) * around
        faces += [np.stack([a + i, b + i, b + k], axis=1), np.stack([a + i, b + k, a + k], axis=1)]
    top, last = len(points) - 2, (len(polar) - 1) * around
    faces.append(np.stack([np.full(around, top), i, k], axis=1))
    faces.append(np.stack([np.full(around, top + 1), last + k, last + i], axis=1))
    return radius * points + np.array(centre), np.concatenate(faces).astype(np.int64)


def box(size: float = 1.0, seams: bool = False) -> tuple[FloatArray, IntArray]:
    """A cube about the origin; with `seams` each of its sides has vertices of its own."""
    points = size * (np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)]) - 0.5)
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    faces = np.array([t for a, b, c, d in quads for t in ([a, b, c], [a, c, d])], dtype=np.int64)
    if seams:
        return points[faces.reshape(-1)], np.arange(36, dtype=np.int64).reshape(-1, 3)
    return points, faces


def surface_of(*pieces: tuple[FloatArray, IntArray]) -> Surface:
    """One surface of several pieces, each a part of its own."""
    points: list[FloatArray] = []
    faces: list[IntArray] = []
    part: list[IntArray] = []
    count = 0
    for number, (p, f) in enumerate(pieces):
        points.append(p)
        faces.append(f + count)
        part.append(np.full(len(f), number, dtype=np.int64))
        count += len(p)
    return prepare(np.concatenate(points), np.concatenate(faces), np.concatenate(part))


def volume(points: FloatArray, faces: IntArray) -> float:
    """Volume inside a closed surface, by the divergence theorem."""
    a, b, c = np.moveaxis(points[faces], 1, 0)
    return float(np.einsum("na,na->n", a, np.cross(b, c)).sum() / 6.0)


def square_frame(half: float, scale: float) -> Frame:
    """Seen along -Z, the origin in the middle."""
    return Frame(np.eye(3), scale, -half, half, 2 * half * scale, 2 * half * scale)


def read_path(data: str) -> list[FloatArray]:
    """The polylines (n, 2) of path data made of M, l and z."""
    lines: list[FloatArray] = []
    for piece in data.split("M")[1:]:
        start, _, steps = piece.partition("l")
        closed = steps.endswith("z")
        numbers = [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", steps)]
        first = np.array([float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", start)])
        line = np.cumsum(np.concatenate([first[None], np.array(numbers).reshape(-1, 2)]), axis=0)
        lines.append(np.concatenate([line, line[:1]]) if closed else line)
    return lines


def area(lines: list[FloatArray]) -> float:
    """Area of closed lines under the even-odd rule, holes turning the other way."""
    return abs(sum(float(0.5 * np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1])) for p in lines if len(p) > 2))
