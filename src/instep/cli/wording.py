"""Numbers and names as people read them in a terminal, and the tables that they stand in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from instep.delivery.lengths import Lengths, lengths_for, number, shortest

if TYPE_CHECKING:
    from rich.padding import Padding
    from rich.text import Text

    from instep.character import Character
    from instep.character.arrays import FloatArray
    from instep.landmarks import Measurement
    from instep.rig import Channel


def lengths_of(character: Character, measurement: Measurement | None = None) -> Lengths:
    """How the lengths of a character are printed: in mm where its file's unit is the metre."""
    points = character.skeleton.positions if character.mesh is None else character.mesh.positions
    if measurement is not None:
        return lengths_for(float(np.ptp(points @ measurement.R_world_body[:, 1])))
    return lengths_for(float(np.ptp(points, axis=0).max()))


def point(position: FloatArray, lengths: Lengths) -> str:
    """A place in the file's own unit, as --set and the rig file take it: ``0.0950, 0.0000, -0.0600``."""
    decimals = 4 if lengths.unit == "mm" else lengths.decimals
    return ", ".join(f"{value + 0.0:.{decimals}f}" for value in np.round(position, decimals))


def span(channel: Channel, lengths: Lengths) -> str:
    """A channel's range with its unit: ``−40° to 90°``."""
    return f"{amount(channel, channel.low, lengths)} to {amount(channel, channel.high, lengths)}"


def amount(channel: Channel, value: float, lengths: Lengths) -> str:
    """A channel's value with its unit."""
    if channel.unit == "length":
        return lengths.text(value)
    return shortest(value) + ("°" if channel.unit == "deg" else "")


def seconds(value: float) -> str:
    """A time with its unit."""
    return f"{number(value, 2)} s"


def listed(words: Iterable[str]) -> str:
    """``a, b and c``."""
    words = list(words)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else "none"


def heading(text: str) -> Text:
    """A line that heads what follows."""
    from rich.text import Text

    return Text(f"\n{text}", style="bold")


def line(text: str, indent: int = 2) -> Padding:
    """A line of text, indented, folded where the terminal ends."""
    from rich.padding import Padding
    from rich.text import Text

    return Padding(Text(text), (0, 0, 0, indent))


def table(
    heads: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[int] = (), indent: int = 2
) -> Padding:
    """Rows under heads (none are shown where all are empty); columns numbered in `right` are set to the right."""
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    made = Table(box=None, show_header=any(heads), pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for column, head in enumerate(heads):
        made.add_column(Text(head), justify="right" if column in right else "left", overflow="fold")
    for row in rows:
        made.add_row(*(Text(cell) for cell in row))
    return Padding(made, (0, 0, 0, indent))
