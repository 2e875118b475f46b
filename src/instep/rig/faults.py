"""What is wrong in a rig file, in a person's words: table, key and line, what was expected, the nearest known key."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from instep.errors import RigFileError
from instep.rig.description import ByHand, HandTunedLeg, LegOptions, RigDescription, TunedLeg
from instep.rig.nearest import nearest_name

NAMED: Final = frozenset({("by_hand", "landmarks"), ("by_hand", "ranges"), ("by_hand", "pinned"), ("measured",)})
"""Tables whose keys are dotted names and whose values are none."""
BY_LEG: Final = frozenset({("options",), ("tuned",), ("reached",), ("by_hand", "tuned")})
"""Tables of tables, one for each leg; a leg's name may have dots."""

LISTS: Final[Mapping[tuple[str, ...], str]] = {
    ("by_hand", "landmarks"): "3 numbers: [x, y, z]",
    ("measured",): "3 numbers: [x, y, z]",
    ("by_hand", "ranges"): "2 numbers: [low, high]",
    ("options",): "a list of names",
    ("tuned",): "2 numbers: [outward, up]",
    ("reached",): "2 numbers: [before, after]",
}
EXPECTED: Final[Mapping[str, str]] = {
    "bool_type": "true or false",
    "dict_type": "a table",
    "finite_number": "a finite number",
    "float_type": "a number",
    "model_type": "a table",
    "string_type": "text in quotes",
}
"""By the kind of error that the validation tells apart."""


def flatten(data: dict[str, Any], name: str, at: tuple[str, ...] = ()) -> dict[str, Any]:
    """The data of a rig file with dotted names as single keys, lists as tuples.

    Raises RigFileError where a name stands twice, once with and once without quotes.
    """
    result: dict[str, Any] = {}
    for key, value in data.items():
        if at in NAMED or at in BY_LEG:
            entries = _dotted(key, value, whole=at in NAMED)
        else:
            entries = {key: flatten(value, name, (*at, key)) if isinstance(value, dict) else as_tuples(value)}
        for inner, entry in entries.items():
            if inner in result:
                raise RigFileError(
                    f'"{inner}" stands there twice, with quotes and without',
                    where=place_of(name, at),
                    expected="each name once",
                    cure="Delete one of the two",
                )
            result[inner] = entry
    return result


def _dotted(key: str, value: Any, *, whole: bool) -> dict[str, Any]:
    """Nested tables under dotted keys: down to what is no table, or to the last table."""
    if not isinstance(value, dict):
        return {key: as_tuples(value)}
    if not value and whole:
        return {key: value}
    if not whole and not (value and all(isinstance(entry, dict) for entry in value.values())):
        return {key: {inner: as_tuples(entry) for inner, entry in value.items()}}
    result: dict[str, Any] = {}
    for inner, entry in value.items():
        result.update(_dotted(f"{key}.{inner}", entry, whole=whole))
    return result


def as_tuples(value: Any) -> Any:
    """Lists as tuples, within lists and tables as well."""
    if isinstance(value, dict):
        return {key: as_tuples(entry) for key, entry in value.items()}
    return tuple(as_tuples(entry) for entry in value) if isinstance(value, list) else value


def place_of(name: str, keys: tuple[str | int, ...], line: int | None = None) -> str:
    """The file, the dotted key as TOML writes it, and the line where it is known."""
    dotted = ".".join(
        key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)
        for key in keys
        if isinstance(key, str)
    )
    place = f"{name}: {dotted}" if dotted else name
    return place if line is None else f"{place} (line {line})"


def line_of(text: str, keys: tuple[str | int, ...]) -> int | None:
    """The line on which a key of valid TOML begins, from 1; None where it is not there.

    The file is read again and again with one more line each time, until it says something of the key: right for
    every way of writing TOML, and quick enough for a file that has one error.
    """
    lines = text.splitlines(keepends=True)
    last = 0
    for count in range(1, len(lines) + 1):
        try:
            data = flatten(tomllib.loads("".join(lines[:count])), "")
        except (tomllib.TOMLDecodeError, RigFileError):
            continue  # in the middle of a value that takes several lines
        if _holds(data, keys):
            return last + 1
        last = count
    return None


