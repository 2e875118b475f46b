"""From C source to a loaded library."""

from __future__ import annotations

import ctypes
import threading
import warnings
from collections.abc import Callable
from pathlib import Path

from instep.native.cache import cache_folder, find_kept, keep, library_key
from instep.native.compiler import CompilationError, Compiler, compile_shared, find_compiler
from instep.native.switch import native_is_off


class NativeWarning(RuntimeWarning):
    """Native code could not be made although there is a compiler; NumPy does the work."""


_loaded: dict[str, ctypes.CDLL | None] = {}
_lock = threading.Lock()


def load_library(source: str, accept: Callable[[ctypes.CDLL], bool], *, may_compile: bool = True) -> ctypes.CDLL | None:
    """The library of a C source: loaded already, kept from before, or compiled now where `may_compile`.

    None where there is no compiler, where native code is turned off, where there is nothing kept and compiling is not
    wanted, or where the library failed. `accept` is shown a library that was just compiled and says whether its results
    are right: one that fails is never kept. A failure is told once, as a NativeWarning.
    """
    if native_is_off():
        return None
    compiler = find_compiler()
    if compiler is None:
        return None
    key = library_key(source, compiler.identity)
    with _lock:
        if key in _loaded:
            return _loaded[key]
        folder = cache_folder()
        kept = find_kept(folder, key)
        if kept is None and not may_compile:
            return None
        library = _load(kept) if kept is not None else None
        if library is None and may_compile:
            library = _make(compiler, source, folder, key, accept)
        if library is not None or may_compile:
            _loaded[key] = library
        return library


def forget_libraries() -> None:
    """Forget what is loaded, so that the next call looks at the cache folder again."""
    with _lock:
        _loaded.clear()


def _load(path: Path) -> ctypes.CDLL | None:
    try:
        return ctypes.CDLL(str(path))
    except OSError:
        return None  # made for another system: made again


def _make(
    compiler: Compiler, source: str, folder: Path, key: str, accept: Callable[[ctypes.CDLL], bool]
) -> ctypes.CDLL | None:
    found: list[ctypes.CDLL] = []

    def build(path: Path) -> None:
        compile_shared(compiler, source, path)
        library = ctypes.CDLL(str(path))
        if not accept(library):
            raise CompilationError("its results differ from NumPy's")
        found.append(library)

    try:
        keep(folder, key, build)
    except (CompilationError, OSError) as error:
        warnings.warn(
            f"{compiler.command[0]} makes no native code ({str(error).partition(chr(10))[0][:300]}); NumPy does "
            "the work. INSTEP_NATIVE=0 turns native code off",
            NativeWarning,
            stacklevel=3,
        )
        return None
    return found[0] if found else None
