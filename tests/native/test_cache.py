"""The cache of compiled libraries: whole, one's own, and right."""

from __future__ import annotations

import ctypes
import multiprocessing
import os
from pathlib import Path

import pytest

from instep.native import library
from instep.native.cache import cache_folder, find_kept, keep, library_key
from instep.native.compiler import find_compiler
from instep.native.library import NativeWarning, load_library


def answer(number: int) -> str:
    return f"int answer(void) {{ return {number}; }}"


def accept(_: ctypes.CDLL) -> bool:
    return True


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    if find_compiler() is None:
        pytest.skip("no C compiler on the path; Debian's package is gcc")
    monkeypatch.setenv("INSTEP_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("INSTEP_NATIVE", raising=False)
    library.forget_libraries()
    return tmp_path / "cache"


def test_is_built_once_and_found_again(folder: Path) -> None:
    assert load_library(answer(1), accept, may_compile=False) is None
    first = load_library(answer(1), accept)
    assert first is not None
    assert first.answer() == 1
    (kept,) = folder.iterdir()
    library.forget_libraries()
    again = load_library(answer(1), accept, may_compile=False)
    assert again is not None
    assert again.answer() == 1
    assert list(folder.iterdir()) == [kept]


@pytest.mark.parametrize("share", [0.0, 0.5, 0.99])
def test_one_that_was_cut_short_is_made_again(folder: Path, share: float) -> None:
    load_library(answer(2), accept)
    (kept,) = folder.iterdir()
    whole = kept.read_bytes()
    kept.unlink()  # a new file: the old one is mapped into this process
    kept.write_bytes(whole[: int(len(whole) * share)])
    library.forget_libraries()
    assert load_library(answer(2), accept, may_compile=False) is None
    assert not kept.exists()
    again = load_library(answer(2), accept)
    assert again is not None
    assert again.answer() == 2


def test_another_source_or_compiler_asks_for_another_library() -> None:
    compiler = find_compiler()
    assert compiler is not None
    keys = {library_key(answer(n), identity) for n in (1, 2) for identity in (compiler.identity, "other")}
    assert len(keys) == 4


def test_one_with_wrong_results_is_not_kept(folder: Path) -> None:
    with pytest.warns(NativeWarning, match="its results differ from NumPy's"):
        assert load_library(answer(3), lambda found: bool(found.answer() == 4)) is None
    assert list(folder.iterdir()) == []
    assert load_library(answer(3), accept) is None  # told once, and not tried again


def test_a_source_that_does_not_compile_is_told(folder: Path) -> None:
    with pytest.warns(NativeWarning, match=r"makes no native code .* NumPy does the work"):
        assert load_library("this is not C", accept) is None
    assert list(folder.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="this system has no owners of files")
def test_a_folder_that_others_may_write_to_is_not_used(folder: Path) -> None:
    folder.mkdir()
    folder.chmod(0o777)
    assert load_library(answer(5), accept) is None
    assert list(folder.iterdir()) == []


def _build(place: str, number: int, told: multiprocessing.Queue[int]) -> None:
    os.environ["INSTEP_CACHE"] = place
    found = load_library(answer(number), accept)
    told.put(-1 if found is None else found.answer())


def test_two_processes_may_build_at_once(folder: Path) -> None:
    context = multiprocessing.get_context("spawn")
    told: multiprocessing.Queue[int] = context.Queue()
    builders = [context.Process(target=_build, args=(str(folder), 6, told)) for _ in range(3)]
    for builder in builders:
        builder.start()
    assert [told.get(timeout=120) for _ in builders] == [6, 6, 6]
    for builder in builders:
        builder.join()
    compiler = find_compiler()
    assert compiler is not None
    assert find_kept(folder, library_key(answer(6), compiler.identity)) is not None
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]


def test_a_build_that_fails_leaves_nothing(folder: Path) -> None:
    def build(path: Path) -> None:
        path.write_bytes(b"half")
        raise RuntimeError("stopped")

    with pytest.raises(RuntimeError, match="stopped"):
        keep(folder, "key", build)
    assert list(folder.iterdir()) == []


def test_the_folder_is_where_the_system_keeps_caches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("INSTEP_CACHE")
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_CACHE_HOME", "/somewhere")
    assert cache_folder() == Path("/somewhere/instep")
