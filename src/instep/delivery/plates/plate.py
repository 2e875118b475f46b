"""What every plate returns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from instep.delivery.board import Board
from instep.delivery.ink import InkDrawing

ROMAN: Final = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")


@dataclass(frozen=True, slots=True, eq=False)
class Plate:
    """A drawing on the sheet.

    Attributes
    ----------
    title, caption : printed over it.
    description : the same for who cannot see it.
    board, width, height, top : the drawing, its size in drawing units, and the height at which it begins.
    note : a quiet line under it.
    ink : the body as it was drawn, for the same plate at another size.
    """

    title: str
    caption: str
    description: str
    board: Board
    width: float
    height: float
    top: float = 0.0
    note: str = ""
    ink: InkDrawing | None = None

    @property
    def svg(self) -> str:
        """The drawing as SVG."""
        return self.board.svg(self.width, self.height, self.title, self.description, self.top)
