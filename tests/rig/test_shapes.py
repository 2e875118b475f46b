"""Control shapes are what they say: grown outlines and sections of that very mesh."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from instep.character import Mesh
from instep.character.arrays import FloatArray
from instep.landmarks import LegLandmarks
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.shapes import SOLE_MARGIN, _cut, _section, control_shapes
from tests.measured import make_measured_biped


def _sphere(radius: float, rings: int = 48) -> Mesh:
    """A unit sphere of quads cut in two, at the origin."""
    theta = np.linspace(0.0, np.pi, rings + 1)[1:-1]
    phi = np.linspace(0.0, 2 * np.pi, 2 * rings, endpoint=False)
    grid = np.stack(
        [
            np.sin(theta)[:, None] * np.cos(phi),
            np.cos(theta)[:, None] + 0.0 * phi,
            np.sin(theta)[:, None] * np.sin(phi),
        ],
        axis=-1,
    )
    count, around = grid.shape[:2]
    index = np.arange(count * around).reshape(count, around)
    right = np.roll(index, -1, axis=1)
    quads = [index[:-1], right[:-1], right[1:], index[1:]]
    a, b, c, d = (corner.ravel() for corner in quads)
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    points = radius * grid.reshape(-1, 3)
    ones = np.ones((len(points), 1))
    return Mesh(points, faces, np.zeros((len(points), 1), dtype=np.int64), ones, ())


@pytest.mark.parametrize("height", [0.0, 0.31, -0.6])
def test_a_section_of_a_sphere_is_a_circle(height: float) -> None:
    mesh = _sphere(1.0)
    everything = np.ones(len(mesh), dtype=np.bool_)
    up = np.array([0.0, 1.0, 0.0])
    point = np.array([0.0, height, 0.0])
    ring = _section(mesh, everything, point, up, 0.05, 9.0)
    radius = np.linalg.norm(ring - point, axis=1)
    assert np.abs(ring[:, 1] - height).max() < 1e-12
    assert np.abs(radius - (np.sqrt(1 - height**2) + 0.05)).max() < 0.01
    ends = _cut(mesh, everything, point, up)
    assert np.abs(ends[..., 1] - height).max() < 1e-12


def test_a_plane_that_misses_gives_the_ring_that_was_asked_for() -> None:
    mesh = _sphere(1.0)
    ring = _section(mesh, np.ones(len(mesh), dtype=np.bool_), np.array([0.0, 3.0, 0.0]), np.eye(3)[1], 0.05, 0.4)
    assert np.allclose(np.linalg.norm(ring - [0, 3, 0], axis=1), 0.4)


def _rig(controls: str) -> Rig:
    character, measurement = make_measured_biped(toe_out_deg=8.0)
    mesh = character.mesh
    assert mesh is not None
    legs = tuple(_outlined(leg, mesh.positions) for leg in measurement.legs)
    return build_rig(
        character,
        replace(measurement, legs=legs),
        RigDescription.model_validate({"character": "biped", "controls": controls}),
    )


def _outlined(leg: LegLandmarks, positions: FloatArray) -> LegLandmarks:
    hull = shapely.MultiPoint(positions[leg.sole][:, [0, 2]]).convex_hull
    ring = np.asarray(hull.exterior.coords)[:-1]
    return replace(leg, outline=np.insert(ring, 1, 0.0, axis=1))


@pytest.mark.parametrize("controls", ["essential", "full"])
def test_each_control_with_a_place_has_a_shape_and_a_letter(controls: str) -> None:
    rig = _rig(controls)
    shapes = {shape.control: shape for shape in control_shapes(rig)}
    expected = {channel.control for channel in rig.channels} - {"left.leg", "right.leg"}
    assert set(shapes) == expected
    for name, shape in shapes.items():
        letter = {"left": "L", "right": "R", "middle": ""}[shape.side]
        assert shape.letter == letter
        assert shape.line == {"L": "solid", "R": "dashed", "": "plain"}[letter]
        assert shape.control in rig.control_frames_at(rig.defaults[None])
        for line in shape.polylines:
            assert np.isfinite(line).all(), name
            assert len(line) >= 2


def test_the_foot_outline_is_the_sole_grown_by_its_margin() -> None:
    rig = _rig("essential")
    for leg in rig.measurement.legs:
        shape = next(s for s in control_shapes(rig) if s.control == f"{leg.name}.foot")
        (ring,) = shape.polylines
        assert np.abs((ring - leg.heel.position) @ leg.sole_normal).max() < 1e-9
        sole = shapely.Polygon(leg.outline[:, [0, 2]])
        grown = shapely.Polygon(ring[:, [0, 2]])
        margin = SOLE_MARGIN * leg.foot_length
        assert grown.contains(sole)
        assert abs(grown.hausdorff_distance(sole) - margin) < 0.1 * margin


def test_both_sides_mirror() -> None:
    rig = _rig("full")
    shapes = {shape.control: shape for shape in control_shapes(rig)}
    for name, shape in shapes.items():
        if shape.side != "left":
            continue
        twin = shapes[
            "right" + name.removeprefix("left") if name.startswith("left.") else name.replace("left", "right")
        ]
        for a, b in zip(shape.polylines, twin.polylines, strict=True):
            first, second = a.mean(axis=0), b.mean(axis=0) * [-1, 1, 1]
            assert np.linalg.norm(first - second) < 0.02 * rig.plan.unit, name
