"""Solid shapes as fields: below zero inside, zero on the surface, about the distance outside.

Shapes are joined by smooth minima, so that a limb grows out of a body without a seam. A field also knows a
ball that holds its shape: where a shape is too far away to matter it is not evaluated.

Smooth minimum: ``min(a, b) - k h^3 / 6`` with ``h = max(k - |a - b|, 0) / k``, twice continuously
differentiable, and exactly the minimum where the two differ by more than k. A quadratic one leaves a visible
line in the shading where its curvature jumps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import map_coordinates, spline_filter

from instep.character.arrays import FloatArray

Values = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """A solid.

    Attributes
    ----------
    values : (n, 3) points in metres to (n,) values, about distances in metres.
    centre, reach : a ball that holds the whole solid; reach is infinite for a half-space.
    """

    values: Values
    centre: FloatArray
    reach: float

    def __call__(self, points: FloatArray) -> FloatArray:
        return self.values(points)


def _point(place: Sequence[float] | FloatArray) -> FloatArray:
    return np.asarray(place, dtype=np.float64)


def beside(place: FloatArray, x: float, y: float, z: float) -> FloatArray:
    """(3,) `place` moved by x, y and z metres."""
    return np.asarray(place + np.array([x, y, z]))


def _norm(vectors: FloatArray) -> FloatArray:
    """(n,) lengths. Several times faster on rows of three than a sum along the axis."""
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


def ball(centre: Sequence[float] | FloatArray, radius: float) -> Field:
    """A ball."""
    c = _point(centre)

    def values(p: FloatArray) -> FloatArray:
        return _norm(p - c) - radius

    return Field(values, c, radius)


def cone(
    start: Sequence[float] | FloatArray, end: Sequence[float] | FloatArray, radius: float, end_radius: float
) -> Field:
    """A stick with round ends whose radius goes evenly from `radius` to `end_radius`."""
    a = _point(start)
    along = _point(end) - a
    square = float(along @ along)

    def values(p: FloatArray) -> FloatArray:
        q = p - a
        t = np.clip(q @ along / square, 0.0, 1.0)
        q = q - t[:, None] * along
        return np.asarray(_norm(q) - (radius + (end_radius - radius) * t))

    return Field(values, a + 0.5 * along, 0.5 * float(np.sqrt(square)) + max(radius, end_radius))


def ellipsoid(
    centre: Sequence[float] | FloatArray,
    radii: Sequence[float] | FloatArray,
    turn: FloatArray | None = None,
) -> Field:
    """An ellipsoid; the columns of `turn` (3, 3) are its axes in the world.

    The value is ``k (k - 1) / |grad k|`` with k the norm of the point over the radii: exact to first order at
    the surface, which is all that meshing needs.
    """
    c, r = _point(centre), _point(radii)
    axes = np.eye(3) if turn is None else turn

    def values(p: FloatArray) -> FloatArray:
        q = (p - c) @ axes / r
        k = _norm(q)
        slope = _norm(q / r)
        return np.asarray(k * (k - 1.0) / np.maximum(slope, 1e-9))

    return Field(values, c, float(r.max()))


def on_surface(solid: Field, start: FloatArray, towards: FloatArray, limit: float) -> FloatArray:
    """(3,) where the ray from `start`, inside the solid, leaves it within `limit` metres; by bisection."""
    direction = towards / np.linalg.norm(towards)
    low, high = 0.0, limit
    for _ in range(40):
        half = 0.5 * (low + high)
        low, high = (half, high) if float(solid((start + half * direction)[None])[0]) < 0.0 else (low, half)
    return np.asarray(start + low * direction)


def half_space(point: Sequence[float] | FloatArray, out: Sequence[float] | FloatArray) -> Field:
    """All that lies behind the plane through `point` with the outward direction `out`."""
    c, n = _point(point), _point(out)
    n = n / np.linalg.norm(n)
    return Field(lambda p: np.asarray((p - c) @ n), c, np.inf)


def limb(
    places: Sequence[Sequence[float] | FloatArray] | FloatArray, radii: Sequence[float] | FloatArray, *, steps: int = 5
) -> Field:
    """A tube through `places` (m, 3) with `radii` (m,), both carried by a monotone cubic in between.

    The path is cut into `steps` sticks a stretch; the radius is that at the nearest place of the path. A
    smooth minimum of cones was tried: it swells at every join.
    """
    points = np.asarray(places, dtype=np.float64)
    sizes = np.asarray(radii, dtype=np.float64)
    knots = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    if len(points) > 2:
        at = np.concatenate([np.linspace(a, b, steps, endpoint=False) for a, b in pairwise(knots)])
        at = np.append(at, knots[-1])
        path = PchipInterpolator(knots, points)(at)
        table_at = np.linspace(0.0, knots[-1], 40 * len(points))
        table = PchipInterpolator(knots, sizes)(table_at)
    else:
        at, path, table_at, table = knots, points, knots, sizes
    start, along = path[:-1], np.diff(path, axis=0)
    square = np.einsum("ij,ij->i", along, along)
    spans = np.diff(at)

    # |p - a|^2 - 2 t d.(p - a) + t^2 d.d for all points and sticks at once: about ten times as fast as a loop
    # over sticks, and exact enough (1e-15 m^2) for bodies of about a metre.
    inverse = 1.0 / square
    offset = np.einsum("ij,ij->i", start, along)
    start_square = np.einsum("ij,ij->i", start, start)

    def values(p: FloatArray) -> FloatArray:
        towards = p @ along.T - offset
        t = np.clip(towards * inverse, 0.0, 1.0)
        distance = start_square - 2.0 * (p @ start.T) - t * (2.0 * towards - t * square)
        nearest = distance.argmin(axis=1)[:, None]
        away = np.take_along_axis(distance, nearest, axis=1)[:, 0] + np.einsum("ij,ij->i", p, p)
        stick = nearest[:, 0]
        where = at[stick] + spans[stick] * np.take_along_axis(t, nearest, axis=1)[:, 0]
        return np.asarray(np.sqrt(np.maximum(away, 0.0)) - np.interp(where, table_at, table))

    centre = 0.5 * (path.min(axis=0) + path.max(axis=0))
    return Field(values, centre, float(np.linalg.norm(path - centre, axis=1).max() + sizes.max()))


def smooth_min(a: FloatArray, b: FloatArray, blend: float) -> FloatArray:
    """The smooth minimum of this file's head, element by element."""
    if blend <= 0.0:
        return np.asarray(np.minimum(a, b))
    h = np.maximum(1.0 - np.abs(a - b) / blend, 0.0)
    return np.asarray(np.minimum(a, b) - h * h * h * (blend / 6.0))


