"""The motion file: there and back, and what is wrong with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from instep.motion.file import MoveFileError, fit_to_rig, read_motion, write_motion
from instep.motion.fit import fit_poses
from instep.motion.model import Floor, Motion
from instep.motion.plant import plant
from instep.motion.thin import thin
from tests.motion.walker import walk_values
from tests.rig.made import made_rig


def _motion() -> Motion:
    rig = made_rig("plain")
    return fit_poses(rig, rig.evaluate(walk_values(rig, 30.0, 2.2)), 30.0, name="walk").motion


def test_a_dense_motion_comes_back_bit_for_bit(tmp_path: Path) -> None:
    motion = _motion()
    files = write_motion(motion, "a.rig.toml", tmp_path / "walk.move.toml")
    assert len(files) == 2
    assert sorted(tmp_path.iterdir()) == sorted(files)
    back, rig_path = read_motion(tmp_path / "walk.move.toml")
    assert rig_path == tmp_path / "a.rig.toml"
    assert back.channels == motion.channels
    np.testing.assert_array_equal(back.values, motion.values)
    assert [vars_of(c) for c in back.contacts] == [vars_of(c) for c in motion.contacts]
    assert (back.name, back.rate, back.start_s, back.cyclic) == ("walk", 30.0, 0.0, False)
    # Frames are no text.
    assert (tmp_path / "walk.move.toml").stat().st_size < 20_000


def vars_of(contact: object) -> tuple[object, ...]:
    return tuple(getattr(contact, name) for name in ("leg", "part", "start_s", "end_s", "confidence", "height"))


def test_an_uneven_floor_comes_back(tmp_path: Path) -> None:
    motion = _motion()
    path = np.cumsum(np.random.default_rng(1).normal(size=(len(motion), 2)), axis=0)
    moved = Motion(motion.name, 30.0, 0.0, motion.channels, motion.values, (), Floor("level", 0.5, path=path))
    write_motion(moved, "a.rig.toml", tmp_path / "walk.move.toml")
    back, _ = read_motion(tmp_path / "walk.move.toml")
    assert back.floor.path is not None
    np.testing.assert_array_equal(back.floor.path, path)
    assert back.floor.height == 0.5


def test_a_thinned_motion_comes_back_from_its_text(tmp_path: Path) -> None:
    rig = made_rig("plain")
    motion = thin(rig, plant(rig, _motion()).motion, 0.001).motion
    files = write_motion(motion, "a.rig.toml", tmp_path / "walk.move.toml")
    assert files == (tmp_path / "walk.move.toml",)
    back = fit_to_rig(read_motion(files[0])[0], rig)
    np.testing.assert_allclose(back.values, motion.values, atol=1e-9)
    assert back.keys is not None


def test_writing_again_leaves_no_old_frames(tmp_path: Path) -> None:
    motion = _motion()
    target = tmp_path / "walk.move.toml"
    write_motion(motion, "a.rig.toml", target)
    write_motion(motion.with_values(motion.values + 1.0), "a.rig.toml", target)
    assert len(list(tmp_path.iterdir())) == 2
    assert read_motion(target)[0].values[0, 0] == motion.values[0, 0] + 1.0


HEAD = 'version = 1\nrig = "a.rig.toml"\nclip = "walk"\nrate = 30.0\nframes = 4\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD + "rat = 3\n", 'walk.move.toml: "rat" is unknown; expected a key such as "rate".'),
        ("version = 1\n", 'walk.move.toml: "rig" is missing; expected a motion file with this key.'),
        (
            HEAD.replace("30.0", "0.0"),
            'walk.move.toml: "rate" is 0.0; expected input should be greater than 0.',
        ),
        (
            HEAD + '[[contact]]\nleg = "left"\npart = "heel"\nstart_s = 2.0\nend_s = 1.0\n',
            "walk.move.toml: contact 0 ends at 1 s, before it starts at 2 s; expected start_s up to end_s.",
        ),
        (
            HEAD + '[keys."left.foot.up"]\nframes = [0, 0]\nvalues = [1.0, 2.0]\nslopes = [0.0, 0.0]\n',
            "walk.move.toml: keys.left.foot.up: its frames do not increase, or lie outside the motion; expected 0 to "
            "3.",
        ),
        (
            HEAD + '[keys."left.foot.up"]\nframes = [0, 1]\nvalues = [1.0]\nslopes = [0.0, 0.0]\n',
            "walk.move.toml: keys.left.foot.up: it has 2 frames, 1 values and 2 slopes; expected as many of each, at "
            "least one.",
        ),
        (
            HEAD + 'dense = "gone.npz"\n',
            'walk.move.toml: its frames "gone.npz" are missing; expected the file beside it. Put it back, or fit the '
            "clip again.",
        ),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "walk.move.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MoveFileError) as wrong:
        read_motion(path)
    assert str(wrong.value) == message


def test_damaged_frames_are_an_error(tmp_path: Path) -> None:
    files = write_motion(_motion(), "a.rig.toml", tmp_path / "walk.move.toml")
    files[1].write_bytes(files[1].read_bytes()[:100])
    with pytest.raises(MoveFileError) as damaged:
        read_motion(files[0])
    assert str(damaged.value) == (
        f'walk.move.toml: its frames "{files[1].name}" cannot be read (BadZipFile). Fit the clip again.'
    )


def test_channels_and_legs_must_be_the_rigs() -> None:
    rig = made_rig("plain")
    motion = Motion("walk", 30.0, 0.0, ("left.foot.rol",), np.zeros((2, 1)))
    with pytest.raises(MoveFileError) as unknown:
        fit_to_rig(motion, rig, "walk.move.toml")
    assert str(unknown.value) == (
        'walk.move.toml: "left.foot.rol" is no channel of the rig; expected one such as "left.foot.roll". Fit the '
        "clip again, to this rig."
    )


def test_names_end_in_move_toml(tmp_path: Path) -> None:
    with pytest.raises(MoveFileError) as name:
        write_motion(_motion(), "a.rig.toml", tmp_path / "walk.toml")
    assert str(name.value) == '"walk.toml" does not end in .move.toml; expected a name such as walk.move.toml.'
