"""Skinning by compiled code equals NumPy's."""

from __future__ import annotations

import numpy as np
import pytest

from instep.character import Poses, skin_vertices
from instep.character.mesh import Mesh
from instep.native.compiler import find_compiler
from tests.biped import make_biped


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    if find_compiler() is None:
        pytest.skip("no C compiler on the path; Debian's package is gcc")
    monkeypatch.setenv("INSTEP_CACHE", str(tmp_path_factory.getbasetemp() / "native"))
    monkeypatch.delenv("INSTEP_NATIVE", raising=False)


@pytest.mark.parametrize("frames", [0, 1, 7, 8, 9, 40, 65])
@pytest.mark.parametrize("vertices", [0, 1, 7, 8, 100])
def test_equals_numpy(frames: int, vertices: int) -> None:
    character = make_biped()
    mesh = character.mesh
    assert mesh is not None
    skeleton = character.skeleton
    rng = np.random.default_rng(frames)
    # Weights of any joint, more than a character has, and some that are zero.
    joints = rng.integers(0, len(skeleton), (len(mesh), 6))
    weights = rng.random((len(mesh), 6)) * (rng.random((len(mesh), 6)) < 0.6) + np.eye(6)[0] * 1e-3
    weights /= weights.sum(axis=1, keepdims=True)
    mesh = Mesh(mesh.positions, mesh.faces, joints, weights, mesh.parts)
    turns = rng.normal(size=(frames, len(skeleton), 4))
    turns /= np.linalg.norm(turns, axis=-1, keepdims=True)
    poses = Poses(turns, rng.normal(size=(frames, len(skeleton), 3)), rng.uniform(0.1, 10.0, frames))
    chosen = rng.choice(len(mesh), vertices)
    wanted = skin_vertices(mesh, skeleton, poses, chosen, native=False)
    for threads in (1, 2):
        out = np.full(wanted.shape, np.nan)
        found = skin_vertices(mesh, skeleton, poses, chosen, native=True, threads=threads, out=out)
        assert found is out
        np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-12)
