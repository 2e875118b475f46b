"""Arrays out of buffers. Source: glTF 2.0, 3.6.2 (accessors, sparse accessors, normalised integers)."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from instep.character.arrays import FloatArray, IntArray
from instep.formats.container import COMPRESSIONS, LARGEST, Bytes, Document, Json

COMPONENT: Final[dict[int, np.dtype[Any]]] = {
    5120: np.dtype("<i1"),
    5121: np.dtype("<u1"),
    5122: np.dtype("<i2"),
    5123: np.dtype("<u2"),
    5125: np.dtype("<u4"),
    5126: np.dtype("<f4"),
}
WIDTH: Final = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}


def read_floats(document: Document, index: object, kind: str, place: str) -> FloatArray:
    """(n,) for SCALAR, otherwise (n, width) numbers; normalised integers become fractions.

    `kind` is the type that is needed; `place` names what refers to the accessor. Matrices are by column.
    Raises FormatError where the accessor is out of bounds, has another type, or holds NaN or infinity.
    """
    raw, normalised = _read(document, index, kind, place)
    with np.errstate(invalid="ignore"):  # a signalling NaN is found just below, and told with its place
        values = raw.astype(np.float64)
    if normalised and raw.dtype.kind in "iu":
        values /= np.iinfo(raw.dtype).max
        if raw.dtype.kind == "i":
            np.maximum(values, -1.0, out=values)  # glTF 2.0, 3.6.2.2: -128 and -127 are both -1
    if not np.isfinite(values).all():
        row = int(np.flatnonzero(~np.isfinite(values.reshape(len(values), -1)).all(axis=1))[0])
        document.fail(
            f"accessor {index}",
            f"row {row} holds a value that is not a finite number ({place})",
            expected="finite numbers",
            cure="Repair the model and export it again",
        )
    return values


def read_integers(document: Document, index: object, kind: str, place: str) -> IntArray:
    """As `read_floats`, for accessors of unsigned integers that are not normalised."""
    raw, normalised = _read(document, index, kind, place)
    if raw.dtype.kind != "u" or normalised:
        what = "normalised" if raw.dtype.kind == "u" else {"i": "signed", "f": "floating-point"}[raw.dtype.kind]
        document.fail(f"accessor {index}", f"it holds {what} numbers ({place})", expected="unsigned integers")
    return raw.astype(np.int64)


def _read(document: Document, index: object, kind: str, place: str) -> tuple[NDArray[Any], bool]:
    entry = document.item("accessors", index, place)
    here = f"accessor {index}"
    if entry.get("type") != kind:
        document.fail(here, f"its type is {entry.get('type')} ({place})", expected=kind)
    dtype = COMPONENT.get(document.whole(entry, "componentType", here))
    if dtype is None:
        known = ", ".join(map(str, COMPONENT))
        document.fail(here, f"its component type is {entry['componentType']}", expected=f"one of {known}")
    width, count = WIDTH[kind], document.whole(entry, "count", here)
    if count * width * 8 > LARGEST:
        document.fail(here, f"it declares {count} elements", expected="an array of at most 2 GB")
    if "bufferView" in entry:
        offset = document.whole(entry, "byteOffset", here, 0)
        values = _view(document, entry["bufferView"], offset, count, width, dtype, here)
    else:
        if "sparse" not in entry and COMPRESSIONS & set(
            map(str, document.members(document.json, "extensionsUsed", "extensionsUsed"))
        ):
            document.fail(
                here,
                f"it has no bytes of its own, as in a compressed mesh ({place})",
                expected="meshes that are not compressed",
                cure="Export again without compression",
            )
        values = np.zeros((count, width), dtype)
    if "sparse" in entry:
        values = _replaced(document, entry["sparse"], values, dtype, here)
    shaped = values[:, 0] if kind == "SCALAR" else values
    return shaped, entry.get("normalized") is True


def _view(
    document: Document, index: object, offset: int, count: int, width: int, dtype: np.dtype[Any], place: str
) -> NDArray[Any]:
    """(count, width) elements of a buffer view, from `offset` in it on."""
    view = document.item("bufferViews", index, place)
    here = f"buffer view {index}"
    data = document.buffer(view.get("buffer"), here)
    start, length = document.whole(view, "byteOffset", here, 0), document.whole(view, "byteLength", here)
    if start + length > len(data):
        document.fail(
            here,
            f"it ends at byte {start + length} of buffer {view['buffer']}",
            expected=f"at most {len(data)}",
            cure="The file is damaged: export it again",
        )
    size = width * dtype.itemsize
    stride = document.whole(view, "byteStride", here, size) or size
    end = offset + (stride * (count - 1) + size if count else 0)
    if end > length or stride < size:
        document.fail(
            place,
            f"it ends at byte {end} of buffer view {index}"
            if end > length
            else f"its elements are {stride} bytes apart in buffer view {index}",
            expected=f"at most {length}" if end > length else f"at least {size}",
            cure="The file is damaged: export it again",
        )
    window: Bytes = data[start + offset : start + end]
    rows = np.lib.stride_tricks.as_strided(window, (count, size), (stride, 1), writeable=False)
    return np.ascontiguousarray(rows).view(dtype).reshape(count, width)


def _replaced(
    document: Document, sparse: object, values: NDArray[Any], dtype: np.dtype[Any], here: str
) -> NDArray[Any]:
    """`values` with the rows of a sparse accessor put in their places."""
    place = f"{here}: sparse"
    parts = [sparse.get(key) for key in ("indices", "values")] if isinstance(sparse, dict) else [None]
    if not isinstance(sparse, dict) or not all(isinstance(part, dict) for part in parts):
        document.fail(place, "it lacks its indices or its values", expected='"count", "indices", "values"')
    places: Json = sparse["indices"]
    count = document.whole(sparse, "count", place)
    kind = COMPONENT.get(document.whole(places, "componentType", place))
    if kind is None or kind.kind != "u":
        document.fail(place, f"its indices are of type {places['componentType']}", expected="5121, 5123 or 5125")
    if count > len(values):
        document.fail(place, f"it replaces {count} elements", expected=f"at most {len(values)}")
    offset = document.whole(places, "byteOffset", place, 0)
    rows = _view(document, places.get("bufferView"), offset, count, 1, kind, place)[:, 0].astype(np.int64)
    if count and rows.max() >= len(values):
        document.fail(place, f"it replaces element {rows.max()}", expected=f"0 to {len(values) - 1}")
    new: Json = sparse["values"]
    offset = document.whole(new, "byteOffset", place, 0)
    changed = values.copy()
    changed[rows] = _view(document, new.get("bufferView"), offset, count, values.shape[1], dtype, place)
    return changed
