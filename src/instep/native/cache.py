"""Compiled libraries, kept under the user's cache folder: never a stale one, never half of one.

A library's name is ``KEY-DIGEST.so``. The key is a hash of all that decides its content (source, compiler, flags,
processor), so a changed rig or compiler asks for another name. The digest is a hash of the file's bytes, looked at
before each load, so that a file that was cut short or damaged is made again, not loaded. A file takes its name in one
step when it is whole; of two processes that build at once either may be last, with equal right.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path


def cache_folder() -> Path:
    """INSTEP_CACHE where it is set, otherwise the place that the system gives for caches."""
    if chosen := os.environ.get("INSTEP_CACHE"):
        return Path(chosen)
    home = Path.home()
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "instep"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "instep" / "Cache"
    return Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache") / "instep"


def library_key(source: str, identity: str) -> str:
    """The key of what a compiler of this identity makes of this source."""
    return hashlib.sha256(f"{identity}\0{source}".encode()).hexdigest()[:32]


def find_kept(folder: Path, key: str) -> Path | None:
    """The library of this key, where a whole one is kept; damaged ones are deleted."""
    if not _is_safe(folder):
        return None
    for path in sorted(folder.glob(f"{key}-*.so")):
        try:
            whole = path.name == _name(key, path.read_bytes())
        except FileNotFoundError:
            continue  # another process deleted it in between
        if whole:
            return path
        with suppress(FileNotFoundError):
            path.unlink()
    return None


def keep(folder: Path, key: str, build: Callable[[Path], None]) -> Path | None:
    """Build a library with `build(path)` and publish it under its key; None where the folder is no safe place.

    What `build` raises is raised here, and nothing is left behind.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError:
        return None
    if not _is_safe(folder):
        return None
    try:
        handle, name = tempfile.mkstemp(prefix=".building-", suffix=".so", dir=folder)
    except OSError:
        return None
    os.close(handle)
    part = Path(name)
    try:
        build(part)
        with open(part, "rb+") as file:
            content = file.read()
            os.fsync(file.fileno())
        target = folder / _name(key, content)
        os.replace(part, target)
        return target
    finally:
        part.unlink(missing_ok=True)


def _name(key: str, content: bytes) -> str:
    return f"{key}-{hashlib.sha256(content).hexdigest()[:32]}.so"


def _is_safe(folder: Path) -> bool:
    """Whether only this user can have put something there: what lies there is going to be run."""
    try:
        seen = folder.stat()
    except OSError:
        return False
    if not hasattr(os, "getuid"):
        return True  # a system without owners of files as numbers: the folder is the user's own by its place
    return seen.st_uid == os.getuid() and not seen.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
