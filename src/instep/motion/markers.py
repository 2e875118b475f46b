"""Markers of a walker, from CSV and C3D files."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from scipy.interpolate import PchipInterpolator

from instep.character.arrays import BoolArray, FloatArray
from instep.motion.blend import runs
from instep.motion.faults import MotionError

LONGEST_GAP_S: Final = 0.25
"""Seconds. A marker lost for longer is an error: over a quarter of a second a foot strikes or leaves unseen."""

LARGEST: Final = 2**29
"""Bytes of a file of markers."""

NEEDED: Final = ("heel", "ankle", "knee")
FRONT: Final = ("mt1", "mt2", "mt5")
"""Heads of the metatarsals: at least one a side."""


@dataclass(frozen=True, slots=True, eq=False)
class Markers:
    """Markers over time.

    name : of the file. rate : frames a second. start_s : time of the first frame.
    places : by name, (N, 3) in the file's own axes and unit, gaps filled. filled : by name, how many frames were.
    """

    name: str
    rate: float
    start_s: float
    places: Mapping[str, FloatArray]
    filled: Mapping[str, int]

    def __len__(self) -> int:
        return len(next(iter(self.places.values()))) if self.places else 0

    def of(self, side: str, place: str) -> FloatArray | None:
        """(N, 3) a marker of a side ("left", "right"), where there is one."""
        return self.places.get(f"{side}.{place}")


def read_markers(path: Path | str) -> Markers:
    """Markers from a .c3d or .csv file.

    CSV: a column ``time_s`` and three columns ``NAME_x_m``, ``NAME_y_m``, ``NAME_z_m`` a marker; an empty cell is a
    lost marker. Names begin with the side (``l_``, ``r_``, ``left_``, ``right_``) and say the place: heel, ankle, knee,
    mt1, mt2, mt5 (heads of the metatarsals), gtr (greater trochanter), asis, psis, and ankle_medial, knee_medial.

    Raises MotionError with the place in the file; for markers that are missing, lost too long, or not finite.
    """
    path = Path(path)
    if not path.is_file():
        raise MotionError("there is no such file", where=str(path), expected="markers (.csv or .c3d)")
    if path.stat().st_size > LARGEST:
        raise MotionError("the file is too large", where=path.name, expected=f"at most {LARGEST >> 20} MB")
    times, raw = _read_c3d(path) if path.suffix.lower() == ".c3d" else _read_csv(path)
    back = np.flatnonzero(np.diff(times) <= 0.0)
    if len(back):
        row = int(back[0]) + 1
        raise MotionError(
            f"time_s is {times[row]:g} after {times[row - 1]:g}", where=f"{path.name}: frame {row}",
            expected="times that increase",
        )  # fmt: skip
    steps = np.diff(times)
    if len(steps) and np.ptp(steps) > 0.1 * steps.mean():
        # Uneven times: brought to an even rate, so that all that follows may count in frames.
        even = np.linspace(times[0], times[-1], round((times[-1] - times[0]) / float(np.median(steps))) + 1)
        raw = {name: _resampled(times, own, even) for name, own in raw.items()}
        times = even
    rate = (len(times) - 1) / (times[-1] - times[0]) if len(times) > 1 else 1.0
    places: dict[str, FloatArray] = {}
    filled: dict[str, int] = {}
    for label, own in raw.items():
        name = marker_name(label)
        if name is None or name in places:
            continue
        places[name], filled[name] = _fill(own, rate, f'{path.name}: marker "{label}"', optional=_optional(name))
        if not filled[name] + 1:
            del places[name], filled[name]
    _refuse_missing(places, path.name)
    return Markers(path.stem, float(rate), float(times[0]), places, filled)


def marker_name(label: str) -> str | None:
    """``left.heel`` for l_heel, L Heel, left-heel; None for a label without a side."""
    words = [word for word in re.split(r"[^a-z0-9]+", label.lower()) if word]
    sides = {"l": "left", "left": "left", "r": "right", "right": "right"}
    if len(words) < 2 or words[0] not in sides:
        return None
    return f"{sides[words[0]]}.{'_'.join(words[1:])}"


def _optional(name: str) -> bool:
    return name.partition(".")[2] not in (*NEEDED, *FRONT)


def _refuse_missing(places: Mapping[str, FloatArray], where: str) -> None:
    for side in ("left", "right"):
        missing = [place for place in NEEDED if f"{side}.{place}" not in places]
        if not any(f"{side}.{place}" in places for place in FRONT):
            missing.append("mt1, mt2 or mt5")
        if missing:
            raise MotionError(
                f"it has no marker {side} {missing[0]}",
                where=where,
                expected="heel, ankle, knee and a head of the metatarsals on each side",
                cure="Name the markers l_heel, r_heel and so on",
            )


def _fill(own: FloatArray, rate: float, where: str, *, optional: bool) -> tuple[FloatArray, int]:
    """A marker's path with its gaps filled by monotone cubics; held before its first and after its last sight.

    Of a marker that is not needed, one that is lost too long counts as not there: -1 frames filled.
    """
    lost: BoolArray = np.asarray(~np.isfinite(own).all(axis=1))
    if not lost.any():
        return own, 0
    frames = np.arange(len(own))
    longest = max((int(end - first) for first, end in runs(lost)), default=0)
    if lost.all() or longest > LONGEST_GAP_S * rate:
        if optional:
            return own, -1
        first = next((int(a) for a, b in runs(lost) if b - a == longest), 0)
        raise MotionError(
            f"it is lost for {longest / rate:.2f} s from frame {first}",
            where=where,
            expected=f"gaps of at most {LONGEST_GAP_S:g} s",
            cure="Fill the gap in the capture first",
        )
    seen = frames[~lost]
    filled = own.copy()
    if len(seen) > 1:
        inside = np.clip(frames[lost], seen[0], seen[-1])
        filled[lost] = PchipInterpolator(seen, own[~lost])(inside)
    else:
        filled[lost] = own[~lost][0]
    return filled, int(lost.sum())


def _resampled(times: FloatArray, own: FloatArray, even: FloatArray) -> FloatArray:
    """A path at even times; times beside a lost frame stay lost."""
    lost = ~np.isfinite(own).all(axis=1)
    if (~lost).sum() < 2:
        return np.full((len(even), 3), np.nan)
    made = PchipInterpolator(times[~lost], own[~lost], extrapolate=False)(even)
    made[np.interp(even, times, lost.astype(np.float64)) > 0.0] = np.nan
    return np.asarray(made, dtype=np.float64)


def _read_csv(path: Path) -> tuple[FloatArray, dict[str, FloatArray]]:
    where = path.name
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.reader(stream)
            header = [cell.strip() for cell in next(reader, [])]
            if header[:1] != ["time_s"]:
                raise MotionError(
                    f'its first column is "{header[0] if header else ""}"', where=where, expected='"time_s"'
                )
            rows = []
            for cells in reader:
                if not any(cell.strip() for cell in cells):
                    continue
                if len(cells) != len(header):
                    raise MotionError(
                        f"the row has {len(cells)} cells",
                        where=f"{where}: line {reader.line_num}",
                        expected=f"{len(header)}, as the header",
                    )
                rows.append([_number(cell, header[k], where, reader.line_num) for k, cell in enumerate(cells)])
    except (UnicodeDecodeError, csv.Error) as error:
        raise MotionError(f"it is no table ({error})", where=where, expected="comma-separated values") from None
    if not rows:
        raise MotionError("it has no frames", where=where, expected="a row for each frame")
    table = np.array(rows)
    index = {name: k for k, name in enumerate(header)}
    raw: dict[str, FloatArray] = {}
    for name in header:
        if name.endswith("_x_m"):
            label = name.removesuffix("_x_m")
            columns = [index.get(f"{label}_{axis}_m") for axis in "xyz"]
            if None in columns:
                raise MotionError(f'marker "{label}" lacks a column', where=where, expected=f"{label}_x_m, _y_m, _z_m")
            raw[label] = table[:, [k for k in columns if k is not None]]
    if not np.isfinite(table[:, 0]).all():
        raise MotionError("a frame has no time", where=where, expected="seconds in the column time_s")
    return table[:, 0], raw


def _number(cell: str, name: str, where: str, line: int) -> float:
    text = cell.strip()
    if text == "" or text.lower() == "nan":
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.inf
    if math.isinf(value):
        raise MotionError(f'{name} is "{text}"', where=f"{where}: line {line}", expected="a number, or nothing")
    return value


def _read_c3d(path: Path) -> tuple[FloatArray, dict[str, FloatArray]]:
    try:
        import ezc3d  # type: ignore[import-untyped,unused-ignore]
    except ImportError:
        raise MotionError(
            "reading C3D needs the package ezc3d", where=path.name, cure="Install it, or give the markers as CSV"
        ) from None
    try:
        file: Any = ezc3d.c3d(str(path))
        points = np.asarray(file["data"]["points"], dtype=np.float64)
        parameters = file["parameters"]["POINT"]
        labels = [str(label) for label in parameters["LABELS"]["value"]]
        rate = float(parameters["RATE"]["value"][0])
        residuals = np.asarray(file["data"]["meta_points"]["residuals"], dtype=np.float64)[0]
    except (OSError, RuntimeError, ValueError, KeyError, IndexError) as error:
        raise MotionError(f"it cannot be read as C3D ({error})", where=path.name, expected="a C3D file") from None
    if points.ndim != 3 or points.shape[2] == 0 or rate <= 0.0:
        raise MotionError("it has no frames of points", where=path.name, expected="points at a rate")
    places = np.moveaxis(points[:3], 0, -1)  # markers, frames, axes
    places = np.where((residuals < 0.0)[..., None], np.nan, places)
    raw: dict[str, FloatArray] = {}
    for label, own in zip(labels, places, strict=False):
        raw.setdefault(label, own)  # real files repeat labels: the first counts
    return np.arange(points.shape[2]) / rate, raw
