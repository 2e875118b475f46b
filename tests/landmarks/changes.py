"""Changes to a character that must not change what is measured on it, or that must be told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from instep.character import Character, Mesh, MeshPart, Skeleton
from instep.character.arrays import FloatArray, IntArray


def mesh_of(character: Character) -> Mesh:
    """The mesh, which must be there."""
    assert character.mesh is not None
    return character.mesh


def with_mesh(
    character: Character, positions: FloatArray, faces: IntArray, joints: IntArray, weights: FloatArray
) -> Character:
    """The character with another mesh of one part."""
    parts = (MeshPart("all", slice(0, len(positions)), slice(0, len(faces))),)
    return replace(character, mesh=Mesh(positions, faces.astype(np.int64), joints.astype(np.int64), weights, parts))


def renamed(character: Character, names: list[str]) -> Character:
    """The character with other names for its joints."""
    return replace(character, skeleton=replace(character.skeleton, names=tuple(names)))


def shuffled_vertices(character: Character, rng: np.random.Generator) -> Character:
    """Vertices and triangles in another order; each triangle begins at another corner."""
    mesh = mesh_of(character)
    order = rng.permutation(len(mesh))
    place = np.argsort(order)
    faces = np.roll(place[mesh.faces][rng.permutation(len(mesh.faces))], 1, axis=1)
    return with_mesh(character, mesh.positions[order], faces, mesh.joints[order], mesh.weights[order])


def shuffled_joints(character: Character, rng: np.random.Generator) -> Character:
    """Joints in another order, parents still before children."""
    skeleton, mesh = character.skeleton, mesh_of(character)
    order: list[int] = []
    waiting = [int(j) for j in np.flatnonzero(skeleton.parents < 0)]
    while waiting:
        joint = waiting.pop(int(rng.integers(len(waiting))))
        order.append(joint)
        waiting.extend(skeleton.children(joint))
    place = np.argsort(order)
    parents = np.array([-1 if skeleton.parents[j] < 0 else place[skeleton.parents[j]] for j in order])
    moved = Skeleton(
        tuple(skeleton.names[j] for j in order),
        parents.astype(np.int64),
        skeleton.bind[order],
        skeleton.rest[order],
        skeleton.link[order],
    )
    return replace(with_mesh(character, mesh.positions, mesh.faces, place[mesh.joints], mesh.weights), skeleton=moved)


def hung_under(character: Character, joint: str, parent: str) -> Character:
    """The character with a joint under another parent (which must stand before it)."""
    skeleton = character.skeleton
    parents = skeleton.parents.copy()
    parents[skeleton.index(joint)] = skeleton.index(parent)
    return replace(character, skeleton=replace(skeleton, parents=parents))


def with_chain(
    character: Character,
    parent: str,
    names: list[str],
    places: list[tuple[float, float, float]],
    radius: float | tuple[float, float] = 0.0,
) -> Character:
    """The character with a chain of joints under `parent`, and a strip of boxes around each bone.

    `radius` is half the width of the boxes across (x, z); 0 for joints without skin.
    """
    skeleton, mesh = character.skeleton, mesh_of(character)
    count = len(skeleton)
    bind = np.tile(np.eye(4), (len(names), 1, 1))
    bind[:, :3, 3] = places
    parents = np.array([skeleton.index(parent), *range(count, count + len(names) - 1)])
    longer = Skeleton(
        skeleton.names + tuple(names),
        np.concatenate([skeleton.parents, parents]).astype(np.int64),
        np.concatenate([skeleton.bind, bind]),
        np.concatenate([skeleton.rest, bind]),
        np.concatenate([skeleton.link, np.tile(np.eye(4), (len(names), 1, 1))]),
    )
    grown = replace(character, skeleton=longer)
    if radius == 0.0:
        return grown
    half = np.array(radius if isinstance(radius, tuple) else (radius, radius))
    ring = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * half
    # Between joints the strip is cut three times, so that weights can pass from joint to joint.
    stations = np.linspace(0, len(places) - 1, 4 * (len(places) - 1) + 1)
    path = np.stack([np.interp(stations, range(len(places)), np.array(places)[:, a]) for a in range(3)], axis=1)
    points = path[:, None] + np.stack([ring[:, 0], 0 * ring[:, 0], ring[:, 1]], axis=1)
    last = len(stations) - 1
    faces = [[0, 1, 2], [0, 2, 3], [4 * last, 4 * last + 2, 4 * last + 1], [4 * last, 4 * last + 3, 4 * last + 2]]
    for s in range(last):
        for i in range(4):
            a, b = 4 * s + i, 4 * s + (i + 1) % 4
            faces += [[a, a + 4, b + 4], [a, b + 4, b]]
    owner = np.repeat(np.minimum(stations.astype(np.int64), len(places) - 1), 4) + count
    joints = np.zeros((len(owner), mesh.joints.shape[1]), dtype=np.int64)
    weights = np.zeros((len(owner), mesh.joints.shape[1]))
    joints[:, 0], weights[:, 0] = owner, 1.0
    return with_mesh(
        grown,
        np.concatenate([mesh.positions, points.reshape(-1, 3)]),
        np.concatenate([mesh.faces, np.array(faces) + len(mesh)]),
        np.concatenate([mesh.joints, joints]),
        np.concatenate([mesh.weights, weights]),
    )


def with_twist(character: Character, above: str, below: str, name: str, share: float) -> Character:
    """A joint on the straight line between two, in the chain, that carries the skin on from there."""
    skeleton, mesh = character.skeleton, mesh_of(character)
    one, two = skeleton.index(above), skeleton.index(below)
    at = two
    start, end = skeleton.positions[one], skeleton.positions[two]
    bind = np.eye(4)
    bind[:3, 3] = start + share * (end - start)
    shift = np.array([j if j < at else j + 1 for j in range(len(skeleton))])
    parents = np.insert(np.where(skeleton.parents < 0, -1, shift[skeleton.parents]), at, one)
    parents[at + 1] = at
    longer = Skeleton(
        (*skeleton.names[:at], name, *skeleton.names[at:]),
        parents.astype(np.int64),
        np.insert(skeleton.bind, at, bind, axis=0),
        np.insert(skeleton.rest, at, bind, axis=0),
        np.insert(skeleton.link, at, np.eye(4), axis=0),
    )
    joints = shift[mesh.joints]
    line = end - start
    beyond = (mesh.positions - start) @ line / (line @ line) > share
    joints = np.where(beyond[:, None] & (mesh.joints == one) & (mesh.weights > 0), at, joints)
    grown = replace(character, skeleton=longer)
    return with_mesh(grown, mesh.positions, mesh.faces, joints, mesh.weights)


def without_skin_of(character: Character, names: list[str], onto: str) -> Character:
    """The character without the vertices that are weighted mostly to the named joints; what is left of their
    weight goes to another joint."""
    mesh = mesh_of(character)
    gone = np.isin(mesh.joints, [character.skeleton.index(name) for name in names]) & (mesh.weights > 0)
    drop = (mesh.weights * gone).sum(axis=1) > 0.5
    place = np.cumsum(~drop) - 1
    faces = place[mesh.faces[~drop[mesh.faces].any(axis=1)]]
    joints = np.where(gone, character.skeleton.index(onto), mesh.joints)
    return with_mesh(character, mesh.positions[~drop], faces, joints[~drop], mesh.weights[~drop])
