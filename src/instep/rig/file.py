"""The rig file on disk: read whole and checked, written whole or not at all, edited in place.

TOML with comments for the person who edits it. Tables whose keys are dotted names ("left.heel") may be written with
or without quotes: ``"left.heel" = [...]`` and ``left.heel = [...]`` say the same.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator, Mapping, MutableMapping
from pathlib import Path
from typing import Any, Final

import tomlkit
from pydantic import ValidationError
from tomlkit.exceptions import TOMLKitError

from instep.character import Character
from instep.errors import CycleError, InstepError, LandmarkError, RigFileError
from instep.formats import read_character, write_whole
from instep.landmarks import Measurement, measure
from instep.rig.description import RigDescription
from instep.rig.faults import BY_LEG, NAMED, as_tuples, first_fault, flatten, line_of, place_of
from instep.rig.nearest import nearest_name
from instep.rig.rig import Rig, build_rig
from instep.rig.tuning.edges import with_edges

LARGEST: Final = 2**24
"""Bytes. A rig file has some thousands; a larger file is not one, and is refused before it is read."""

COMMENTS: Final[Mapping[tuple[str, ...], tuple[str, ...]]] = {
    ("by_hand",): ("What you set. The tool keeps it, with your comments, and never writes over it.",),
    ("by_hand", "landmarks"): (
        "Places on the body, [x, y, z] in the model's own axes and unit: taken as they are, never measured over.",
        '"left.heel" = [0.10, 0.0, -0.06]',
    ),
    ("by_hand", "tuned"): (
        "Numbers of a leg that you choose instead of the solved ones, in a table of its own:",
        "[by_hand.tuned.left] with hold, ball_gives_out_deg, tip_takes_over_deg",
    ),
    ("by_hand", "ranges"): (
        "[low, high] in which a channel is offered, in place of its own range.",
        '"left.foot.roll" = [-30.0, 75.0]',
    ),
    ("by_hand", "pinned"): (
        "Channels fixed to a value: the rig then has no such channel.",
        '"left.foot.bank" = 0.0',
    ),
    ("options",): (
        "How each leg is built: soft (zone at full reach, share of the leg), stretch_limit (greatest factor),",
        "settle_deg (angle over which roll and bank ease in), spaces (what the foot can follow besides the root).",
    ),
    ("tuned",): ("Numbers solved from the mesh by the tool, each time that it builds the rig.",),
    ("reached",): (
        "What solving was about, [before, after]: pad or sole off the floor as shares of the foot's length, the soft",
        "zone's cost (1: as bad as a hard knee), the knee's angle from the foot's axis in degrees.",
    ),
    ("measured",): ("Landmarks as the tool measured them last, for reading; it measures them anew each time.",),
}
"""What stands under the head of each table."""


def read_rig_file(path: Path | str) -> RigDescription:
    """The description in a rig file.

    Raises RigFileError where the file is missing or no TOML, and for the first thing in it that is not valid: with
    its table, key and line, what was expected, and for a key that is unknown the nearest one that is known.
    """
    path = Path(path)
    return _validated(_read_text(path), path.name)


def write_rig_file(description: RigDescription, path: Path | str) -> None:
    """Write a rig file, whole or not at all. Of a file that is there already only what differs is changed.

    Comments, order and what else is valid in the existing file stay as they are. Raises RigFileError where the
    existing file cannot be read, OutputError where nothing can be written.
    """
    path = Path(path)
    write_whole(path, rig_file_text(description, path).encode("utf-8"))


def rig_file_text(description: RigDescription, existing: Path | None = None) -> str:
    """The text of a rig file; `existing`, where it is there, is the file whose comments and order are kept."""
    full = description.model_dump(exclude_none=True)
    if existing is None or not existing.exists():
        return _edited(_template(), full, full)
    text = _read_text(existing)
    _validated(text, existing.name)
    needed = description.model_dump(exclude_none=True, exclude_defaults=True)
    try:
        written = _edited(text, full, needed)
        follows = _validated(written, existing.name) == description
    except (TOMLKitError, LookupError, RigFileError):
        follows = False
    if not follows:
        # The editor (tomlkit 0.15) loses its way in some files whose tables are torn apart, by LookupError or by
        # leaving things out; nothing is lost, for nothing has been written.
        raise RigFileError(
            "it is laid out in a way that cannot be edited in place",
            where=existing.name,
            expected="each table in one place",
            cure="Gather the tables that begin alike, or move the file away and let it be written anew",
        )
    return written


def load_rig(path: Path | str) -> Rig:
    """Read a rig file and its character, measure it with what was set by hand, and build the rig.

    Raises RigFileError, FormatError, CharacterError, LandmarkError or CycleError, with the rig file's name where the
    fault lies in it.
    """
    path = Path(path)
    description = read_rig_file(path)
    character = read_described_character(description, path)
    return build_described_rig(character, measure_described(character, description, path), description, path)


def character_path(description: RigDescription, path: Path) -> Path:
    """Where the character of the rig file at `path` is."""
    return Path(os.path.normpath(path.parent / description.character))


def read_described_character(description: RigDescription, path: Path) -> Character:
    """The character of the rig file at `path`; RigFileError where there is no such file, else as `read_character`."""
    source = character_path(description, path)
    if not source.is_file():
        raise RigFileError(
            f'there is no file "{description.character}", seen from the folder of the rig file',
            where=place_of(path.name, ("character",), _line(path, ("character",))),
            expected="the .glb or .gltf file of the character",
            cure="Put its path right, or move the file there",
        )
    return read_character(source)


def measure_described(character: Character, description: RigDescription, path: Path) -> Measurement:
    """Measure a character with the landmarks that its rig file sets by hand, and the edges' pivots as tuned."""
    by_hand = description.by_hand.landmarks
    try:
        return with_edges(measure(character, by_hand), description)
    except LandmarkError as error:
        if not by_hand:
            raise
        measure(character)  # where that fails too, the model is at fault, and this is the error to tell
        place = f"{path.name}: by_hand.landmarks"
        raise LandmarkError(error.seen, where=place, expected=error.expected, cure=error.cure) from None


