"""When a rig is evaluated natively and when over NumPy."""

from __future__ import annotations

from collections.abc import Callable

from instep.native import native_is_off
from instep.rig.native.evaluator import KEPT_FRAMES, NativeEvaluator, native_evaluator, worth_compiling
from instep.rig.program import Program


class NativeChoice:
    """Holds a program's native evaluator once there is one, and what was already looked for in vain."""

    def __init__(self, program: Callable[[], Program]) -> None:
        self._program = program
        self._evaluator: NativeEvaluator | None = None
        self._looked = self._compiled = False

    def evaluator(self, frames: int, native: bool | None) -> NativeEvaluator | None:
        """The evaluator for so many frames; None where NumPy shall do it.

        `native` False: never; True: compiled now if need be; None: what is loaded already is used for any number of
        frames, what is kept from before from KEPT_FRAMES on, and the compiler is called from COMPILE_FRAMES on.
        """
        if native is False or native_is_off():
            return None
        if self._evaluator is not None:
            return self._evaluator
        compiles = native is True or worth_compiling(frames)
        if self._compiled or (not compiles and (self._looked or frames < KEPT_FRAMES)):
            return None
        self._evaluator = native_evaluator(self._program(), may_compile=compiles)
        self._looked, self._compiled = True, compiles
        return self._evaluator
