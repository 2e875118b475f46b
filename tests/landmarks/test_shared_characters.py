"""Legs of other people's characters are found without their names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from instep.character import Character
from instep.formats import read_character
from instep.landmarks import measure
from tests.landmarks.changes import renamed
from tests.landmarks.feet import moved_by

# Joints as the files name them; the measurement sees scrambled names.
CHAINS = {
    "figure": {"left": ["leg_joint_L_1", "leg_joint_L_2", "leg_joint_L_3", "leg_joint_L_5"]},
    "stocky": {"left": ["upperleg.l", "lowerleg.l", "foot.l", "toes.l"]},
    "fox": {
        "left.hind": ["b_LeftLeg01_015", "b_LeftLeg02_016", "b_LeftFoot01_017", "b_LeftFoot02_018"],
        "left.fore": ["b_LeftUpperArm_09", "b_LeftForeArm_010", "b_LeftHand_011"],
    },
}
PELVIS = {"figure": "torso_joint_1", "stocky": "hips", "fox": "b_Hip_01"}


def scrambled(folder: Path, name: str) -> tuple[Character, tuple[str, ...]]:
    """The character with names that say nothing, and its true names."""
    character = read_character(folder / "characters" / f"{name}.glb")
    order = np.random.default_rng(1).permutation(len(character.skeleton))
    return renamed(character, [f"joint {number}" for number in order]), character.skeleton.names


def other_side(name: str) -> str:
    for one, two in (("left", "right"), ("_L_", "_R_"), (".l", ".r"), ("Left", "Right")):
        name = name.replace(one, two)
    return name


@pytest.mark.parametrize("name", CHAINS)
def test_legs_are_found_without_names(shared_data: Path, name: str) -> None:
    character, names = scrambled(shared_data, name)
    measured = measure(character)
    found = {
        leg.name: [names[joint] for joint in (leg.thigh, leg.shin, leg.foot, leg.toes) if joint is not None]
        for leg in measured.legs
    }
    # The numbers at the end of the fox's names differ from side to side.
    stems = {leg: [joint.rsplit("_0", 1)[0] for joint in joints] for leg, joints in found.items()}
    for leg, joints in CHAINS[name].items():
        assert found[leg] == joints
        expected = [other_side(joint.rsplit("_0", 1)[0]) for joint in joints]
        assert stems[other_side(leg)] == expected
    assert len(found) == 2 * len(CHAINS[name])
    assert names[measured.pelvis] == PELVIS[name]
    assert_allclose(measured.R_world_body, np.eye(3), atol=0)


@pytest.mark.parametrize("name", CHAINS)
def test_landmarks_of_a_foot_are_in_order_along_and_across_it(shared_data: Path, name: str) -> None:
    character, _ = scrambled(shared_data, name)
    for leg in measure(character).legs:
        along = [(leg.landmarks[mark].position - leg.heel.position) @ leg.axis for mark in ("heel", "ball", "tip")]
        assert along == sorted(along)
        outward = np.array([1.0 if leg.side == "left" else -1.0, 0.0, 0.0])
        across = [leg.landmarks[mark].position @ outward for mark in ("inner", "heel", "outer")]
        assert across == sorted(across)
        assert leg.sole_normal[1] > 0.99
        assert leg.axis[2] > 0.99
        assert leg.heel_height == 0.0
        assert len(leg.sole) > 3


@pytest.mark.parametrize("name", CHAINS)
def test_two_sides_agree(shared_data: Path, name: str) -> None:
    character, _ = scrambled(shared_data, name)
    legs = measure(character).legs
    for left, right in zip(legs[::2], legs[1::2], strict=True):
        for mark, landmark in left.landmarks.items():
            miss = np.linalg.norm(landmark.position * [-1, 1, 1] - right.landmarks[mark].position)
            # The models are not symmetric to more than this themselves.
            assert miss < 0.02 * left.foot_length, mark


@pytest.mark.parametrize("name", CHAINS)
def test_a_turned_character_has_turned_landmarks(shared_data: Path, name: str) -> None:
    character, _ = scrambled(shared_data, name)
    R = Rotation.from_euler("xy", [90, 90], degrees=True).as_matrix()
    plain, turned = measure(character), measure(moved_by(character, R, 0.01, np.ones(3)))
    assert_allclose(turned.R_world_body, R, atol=1e-12)
    for one, two in zip(plain.legs, turned.legs, strict=True):
        assert one.name == two.name
        for mark, landmark in one.landmarks.items():
            miss = np.linalg.norm(0.01 * R @ landmark.position + 1 - two.landmarks[mark].position)
            assert miss < 0.005 * two.foot_length, mark
