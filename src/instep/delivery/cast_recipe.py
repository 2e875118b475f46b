"""How a whole cast is rigged: one recipe for all, and which characters there are."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal
from urllib.parse import unquote

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from instep import __version__
from instep.checks import CHECKS
from instep.errors import FormatError
from instep.rig.description import LegOptions
from instep.rig.nearest import nearest_name
from instep.rig.tuning.tune import NUMBERS

MODELS: Final = (".glb", ".gltf")
LISTS: Final = (".txt", ".list")
"""Endings of text files with one path a line."""

CHUNK: Final = 1 << 20


class CastRecipe(BaseModel):
    """One recipe for a whole cast, in TOML or from the command line.

    Attributes
    ----------
    controls, plain : as in a rig file, in place of what the rig files of the cast say; None: as they say.
    options : of every leg, for characters that have no rig file yet.
    tune : what is solved from the mesh, some of hold, ball, tip, soft, knee, edges.
    checks : which checks are run; None: all.
    seed : of the checks' sampling.
    sheets, models : whether each character gets its rig sheet, and its model with exercise clips, besides rig file
        and built form.
    rate : frames a second of the exercise clips.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    controls: Literal["essential", "full"] | None = None
    plain: bool | None = None
    options: LegOptions | None = None
    tune: tuple[str, ...] = ("hold",)
    checks: tuple[str, ...] | None = None
    seed: Annotated[int, Field(ge=0)] = 0
    sheets: bool = False
    models: bool = False
    rate: Annotated[float, Field(ge=1.0, le=1000.0)] = 30.0


@dataclass(frozen=True, slots=True)
class Member:
    """One character of a cast: its file, and the name that its results go by, with slashes for folders."""

    name: str
    model: Path


def read_recipe(path: Path | str) -> CastRecipe:
    """A recipe from a TOML file. Raises FormatError for the first thing in it that is not valid."""
    path = Path(path)
    try:
        data = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise FormatError(
            f"it cannot be read ({error.strerror})", where=str(path), expected="a recipe (TOML)"
        ) from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FormatError(
            f"this is not valid TOML: {error}", where=path.name, expected="a recipe (TOML)", cure="Correct that line"
        ) from None
    return make_recipe(data, path.name)


def make_recipe(data: dict[str, Any], where: str) -> CastRecipe:
    """A recipe from plain data; `where` names its place in errors. Raises FormatError."""
    try:
        recipe = CastRecipe.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        if first["type"] == "extra_forbidden":
            known = LegOptions.model_fields if first["loc"][:1] == ("options",) else CastRecipe.model_fields
            near = nearest_name(str(first["loc"][-1]), known)
            raise FormatError(
                f'there is no key "{key}"',
                where=where,
                expected=f'one such as "{near}"' if near else "one of " + ", ".join(known),
                cure="Correct the name, or delete the line",
            ) from None
        raise FormatError(f"{key}: {first['msg']}", where=where, cure="Correct the value") from None
    for key, names, known_names in (("tune", recipe.tune, NUMBERS), ("checks", recipe.checks or (), CHECKS)):
        for name in names:
            if name not in known_names:
                near = nearest_name(name, known_names)
                raise FormatError(
                    f'{key}: there is no "{name}"',
                    where=where,
                    expected=f'one such as "{near}"' if near else "some of " + ", ".join(known_names),
                    cure="Correct the name",
                )
    return recipe


def find_members(sources: Sequence[Path], apart_from: Path) -> tuple[Member, ...]:
    """The characters in folders (and all below them), files and lists of files, by name; each file once.

    `apart_from` is the folder of the results: what lies in it is no source. Raises FormatError where there is no
    such file, or none at all.
    """
    found: dict[Path, tuple[Path, Path]] = {}
    for source in sources:
        for root, model in _models_of(source, apart_from.resolve()):
            found.setdefault(model.resolve(), (root, model))
    if not found:
        raise FormatError(
            "there is no character here",
            where=", ".join(str(source) for source in sources),
            expected="files that end in .glb or .gltf",
            cure="Name another folder, the files themselves, or a .txt file with one path a line",
        )
    named = [(model.relative_to(root).with_suffix("").as_posix(), model) for root, model in found.values()]
    return tuple(Member(name, model) for name, model in sorted(_told_apart(named)))


def _models_of(source: Path, apart_from: Path) -> Iterable[tuple[Path, Path]]:
    """Each model of a source, with the folder that its name is seen from."""
    if source.is_dir():
        for path in sorted(source.rglob("*")):
            results = apart_from in path.resolve().parents
            if path.suffix.lower() in MODELS and path.is_file() and not results and not path.name.startswith("."):
                yield source, path
    elif source.suffix.lower() in LISTS and source.is_file():
        for line in _lines_of(source):
            if line.strip() and not line.lstrip().startswith("#"):
                path = source.parent / line.strip()
                yield path.parent, path
    elif source.suffix.lower() in MODELS:
        # Also where there is no such file: that is told in its row, and stops no other.
        yield source.parent, source
    else:
        raise FormatError(
            "this is neither a folder, a model nor a list of models",
            where=str(source),
            expected="a folder, .glb or .gltf files, or a .txt file with one path a line",
            cure="Check the name",
        )


def _lines_of(source: Path) -> list[str]:
    try:
        return source.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise FormatError(
            "this is no text in UTF-8", where=str(source), expected="a list of models, one path a line"
        ) from None
    except OSError as error:
        raise FormatError(f"it cannot be read ({error.strerror})", where=str(source)) from error


def _told_apart(named: list[tuple[str, Path]]) -> Iterable[tuple[str, Path]]:
    """Names that stand twice get the file's ending, and where that is not enough a number."""
    names = [name for name, _ in named]
    taken: set[str] = set()
    for name, model in sorted(named, key=lambda entry: (entry[0], str(entry[1]))):
        own = name if names.count(name) == 1 else f"{name}{model.suffix}"
        number = 2
        while own in taken:
            own = f"{name}{model.suffix}.{number}"
            number += 1
        taken.add(own)
        yield own, model


def content_key(model: Path, rig_file: Path, recipe: CastRecipe) -> str:
    """A hash of all that a character's results follow from: its model with the buffers that it names, its rig file,
    the recipe and Instep's version. Read in pieces: a large model is never held whole. "" where the model is missing.
    """
    digest = hashlib.sha256(f"{__version__}\n{recipe.model_dump_json()}\n".encode())
    try:
        for path in (model, *_buffers(model)):
            _digest_file(digest, path)
    except OSError:
        return ""  # it is told when it is read
    if rig_file.is_file():
        digest.update(b"\nrig file\n")
        _digest_file(digest, rig_file)
    return digest.hexdigest()


def _digest_file(digest: Any, path: Path) -> None:
    with open(path, "rb") as file:
        while piece := file.read(CHUNK):
            digest.update(piece)


def _buffers(model: Path) -> list[Path]:
    """Files beside a .gltf that hold its data, as far as it can be read at all."""
    if model.suffix.lower() != ".gltf":
        return []
    try:
        data = json.loads(model.read_bytes())
        addresses = [buffer.get("uri", "") for buffer in data.get("buffers", [])]
    except (ValueError, AttributeError, TypeError):
        return []  # it is told when it is read
    return [model.parent / unquote(str(a)) for a in addresses if a and not str(a).startswith("data:")]
