"""Legs are found from joints, skin and shape; nothing that misleads changes what is measured."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from instep.character import Character
from instep.errors import LandmarkError
from instep.landmarks import LegLandmarks, Measurement, measure
from tests.biped import biped_landmarks, make_biped
from tests.landmarks.changes import (
    hung_under,
    renamed,
    shuffled_joints,
    shuffled_vertices,
    with_chain,
    with_twist,
    without_skin_of,
)
from tests.landmarks.feet import moved_by

SIDES = (("left", 1.0), ("right", -1.0))
TOLERANCE = 1e-6
"""Of foot length: the biped's truth is exact."""


def assert_true(measured: Measurement, truth: dict[str, np.ndarray], tolerance: float = TOLERANCE) -> None:
    """Two legs, each landmark at its true place."""
    assert [leg.name for leg in measured.legs] == ["left", "right"]
    for leg in measured.legs:
        for name, landmark in leg.landmarks.items():
            if f"{leg.name}.{name}" in truth:
                miss = np.linalg.norm(landmark.position - truth[f"{leg.name}.{name}"])
                assert miss <= tolerance * leg.foot_length, f"{leg.name}.{name}"


def joint_names(character: Character, leg: LegLandmarks) -> list[str]:
    """Names of thigh, shin, foot and toes."""
    assert leg.toes is not None
    return [character.skeleton.names[joint] for joint in (leg.thigh, leg.shin, leg.foot, leg.toes)]


def scrambled(character: Character) -> Character:
    order = np.random.default_rng(5).permutation(len(character.skeleton))
    return renamed(character, [f"joint {number}" for number in order])


def arms_named_as_legs(character: Character) -> Character:
    swap = {"upper_arm": "thigh", "forearm": "shin", "hand": "foot", "thigh": "upper_arm", "shin": "forearm",
            "foot": "hand", "toes": "fingers", "left": "right", "right": "left"}  # fmt: skip
    return renamed(
        character, [".".join(swap.get(word, word) for word in name.split(".")) for name in character.skeleton.names]
    )


def feet_under_root(character: Character) -> Character:
    for side, _ in SIDES:
        character = hung_under(character, f"foot.{side}", "root")
    return character


def feet_and_hands_under_root(character: Character) -> Character:
    character = feet_under_root(character)
    for side, _ in SIDES:
        character = hung_under(character, f"hand.{side}", "root")
    return character


def twists_in_thighs(character: Character) -> Character:
    for side, _ in SIDES:
        character = with_twist(character, f"thigh.{side}", f"shin.{side}", f"twist.{side}", 0.5)
    return character


def twists_in_shins(character: Character) -> Character:
    for side, _ in SIDES:
        character = with_twist(character, f"shin.{side}", f"foot.{side}", f"lower twist.{side}", 0.5)
    return character


def weightless_joints(character: Character) -> Character:
    for side, x in SIDES:
        character = with_chain(character, f"toes.{side}", [f"end.{side}"], [(x * 0.095, 0.02, 0.2)])
        floor = [(x * 0.095, 0.085, 0.0), (x * 0.095, 0.0, 0.1)]
        character = with_chain(character, "root", [f"goal.{side}", f"goal end.{side}"], floor)
        character = with_chain(character, f"thigh.{side}", [f"mark.{side}"], [(x * 0.095, 0.5, 0.4)])
    return character


def tail_on_the_floor(character: Character) -> Character:
    places = [(0.0, 0.95, -0.12), (0.0, 0.6, -0.3), (0.0, 0.2, -0.5), (0.0, 0.012, -0.8)]
    return with_chain(character, "pelvis", ["t1", "t2", "t3", "t4"], places, 0.012)


def arms_to_the_ankles(character: Character) -> Character:
    for side, x in SIDES:
        places = [(x * 0.3, 1.3, 0.0), (x * 0.32, 0.7, 0.0), (x * 0.33, 0.1, 0.02)]
        character = with_chain(character, "chest", [f"a1{side}", f"a2{side}", f"a3{side}"], places, 0.03)
    return character


def cape_in_two_panels(character: Character) -> Character:
    for side, x in SIDES:
        places = [(x * 0.1, 1.4, -0.2), (x * 0.15, 0.7, -0.25), (x * 0.2, 0.0, -0.3)]
        character = with_chain(character, "chest", [f"c1{side}", f"c2{side}", f"c3{side}"], places, (0.09, 0.003))
    return character


def long_ears(character: Character) -> Character:
    for side, x in SIDES:
        places = [(x * 0.05, 1.7, 0.0), (x * 0.1, 2.1, 0.0), (x * 0.1, 2.5, 0.0)]
        character = with_chain(character, "head", [f"e1{side}", f"e2{side}", f"e3{side}"], places, 0.03)
    return character


