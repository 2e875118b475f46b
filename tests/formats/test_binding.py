"""Mesh space is found again from joints that a clip has moved."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from instep.character.arrays import FloatArray
from instep.formats.binding import mesh_to_known_bind, mesh_to_world, quarter_turns
from tests.biped import make_biped
from tests.formats.odd import turn

SKELETON = make_biped().skeleton


def inverse_bind(M: FloatArray) -> FloatArray:
    """(J, 4, 4) for a mesh space with ``T_world_mesh = M``."""
    return np.asarray(np.linalg.solve(SKELETON.bind, np.broadcast_to(M, SKELETON.bind.shape)), dtype=np.float64)


def posed(random: np.random.Generator, spread_deg: float, root: bool) -> FloatArray:
    """(J, 4, 4) joints turned at random to their parents; the root too, where `root`."""
    world = SKELETON.bind.copy()
    for joint, parent in enumerate(SKELETON.parents):
        turned = np.eye(4)
        if root or parent >= 0:
            turned[:3, :3] = Rotation.from_rotvec(np.radians(random.normal(0, spread_deg, 3))).as_matrix()
        if parent >= 0:
            world[joint] = world[parent] @ np.linalg.solve(SKELETON.bind[parent], SKELETON.bind[joint]) @ turned
        else:
            world[joint] = SKELETON.bind[joint] @ turned
    return world


@pytest.mark.parametrize("way", range(24))
def test_a_quarter_turn_is_found_from_a_frame_of_a_clip(way: int) -> None:
    M = quarter_turns()[way]
    inverse = inverse_bind(M)
    rest = posed(np.random.default_rng(way), 7.0, root=True)
    placed = mesh_to_world(rest, inverse, SKELETON.parents, [])
    assert np.array_equal(placed.M, M)
    assert placed.how == "a quarter turn"


@given(
    st.tuples(*[st.floats(-180, 180)] * 3),
    st.floats(0.01, 100.0),
    st.tuples(*[st.floats(-5, 5)] * 3),
    st.integers(0, 2**31),
)
def test_any_mesh_space_is_found_while_the_root_stands(
    angles: tuple[float, float, float], scale: float, offset: tuple[float, float, float], seed: int
) -> None:
    """Turned limbs do not matter as long as more than half of the joints stand with the topmost one."""
    M = turn(*angles, scale=scale, offset=offset)
    rest = SKELETON.bind.copy()
    moved = posed(np.random.default_rng(seed), 40.0, root=False)
    limbs = [j for j, name in enumerate(SKELETON.names) if name.startswith(("upper_arm", "forearm", "hand"))]
    rest[limbs] = moved[limbs]
    inverse = inverse_bind(M)
    placed = mesh_to_world(rest, inverse, SKELETON.parents, [])
    assert np.abs(placed.M - M).max() < 1e-4 * max(1.0, scale)
    still = [j for j in range(len(SKELETON)) if j not in limbs]
    assert placed.agreeing[still].all()


@given(st.tuples(*[st.floats(-180, 180)] * 3), st.floats(0.01, 100.0), st.tuples(*[st.floats(-5, 5)] * 3))
def test_where_rest_is_bind_it_is_read_off(
    angles: tuple[float, float, float], scale: float, offset: tuple[float, float, float]
) -> None:
    M = turn(*angles, scale=scale, offset=offset)
    inverse = inverse_bind(M).astype("<f4").astype(np.float64)
    placed = mesh_to_world(SKELETON.bind, inverse, SKELETON.parents, [])
    assert placed.how == "all joints agree"
    assert placed.agreeing.all()
    reach = np.linalg.inv(inverse)[:, :, 3] @ (placed.M - M).T
    assert np.abs(reach).max() < 2e-5 * 1.7


def test_a_candidate_is_preferred_to_a_tilted_root() -> None:
    above = turn(0, 37, offset=(2, 0, 0))
    inverse = inverse_bind(np.eye(4))
    rest = above @ posed(np.random.default_rng(5), 7.0, root=True)
    placed = mesh_to_world(rest, inverse, SKELETON.parents, [("the nodes above the skeleton", above)])
    assert np.array_equal(placed.M, above)
    assert placed.how == "the nodes above the skeleton"


def test_a_candidate_of_another_scale_or_that_mirrors_is_passed_over() -> None:
    inverse = inverse_bind(np.eye(4))
    rest = posed(np.random.default_rng(6), 7.0, root=True)
    wrong = [("scaled", turn(scale=0.01)), ("mirrored", np.diag([-1.0, 1, 1, 1])), ("turned", turn(0, 90))]
    placed = mesh_to_world(rest, inverse, SKELETON.parents, wrong)
    assert placed.how == "a quarter turn"
    assert np.array_equal(placed.M, np.eye(4))


def test_the_topmost_joint_is_the_last_resort() -> None:
    """A mesh space that is turned by an odd angle, and nobody stands as bound."""
    M = turn(44, 0, 0) @ turn(0, 44, 0)
    inverse = inverse_bind(M)
    rest = posed(np.random.default_rng(7), 7.0, root=True)
    placed = mesh_to_world(rest, inverse, SKELETON.parents, [])
    assert placed.how == "the topmost joint"
    assert np.array_equal(placed.M, (rest @ inverse)[0])


def test_a_second_mesh_space_follows_from_shared_joints() -> None:
    M = turn(20, 30, -40, scale=3.0, offset=(1, 2, 3))
    joints = [2, 5, 9, 11]
    inverse = inverse_bind(M)[joints]
    found, gap, agreeing = mesh_to_known_bind(SKELETON.bind[joints], inverse, 1.7)
    assert np.abs(found - M).max() < 1e-9
    assert gap < 1e-9
    assert agreeing.all()
    moved = SKELETON.bind[joints].copy()
    moved[3, 0, 3] += 0.25
    found, gap, agreeing = mesh_to_known_bind(moved, inverse, 1.7)
    assert np.abs(found - M).max() < 1e-9
    assert gap == pytest.approx(0.25)
    assert agreeing.tolist() == [True, True, True, False]
