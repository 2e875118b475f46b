"""fit, contacts, plant, thin, gait and bake as a person runs them."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from instep.delivery.motion_folder import fit_folder
from instep.formats import read_character
from instep.motion.file import read_motion
from tests.cli.terminal import answer, refusal, run


def test_from_a_clip_to_a_clip(walked: Path) -> None:
    """fit, plant, thin, bake: joints come back to where the clip had them, within what was allowed on the way."""
    rig_file = walked / "biped.rig.toml"
    fitted = answer("fit", rig_file, walked / "walk.glb", "--clip", "walk", "-o", walked / "a.move.toml")
    assert fitted["clip"] == "walk"
    assert fitted["frames"] > 60
    assert max(left["distance_most"] for left in fitted["leftovers"]) < 1e-5
    assert {contact["part"] for contact in fitted["contacts"]} == {"heel", "ball", "tip"}
    planted = answer("plant", walked / "a.move.toml", "-o", walked / "b.move.toml")
    assert max(each["slide"] for each in planted["after"]) < 1e-9
    thinned = answer("thin", walked / "b.move.toml", "--within", "1mm", "-o", walked / "c.move.toml")
    assert thinned["worst"] <= 0.001
    assert thinned["share"] < 0.5
    assert not list(walked.glob("c.*.npz"))
    baked = answer("bake", walked / "c.move.toml", "--rate", "30", "--name", "again", "-o", walked / "d.glb")
    assert baked["frames"] == pytest.approx(fitted["frames"] / 2, abs=1.5)
    names = [clip.name for clip in read_character(walked / "d.glb").clips]
    assert "again" in names
    cubic = answer("bake", walked / "c.move.toml", "--cubic", "2mm", "-o", walked / "e.glb")
    assert cubic["worst"] <= 0.002
    assert "CUBICSPLINE" in {
        track.interpolation
        for clip in read_character(walked / "e.glb").clips
        if clip.name == "walk"
        for track in clip.tracks
    }


def test_contacts_are_listed(walked: Path) -> None:
    data = answer("contacts", walked / "walk.move.toml")
    assert data["floor"]["kind"] == "level"
    assert {stance["leg"] for stance in data["stances"]} == {"left", "right"}
    text = run("contacts", walked / "walk.move.toml").stdout
    assert re.search(r"left heel [━·]+", text)
    from_clip = answer("contacts", walked / "biped.rig.toml", walked / "walk.glb", "--clip", "walk")
    assert len(from_clip["contacts"]) >= 6


def test_the_text_can_be_edited(walked: Path) -> None:
    """A contact that is taken out of the file is not planted."""
    path = walked / "walk.move.toml"
    before, _ = read_motion(path)
    text = path.read_text(encoding="utf-8")
    first = text.index("[[contact]]")
    second = text.index("[[contact]]", first + 1)
    path.write_text(text[:first] + text[second:], encoding="utf-8")
    after, _ = read_motion(path)
    assert len(after.contacts) == len(before.contacts) - 1
    assert run("plant", path).exit_code == 0


def test_a_page_is_written(walked: Path) -> None:
    page = walked / "walk.html"
    assert run("plant", walked / "walk.move.toml", "--page", page).exit_code == 0
    html = page.read_text(encoding="utf-8")
    for head in (
        "Footfalls",
        "How far planted points move",
        "Knees",
        "Soles through a stance",
        "What was moved for it",
    ):
        assert head in html
    assert not re.search(r"""(src|href)\s*=\s*["']?(https?:)?//""", html)
    for style in ("bar left", "bar right", "curve left", "curve right"):
        assert f'class="{style}"' in html


def test_a_folder_is_fitted_and_taken_up_again(walked: Path, tmp_path: Path) -> None:
    clips = tmp_path / "clips"
    clips.mkdir()
    (clips / "walk.glb").write_bytes((walked / "walk.glb").read_bytes())
    (clips / "broken.glb").write_bytes(b"glTF")
    rig_file = walked / "biped.rig.toml"
    first = fit_folder(rig_file, clips, tmp_path / "moves", workers=1)
    states = {(result.source.name, result.clip): result.state for result in first}
    assert states["broken.glb", "broken"] == "failed"
    assert states["walk.glb", "walk"] == "fitted"
    again = fit_folder(rig_file, clips, tmp_path / "moves", workers=1)
    assert {result.state for result in again if result.source.name == "walk.glb"} == {"kept"}
    motion, rig_path = read_motion(tmp_path / "moves" / "walk.walk.move.toml")
    assert rig_path.resolve() == rig_file.resolve()
    assert np.isfinite(motion.values).all()
    other = fit_folder(rig_file, clips, tmp_path / "moves", rate=30.0, workers=1)
    assert {result.state for result in other if result.source.name == "walk.glb"} == {"fitted"}


def test_what_cannot_be_done_is_said_and_nothing_is_written(walked: Path) -> None:
    before = sorted(path.name for path in walked.iterdir())
    rig_file = walked / "biped.rig.toml"
    walk = walked / "walk.glb"
    assert refusal("fit", rig_file, walk, "--clip", "run", "-o", walked / "x.move.toml").startswith(
        'walk.glb: it has no clip "run"; expected one of '
    )
    assert refusal("fit", rig_file, walk, "--clip", "walk", "-o", walked / "x.toml") == (
        '"x.toml" does not end in .move.toml; expected a name such as walk.move.toml.'
    )
    assert refusal("plant", walked / "none.move.toml") == (
        f"{walked / 'none.move.toml'}: there is no such file; expected a motion file (.move.toml)."
    )
    assert refusal("thin", walked / "walk.move.toml", "--within", "far") == (
        '--within: "far" is no distance; expected a distance such as 1mm.'
    )
    assert refusal("bake", rig_file, "-o", walked / "x.glb") == (
        f"{rig_file}: there is nothing to bake; expected a motion file, or a rig file and a table."
    )
    assert refusal("bake", walked / "walk.move.toml", walked / "t.csv", "-o", walked / "x.glb") == (
        f"{walked / 't.csv'}: a motion is baked without a table; expected a motion file alone."
    )
    assert refusal("gait", rig_file, "--speed", "30", "-o", walked / "x.move.toml") == (
        "30 m/s is no speed to walk at for a leg of 0.82 m; expected 0.14 to 2.55 m/s."
    )
    assert refusal("contacts", rig_file) == (
        "there is no clip to look at; expected a file with clips after the rig file, or a motion file."
    )
    rig_file.rename(walked / "gone.rig.toml")
    assert refusal("plant", walked / "walk.move.toml") == (
        'walk.move.toml: rig: there is no rig file "biped.rig.toml", seen from the folder of the motion file; expected '
        "the rig file (.rig.toml) of the character. Put its path right, or move the file there."
    )
    (walked / "gone.rig.toml").rename(rig_file)
    assert sorted(path.name for path in walked.iterdir()) == before
