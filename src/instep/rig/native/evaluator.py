"""A program's native evaluator: compiled once, kept in the user's cache, used over blocks of frames."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.native import load_library, native_is_wished
from instep.native.threads import share_frames
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.native.source import ENTRY, write_native_source
from instep.rig.program import Program

COMPILE_FRAMES: Final = 50_000
"""Frames from which on a library is compiled when none is kept: some 3 s, once a rig, against 0.2 s of NumPy for each
50,000 frames. Whoever asks for so many asks again. Fewer never wait for a compiler."""

KEPT_FRAMES: Final = 256
"""Frames from which on a kept library is looked for: writing the source and its hash takes 0.1 s, once a rig."""

THREAD_FRAMES: Final = 16_384
"""Frames worth a thread of their own: 3 ms of work against 0.4 ms to start and end one."""

ACCEPT: Final = 1e-12
"""Largest difference to NumPy, relative to the size of each output, at which a library just compiled is kept."""


@dataclass(frozen=True, slots=True)
class NativeEvaluator:
    """Evaluates a program over frames in arrays of any layout."""

    library: ctypes.CDLL
    inputs: int
    outputs: int

    def into(self, inputs: Rows, targets: Rows, frames: int, *, threads: int | None = None) -> None:
        """Fill the rows `targets` from the rows `inputs`."""
        assert len(inputs.places) == self.inputs
        assert len(targets.places) == self.outputs
        entry = getattr(self.library, ENTRY)
        tables = [ctypes.c_void_p(each.ctypes.data) for each in (*inputs.arrays, *targets.arrays)]

        def work(first: int, end: int) -> None:
            entry(ctypes.c_ssize_t(first), ctypes.c_ssize_t(end), *tables)

        share_frames(work, frames, least=THREAD_FRAMES, threads=threads)

    def __call__(self, values: FloatArray, *, threads: int | None = None) -> FloatArray:
        """(O, N) outputs of (C, N) inputs."""
        result = np.empty((self.outputs, values.shape[1]))
        self.into(Rows.of(values), Rows.of(result), values.shape[1], threads=threads)
        return result


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """(K,) where rows of double-precision numbers begin in memory, and (K,) how far apart their numbers stand, in
    numbers. `held` are the arrays that they lie in, kept alive."""

    places: IntArray
    steps: IntArray
    held: tuple[FloatArray, ...]

    @staticmethod
    def of(array: FloatArray) -> Rows:
        """The rows of a (K, N) array of any layout."""
        assert array.dtype == np.float64
        row, number = array.strides
        places = array.ctypes.data + np.arange(len(array), dtype=np.int64) * row
        return Rows(places, np.full(len(array), number // array.itemsize, dtype=np.int64), (array,))

    @property
    def arrays(self) -> tuple[IntArray, IntArray]:
        """As C takes them."""
        return np.ascontiguousarray(self.places), np.ascontiguousarray(self.steps)


def joint_rows(scale: FloatArray, rotation: FloatArray, position: FloatArray) -> Rows:
    """The rows of the joint program's outputs in arrays (N,), (N, J, 4) and (N, J, 3)."""
    frames, joints = rotation.shape[:2]
    first = Rows.of(scale[None])
    turns, places = (Rows.of(each.reshape(frames, -1).T) for each in (rotation, position))

    def merged(one: IntArray, other: IntArray, start: IntArray) -> IntArray:
        table = np.concatenate([one.reshape(joints, 4), other.reshape(joints, 3)], axis=1)
        return np.concatenate([start, table.ravel()])

    return Rows(
        merged(turns.places, places.places, first.places),
        merged(turns.steps, places.steps, first.steps),
        (scale, rotation, position),
    )


def native_evaluator(program: Program, *, may_compile: bool) -> NativeEvaluator | None:
    """The native evaluator of a program; None where there is none to be had (see `load_library`)."""
    source = write_native_source(program)

    def accept(library: ctypes.CDLL) -> bool:
        return _agrees(NativeEvaluator(library, len(program.inputs), len(program.outputs)), program)

    library = load_library(source, accept, may_compile=may_compile)
    return None if library is None else NativeEvaluator(library, len(program.inputs), len(program.outputs))


def worth_compiling(frames: int) -> bool:
    """Whether so many frames may wait for the compiler."""
    return frames >= COMPILE_FRAMES or native_is_wished()


def _agrees(evaluator: NativeEvaluator, program: Program) -> bool:
    """Whether a library's results on 61 random inputs, NaN among them, are NumPy's."""
    inputs = np.random.default_rng(1).uniform(-1.0, 1.0, (len(program.inputs), 61))
    inputs[:, 0] = 0.0
    inputs[:, 1:20] *= 60.0
    with np.errstate(all="ignore"):
        wanted = compile_numpy(program)(inputs)
        found = evaluator(inputs, threads=1)
        size = np.maximum(np.abs(wanted), 1.0)
        difference = np.abs(found - wanted) / size
    same = (difference <= ACCEPT) | (np.isnan(found) & np.isnan(wanted)) | (found == wanted)
    # Random inputs may stand at a place where a program turns over within its rounding; not many of them do.
    return bool(same.all(axis=0).mean() > 0.9)
