"""What single checks measure, held against geometry worked out apart from the rig, and against published values."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character import Character
from instep.character.arrays import FloatArray
from instep.checks import run_checks
from instep.checks.mirror import check_mirror, match_sides
from instep.checks.plant import check_plant
from instep.checks.reach import Reaching, check_reach
from instep.checks.skeleton import _winding, check_skeleton
from instep.checks.skin import Surface
from instep.checks.sole import Sole
from instep.checks.subject import Skinned, Subject
from instep.landmarks import LegLandmarks, Measurement
from instep.rig import Rig, RigDescription, build_rig
from tests.checks.broken import heel_pivot_ahead, plate_follows_the_foot, sound, with_inputs, with_legs
from tests.measured import make_measured_biped


def _equal_bones() -> Reaching:
    """A leg of two equal bones whose knee is bent by 30 degrees at rest."""

    def change(leg: LegLandmarks) -> LegLandmarks:
        hip, ankle = leg.hip.position, leg.ankle.position
        middle = 0.5 * (hip + ankle) + [0.0, 0.0, 0.5 * np.linalg.norm(ankle - hip) * np.tan(np.radians(15.0))]
        return replace(leg, knee=replace(leg.knee, position=middle))

    subject = Subject(with_legs(sound(), change))
    return Reaching.of(subject, *subject.legs[0])


def test_the_knee_rate_bound_is_the_published_one_for_equal_bones() -> None:
    """2 / sqrt(L^2 - a^2), derived for bones of one length."""
    leg = _equal_bones()
    assert leg.thigh == pytest.approx(leg.shin)
    for share in (0.9, 0.95, 0.97, 0.999):
        wanted = np.degrees(2.0 / np.sqrt(1.0 - share**2)) / 100.0 * leg.subject.unit / leg.whole
        assert leg.rate_bound(share * leg.whole) == pytest.approx(wanted)


def test_the_measured_knee_rate_comes_up_to_its_bound_and_no_further() -> None:
    leg = _equal_bones()
    found = next(m for m in check_reach(leg.subject).measures if m.what.startswith("knee's rate"))
    bound = leg.rate_bound(leg.start)
    assert 0.98 * bound < found.figure <= bound * (1.0 + 1e-3)


@pytest.mark.parametrize(("shorter", "flexion_deg"), [(0.001, 5.1), (0.01, 16.2), (0.05, 36.4)])
def test_knee_flexion_is_that_of_the_published_table(shorter: float, flexion_deg: float) -> None:
    """Knee flexion = 2 acos(r/L) for equal bones: 5.1, 16.2 and 36.4 degrees. Without a soft zone, which shortens."""
    leg = _equal_bones()
    line = leg.leg.ankle.position - leg.leg.hip.position
    goal = leg.leg.hip.position + line / np.linalg.norm(line) * (1.0 - shorter) * leg.whole
    if (1.0 - shorter) * leg.whole < leg.start:
        assert np.degrees(leg.flexion(leg.to(goal[None])))[0] == pytest.approx(flexion_deg, abs=0.06)
    else:
        assert np.degrees(2.0 * np.arccos(1.0 - shorter)) == pytest.approx(flexion_deg, abs=0.06)


def test_goals_and_rows_are_one_anothers_inverse() -> None:
    subject = Subject(sound(toe_out_deg=20.0, R_world=Rotation.from_rotvec([0.3, 2.0, -0.5]).as_matrix()))
    leg = Reaching.of(subject, *subject.legs[1])
    goals = np.random.default_rng(1).normal(size=(50, 3))
    np.testing.assert_allclose(leg.goals(leg.to(goals)), goals, atol=1e-12)


def _lopsided() -> tuple[Character, Measurement]:
    """A biped whose right shin and foot are 2 % of the leg further down and ahead, in joints and landmarks."""
    character, measurement = make_measured_biped()
    skeleton, mesh = character.skeleton, character.mesh
    assert mesh is not None
    shift = np.array([0.004, -0.015, 0.012])
    bind = skeleton.bind.copy()
    moved = [skeleton.index(f"{part}.right") for part in ("shin", "foot", "toes")]
    bind[moved, :3, 3] += shift
    right = measurement.legs[1]
    marks = {
        name: replace(mark, position=mark.position + shift) for name, mark in right.landmarks.items() if name != "hip"
    }
    other = replace(skeleton, bind=bind, rest=bind.copy())
    legs = (measurement.legs[0], replace(right, **marks))  # type: ignore[arg-type]
    return Character("lopsided", other, mesh), replace(measurement, legs=legs)


def _lopsided_rig() -> Rig:
    return build_rig(*_lopsided(), RigDescription(character="lopsided.glb"))


def test_mirror_charges_nothing_of_the_models_own_difference_to_the_rig() -> None:
    finding = check_mirror(Subject(_lopsided_rig()))
    assert finding.verdict == "holds"
    model = next(m for m in finding.measures if m.what == "difference between the model's own sides")
    leg = _lopsided()[1].leg_length
    assert model.figure == pytest.approx(np.linalg.norm([0.004, -0.015, 0.012]) / leg, rel=1e-6)
    assert any(note.startswith("The model's own sides differ by up to 2.4 % of the leg") for note in finding.notes)


@pytest.mark.parametrize("channel", ["right.foot.twist", "right.foot.bank", "left.knee.twist", "upper_arm.left.yaw"])
def test_mirror_finds_one_wrong_side_on_a_lopsided_model_too(channel: str) -> None:
    def change(x: Any, numbers: dict[str, int]) -> None:
        x[numbers[channel]] *= -1.0

    assert check_mirror(Subject(with_inputs(_lopsided_rig(), change))).verdict == "falls short"


def test_partners_are_found_without_names() -> None:
    rig = sound()
    skeleton = rig.character.skeleton
    order = np.random.default_rng(3).permutation(len(skeleton))
    names = tuple(f"joint {number}" for number in order)
    nameless = Character("nameless", replace(skeleton, names=names), rig.character.mesh)
    sides = match_sides(Subject(build_rig(nameless, rig.measurement, rig.description)))
    for joint, name in enumerate(skeleton.names):
        swapped = name.replace(".left", ".none").replace(".right", ".left").replace(".none", ".right")
        assert skeleton.names[int(sides.joints[joint])] == swapped


def test_drift_of_a_moved_heel_pivot_is_the_chord_worked_out_by_hand() -> None:
    """A pivot off by d lets its landmark drift by 2 d sin(angle / 2): 40 degrees back."""
    found = next(m for m in check_plant(Subject(heel_pivot_ahead())).measures if m.what == "drift at the heel")
    assert found.figure == pytest.approx(2.0 * 0.003 * np.sin(np.radians(20.0)), rel=1e-3)


def test_sinking_of_a_shared_toe_pad_is_that_of_the_blend_written_out() -> None:
    """A pad vertex with 15 % on the foot sinks by 15 % of what the foot, turned about the ball, would sink."""
    rig = plate_follows_the_foot()
    subject = Subject(rig)
    leg, plan = subject.legs[0]
    sole = Sole.of(subject, leg, plan)
    lift = 20.0  # below where the ball gives out, past where it settles
    row = subject.put(sole.flat()[None], {"left.foot.roll": lift})
    mesh = rig.character.mesh
    assert mesh is not None
    offset = mesh.positions[leg.sole] - leg.ball.position
    turned = Rotation.from_rotvec([np.radians(lift), 0.0, 0.0]).apply(offset)
    toes_share = np.where(mesh.joints[leg.sole] == leg.toes, mesh.weights[leg.sole], 0.0).sum(axis=1)
    heights = offset[:, 1] + (1.0 - toes_share) * (turned - offset)[:, 1] + leg.ball.position[1]
    np.testing.assert_allclose(sole.heights(row)[0], heights, atol=1e-12)


def test_skinned_points_are_those_of_the_characters_own_skinning() -> None:
    from instep.character import skin_vertices

    rig = sound()
    subject = Subject(rig)
    rows = subject.put(subject.rest(3), {"left.foot.roll": [-20.0, 30.0, 70.0], "root.scale": [1.0, 2.0, 0.5]})
    mesh = rig.character.mesh
    assert mesh is not None
    vertices = rig.measurement.legs[0].vertices
    poses = subject.evaluate(rows)
    wanted = skin_vertices(mesh, rig.character.skeleton, poses, vertices)
    skin = Skinned.of(subject, vertices)
    np.testing.assert_allclose(skin.positions(poses), wanted, atol=1e-12)
    direction = np.array([0.6, 0.0, 0.8])
    np.testing.assert_allclose(skin.along(poses, direction), wanted @ direction, atol=1e-12)


def _cube() -> tuple[FloatArray, FloatArray]:
    """Corners of the unit cube, and its twelve triangles from outside."""
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64)
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    return corners, np.array([t for a, b, c, d in quads for t in ([a, b, c], [a, c, d])])


def test_the_winding_number_tells_inside_from_outside() -> None:
    corners, faces = _cube()
    points = np.random.default_rng(2).uniform(-1.0, 2.0, (200, 3))
    inside = np.all((points > 0.0) & (points < 1.0), axis=1)
    np.testing.assert_allclose(_winding(points, corners[faces.astype(int)]), inside, atol=1e-9)


def test_volume_of_an_open_box_is_that_of_the_closed_one() -> None:
    corners, faces = _cube()
    subject = Subject(sound())
    leg = subject.rig.measurement.legs[0]
    whole = Surface.of(subject, leg)
    caps = np.array([[4, 6], [6, 7], [7, 5], [5, 4]])  # around the side at x = 1, which is left out
    box = replace(whole, faces=np.delete(faces, [2, 3], axis=0), caps=caps, loops=np.zeros(4, dtype=np.int64))
    stretched = corners * [2.0, 3.0, 0.5] + [5.0, -1.0, 2.0]
    np.testing.assert_allclose(box.volume(np.stack([corners, stretched])), [1.0, 3.0], atol=1e-12)


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("ball up", "height of the ball joint"),
        ("ball down", "ball joint under the sole"),
        ("hip", "difference in length of the sides"),
        ("lean", "lean of the sole"),
        ("outside", "joint outside its mesh"),
    ],
)
def test_each_fault_of_a_skeleton_is_told_with_what_it_does(change: str, what: str) -> None:
    rig = sound()
    up = np.array([0.0, 0.08, 0.0])

    def changed(leg: LegLandmarks) -> LegLandmarks:
        if change == "ball up":
            return replace(leg, ball=replace(leg.ball, position=leg.ball.position + up))
        if change == "ball down":
            return replace(leg, ball=replace(leg.ball, position=leg.ball.position - 0.5 * up))
        if change == "hip" and leg.side == "left":
            return replace(leg, hip=replace(leg.hip, position=leg.hip.position + 0.2 * up))
        if change == "lean":
            return replace(leg, sole_normal=Rotation.from_rotvec([0.1, 0.0, 0.0]).apply(leg.sole_normal))
        return leg

    if change == "outside":
        skeleton = rig.character.skeleton
        bind = skeleton.bind.copy()
        bind[skeleton.index("shin.left"), :3, 3] += [0.0, 0.0, 0.3]
        character = Character("outside", replace(skeleton, bind=bind), rig.character.mesh)
        rig = build_rig(character, rig.measurement, rig.description)
    finding = check_skeleton(Subject(with_legs(rig, changed)))
    assert finding.verdict == "falls short"
    assert finding.what == what
    assert {m.what for m in finding.measures if not m.holds} == {what}
    assert finding.cause
    assert finding.cures


def test_range_is_advice_for_people_and_off_for_others() -> None:
    people = run_checks(sound(), only=["range"]).finding("range")
    assert people.verdict == "advice"
    assert people.notes[0].startswith("knee flexion: ")
    backward = run_checks(sound(knee_bend_deg=-25.0), only=["range"])
    assert backward.holds
    assert backward.finding("range").verdict == "does not apply"
    assert backward.finding("range").cause == "People's ranges say nothing here: its knees bend backward."


def test_a_root_that_is_pinned_elsewhere_still_carries() -> None:
    character, measurement = make_measured_biped()
    hand = {"pinned": {"root.yaw": 30.0, "root.scale": 2.0, "root.up": 0.5}}
    description = RigDescription.model_validate({"character": "x", "by_hand": hand})
    rig = build_rig(character, measurement, description)
    finding = run_checks(rig, only=["carry"]).finding("carry")
    assert finding.verdict == "holds"


def test_a_skeleton_without_a_mesh_is_proved_as_far_as_it_goes() -> None:
    character, measurement = make_measured_biped()
    bare = build_rig(Character("bare", character.skeleton, None), measurement, RigDescription(character="bare.glb"))
    report = run_checks(bare)
    assert report.holds
    away = [finding.check for finding in report.findings if finding.verdict == "does not apply"]
    assert away == ["floor", "switch", "skin"]
    assert report.finding("floor").cause == "The file has no mesh: there is no sole to look at."


def test_what_is_pinned_is_not_asked_for() -> None:
    character, measurement = make_measured_biped()
    names = ["roll", "bank", "twist"]
    pinned = {f"{side}.foot.{name}": 0.0 for side in ("left", "right") for name in names}
    pinned |= {f"{side}.ball.pitch": 0.0 for side in ("left", "right")}
    description = RigDescription.model_validate({"character": "x", "by_hand": {"pinned": pinned}})
    report = run_checks(build_rig(character, measurement, description))
    assert report.holds
    assert report.finding("plant").verdict == "does not apply"
    assert report.finding("plant").cause == "The rig has no roll, bank or twist: they are pinned in its rig file."
