"""Recipes, and which characters there are."""

from __future__ import annotations

from pathlib import Path

import pytest

from instep.delivery.cast_recipe import CastRecipe, content_key, find_members, make_recipe, read_recipe
from instep.errors import FormatError
from instep.rig.description import LegOptions


def touch(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"")


def names_in(folder: Path, *sources: Path, out: str = "out") -> list[str]:
    return [member.name for member in find_members(sources or (folder,), folder / out)]


def test_models_are_found_below_a_folder_but_not_among_results(tmp_path: Path) -> None:
    touch(tmp_path, "b.glb", "a/c.GLTF", "a/d.txt", "out/b/b.glb", ".hidden.glb", "a/out/e.glb")
    assert names_in(tmp_path) == ["a/c", "a/out/e", "b"]


def test_a_file_is_taken_once_and_equal_names_are_told_apart(tmp_path: Path) -> None:
    touch(tmp_path, "x/a.glb", "y/a.glb", "y/a.gltf", "z/b.glb")
    (tmp_path / "list.txt").write_text("# ours\n\nx/a.glb\nz/b.glb\n", encoding="utf-8")
    sources = (tmp_path / "x", tmp_path / "y", tmp_path / "list.txt", tmp_path / "z" / "b.glb")
    members = find_members(sources, tmp_path / "out")
    assert [(member.name, member.model.relative_to(tmp_path).as_posix()) for member in members] == [
        ("a.glb", "x/a.glb"),
        ("a.glb.2", "y/a.glb"),
        ("a.gltf", "y/a.gltf"),
        ("b", "z/b.glb"),
    ]


def test_a_model_that_is_missing_has_its_row_all_the_same(tmp_path: Path) -> None:
    assert names_in(tmp_path, tmp_path / "gone.glb") == ["gone"]


def test_a_list_that_is_no_text_says_so(tmp_path: Path) -> None:
    path = tmp_path / "list.txt"
    path.write_bytes(bytes([0xFF, 0xFE, 0x00]))
    with pytest.raises(FormatError) as caught:
        find_members([path], tmp_path / "out")
    assert str(caught.value) == f"{path}: this is no text in UTF-8; expected a list of models, one path a line."


@pytest.mark.parametrize(
    ("source", "message"),
    [
        (
            "",
            "{}: there is no character here; expected files that end in .glb or .gltf. Name another folder, the files "
            "themselves, or a .txt file with one path a line.",
        ),
        (
            "notes.md",
            "{}: this is neither a folder, a model nor a list of models; expected a folder, .glb or .gltf files, or a "
            ".txt file with one path a line. Check the name.",
        ),
    ],
)
def test_where_there_is_nothing_it_says_so(tmp_path: Path, source: str, message: str) -> None:
    place = tmp_path / source if source else tmp_path
    with pytest.raises(FormatError) as caught:
        find_members([place], tmp_path / "out")
    assert str(caught.value) == message.format(place)


def test_a_recipe_is_read(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text('controls = "full"\ntune = ["hold", "edges"]\n[options]\nsoft = 0.05\n', encoding="utf-8")
    expected = CastRecipe(controls="full", tune=("hold", "edges"), options=LegOptions(soft=0.05))
    assert read_recipe(path) == expected


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("chekcs = []", 'r.toml: there is no key "chekcs"; expected one such as "checks". Correct the name, or delete '
         "the line."),
        ('[options]\nsofft = 0.1', 'r.toml: there is no key "options.sofft"; expected one such as "soft". Correct the '
         "name, or delete the line."),
        ('tune = ["hol"]', 'r.toml: tune: there is no "hol"; expected one such as "hold". Correct the name.'),
        ('checks = ["flor"]', 'r.toml: checks: there is no "flor"; expected one such as "floor". Correct the name.'),
        ("rate = 0.0", "r.toml: rate: Input should be greater than or equal to 1. Correct the value."),
        ("rate = ", "r.toml: this is not valid TOML: Invalid value (at end of document); expected a recipe (TOML). "
         "Correct that line."),
    ],
)  # fmt: skip
def test_a_wrong_recipe_says_where(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "r.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FormatError) as caught:
        read_recipe(path)
    assert str(caught.value) == message


def test_a_recipe_that_is_not_there_says_so(tmp_path: Path) -> None:
    with pytest.raises(FormatError) as caught:
        read_recipe(tmp_path / "r.toml")
    assert str(caught.value) == (
        f"{tmp_path / 'r.toml'}: it cannot be read (No such file or directory); expected a recipe (TOML)."
    )


def test_the_key_follows_from_model_buffers_rig_file_and_recipe(tmp_path: Path) -> None:
    model, rig_file, buffer = tmp_path / "a.gltf", tmp_path / "a.rig.toml", tmp_path / "a.bin"
    model.write_text('{"buffers": [{"uri": "a.bin"}, {"uri": "data:;base64,"}]}', encoding="utf-8")
    buffer.write_bytes(b"1")
    recipe = CastRecipe()
    keys = [content_key(model, rig_file, recipe)]
    assert keys[0] == content_key(model, rig_file, CastRecipe())
    buffer.write_bytes(b"2")
    keys.append(content_key(model, rig_file, recipe))
    rig_file.write_text("hold = 1", encoding="utf-8")
    keys.append(content_key(model, rig_file, recipe))
    keys.append(content_key(model, rig_file, make_recipe({"seed": 1}, "here")))
    model.write_text('{"buffers": [{"uri": "a.bin"}]}', encoding="utf-8")
    keys.append(content_key(model, rig_file, recipe))
    assert len(set(keys)) == len(keys)
    model.unlink()
    assert content_key(model, rig_file, recipe) == ""
