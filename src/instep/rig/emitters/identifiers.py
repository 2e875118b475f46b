"""Names in code: a person's names made into identifiers that every language accepts, no two alike."""

from __future__ import annotations

import re
from collections.abc import Iterable


def identifier(name: str) -> str:
    """Letters, digits and underscores; it begins with a letter. ``"left.foot roll" -> "left_foot_roll"``."""
    plain = re.sub(r"[^0-9A-Za-z]+", "_", name).strip("_")
    return plain if plain[:1].isalpha() else f"n{plain}"


def constants(prefix: str, names: Iterable[str]) -> list[str]:
    """Upper-case identifiers with a prefix, in order; names that would fall together get a number."""
    found: list[str] = []
    taken: set[str] = set()
    for name in names:
        stem = f"{prefix}_{identifier(name)}".upper()
        each, number = stem, 2
        while each in taken:
            each, number = f"{stem}_{number}", number + 1
        taken.add(each)
        found.append(each)
    return found


def text_literal(text: str) -> str:
    """A string literal in ASCII for C and C++: other signs as the octal bytes of their UTF-8 form."""
    signs = []
    for byte in text.encode("utf-8"):
        plain = 32 <= byte < 127 and byte not in b'"\\?'
        signs.append(chr(byte) if plain else f"\\{byte:03o}")
    return '"' + "".join(signs) + '"'