def build_described_rig(character: Character, measurement: Measurement, description: RigDescription, path: Path) -> Rig:
    """`build_rig`, with the rig file's name and line in errors that lie in it."""
    _refuse_gone_joints(character, measurement, description, path)
    try:
        return build_rig(character, measurement, description)
    except (RigFileError, CycleError) as error:
        raise _placed(error, path.name) from None


def _read_text(path: Path) -> str:
    where = str(path)
    try:
        if path.is_dir():
            raise RigFileError("this is a folder", where=where, expected="a .rig.toml file")
        if path.stat().st_size > LARGEST:
            raise RigFileError("this is too large for a rig file", where=where, expected="at most 16 MB of TOML")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RigFileError("this is no text in UTF-8", where=where, expected="a rig file (TOML)") from None
    except FileNotFoundError:
        raise RigFileError("there is no such file", where=where, cure="Check the name and the folder") from None
    except OSError as error:
        raise RigFileError(f"it cannot be read ({error.strerror})", where=where) from error


def _validated(text: str, name: str) -> RigDescription:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RigFileError(
            f"this is not valid TOML: {error}", where=name, expected="a rig file (TOML)", cure="Correct that line"
        ) from None
    flat = flatten(data, name)
    try:
        return RigDescription.model_validate(flat, strict=True)
    except ValidationError as error:
        raise first_fault(error, flat, text, name) from None


def _template() -> str:
    """A rig file with its comments, and nothing in its tables yet."""
    lines = [
        "# A rig file (TOML), made by Instep. Edit it, then build again: instep rig FILE",
        "# Lengths are in the model's own unit, angles in degrees.",
        "",
        "version = 1",
        'character = ""  # path of the model, seen from this file',
        'controls = ""  # "essential" or "full"',
        "plain = true  # a control for each joint that no leg owns",
    ]
    for table, comment in COMMENTS.items():
        lines += ["", f"[{'.'.join(table)}]", *(f"# {line}" for line in comment)]
    return "\n".join(lines) + "\n"


def _edited(text: str, full: dict[str, Any], needed: dict[str, Any]) -> str:
    document = tomlkit.parse(text)
    _edit(document, full, needed, ())
    return tomlkit.dumps(document)


