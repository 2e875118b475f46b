"""The cast: closed, symmetric, well weighed, and true to what it says of its feet."""

from __future__ import annotations

import hashlib
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from examples.salt_ferry import CAST, RECIPES, CastMember, make_member
from examples.salt_ferry.member import Triple
from instep.character import Mesh, Skeleton
from instep.character.arrays import FloatArray
from instep.errors import CharacterError

NAMES = ("grub", "odile", "pip")
LOW = 0.08
SIDES = ("left", "right")


@cache
def member(name: str, detail: float = LOW) -> CastMember:
    return make_member(name, detail=detail)


def mesh_of(made: CastMember) -> Mesh:
    assert made.character.mesh is not None
    return made.character.mesh


def dense(made: CastMember) -> FloatArray:
    """(V, J) weights."""
    mesh = mesh_of(made)
    weights = np.zeros((len(mesh), len(made.character.skeleton)))
    np.add.at(weights, (np.arange(len(mesh))[:, None], mesh.joints), mesh.weights)
    return weights


def of(skeleton: Skeleton, *kinds: str, side: str = "left") -> list[int]:
    return [skeleton.index(f"{kind}.{side}") for kind in kinds]


def truth_of(name: str, **given: float) -> dict[str, Triple]:
    """What is known of a member's feet, without meshing it."""
    return RECIPES[name](LOW, given).truth


def axis_of(made: CastMember, side: str) -> tuple[FloatArray, float]:
    """Unit vector from heel to tip, and the distance."""
    return axis_in(made.truth, side)


def axis_in(truth: dict[str, Triple], side: str) -> tuple[FloatArray, float]:
    way = np.subtract(truth[f"{side}.tip"], truth[f"{side}.heel"])
    return way / np.linalg.norm(way), float(np.linalg.norm(way))


def tread_of(made: CastMember, side: str) -> FloatArray:
    """(n, 3) vertices of a foot within 0.4 % of its length of the floor."""
    mesh, weights = mesh_of(made), dense(made)
    own = weights[:, of(made.character.skeleton, "foot", "toes", side=side)].sum(axis=1) > 0.5
    low = mesh.positions[:, 1] <= 0.004 * axis_of(made, side)[1]
    return np.asarray(mesh.positions[own & low])


def test_the_cast_is_known_by_name() -> None:
    assert sorted(CAST) == sorted(NAMES)
    assert len(mesh_of(CAST["pip"](detail=0.05))) > 100


@pytest.mark.parametrize("name", NAMES)
def test_arrays_are_whole(name: str) -> None:
    mesh = mesh_of(member(name))
    assert np.isfinite(mesh.positions).all()
    assert len(np.unique(mesh.faces)) == len(mesh)
    assert mesh.parts[0].vertices.start == mesh.parts[0].faces.start == 0
    for before, after in zip(mesh.parts, mesh.parts[1:], strict=False):
        assert (before.vertices.stop, before.faces.stop) == (after.vertices.start, after.faces.start)
    assert (mesh.parts[-1].vertices.stop, mesh.parts[-1].faces.stop) == (len(mesh), len(mesh.faces))
    for part in mesh.parts:
        assert part.name in member(name).colours
        used = mesh.faces[part.faces]
        assert part.vertices.start <= used.min()
        assert used.max() < part.vertices.stop


@pytest.mark.parametrize("name", NAMES)
def test_every_part_is_closed_and_faces_outwards(name: str) -> None:
    mesh = mesh_of(member(name))
    for part in mesh.parts:
        faces = mesh.faces[part.faces]
        directed = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
        assert len(np.unique(directed, axis=0)) == len(directed), part.name
        there, back = ({tuple(e) for e in d.tolist()} for d in (directed, directed[:, ::-1]))
        assert there == back, part.name
        a, b, c = (mesh.positions[faces[:, i]] for i in range(3))
        assert float((a * np.cross(b, c)).sum()) > 0.0, part.name


@pytest.mark.parametrize("name", NAMES)
def test_both_sides_are_the_same_to_the_last_bit(name: str) -> None:
    made = member(name)
    mesh, skeleton, weights = mesh_of(made), made.character.skeleton, dense(made)
    other = [
        skeleton.index(n.replace(".left", ".RIGHT").replace(".right", ".left").replace(".RIGHT", ".right"))
        for n in skeleton.names
    ]
    flip = np.array([-1.0, 1.0, 1.0])
    np.testing.assert_array_equal(skeleton.positions, skeleton.positions[other] * flip)
    row = {tuple(p): w for p, w in zip((mesh.positions + 0.0).tolist(), weights, strict=True)}
    image = {tuple(p): w for p, w in zip((mesh.positions * flip + 0.0).tolist(), weights[:, other], strict=True)}
    lone = set(row) - set(image)
    if name == "grub":  # a wart on the left cheek
        head = skeleton.index("head")
        assert 0 < len(lone) < 0.05 * len(mesh)
        assert all(p[0] > 0.0 and row[p][head] == 1.0 for p in lone)
    else:
        assert not lone
    for place in set(row) & set(image):
        np.testing.assert_array_equal(row[place], image[place])


