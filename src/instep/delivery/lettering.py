"""Where words end: type sizes and widths, so that labels can be placed without a browser."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from instep.delivery import advances


@dataclass(frozen=True, slots=True)
class Type:
    """A style of lettering: its class in the style sheet, its size in drawing units, its widths."""

    name: str
    size: float
    widths: tuple[int, ...]


NAME: Final = Type("name", 15.5, advances.SERIF)
TEXT: Final = Type("text", 13.5, advances.SANS)
NOTE: Final = Type("note", 12.0, advances.SANS)
VALUE: Final = Type("value", 14.0, advances.SANS_BOLD)
LETTER: Final = Type("letter", 24.0, advances.SERIF)

RISE: Final = 0.74
"""Share of the type size by which capitals and figures rise over the base line."""

FALL: Final = 0.22
"""Share of the type size by which letters fall below it."""


def text_width(text: str, style: Type) -> float:
    """Width of a line of text in drawing units."""
    widest = max(style.widths)
    total = sum(style.widths[at] if (at := advances.CHARACTERS.find(c)) >= 0 else widest for c in text)
    return total * style.size / 1000.0
