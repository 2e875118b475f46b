"""Linear blend skinning against a plain einsum."""

from __future__ import annotations

from typing import Final

import numpy as np

from benchmarks.timing import Contestant, Group, race, timed
from instep.character import Character, Mesh, Poses, skin_vertices
from instep.character.arrays import FloatArray
from instep.rig import RigDescription, build_rig
from tests.measured import make_measured_biped

FRAMES: Final = 240


def time_skinning() -> Group:
    """About 20,000 vertices by 240 poses."""
    character, measurement = make_measured_biped(around=96)
    assert character.mesh is not None
    rig = build_rig(character, measurement, RigDescription(character="biped"))
    poses = rig.pose({"left.foot.roll": np.linspace(-40, 60, FRAMES), "spine.pitch": np.linspace(0, 40, FRAMES)})
    mesh, count = character.mesh, FRAMES * len(character.mesh)
    skeleton = character.skeleton
    np.testing.assert_allclose(
        _einsum(character, mesh, _part(poses, 3)), skin_vertices(mesh, skeleton, _part(poses, 3)), rtol=0, atol=1e-12
    )
    contestants = [
        Contestant("Instep", "`skin_vertices`, one core", timed(lambda: skin_vertices(mesh, skeleton, poses)), count),
        Contestant(
            "plain einsum",
            "blended matrices, then points; 16 poses at a time",
            timed(lambda: _blocks(character, mesh, poses)),
            count,
        ),
    ]
    about = f"{len(mesh):,} vertices, {mesh.joints.shape[1]} influences, {len(skeleton)} joints, {FRAMES} poses"
    return race("Skinning", about, "vertices x poses", contestants, tries=3)


def _part(poses: Poses, count: int, start: int = 0) -> Poses:
    rows = slice(start, start + count)
    return Poses(poses.rotation[rows], poses.position[rows], poses.scale[rows])


def _einsum(character: Character, mesh: Mesh, poses: Poses) -> FloatArray:
    changes = poses.changes(character.skeleton)
    blended = np.einsum("vk,nvkab->nvab", mesh.weights, changes[:, mesh.joints])
    return np.asarray(np.einsum("nvab,vb->nva", blended[..., :3], mesh.positions) + blended[..., 3])


def _blocks(character: Character, mesh: Mesh, poses: Poses) -> FloatArray:
    return np.concatenate([_einsum(character, mesh, _part(poses, 16, start)) for start in range(0, len(poses), 16)])