def _holds(data: Any, keys: tuple[str | int, ...]) -> bool:
    for key in keys:
        if not isinstance(key, str):
            break
        if not isinstance(data, dict) or key not in data:
            return False
        data = data[key]
    return True


def first_fault(error: ValidationError, data: dict[str, Any], text: str, name: str) -> RigFileError:
    """The error of the rig file that comes first in it, as a RigFileError."""
    faults = []
    for number, detail in enumerate(error.errors(include_url=False)):
        keys = _keys(detail)
        line = line_of(text, keys)
        faults.append((line is None, line or 0, number, keys, detail))
    _, line, _, keys, detail = min(faults, key=lambda fault: fault[:3])
    seen, expected, cure = _explain(detail, keys, data)
    more = len({fault[3] for fault in faults}) - 1
    if more:
        cure += f"; {more} more {'place is' if more == 1 else 'places are'} wrong after it"
    return RigFileError(seen, where=place_of(name, keys, line or None), expected=expected, cure=cure)


def _keys(detail: ErrorDetails) -> tuple[str | int, ...]:
    """The error's place without numbers in lists and without the validation's own marks."""
    keys: list[str | int] = []
    for key in detail["loc"]:
        if not isinstance(key, str) or key == "[key]":
            break
        keys.append(key)
    return tuple(keys)


def _explain(detail: ErrorDetails, keys: tuple[str | int, ...], data: dict[str, Any]) -> tuple[str, str, str]:
    """What was seen, what was expected, what to do."""
    kind = detail["type"]
    key = str(keys[-1]) if keys else ""
    inside_list = len(detail["loc"]) > len(keys)
    table = keys[:2] if keys[:1] == ("by_hand",) else keys[:1]
    if kind == "extra_forbidden":
        near = nearest_name(key, _known(keys[:-1]))
        known = ", ".join(f'"{name}"' for name in _known(keys[:-1]))
        return (
            f'there is no key "{key}"',
            f'one such as "{near}"' if near else f"one of {known}",
            "Correct the name, or delete the line",
        )
    if kind == "missing" and not inside_list:
        return f'the key "{key}" is missing', 'the path of the model: character = "NAME.glb"', "Add it"
    if kind == "value_error":
        context = detail.get("ctx", {})
        return str(context.get("error", detail["msg"])), "", "Correct one of the two"
    shown = _shown(data, keys)
    if inside_list or kind in ("tuple_type", "too_long"):
        expected = LISTS.get(tuple(str(part) for part in table), "a list")
    else:
        expected = _bounds(detail) or EXPECTED.get(kind, "")
    return f"{key} is {shown}", expected or detail["msg"], "Correct the value"


def _bounds(detail: ErrorDetails) -> str:
    context = detail.get("ctx", {})
    if "ge" in context:
        return f"{context['ge']:g} or more"
    if "le" in context:
        return f"{context['le']:g} or less"
    if detail["type"] == "literal_error":
        return str(context["expected"]).replace("'", '"')
    return ""


def _shown(data: Any, keys: tuple[str | int, ...]) -> str:
    """The value at a key as JSON would write it, short enough for a message."""
    for key in keys:
        data = data[key]
    if isinstance(data, dict):
        return "a table"
    text = json.dumps(data, ensure_ascii=False, default=str).replace("Infinity", "inf").replace("NaN", "nan")
    return text if len(text) <= 60 else text[:57] + "..."


def _known(table: tuple[str | int, ...]) -> list[str]:
    """The keys that a table may have."""
    if not table:
        return list(RigDescription.model_fields)
    if table == ("by_hand",):
        return list(ByHand.model_fields)
    if table[0] == "by_hand":
        return list(HandTunedLeg.model_fields)
    return list(LegOptions.model_fields if table[0] == "options" else TunedLeg.model_fields)
