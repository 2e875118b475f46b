"""What solving one number of one leg came to."""

from __future__ import annotations

from dataclasses import dataclass

Value = float | tuple[float, float]


@dataclass(frozen=True, slots=True)
class Solved:
    """One number of one leg.

    Attributes
    ----------
    leg, name : as in the rig file's table ``tuned``.
    value : what was solved; None where the number is left as it is, and `note` says why.
    before, after : the figure that solving is about, with the number as it was and as it is now.
    figure : what that figure is: "deepest sinking over the roll".
    unit : "of foot length", "deg" or "" for a plain cost.
    note : a sentence without its full stop, where something is to be said.
    """

    leg: str
    name: str
    value: Value | None
    before: float
    after: float
    figure: str
    unit: str
    note: str = ""
