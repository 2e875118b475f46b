"""The built form alone is enough to evaluate the rig and to place its controls."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.errors import OutputError
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.built import to_built, write_built
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.program import Program
from tests.measured import make_measured_biped


@pytest.fixture(scope="module")
def rig() -> Rig:
    character, measurement = make_measured_biped(toe_out_deg=10.0, scale=100.0)
    return build_rig(character, measurement, RigDescription(character="biped.glb", controls="full"))


def test_joints_follow_from_the_built_form(rig: Rig, tmp_path: Path) -> None:
    path = tmp_path / "biped.built.json"
    write_built(rig, path)
    built = json.loads(path.read_text())
    rng = np.random.default_rng(0)
    low = np.array([channel["low"] for channel in built["channels"]])
    high = np.array([channel["high"] for channel in built["channels"]])
    values = rng.uniform(low, high, (50, len(low)))
    rows = compile_numpy(Program.from_data(built["program"]))(values.T)
    poses = rig.evaluate(values)
    points = np.array([driver["point"] for driver in built["drivers"]])
    for number, joint in enumerate(built["joints"]):
        driver = joint["follows"]
        turn, place = rows[1 + 7 * driver : 5 + 7 * driver].T, rows[5 + 7 * driver : 8 + 7 * driver].T
        offset = np.array(joint["bind"]) - points[driver]
        turned = Rotation.from_quat(turn, scalar_first=True).apply(offset) * rows[0][:, None]
        assert np.abs(turned + place - poses.position[:, number]).max() < 1e-9 * rig.plan.unit
        assert np.array_equal(turn, poses.rotation[:, number])


def test_what_is_written_reads_back_the_same(rig: Rig) -> None:
    data = json.loads(json.dumps(to_built(rig)))
    assert Program.from_data(data["program"]) == rig.program
    assert Program.from_data(data["control_frames"]) == rig.control_frames
    assert [channel["name"] for channel in data["channels"]] == [channel.name for channel in rig.channels]


def test_controls_stand_where_they_were_made_at_rest(rig: Rig) -> None:
    for name, frame in rig.control_frames_at(rig.defaults[None]).items():
        assert np.abs(frame[0, :, :3] - np.eye(3)).max() < 1e-12, name
        assert np.abs(frame[0, :, 3]).max() < 1e-9 * rig.plan.unit, name


def test_every_control_has_a_frame(rig: Rig) -> None:
    assert set(rig.control_frames_at(rig.defaults[None])) == {channel.control for channel in rig.channels}


def test_the_foot_control_does_not_roll_and_the_pivots_do(rig: Rig) -> None:
    frames = rig.control_frames_at(rig.values({"left.foot.roll": 30.0}))
    assert np.abs(frames["left.foot"][0, :, :3] - np.eye(3)).max() < 1e-12
    lifted = Rotation.from_matrix(frames["left.ball"][0, :, :3]).magnitude()
    assert np.degrees(lifted) == pytest.approx(30.0)
    assert np.abs(frames["right.ball"][0, :, :3] - np.eye(3)).max() < 1e-12


def test_the_knees_mark_goes_where_it_is_told(rig: Rig) -> None:
    unit = rig.plan.unit
    frames = rig.control_frames_at(rig.values({"left.knee.across": 0.1 * unit, "right.knee.across": 0.1 * unit}))
    assert np.allclose(frames["left.knee"][0, :, 3], [0.1 * unit, 0, 0], atol=1e-9 * unit)
    assert np.allclose(frames["right.knee"][0, :, 3], [-0.1 * unit, 0, 0], atol=1e-9 * unit)


def test_an_unwritable_place_leaves_nothing(rig: Rig, tmp_path: Path) -> None:
    with pytest.raises(OutputError) as caught:
        write_built(rig, tmp_path / "nowhere" / "biped.json")
    assert str(caught.value) == (
        f"{tmp_path / 'nowhere' / 'biped.json'}: it cannot be written (No such file or directory); expected a folder "
        "that exists and may be written to. Choose another place with -o."
    )
    assert list(tmp_path.iterdir()) == []