MISLEADING: list[Callable[[Character], Character]] = [
    scrambled, arms_named_as_legs, feet_under_root, feet_and_hands_under_root, twists_in_thighs, twists_in_shins,
    weightless_joints, tail_on_the_floor, arms_to_the_ankles, cape_in_two_panels, long_ears,
]  # fmt: skip


@pytest.mark.parametrize("mislead", MISLEADING)
@pytest.mark.parametrize("knee_bend_deg", [0.0, 3.0])
def test_nothing_misleads(mislead: Callable[[Character], Character], knee_bend_deg: float) -> None:
    plain = make_biped(knee_bend_deg=knee_bend_deg)
    changed = mislead(plain)
    measured = measure(changed)
    assert_true(measured, biped_landmarks(knee_bend_deg=knee_bend_deg))
    assert_allclose(measured.R_world_body, np.eye(3), atol=0)


@pytest.mark.parametrize("mislead", [feet_and_hands_under_root, tail_on_the_floor, long_ears, weightless_joints])
@pytest.mark.parametrize(
    "turn",
    [Rotation.from_euler("x", 90, degrees=True), Rotation.from_euler("x", 180, degrees=True),
     Rotation.from_euler("yz", [90, 90], degrees=True), Rotation.random(rng=1), Rotation.random(rng=2)],
)  # fmt: skip
def test_up_is_seen_from_the_body(mislead: Callable[[Character], Character], turn: Rotation) -> None:
    R = turn.as_matrix()
    measured = measure(moved_by(mislead(make_biped()), R, 40.0, np.array([3.0, -2.0, 9.0])))
    truth = {name: 40 * R @ place + [3.0, -2.0, 9.0] for name, place in biped_landmarks().items()}
    assert_true(measured, truth)
    assert_allclose(measured.R_world_body, R, atol=1e-9)


def test_an_ordinary_character_stands_exactly_along_the_axes() -> None:
    measured = measure(make_biped(R_world=Rotation.from_euler("xyz", [0.4, -0.5, 0.3], degrees=True).as_matrix()))
    assert_allclose(measured.R_world_body, np.eye(3), atol=0)


def test_joints_of_a_leg_and_their_carriers() -> None:
    biped = weightless_joints(twists_in_shins(twists_in_thighs(make_biped(toe_end=True))))
    left = measure(biped).legs[0]
    names = biped.skeleton.names
    assert joint_names(biped, left) == ["thigh.left", "shin.left", "foot.left", "toes.left"]
    assert {names[joint]: names[carrier] for joint, carrier in left.joints} == {
        "thigh.left": "thigh.left", "twist.left": "thigh.left", "mark.left": "thigh.left",
        "shin.left": "shin.left", "lower twist.left": "shin.left", "foot.left": "foot.left",
        "toes.left": "toes.left", "toe_end.left": "toes.left", "end.left": "toes.left",
    }  # fmt: skip
    assert left.toe_end is not None
    assert names[measure(biped).pelvis] == "pelvis"


@pytest.mark.parametrize("seed", range(3))
def test_order_does_not_matter(seed: int) -> None:
    biped = make_biped(heel_height=0.04, toe_out_deg=6.0)
    rng = np.random.default_rng(seed)
    plain, changed = measure(biped), measure(shuffled_joints(shuffled_vertices(biped, rng), rng))
    for one, two in zip(plain.legs, changed.legs, strict=True):
        for name in one.landmarks:
            assert_allclose(one.landmarks[name].position, two.landmarks[name].position, atol=1e-9)
            assert one.landmarks[name].confidence == two.landmarks[name].confidence
        assert len(one.sole) == len(two.sole)
        assert_allclose([one.heel_height, one.foot_length], [two.heel_height, two.foot_length], atol=1e-9)


def test_a_mirrored_character_has_left_and_right_swapped() -> None:
    biped = make_biped(toe_out_deg=9.0, heel_height=0.03)
    flip = np.diag([-1.0, 1.0, 1.0])
    plain, mirrored = measure(biped), measure(moved_by(biped, flip, 1.0, np.zeros(3)))
    for one, two in zip(plain.legs, reversed(mirrored.legs), strict=True):
        assert (one.side, two.side) in {("left", "right"), ("right", "left")}
        assert biped.skeleton.names[one.foot] == biped.skeleton.names[two.foot]
        for name in one.landmarks:
            assert_allclose(one.landmarks[name].position * [-1, 1, 1], two.landmarks[name].position, atol=1e-7)


def test_leg_length_is_from_hip_over_knee_to_ankle() -> None:
    truth = biped_landmarks()
    knee = truth["left.knee"]
    expected = np.linalg.norm(truth["left.hip"] - knee) + np.linalg.norm(truth["left.ankle"] - knee)
    assert_allclose(measure(make_biped()).leg_length, expected, rtol=1e-12)