def union(*fields: Field, blend: float) -> Field:
    """All of the solids together; surfaces nearer than about `blend` flow into one another.

    A solid is left out for a batch of points where it is further than two blends behind the nearest one, so
    that leaving it out changes no value: not its own, nor that of a third one that it would have moved.
    """
    if len(fields) == 1:
        return fields[0]
    centres = np.array([field.centre for field in fields])
    reaches = np.array([field.reach for field in fields])
    centre = centres[np.isfinite(reaches)].mean(axis=0) if np.isfinite(reaches).any() else centres.mean(axis=0)
    reach = float((np.linalg.norm(centres - centre, axis=1) + reaches).max()) + blend

    def values(p: FloatArray) -> FloatArray:
        low, high = p.min(axis=0), p.max(axis=0)
        away = np.linalg.norm(centres - 0.5 * (low + high), axis=1)
        spread = 0.5 * float(np.linalg.norm(high - low))
        nearest = float((away + reaches).min()) + spread
        near = np.flatnonzero(0.8 * (away - reaches - spread) <= nearest + 2.0 * blend)
        total = fields[near[0]](p)
        for i in near[1:]:
            total = smooth_min(total, fields[i](p), blend)
        return np.asarray(total)

    return Field(values, centre, reach)


def cut(solid: Field, *tools: Field, blend: float) -> Field:
    """The solid without the tools."""

    def values(p: FloatArray) -> FloatArray:
        total = solid(p)
        for tool in tools:
            total = -smooth_min(-total, tool(p), blend)
        return total

    return Field(values, solid.centre, solid.reach)


