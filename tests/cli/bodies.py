"""Bodies that lack something."""

from __future__ import annotations

import numpy as np

from instep.character import Character, Mesh, MeshPart, Skeleton


def without(character: Character, *joints: str) -> Character:
    """The character without these joints, all below them, and all skin that they move."""
    old, mesh = character.skeleton, character.mesh
    assert mesh is not None
    gone = {below for name in joints for below in old.below(old.index(name))}
    kept = [joint for joint in range(len(old)) if joint not in gone]
    place = {joint: number for number, joint in enumerate(kept)} | {-1: -1}
    skeleton = Skeleton(
        tuple(old.names[joint] for joint in kept),
        np.array([place[int(old.parents[joint])] for joint in kept], dtype=np.int64),
        old.bind[kept],
        old.rest[kept],
        old.link[kept],
    )
    moved_by_gone = np.where(np.isin(mesh.joints, sorted(gone)), mesh.weights, 0.0).max(axis=1)
    stays = np.asarray(moved_by_gone == 0.0)
    number = np.cumsum(stays) - 1
    faces = number[mesh.faces[stays[mesh.faces].all(axis=1)]]
    moved = np.array([place.get(joint, 0) for joint in range(len(old))])[mesh.joints[stays]]
    skin = Mesh(
        mesh.positions[stays],
        faces.astype(np.int64),
        moved.astype(np.int64),
        mesh.weights[stays],
        (MeshPart("body", slice(0, int(stays.sum())), slice(0, len(faces))),),
    )
    return Character(character.name, skeleton, skin)
