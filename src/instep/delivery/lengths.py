"""Numbers as they are printed: with their unit, a true minus sign and fixed decimals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

METRES: Final = (0.2, 6.0)
"""Heights between which a character's unit is taken to be the metre, so that lengths can be given in mm."""


@dataclass(frozen=True, slots=True)
class Lengths:
    """How the lengths of one character are printed.

    Attributes
    ----------
    factor : from the file's unit to the printed one.
    unit : "mm", or "units" where the file's unit is not known.
    decimals : fixed for the whole page.
    """

    factor: float
    unit: str
    decimals: int

    def number(self, length: float) -> str:
        """A length of the file, without its unit: for tables that name the unit once."""
        return number(length * self.factor, self.decimals)

    def text(self, length: float, more: int = 0) -> str:
        """A length of the file with its unit, and with `more` decimals."""
        return f"{number(length * self.factor, self.decimals + more)} {self.unit}"


def lengths_for(height: float) -> Lengths:
    """Millimetres for a character of 0.2 to 6 units, otherwise the file's own unit with three figures."""
    if METRES[0] <= height <= METRES[1]:
        return Lengths(1000.0, "mm", 0)
    return Lengths(1.0, "units", int(np.clip(2 - np.floor(np.log10(max(height, 1e-12))), 0, 9)))


def number(value: float, decimals: int) -> str:
    """Fixed decimals, a true minus sign, and no minus before zero."""
    text = f"{abs(value):,.{decimals}f}"
    return f"−{text}" if value < 0 and float(text.replace(",", "")) != 0.0 else text


def shortest(value: float, decimals: int = 2) -> str:
    """As `number`, without decimals that are zero: for the ends of ranges."""
    text = number(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text
