"""Native evaluation: equal to NumPy, never in the way, never from a damaged cache."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.native import library
from instep.native.compiler import find_compiler
from instep.rig.channels import ControlSet
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.native.evaluator import NativeEvaluator, Rows, native_evaluator
from instep.rig.rig import Rig, build_rig
from tests.rig.made import made_rig, random_values, singular_values


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cache folder of the tests' own, and nothing loaded from another."""
    if find_compiler() is None:
        pytest.skip("no C compiler on the path; Debian's package is gcc")
    monkeypatch.setenv("INSTEP_CACHE", str(tmp_path_factory.getbasetemp() / "native"))
    monkeypatch.delenv("INSTEP_NATIVE", raising=False)


def fresh(rig: Rig) -> Rig:
    """The same rig with nothing looked for yet."""
    return build_rig(rig.character, rig.measurement, rig.description)


def evaluator(rig: Rig) -> NativeEvaluator:
    found = native_evaluator(rig.joints_program, may_compile=True)
    assert found is not None
    return found


@pytest.mark.parametrize("controls", ["essential", "full"])
def test_equals_numpy_on_random_and_singular_poses(controls: ControlSet) -> None:
    rig = made_rig("plain", controls)
    values = np.concatenate([singular_values(rig), random_values(rig, 5000, 3)])
    ours, theirs = rig.evaluate(values, native=True), rig.evaluate(values, native=False)
    size = theirs.scale[:, None, None]
    assert np.abs((ours.position - theirs.position) / size).max() < 1e-12 * rig.plan.unit
    assert np.abs(ours.rotation - theirs.rotation).max() < 1e-12
    np.testing.assert_array_equal(ours.scale, theirs.scale)


@pytest.mark.parametrize("frames", [1, 7, 8, 31, 32, 33, 100, 40_000])
def test_layout_and_threads_change_nothing(frames: int) -> None:
    rig = made_rig()
    native = evaluator(rig)
    values = random_values(rig, frames, frames).T
    wanted = compile_numpy(rig.joints_program)(values)
    layouts: list[FloatArray] = [values, np.ascontiguousarray(values), np.asfortranarray(values)]
    reference = native(values, threads=1)
    assert np.abs(reference - wanted).max() < 1e-11 * rig.plan.unit
    for layout in layouts:
        np.testing.assert_array_equal(native(layout, threads=2), reference)
        columns = np.full((frames, native.outputs), np.nan)
        native.into(Rows.of(layout), Rows.of(columns.T), frames, threads=2)
        np.testing.assert_array_equal(columns.T, reference)


def test_nan_stays_in_its_frame() -> None:
    rig = made_rig()
    values = random_values(rig, 50, 1)
    spoiled = values.copy()
    spoiled[17] = np.nan
    found, wanted = rig.evaluate(spoiled, native=True), rig.evaluate(values, native=True)
    assert np.isnan(found.position[17]).all()
    others = np.arange(50) != 17
    np.testing.assert_array_equal(found.position[others], wanted.position[others])


def test_few_frames_never_wait_for_a_compiler(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("INSTEP_CACHE", str(tmp_path / "empty"))
    library.forget_libraries()
    rig = fresh(made_rig("heeled"))
    for frames in (1, 300, 5000):
        rig.evaluate(random_values(rig, frames, 1))
    assert not (tmp_path / "empty").exists()


def test_nothing_is_compiled_where_it_is_turned_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("INSTEP_CACHE", str(tmp_path / "empty"))
    monkeypatch.setenv("INSTEP_NATIVE", "0")
    library.forget_libraries()
    rig = fresh(made_rig())
    rig.evaluate(random_values(rig, 10, 1), native=True)
    assert not (tmp_path / "empty").exists()


def test_without_a_compiler_numpy_does_it(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = fresh(made_rig())
    values = random_values(rig, 10, 1)
    wanted = rig.evaluate(values, native=False)
    monkeypatch.setenv("CC", "no-such-compiler")
    library.forget_libraries()
    found = rig.evaluate(values, native=True)
    np.testing.assert_array_equal(found.position, wanted.position)


def test_no_frames_give_no_poses() -> None:
    rig = made_rig()
    assert rig.evaluate(np.zeros((0, len(rig.channels))), native=True).position.shape[0] == 0
