"""The nearest known name to one that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def nearest_name(name: str, known: Iterable[str]) -> str | None:
    """The known name most like `name`, or None where none is alike."""
    found = get_close_matches(name, sorted(known), n=1, cutoff=0.5)
    return found[0] if found else None
