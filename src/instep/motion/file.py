"""The motion file: NAME.move.toml, text, and NAME.move.npz beside it while the motion is dense.

A thinned motion has its keys in the text itself. A dense one has its frames in NumPy's own format, never as text.
"""

from __future__ import annotations

import hashlib
import io
import tomllib
import zipfile
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import numpy as np
import tomlkit
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from instep.character.arrays import FloatArray
from instep.errors import InstepError
from instep.formats import write_whole
from instep.motion.model import Contact, Floor, Keys, Motion
from instep.motion.splines import evaluate_keys
from instep.rig import Rig
from instep.rig.nearest import nearest_name

MOVE_FILE: Final = ".move.toml"
MOST_FRAMES: Final = 1_000_000
"""Frames of one motion: more than four hours at 60 a second. A slip in a number must not fill the memory."""

LARGEST: Final = 2**27
"""Bytes of the text: keys of an hour."""


class MoveFileError(InstepError):
    """A motion file is not valid, or does not fit its rig."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Contact(_Table):
    leg: str
    part: Literal["heel", "ball", "tip"]
    start_s: FiniteFloat
    end_s: FiniteFloat
    confidence: Annotated[FiniteFloat, Field(ge=0.0, le=1.0)] = 1.0
    height: FiniteFloat = 0.0


class _Floor(_Table):
    kind: Literal["level", "slope", "steps"] = "level"
    height: FiniteFloat = 0.0
    slope: tuple[FiniteFloat, FiniteFloat] = (0.0, 0.0)
    velocity: tuple[FiniteFloat, FiniteFloat] = (0.0, 0.0)


class _Keys(_Table):
    frames: list[int]
    values: list[FiniteFloat]
    slopes: list[FiniteFloat]


class _Move(_Table):
    version: Literal[1] = 1
    rig: str
    clip: str
    rate: Annotated[FiniteFloat, Field(gt=0.0, le=10_000.0)]
    start_s: FiniteFloat = 0.0
    frames: Annotated[int, Field(ge=1, le=MOST_FRAMES)]
    cyclic: bool = False
    dense: str | None = None
    floor: _Floor = _Floor()
    contact: list[_Contact] = Field(default_factory=list)
    keys: dict[str, _Keys] = Field(default_factory=dict)


def read_motion(path: Path | str) -> tuple[Motion, Path]:
    """A motion and the path of its rig file. Check it against the rig with `fit_to_rig`.

    Raises MoveFileError with the file and the place in it.
    """
    path = Path(path)
    where = path.name
    try:
        if path.stat().st_size > LARGEST:
            raise MoveFileError("the file is too large", where=where, expected=f"at most {LARGEST >> 20} MB")
        data = tomllib.loads(path.read_bytes().decode("utf-8"))
    except FileNotFoundError:
        raise MoveFileError("there is no such file", where=str(path), expected="a motion file (.move.toml)") from None
    except IsADirectoryError:
        raise MoveFileError("this is a folder", where=str(path), expected="a motion file (.move.toml)") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise MoveFileError(f"it is no TOML ({error})", where=where, expected="a motion file (.move.toml)") from None
    try:
        move = _Move.model_validate(data)
    except ValidationError as error:
        raise _first_fault(error, where) from None
    _check_contacts(move, where)
    rig_path = path.parent / move.rig
    floor = Floor(move.floor.kind, move.floor.height, move.floor.slope, move.floor.velocity)
    contacts = tuple(Contact(**contact.model_dump()) for contact in move.contact)
    if move.dense is not None:
        names, values, floor_path = _read_dense(path.parent / move.dense, move.frames, where)
        floor = Floor(floor.kind, floor.height, floor.slope, floor.velocity, floor_path)
        keys = None
    else:
        names = tuple(move.keys)
        keys = {name: _keys_of(own, move.frames, f"{where}: keys.{name}") for name, own in move.keys.items()}
        values = np.zeros((move.frames, len(names)))
        for number, own in enumerate(keys.values()):
            values[:, number] = evaluate_keys(own, move.frames, move.rate)
        if FLOOR_KEYS[0] in keys:
            # An uneven floor is keyed like a channel.
            columns = [names.index(name) for name in FLOOR_KEYS]
            moved = values[:, columns]
            floor = Floor(floor.kind, floor.height, floor.slope, floor.velocity, moved)
            rest = [number for number in range(len(names)) if number not in columns]
            values, names = values[:, rest], tuple(names[number] for number in rest)
            keys = {name: own for name, own in keys.items() if name not in FLOOR_KEYS}
    motion = Motion(move.clip, move.rate, move.start_s, names, values, contacts, floor, keys, move.cyclic)
    return motion, rig_path


FLOOR_KEYS: Final = ("floor.across", "floor.along")


def fit_to_rig(motion: Motion, rig: Rig, where: str = "the motion") -> Motion:
    """The motion with one column for each of the rig's channels, in its order; what it does not name is at rest.

    Raises MoveFileError for a channel that the rig has not got, or a contact of a leg that it has not got.
    """
    known = [channel.name for channel in rig.channels]
    for name in motion.channels:
        if name not in known:
            near = nearest_name(name, known)
            raise MoveFileError(
                f'"{name}" is no channel of the rig',
                where=where,
                expected=f'one such as "{near}"' if near else f"one of its {len(known)} channels",
                cure="Fit the clip again, to this rig",
            )
    legs = [leg.name for leg in rig.plan.legs]
    for contact in motion.contacts:
        if contact.leg not in legs:
            raise MoveFileError(
                f'a contact is of a leg "{contact.leg}"', where=where, expected="one of " + ", ".join(legs)
            )
    values = np.tile(rig.defaults, (len(motion), 1))
    if motion.channels:
        values[:, [known.index(name) for name in motion.channels]] = motion.values
    return Motion(
        motion.name,
        motion.rate,
        motion.start_s,
        tuple(known),
        values,
        motion.contacts,
        motion.floor,
        motion.keys,
        motion.cyclic,
    )


def write_motion(motion: Motion, rig_file: str, path: Path | str) -> tuple[Path, ...]:
    """Write a motion: its text, and its frames beside it where it is dense. Each file whole or not at all.

    `rig_file` is the rig's path relative to the motion file. Returns the files written. Raises MoveFileError where
    the name does not end in .move.toml, OutputError where nothing can be written.
    """
    path = Path(path)
    if not path.name.endswith(MOVE_FILE):
        raise MoveFileError(f'"{path.name}" does not end in {MOVE_FILE}', expected=f"a name such as walk{MOVE_FILE}")
    dense = None
    written: list[Path] = []
    if motion.keys is None:
        # Named by its content, so that text and frames that belong together are found together even where a second
        # run is cut off between the two.
        content = _dense_bytes(motion)
        mark = hashlib.sha256(content).hexdigest()[:8]
        dense = f"{path.name.removesuffix(MOVE_FILE)}.{mark}.move.npz"
        write_whole(path.parent / dense, content)
        written.append(path.parent / dense)
    old = _dense_of(path)
    write_whole(path, _text(motion, rig_file, dense).encode("utf-8"))
    if old is not None and old != dense:
        (path.parent / old).unlink(missing_ok=True)
    return (path, *written)


def _dense_of(path: Path) -> str | None:
    """The frames that a motion file that is about to be replaced has beside it, by the name that this module gives."""
    try:
        name = tomllib.loads(path.read_text(encoding="utf-8")).get("dense")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None
    base = path.name.removesuffix(MOVE_FILE)
    own = isinstance(name, str) and name.startswith(f"{base}.") and name.endswith(".move.npz") and "/" not in name
    return name if own else None


def _dense_bytes(motion: Motion) -> bytes:
    buffer = io.BytesIO()
    arrays: dict[str, Any] = {"channels": np.array(motion.channels), "values": motion.values}
    if motion.floor.path is not None:
        arrays["floor"] = motion.floor.path
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def _read_dense(path: Path, frames: int, where: str) -> tuple[tuple[str, ...], FloatArray, FloatArray | None]:
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as arrays:
            names = tuple(str(name) for name in arrays["channels"])
            values = np.asarray(arrays["values"], dtype=np.float64)
            moved = np.asarray(arrays["floor"], dtype=np.float64) if "floor" in arrays else None
    except FileNotFoundError:
        raise MoveFileError(
            f'its frames "{path.name}" are missing',
            where=where,
            expected="the file beside it",
            cure="Put it back, or fit the clip again",
        ) from None
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        raise MoveFileError(
            f'its frames "{path.name}" cannot be read ({type(error).__name__})',
            where=where,
            cure="Fit the clip again",
        ) from None
    if values.shape != (frames, len(names)) or (moved is not None and moved.shape != (frames, 2)):
        raise MoveFileError(
            f'its frames "{path.name}" are {values.shape[0] if values.ndim else 0} of {len(names)} channels',
            where=where,
            expected=f"{frames} frames",
            cure="Fit the clip again",
        )
    if not np.isfinite(values).all() or (moved is not None and not np.isfinite(moved).all()):
        raise MoveFileError(
            f'its frames "{path.name}" hold a value that is not finite', where=where, cure="Fit the clip again"
        )
    return names, values, moved


def _keys_of(own: _Keys, frames: int, where: str) -> Keys:
    if not own.frames or not len(own.frames) == len(own.values) == len(own.slopes):
        raise MoveFileError(
            f"it has {len(own.frames)} frames, {len(own.values)} values and {len(own.slopes)} slopes",
            where=where,
            expected="as many of each, at least one",
        )
    numbers = np.array(own.frames, dtype=np.int64)
    if (np.diff(numbers) <= 0).any() or numbers[0] < 0 or numbers[-1] >= frames:
        raise MoveFileError(
            "its frames do not increase, or lie outside the motion", where=where, expected=f"0 to {frames - 1}"
        )
    return Keys(numbers, np.array(own.values, dtype=np.float64), np.array(own.slopes, dtype=np.float64))


def _check_contacts(move: _Move, where: str) -> None:
    for number, contact in enumerate(move.contact):
        if contact.end_s < contact.start_s:
            raise MoveFileError(
                f"contact {number} ends at {contact.end_s:g} s, before it starts at {contact.start_s:g} s",
                where=where,
                expected="start_s up to end_s",
            )


def _first_fault(error: ValidationError, where: str) -> MoveFileError:
    fault = error.errors()[0]
    place = ".".join(str(step) for step in fault["loc"])
    if fault["type"] == "extra_forbidden":
        key = str(fault["loc"][-1])
        known = [*_Move.model_fields, *_Floor.model_fields, *_Contact.model_fields, *_Keys.model_fields]
        near = nearest_name(key, known)
        return MoveFileError(
            f'"{place}" is unknown', where=where, expected=f'a key such as "{near}"' if near else "a known key"
        )
    if fault["type"] == "missing":
        return MoveFileError(f'"{place}" is missing', where=where, expected="a motion file with this key")
    return MoveFileError(f'"{place}" is {fault["input"]!r:.60}', where=where, expected=fault["msg"].lower())


def _text(motion: Motion, rig_file: str, dense: str | None) -> str:
    document = tomlkit.document()
    document.add(tomlkit.comment("A motion on a rig, by Instep. Contacts and keys are yours to edit."))
    document["version"] = 1
    document["rig"] = rig_file
    document["clip"] = motion.name
    document["rate"] = float(motion.rate)
    document["start_s"] = float(motion.start_s)
    document["frames"] = len(motion)
    document["cyclic"] = motion.cyclic
    if dense is not None:
        document["dense"] = dense
    floor = tomlkit.table()
    floor["kind"] = motion.floor.kind
    floor["height"] = float(motion.floor.height)
    floor["slope"] = [float(value) for value in motion.floor.slope]
    floor["velocity"] = [float(value) for value in motion.floor.velocity]
    document["floor"] = floor
    contacts = tomlkit.aot()
    for contact in motion.contacts:
        table = tomlkit.table()
        table["leg"], table["part"] = contact.leg, contact.part
        table["start_s"], table["end_s"] = float(contact.start_s), float(contact.end_s)
        table["confidence"], table["height"] = float(contact.confidence), float(contact.height)
        contacts.append(table)
    if motion.contacts:
        document["contact"] = contacts
    if motion.keys is not None:
        keys = tomlkit.table()
        for name, own in motion.keys.items():
            table = tomlkit.table()
            table["frames"] = [int(frame) for frame in own.frames]
            table["values"] = [float(f"{value:.12g}") for value in own.values]
            table["slopes"] = [float(f"{slope:.12g}") for slope in own.slopes]
            keys[name] = table
        document["keys"] = keys
    return tomlkit.dumps(document)
