"""The polynomials for sine and cosine against extended precision."""

from __future__ import annotations

import ctypes
import subprocess
from pathlib import Path

import numpy as np
import pytest

from instep.rig.emitters.c99 import write_c_number_type, write_c_prelude
from tests.rig.emitters.compiled import STRICT, compiler


def _library(folder: Path, single: bool) -> ctypes.CDLL:
    source, target = folder / "sine.c", folder / f"sine{single}.so"
    source.write_text(
        "\n".join(
            [
                "#include <math.h>",
                "#include <stddef.h>",
                write_c_number_type("p"),
                write_c_prelude("p"),
                "void run(ptrdiff_t n, const p_real *x, p_real *s, p_real *c);",
                "void run(ptrdiff_t n, const p_real *x, p_real *s, p_real *c)",
                "{ ptrdiff_t i; for (i = 0; i < n; ++i) p_sine(s + i, c + i, x[i]); }",
            ]
        )
    )
    chosen = ["-DP_SINGLE"] if single else []
    subprocess.run(
        [
            compiler("gcc"),
            "-std=c99",
            *STRICT,
            "-O2",
            "-fPIC",
            "-shared",
            *chosen,
            "-o",
            str(target),
            str(source),
            "-lm",
        ],
        check=True,
    )
    return ctypes.CDLL(str(target))


@pytest.mark.parametrize(("single", "bound", "limit"), [(False, 4e-16, 25_000.0), (True, 2e-7, 10_000.0)])
def test_errors_are_as_stated(single: bool, bound: float, limit: float, tmp_path: Path) -> None:
    if np.finfo(np.longdouble).nmant < 60:
        pytest.skip("this machine's long double is no wider than double")
    real = np.float32 if single else np.float64
    rng = np.random.default_rng(0)
    quarters = np.arange(-8000, 8001) * (np.pi / 2)
    x = np.concatenate(
        [
            rng.uniform(-7, 7, 1_000_000),
            rng.uniform(-limit, limit, 1_000_000),
            quarters[np.abs(quarters) < limit],
            np.nextafter(quarters[np.abs(quarters) < limit], np.inf),
            [0.0, -0.0, 1e-300, 1e-20],
        ]
    ).astype(real)
    sine, cosine = np.empty_like(x), np.empty_like(x)
    places = [ctypes.c_void_p(each.ctypes.data) for each in (x, sine, cosine)]
    _library(tmp_path, single).run(ctypes.c_ssize_t(len(x)), *places)
    exact = x.astype(np.longdouble)
    assert np.abs(sine - np.sin(exact)).max() <= bound
    assert np.abs(cosine - np.cos(exact)).max() <= bound
    assert sine[-4] == 0.0
    assert cosine[-4] == 1.0


@pytest.mark.parametrize("single", [False, True])
def test_what_is_no_angle_gives_nan(single: bool, tmp_path: Path) -> None:
    x = np.array([np.nan, np.inf, -np.inf], dtype=np.float32 if single else np.float64)
    sine, cosine = np.zeros_like(x), np.zeros_like(x)
    places = [ctypes.c_void_p(each.ctypes.data) for each in (x, sine, cosine)]
    _library(tmp_path, single).run(ctypes.c_ssize_t(3), *places)
    assert np.isnan(sine).all()
    assert np.isnan(cosine).all()