def refused(character: Character) -> str:
    with pytest.raises(LandmarkError) as caught:
        measure(character)
    return str(caught.value)


def test_no_mesh() -> None:
    biped = make_biped()
    assert refused(Character("clip", biped.skeleton, None)) == (
        "clip: the character has no skinned mesh, so its feet have no shape to measure; expected a mesh that is "
        "bound to the skeleton. Export the character together with its mesh."
    )


def test_no_triangle_has_an_area() -> None:
    assert refused(moved_by(make_biped(), np.eye(3), 0.0, np.zeros(3))) == (
        "biped: no triangle of the mesh has an area, so the feet have no shape to measure; expected a mesh that is "
        "a surface. Check the unit and the scale that the character was exported with."
    )


LEG = ("thigh", "shin", "foot", "toes")


def test_one_leg_only() -> None:
    one_leg = without_skin_of(make_biped(), [f"{joint}.right" for joint in LEG], "pelvis")
    assert refused(one_leg) == (
        "biped: only one leg stands on the floor: the one of joint 'thigh.left'; expected legs in pairs, one the "
        "mirror image of the other. Add the other leg, or check that its skin is bound to its joints."
    )


def test_no_legs() -> None:
    bare = without_skin_of(make_biped(), [f"{joint}.{side}" for joint in LEG for side, _ in SIDES], "pelvis")
    assert refused(bare) == (
        "biped: no legs were found; expected a mirrored pair of limbs of three joints or more, whose skin reaches "
        "the floor. Check that the character stands upright in its bind pose and that its feet are bound to their "
        "joints."
    )


def moved_joint(character: Character, joint: str, onto: str) -> Character:
    skeleton = character.skeleton
    bind = skeleton.bind.copy()
    for side, _ in SIDES:
        bind[skeleton.index(f"{joint}.{side}"), :3, 3] = bind[skeleton.index(f"{onto}.{side}"), :3, 3]
    return Character(character.name, type(skeleton)(skeleton.names, skeleton.parents, bind, bind.copy(), skeleton.link),
                     character.mesh)  # fmt: skip


@pytest.mark.parametrize("toes", [True, False])
@pytest.mark.parametrize(("bone", "upper", "lower"), [("thigh", "thigh", "shin"), ("shin", "shin", "foot")])
def test_a_bone_without_length(toes: bool, bone: str, upper: str, lower: str) -> None:
    assert refused(
        moved_joint(make_biped(toes=toes), upper if bone == "shin" else lower, lower if bone == "shin" else upper)
    ) in {
        f"biped: the {bone} has no length: joints '{upper}.{side}' and '{lower}.{side}' stand at one place; expected "
        "hip, knee and ankle apart from each other in the bind pose. Move the joints to their places and bind the "
        "skin again."
        for side in ("left", "right")
    }


def test_a_foot_without_length() -> None:
    assert refused(moved_joint(make_biped(), "toes", "foot")) == (
        "biped: the foot has no length: joints 'foot.left' and 'toes.left' stand at one place; expected ankle and "
        "ball apart from each other in the bind pose. Move the joints to their places and bind the skin again."
    )


def test_too_few_joints() -> None:
    biped = make_biped(toes=False)
    mesh = biped.mesh
    assert mesh is not None
    skeleton = biped.skeleton
    keep = [joint for joint, name in enumerate(skeleton.names) if not name.startswith("foot")]
    place = {joint: number for number, joint in enumerate(keep)}
    for side, _ in SIDES:
        place[skeleton.index(f"foot.{side}")] = place[skeleton.index(f"shin.{side}")]
    parents = np.array([-1 if skeleton.parents[j] < 0 else place[int(skeleton.parents[j])] for j in keep])
    short = type(skeleton)(
        tuple(skeleton.names[j] for j in keep), parents, skeleton.bind[keep], skeleton.rest[keep], skeleton.link[keep]
    )
    joints = np.vectorize(place.__getitem__)(mesh.joints)
    character = Character("biped", short, type(mesh)(mesh.positions, mesh.faces, joints, mesh.weights, mesh.parts))
    assert refused(character) in {
        f"biped: the leg of joint 'thigh.{side}' has fewer than three joints down to its foot; expected at least "
        "the joints of hip, knee and ankle. Add the missing joints and bind the skin to them."
        for side in ("left", "right")
    }


def test_without_a_toe_joint_a_remark_says_what_can_be_built() -> None:
    measured = measure(make_biped(toes=False))
    assert [leg.toes for leg in measured.legs] == [None, None]
    assert measured.remarks[0] == (
        "left: the model has no joint that turns the toes. The ball was placed at 0.74 of the foot's length: the "
        "foot can roll about heel, tip and edges as one piece. To bend at the ball, add a joint there under "
        "'foot.left' and bind the toes to it"
    )
