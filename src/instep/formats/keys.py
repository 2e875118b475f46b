"""Tracks of keys into a file's bytes. Source: glTF 2.0, 3.11."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from instep.character import Track
from instep.character.arrays import FloatArray
from instep.errors import OutputError
from instep.formats.container import Json
from instep.formats.edit import OWN, Edit


def add_animation(edit: Edit, node_of: Mapping[str, int], name: str, tracks: Sequence[Track]) -> Json:
    """Append the keys' bytes to a file and return the animation's entry, which is not yet in its list.

    `node_of` gives the node of each joint. Times are written in single precision with their bounds, rotations
    as unit quaternions. Raises OutputError where the keys' times make no sense.
    """
    content = bytearray()
    inputs: dict[bytes, tuple[int, FloatArray]] = {}
    outputs: list[tuple[int, FloatArray, Track]] = []
    for track in tracks:
        times = np.asarray(track.times).astype("<f4")
        _check_times(times, track, name, edit.target)
        if times.tobytes() not in inputs:
            inputs[times.tobytes()] = (len(content), times.astype(np.float64))
            content += times.tobytes()
        values = track.values
        if track.path == "rotation":
            if track.interpolation != "CUBICSPLINE":
                values = values / np.linalg.norm(values, axis=-1, keepdims=True)
            values = values[..., [1, 2, 3, 0]]
        flat = values.reshape(-1, values.shape[-1])
        outputs.append((len(content), flat, track))
        content += flat.astype("<f4").tobytes()
    view = edit.add_view(bytes(content), name=OWN)
    readers = {
        key: edit.add_accessor(view, times, "SCALAR", offset=at, bounds=True) for key, (at, times) in inputs.items()
    }
    samplers, channels = [], []
    for at, flat, track in outputs:
        kind = "VEC4" if track.path == "rotation" else "VEC3"
        samplers.append(
            {
                "input": readers[np.asarray(track.times).astype("<f4").tobytes()],
                "interpolation": track.interpolation,
                "output": edit.add_accessor(view, flat, kind, offset=at, bounds=False),
            }
        )
        node = node_of[track.joint]
        edit.matrix_to_parts(node)
        channels.append({"sampler": len(samplers) - 1, "target": {"node": node, "path": track.path}})
    return {"name": name, "samplers": samplers, "channels": channels}


def _check_times(times: FloatArray, track: Track, name: str, target: Path) -> None:
    if len(times) == 0 or len(times) * (3 if track.interpolation == "CUBICSPLINE" else 1) != track.values.size // (
        track.values.shape[-1] or 1
    ):
        seen = f"{len(times)} times and {len(track.values)} values"
        expected = "a value for each time"
    elif not np.isfinite(times).all() or times[0] < 0:
        seen, expected = f"a key at {times.min():g} s", "times from 0 on"
    elif np.any(np.diff(times) <= 0):
        key = int(np.flatnonzero(np.diff(times) <= 0)[0])
        seen = f"keys at {float(track.times[key])!r} s and {float(track.times[key + 1])!r} s"
        expected = "times that increase in single precision"
    else:
        return
    raise OutputError(
        f'clip "{name}", joint "{track.joint}", {track.path}: {seen}',
        where=str(target),
        expected=expected,
        cure="Bake it at another rate",
    )
