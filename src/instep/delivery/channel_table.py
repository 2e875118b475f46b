"""Channel values over time from a table of comma-separated text, as a spreadsheet writes it."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray
from instep.errors import ChannelError, FormatError
from instep.rig import Rig
from instep.rig.channels import check_range, find_channel

TIME: Final = "time_s"
"""Name of the column that holds times; it stands first where there is one."""

LARGEST: Final = 2**28
"""Bytes. A table of an hour of 100 channels at 60 frames a second has about 200 MB."""

MOST_FRAMES: Final = 1_000_000
"""Frames of one clip: more than four hours at 60 a second. A slip in a time must not fill the memory."""


def read_channel_table(path: Path | str, rig: Rig, rate: float) -> tuple[FloatArray, FloatArray]:
    """Times (N,) in seconds and channel values (N, C) at `rate` frames a second, from a table of keys.

    The header row names channels; channels that it does not name stay at rest. Each further row is a key. With a
    first column ``time_s`` the keys are joined by straight lines and sampled from the first time on, until the last
    key is reached; without it each row is one frame.

    Raises
    ------
    FormatError : no such file, no table, a cell that is no number, times that do not increase.
    ChannelError : an unknown channel, one that is named twice, or a value out of range, with the line.
    """
    path = Path(path)
    lines = _rows(path)
    _, header = lines[0]
    names = [cell.strip() for cell in header]
    timed = names[:1] == [TIME]
    columns = [_column(path, rig, name, names) for name in names[timed:]]
    keys = np.array([_numbers(path, number, cells, names) for number, cells in lines[1:]])
    for row, (number, _) in enumerate(lines[1:]):
        for column, value in zip(columns, keys[row, timed:], strict=True):
            try:
                check_range(rig.channels[column], float(value))
            except ChannelError as error:
                place = f"{path.name}: line {number}"
                raise ChannelError(error.seen, where=place, expected=error.expected, cure=error.cure) from None
    if timed:
        times = _sample_times(path, [number for number, _ in lines[1:]], keys[:, 0], rate)
        sampled = np.array([np.interp(times, keys[:, 0], key) for key in keys[:, 1:].T]).reshape(-1, len(times)).T
    else:
        times, sampled = np.arange(len(keys)) / rate, keys
    values = np.tile(rig.defaults, (len(times), 1))
    values[:, columns] = sampled
    return times, values


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    """The table's rows with their line numbers, empty ones left out: the header and at least one more."""
    where = str(path)
    try:
        if path.is_dir():
            raise FormatError("this is a folder", where=where, expected="a table of comma-separated values")
        if path.stat().st_size > LARGEST:
            raise FormatError("the table is too large", where=where, expected="at most 256 MB")
        with path.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.reader(stream, strict=True)
            rows = [(reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells)]
    except FileNotFoundError:
        raise FormatError("there is no such file", where=where, cure="Check the name and the folder") from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise FormatError(
            f"this is no table of comma-separated values ({error})", where=where, expected="text in UTF-8"
        ) from None
    except OSError as error:
        raise FormatError(f"it cannot be read ({error.strerror})", where=where) from error
    if len(rows) < 2:
        raise FormatError(
            f"the table has {'a header and no row of values' if rows else 'no rows'}",
            where=path.name,
            expected="a header with channel names, then a row for each key",
        )
    return rows


def _column(path: Path, rig: Rig, name: str, names: list[str]) -> int:
    place = f"{path.name}: header"
    if names.count(name) > 1:
        raise ChannelError(f'"{name}" heads two columns', where=place, expected="each channel once")
    if name == TIME:
        raise FormatError(f'"{TIME}" is column {names.index(name) + 1}', where=place, expected="it first")
    try:
        return find_channel(rig.channels, name)
    except ChannelError as error:
        raise ChannelError(error.seen, where=place, expected=error.expected, cure=error.cure) from None


def _numbers(path: Path, line: int, cells: list[str], names: list[str]) -> list[float]:
    if len(cells) != len(names):
        raise FormatError(
            f"the row has {len(cells)} cells",
            where=f"{path.name}: line {line}",
            expected=f"{len(names)}, as the header",
        )
    values: list[float] = []
    for name, cell in zip(names, cells, strict=True):
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise FormatError(
                f'{name} is "{cell.strip()}"', where=f"{path.name}: line {line}", expected="a finite number"
            )
        values.append(value)
    return values


def _sample_times(path: Path, lines: list[int], times: FloatArray, rate: float) -> FloatArray:
    """From the first key on at `rate`, to the first frame at which the last key is reached."""
    back = np.flatnonzero(np.diff(times) <= 0.0)
    if len(back):
        row = int(back[0]) + 1
        raise FormatError(
            f"{TIME} is {times[row]:g} after {times[row - 1]:g}",
            where=f"{path.name}: line {lines[row]}",
            expected="times that increase from row to row",
        )
    # The margin keeps a last key that falls on a frame from adding one more for its rounding.
    frames = math.ceil((times[-1] - times[0]) * rate - 1e-6) + 1
    if frames > MOST_FRAMES:
        raise FormatError(
            f"from {times[0]:g} to {times[-1]:g} s there are {frames:,} frames at {rate:g} a second",
            where=path.name,
            expected=f"at most {MOST_FRAMES:,}",
            cure="Check the times, which are in seconds, or choose a lower rate",
        )
    return np.asarray(times[0] + np.arange(frames) / rate)