def _edit(table: MutableMapping[str, Any], full: dict[str, Any], needed: dict[str, Any], at: tuple[str, ...]) -> None:
    """Make a TOML table say what `full` says; of what it lacks only `needed` is added."""
    written = dict(_entries(table, at))
    for key in {keys[0] for keys in written.values() if len(keys) > 1} & set(full):
        del table[key]  # "left" is wanted beside "left.heel", written without quotes: TOML cannot say both
        written = dict(_entries(table, at))
    for name, keys in written.items():
        if name not in full:
            _delete(table, keys)
    for name, value in full.items():
        if name not in written:
            if name in needed:
                table[name] = _new_table(value, (*at, name)) if isinstance(value, dict) else value
            continue
        *above, last = written[name]
        holder = table
        for key in above:
            holder = holder[key]
        if _plain(holder[last]) == value:
            continue
        if isinstance(value, dict):
            _edit(holder[last], value, needed.get(name, {}), (*at, name))
        else:
            holder[last] = value


def _entries(table: MutableMapping[str, Any], at: tuple[str, ...]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each entry's name with the keys that lead to it: several where a dotted name was written without quotes."""
    for key, value in table.items():
        inside = isinstance(value, MutableMapping) and (at in NAMED or at in BY_LEG)
        if inside and (at in NAMED or (value and all(isinstance(entry, MutableMapping) for entry in value.values()))):
            for name, keys in _entries(value, at):
                yield f"{key}.{name}", (key, *keys)
        else:
            yield key, (key,)


def _delete(table: MutableMapping[str, Any], keys: tuple[str, ...]) -> None:
    """Delete an entry, and what it leaves empty above it."""
    if len(keys) > 1:
        _delete(table[keys[0]], keys[1:])
    if len(keys) == 1 or not table[keys[0]]:
        del table[keys[0]]


def _new_table(value: dict[str, Any], at: tuple[str, ...]) -> Any:
    table = tomlkit.table()
    for line in COMMENTS.get(at, ()):
        table.add(tomlkit.comment(line))
    for key, entry in value.items():
        table[key] = _new_table(entry, (*at, key)) if isinstance(entry, dict) else entry
    table.add(tomlkit.nl())
    return table


def _plain(value: Any) -> Any:
    """A value of the TOML editor as plain data, lists as tuples."""
    return as_tuples(value.unwrap() if hasattr(value, "unwrap") else value)


def _line(path: Path, keys: tuple[str | int, ...]) -> int | None:
    """The line in a rig file of a key; None where it has none or the file is not there."""
    return line_of(_read_text(path), keys) if path.is_file() else None


def _placed(error: InstepError, name: str) -> InstepError:
    """The same error with the rig file's name in its place."""
    where = error.where.removeprefix("the rig file: ")
    place = f"{name}: {where}" if where else name
    return type(error)(error.seen, where=place, expected=error.expected, cure=error.cure)


def _refuse_gone_joints(
    character: Character, measurement: Measurement, description: RigDescription, path: Path
) -> None:
    """Raise RigFileError where the file names a joint that the model has not got (any more)."""
    joints = set(character.skeleton.names)
    parts = {"root", "pelvis", *(leg.name for leg in measurement.legs)}

    def refuse(name: str, keys: tuple[str | int, ...]) -> None:
        joint = name if name in joints else name.removeprefix("joint.")
        if joint in joints or name in parts or any(name.startswith(f"{part}.") for part in parts):
            return
        near = nearest_name(joint, joints)
        raise RigFileError(
            f'the model has no joint "{joint}"',
            where=place_of(path.name, keys, _line(path, keys)),
            expected=f'one such as "{near}"' if near else "a joint of the model",
            cure="If the joint was renamed, write its new name; if it is gone, delete it here",
        )

    for leg, options in description.options.items():
        for space in options.spaces:
            refuse(space, ("options", leg, "spaces"))
    for table in ("ranges", "pinned"):
        for channel in getattr(description.by_hand, table):
            refuse(channel.rpartition(".")[0], ("by_hand", table, channel))