@pytest.mark.parametrize("name", NAMES)
def test_weights_are_shares(name: str) -> None:
    mesh = mesh_of(member(name))
    assert mesh.weights.shape[1] == 4
    assert (mesh.weights >= 0.0).all()
    np.testing.assert_allclose(mesh.weights.sum(axis=1), 1.0, rtol=0, atol=1e-12)
    assert (mesh.joints[mesh.weights == 0.0] == 0).all()
    assert dense(member(name))[:, member(name).character.skeleton.index("root")].max() == 0.0


@pytest.mark.parametrize("name", NAMES)
def test_nothing_leaks_from_one_limb_to_another(name: str) -> None:
    made = member(name)
    mesh, skeleton, weights = mesh_of(made), made.character.skeleton, dense(made)
    limbs = ("collar", "upper_arm", "forearm", "hand", "thigh", "shin", "foot", "toes")
    left, right = (of(skeleton, *limbs, side=side) for side in SIDES)
    assert weights[mesh.positions[:, 0] <= 0.0][:, left].max() == 0.0
    assert weights[mesh.positions[:, 0] >= 0.0][:, right].max() == 0.0
    arm, leg = of(skeleton, "upper_arm", "forearm", "hand"), of(skeleton, "thigh", "shin", "foot", "toes")
    assert np.minimum(weights[:, arm].sum(axis=1), weights[:, leg].sum(axis=1)).max() < 1e-6
    hand = weights[:, of(skeleton, "hand")].sum(axis=1)
    assert hand.max() == 1.0
    assert np.minimum(hand, weights[:, skeleton.index("chest")]).max() == 0.0


@pytest.mark.parametrize("name", NAMES)
def test_the_heel_is_the_foots_and_the_toe_pad_the_toes(name: str) -> None:
    made = member(name)
    mesh, skeleton, weights = mesh_of(made), made.character.skeleton, dense(made)
    for side in SIDES:
        axis, length = axis_of(made, side)
        foot, toes = of(skeleton, "foot", "toes", side=side)
        low = (mesh.positions[:, 1] < 0.01 * length) & (weights[:, [foot, toes]].sum(axis=1) > 0.5)
        ahead = (mesh.positions - made.truth[f"{side}.heel"]) @ axis / length
        ball = float(np.subtract(made.truth[f"{side}.ball"], made.truth[f"{side}.heel"]) @ axis) / length
        assert (weights[low & (ahead < 0.35), foot] == 1.0).all()
        assert (weights[low & (ahead > ball), toes] > 0.999).all()
        assert (low & (ahead < 0.35)).sum() >= 3
        assert (low & (ahead > ball)).sum() >= 3


@pytest.mark.parametrize("name", NAMES)
def test_feet_stand_on_the_floor(name: str) -> None:
    made = member(name)
    mesh = mesh_of(made)
    assert mesh.positions[:, 1].min() == 0.0
    on_floor = mesh.positions[mesh.positions[:, 1] == 0.0]
    assert (on_floor[:, 0] > 0.0).sum() == (on_floor[:, 0] < 0.0).sum() >= 10


@pytest.mark.parametrize("name", NAMES)
def test_knees_are_bent_a_little_and_forward(name: str) -> None:
    made = member(name)
    for side in SIDES:
        hip, knee, ankle = (np.array(made.truth[f"{side}.{joint}"]) for joint in ("hip", "knee", "ankle"))
        thigh, shin = knee - hip, ankle - knee
        bend = np.degrees(np.arccos(thigh @ shin / np.linalg.norm(thigh) / np.linalg.norm(shin)))
        assert 0.5 <= bend <= 3.0
        assert knee[2] > 0.5 * (hip[2] + ankle[2])
        positions = made.character.skeleton.positions
        for joint, kind in (("hip", "thigh"), ("knee", "shin"), ("ankle", "foot"), ("ball", "toes")):
            at = positions[made.character.skeleton.index(f"{kind}.{side}")]
            np.testing.assert_array_equal(at, made.truth[f"{side}.{joint}"])