def meet(solid: Field, *others: Field, blend: float) -> Field:
    """What the solid has in common with all the others."""

    def values(p: FloatArray) -> FloatArray:
        total = solid(p)
        for other in others:
            total = -smooth_min(-total, -other(p), blend)
        return total

    return Field(values, solid.centre, solid.reach)


def grow(solid: Field, amount: float | Values) -> Field:
    """The solid grown by an amount in metres, which may vary over space."""
    if callable(amount):
        return Field(lambda p: np.asarray(solid(p) - amount(p)), solid.centre, 1.1 * solid.reach)
    return Field(lambda p: np.asarray(solid(p) - amount), solid.centre, solid.reach + amount)


def shell(solid: Field, thickness: float) -> Field:
    """A skin of the given thickness, laid outside the solid."""
    half = 0.5 * thickness
    return Field(lambda p: np.asarray(np.abs(solid(p) - half) - half), solid.centre, solid.reach + thickness)


def mirrored(solid: Field, blend: float, across: float = np.inf) -> Field:
    """The solid together with its mirror image across x = 0.

    Where it is known that the solid reaches no further than `across` metres beyond the middle, the image is
    evaluated only for points that it can be near to.
    """
    flip = np.array([-1.0, 1.0, 1.0])

    def values(p: FloatArray) -> FloatArray:
        own = solid(p)
        near = 0.8 * (p[:, 0] - across) <= own + blend
        if near.any():
            own[near] = smooth_min(own[near], solid(p[near] * flip), blend)
        return own

    centre = solid.centre * (0.0, 1.0, 1.0)
    return Field(values, centre, abs(float(solid.centre[0])) + solid.reach)


def moved(solid: Field, turn: FloatArray, offset: FloatArray) -> Field:
    """The solid turned by a rotation (3, 3) about the origin, then shifted."""
    return Field(lambda p: solid((p - offset) @ turn), turn @ solid.centre + offset, solid.reach)


def outline(corners: Sequence[Sequence[float]] | FloatArray, step: float) -> Values:
    """Signed distance in a plane to a closed curve through `corners` (m, 2): (n, 2) points to (n,) metres.

    The curve is a periodic cubic through the corners; its distances are tabled every `step` metres and read
    by cubic interpolation, outside of the table with the distance to the table added.
    """
    from scipy.interpolate import CubicSpline

    loop = np.asarray(corners, dtype=np.float64)
    loop = np.vstack([loop, loop[:1]])
    knots = np.concatenate([[0.0], np.cumsum(np.sqrt(np.linalg.norm(np.diff(loop, axis=0), axis=1)))])
    curve = CubicSpline(knots, loop, bc_type="periodic")(np.linspace(0.0, knots[-1], 321))
    low = curve.min(axis=0) - 10 * step
    count = np.ceil((curve.max(axis=0) + 10 * step - low) / step).astype(int) + 1
    u, v = np.meshgrid(*(low[i] + step * np.arange(count[i]) for i in range(2)), indexing="ij")
    grid = np.stack([u.ravel(), v.ravel()], axis=1)
    start, along = curve[:-1], np.diff(curve, axis=0)
    nearest = np.full(len(grid), np.inf)
    inside = np.zeros(len(grid), dtype=bool)
    for a, d in zip(start, along, strict=True):
        q = grid - a
        t = np.clip(q @ d / max(float(d @ d), 1e-30), 0.0, 1.0)
        nearest = np.minimum(nearest, ((q - t[:, None] * d) ** 2).sum(axis=1))
        crosses = (q[:, 1] < 0.0) != (q[:, 1] < d[1])
        side = d[0] * q[:, 1] - d[1] * q[:, 0]
        inside ^= crosses & ((side > 0.0) == (d[1] > 0.0))
    table = spline_filter((np.where(inside, -1.0, 1.0) * np.sqrt(nearest)).reshape(u.shape), order=3)
    high = low + step * (count - 1)

    def values(q: FloatArray) -> FloatArray:
        held = np.clip(q, low, high)
        inner = map_coordinates(table, ((held - low) / step).T, order=3, prefilter=False, mode="nearest")
        return np.asarray(inner + np.sqrt(((q - held) ** 2).sum(axis=1)))

    return values