@pytest.mark.parametrize("name", NAMES)
def test_the_same_arguments_give_the_same_bytes(name: str) -> None:
    def digest(made: CastMember) -> str:
        mesh = mesh_of(made)
        arrays = (mesh.positions, mesh.faces, mesh.joints, mesh.weights, made.character.skeleton.bind)
        return hashlib.sha256(b"".join(array.tobytes() for array in arrays)).hexdigest()

    assert digest(make_member(name, detail=LOW)) == digest(member(name))


@pytest.mark.parametrize("name", NAMES)
def test_usual_detail_is_ten_to_forty_thousand_vertices(name: str) -> None:
    assert 10_000 <= len(mesh_of(member(name, 1.0))) <= 40_000


@pytest.mark.parametrize("name", NAMES)
def test_the_truth_is_where_the_mesh_treads(name: str) -> None:
    """Heel, tip and edges of the vertices near the floor, within 1.5 % of the foot's length: an edge of the mesh."""
    made = member(name, 1.0)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        axis, length = axis_of(made, side)
        tread = tread_of(made, side)
        truth = {key: np.array(made.truth[f"{side}.{key}"]) for key in ("heel", "tip", "inner", "outer")}
        assert all(place[1] == 0.0 for place in truth.values())
        along = (tread - truth["heel"]) @ axis
        assert abs(along.min()) < 0.015 * length
        assert abs(along.max() - length) < 0.015 * length
        out = np.cross((0.0, 1.0, 0.0), axis) * sign
        across = (tread - truth["heel"]) @ out
        fore = (along > 0.5 * length) & (along < 0.82 * length)
        assert abs(across[fore].min() - (truth["inner"] - truth["heel"]) @ out) < 0.015 * length
        assert abs(across[fore].max() - (truth["outer"] - truth["heel"]) @ out) < 0.015 * length
        assert (truth["outer"] - truth["inner"]) @ out > 0.2 * length


@pytest.mark.parametrize("name", NAMES)
def test_toes_stay_on_the_floor_while_the_heel_lifts(name: str) -> None:
    """The foot turned 60 degrees about the ball, the toes left where they are: linear blend skinning by hand."""
    made = member(name, 1.0)
    mesh, skeleton, weights = mesh_of(made), made.character.skeleton, dense(made)
    for side in SIDES:
        axis, length = axis_of(made, side)
        ball = np.array(made.truth[f"{side}.ball"])
        own = weights[:, of(skeleton, "foot", "toes", side=side)].sum(axis=1) > 0.5
        pad = own & (mesh.positions[:, 1] < 0.01 * length) & ((mesh.positions - ball) @ axis > 0.0)
        assert pad.sum() > 50
        share = weights[:, of(skeleton, "toes", side=side)]
        for angle_deg in np.linspace(0.0, 60.0, 7):
            turn = Rotation.from_rotvec(np.radians(angle_deg) * np.cross((0.0, 1.0, 0.0), axis))
            lifted = share * mesh.positions + (1.0 - share) * (ball + turn.apply(mesh.positions - ball))
            assert np.abs(lifted[pad, 1] - mesh.positions[pad, 1]).max() < 0.005 * length
            assert lifted[own, 1].min() > -0.005 * length


def test_odile_has_heels_and_the_others_have_none() -> None:
    for name in NAMES:
        for side in SIDES:
            rise = 0.05 if name == "odile" else 0.0
            assert member(name).truth[f"{side}.heel_height"] == (0.0, rise, 0.0)


def test_odiles_shank_stands_clear_of_the_floor() -> None:
    made = member("odile", 1.0)
    axis, length = axis_of(made, "left")
    ahead = (tread_of(made, "left") - made.truth["left.heel"]) @ axis / length
    assert not ((ahead > 0.30) & (ahead < 0.50)).any()
    assert (ahead < 0.25).sum() > 20
    assert (ahead > 0.65).sum() > 50


def test_pip_has_five_toes_apart() -> None:
    made = member("pip", 1.0)
    axis, length = axis_of(made, "left")
    tread = tread_of(made, "left")
    out = np.cross((0.0, 1.0, 0.0), axis)
    along = (tread - made.truth["left.heel"]) @ axis / length
    across = (tread - made.truth["left.heel"]) @ out / length
    # Toe pads touch the floor in patches of their own: look along the slanted line through their middles.
    pads = np.sort(across[along > 0.93 - 0.9 * (across + 0.02) ** 2 - 0.35 * np.maximum(across, 0.0)])
    assert (np.diff(pads) > 0.018).sum() == 4


def test_grubs_sole_has_hollows_of_one_to_two_percent() -> None:
    made = member("grub", 1.0)
    mesh, weights = mesh_of(made), dense(made)
    axis, length = axis_of(made, "left")
    own = weights[:, of(made.character.skeleton, "foot", "toes")].sum(axis=1) > 0.5
    ahead = (mesh.positions - made.truth["left.heel"]) @ axis / length
    faces = mesh.faces[own[mesh.faces].all(axis=1)]
    a, b, c = (mesh.positions[faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    down = normal[:, 1] < -0.9 * np.linalg.norm(normal, axis=1)
    sole = np.unique(faces[down])
    across = (mesh.positions - made.truth["left.heel"]) @ np.cross((0.0, 1.0, 0.0), axis) / length
    inner = (ahead[sole] > 0.1) & (ahead[sole] < 0.70) & (np.abs(across[sole]) < 0.12)
    depth = mesh.positions[sole[inner], 1] / length
    assert 0.01 < depth.max() <= 0.02
    assert (depth == 0.0).mean() > 0.3


@pytest.mark.parametrize("name", NAMES)
def test_height_acts(name: str) -> None:
    usual = mesh_of(member(name)).positions[:, 1].max()
    tall = mesh_of(make_member(name, detail=LOW, height=2.0)).positions[:, 1].max()
    assert usual == pytest.approx({"grub": 1.45, "odile": 1.70, "pip": 1.15}[name], rel=0.03)
    assert tall == pytest.approx(2.0, rel=0.03)


@pytest.mark.parametrize("name", NAMES)
def test_proportions_of_legs_and_feet_act(name: str) -> None:
    truth = truth_of(name, leg_length=0.5, foot_length=0.30, toes_out_deg=10.0)
    hip, knee, ankle = (np.array(truth[f"left.{joint}"]) for joint in ("hip", "knee", "ankle"))
    assert np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee) == pytest.approx(0.5, rel=1e-9)
    axis, length = axis_in(truth, "left")
    _, usual = axis_in(truth_of(name), "left")
    given = {"grub": 0.290 * 1.45, "odile": 0.153 * 1.70, "pip": 0.162 * 1.15}[name]
    assert length / usual == pytest.approx(0.30 / given, rel=0.02)
    straight, _ = axis_in(truth_of(name, leg_length=0.5, foot_length=0.30, toes_out_deg=0.0), "left")
    assert np.degrees(np.arccos(axis @ straight)) == pytest.approx(10.0, abs=0.2)
    spans = [
        np.linalg.norm(np.subtract(truth["left.outer"], truth["left.inner"]))
        for truth in (truth_of(name, foot_breadth=0.46), truth_of(name, foot_breadth=0.38))
    ]
    assert spans[0] / spans[1] == pytest.approx(0.46 / 0.38, rel=0.06)


def test_broad_feet_stand_apart() -> None:
    made = make_member("pip", detail=LOW, foot_length=0.3, foot_breadth=0.6)
    mesh, weights = mesh_of(made), dense(made)
    left = weights[:, of(made.character.skeleton, "foot", "toes")].sum(axis=1) > 0.5
    assert mesh.positions[left, 0].min() > 0.0


@pytest.mark.parametrize("heel", [0.0, 0.03, 0.10])
def test_heels_of_any_height_stand(heel: float) -> None:
    made = make_member("odile", detail=0.3, heel_height=heel)
    assert made.truth["left.heel_height"] == (0.0, heel, 0.0)
    axis, length = axis_of(made, "left")
    ahead = (tread_of(made, "left") - made.truth["left.heel"]) @ axis / length
    assert ((ahead > 0.35) & (ahead < 0.45)).any() == (heel == 0.0)
    assert (ahead < 0.1).any()
    assert made.truth["left.ankle"][1] - member("odile").truth["left.ankle"][1] == pytest.approx(heel - 0.05)


def test_unknown_names_and_senseless_values_are_refused() -> None:
    def message(name: str, **given: float) -> str:
        with pytest.raises(CharacterError) as caught:
            make_member(name, **given)
        return str(caught.value)

    assert message("ardea") == "there is no 'ardea' in the cast; expected one of grub, odile, pip."
    assert message("pip", detail=0.0) == "pip: the detail is 0.0; expected a number from 0.02 to 20."
    assert message("pip", heel_height=0.1) == (
        "pip: there is no proportion 'heel_height'; expected one of height, leg_length, foot_length, "
        "foot_breadth, toes_out_deg."
    )
    assert message("grub", height=-1.0) == "grub: the proportion 'height' is -1.0; expected a number above 0."
    assert (
        message("grub", toes_out_deg=50.0)
        == "grub: the proportion 'toes_out_deg' is 50.0; expected at most 45 degrees."
    )
    assert message("pip", leg_length=0.1, detail=LOW) == (
        "pip: with these proportions the limbs run into each other. Choose proportions nearer to the usual ones."
    )
    assert message("odile", heel_height=float("nan")) == (
        "odile: the proportion 'heel_height' is nan; expected a number from 0."
    )
