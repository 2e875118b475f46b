"""From nodes and skins to a skeleton: which nodes are joints, and where each stands in the bind pose.

Source: glTF 2.0, 3.7.3. The joints are those of all skins together. A plain node above or between joints that
a clip moves counts as a joint without weight; one that stands still goes into `Skeleton.link`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character import Note, Skeleton
from instep.character.arrays import FloatArray
from instep.formats.accessors import read_floats
from instep.formats.binding import Placement, mesh_to_known_bind, mesh_to_world
from instep.formats.container import Document
from instep.formats.motion import animated_nodes, moved_nodes
from instep.formats.nodes import FLAT, NodeTree, check_no_mirror, handedness, joint_names
from instep.tolerances import BIND_AGREEMENT


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """One skin: its joints' nodes, and (J, 4, 4) inverse bind matrices. `bound` is False where the file has
    none: then the vertices are written in the joints' own frames, and the bind pose is the rest pose."""

    name: str
    nodes: tuple[int, ...]
    inverse_bind: FloatArray
    bound: bool


@dataclass(frozen=True, slots=True, eq=False)
class FileSkeleton:
    """A skeleton with its place in the file.

    Attributes
    ----------
    nodes : node index of each joint.
    M : for each skin the (4, 4) matrix from its mesh space to the world; None where a skin is not `bound`.
    """

    skeleton: Skeleton
    nodes: tuple[int, ...]
    skins: tuple[Skin, ...]
    M: tuple[FloatArray | None, ...]
    notes: tuple[Note, ...]

    def joint_of(self) -> dict[int, int]:
        """Joint index of each node that is a joint."""
        return {node: joint for joint, node in enumerate(self.nodes)}

    def names_of(self) -> dict[int, str]:
        """Joint name of each node that is a joint."""
        return dict(zip(self.nodes, self.skeleton.names, strict=True))


def read_skins(document: Document, tree: NodeTree) -> tuple[Skin, ...]:
    """All skins, checked: inverse bind matrices are affine, and neither mirror nor flatten."""
    skins = []
    for index, entry in enumerate(document.items("skins")):
        place = f"skin {index}"
        nodes = document.members(entry, "joints", place)
        for node in nodes:
            document.item("nodes", node, place)
        if not nodes or len(set(nodes)) < len(nodes):
            seen = "it lists a joint twice" if nodes else "it has no joints"
            document.fail(place, seen, expected="each of its joints once", cure="Export the model again")
        matrices = np.tile(np.eye(4), (len(nodes), 1, 1))
        if "inverseBindMatrices" in entry:
            flat = read_floats(document, entry["inverseBindMatrices"], "MAT4", place)
            if len(flat) < len(nodes):
                document.fail(
                    place,
                    f"it has {len(flat)} inverse bind matrices",
                    expected=f"{len(nodes)}, one for each joint",
                    cure="Export the model again",
                )
            matrices = flat[: len(nodes)].reshape(-1, 4, 4).swapaxes(1, 2).copy()
        for node, matrix in zip(nodes, matrices, strict=True):
            _check_inverse_bind(document, matrix, f"{place}: inverse bind matrix of {tree.label(node)}")
        world = tree.world[list(nodes)]
        plain = np.abs(matrices - np.eye(4)).max() < 1e-9 and np.abs(world - world[0]).max() > 1e-9
        name = entry.get("name")
        skins.append(Skin(name if isinstance(name, str) and name else place, tuple(nodes), matrices, not plain))
    return tuple(skins)


def _check_inverse_bind(document: Document, matrix: FloatArray, place: str) -> None:
    turn = handedness(matrix)
    if np.abs(matrix[3] - [0, 0, 0, 1]).max() > 1e-4:
        seen = "its last row is not 0, 0, 0, 1"
    elif abs(turn) < FLAT:
        seen = "it has no inverse"
    elif turn < 0:
        seen = "it mirrors"
    else:
        matrix[3] = [0, 0, 0, 1]
        return
    document.fail(
        place,
        seen,
        expected="a matrix of turns, positive scales and an offset",
        cure="Apply all scales in the modelling program, bind the skin anew and export again",
    )


def read_skeleton(document: Document, tree: NodeTree) -> FileSkeleton:
    """The skeleton of a file in its bind pose, and the mesh space of each skin in the world.

    Raises FormatError where there is nothing to make a skeleton of, or a transform mirrors or flattens.
    """
    skins = read_skins(document, tree)
    nodes = _joint_nodes(document, tree, skins)
    check_no_mirror(document, tree, nodes)
    parents = [_nearest(tree, node, set(nodes)) for node in nodes]
    bind: dict[int, FloatArray] = {}
    places, notes = _place_skins(document, tree, skins, bind)
    link = np.tile(np.eye(4), (len(nodes), 1, 1))
    for joint, node in enumerate(nodes):
        for plain in tree.above(node):
            if plain in nodes:
                break
            link[joint] = tree.local[plain] @ link[joint]
        if node not in bind:  # no skin lists it: it stands to its parent as at rest
            parent = parents[joint]
            bind[node] = tree.world[node]
            if parent is not None:
                bind[node] = bind[parent] @ np.linalg.solve(tree.world[parent], tree.world[node])
    listed = {node for skin in skins for node in skin.nodes}
    moved = [tree.names[node] for node in nodes if skins and node not in listed]
    if moved:
        notes.append(
            Note(
                document.path.name,
                f"clips move plain nodes above or between the joints: {', '.join(moved)}",
                "they are joints without weight in the rig",
            )
        )
    position = {node: joint for joint, node in enumerate(nodes)}
    names, odd_names = joint_names(document, nodes)
    skeleton = Skeleton(
        names,
        np.array([-1 if parent is None else position[parent] for parent in parents], dtype=np.int64),
        np.array([bind[node] for node in nodes]),
        tree.world[nodes],
        link,
    )
    return FileSkeleton(skeleton, tuple(nodes), skins, places, (*odd_names, *notes))


def _joint_nodes(document: Document, tree: NodeTree, skins: tuple[Skin, ...]) -> list[int]:
    joints = {node for skin in skins for node in skin.nodes}
    animated = animated_nodes(document)
    if not joints:
        if document.items("meshes") or not animated:
            document.fail(
                "",
                "it has no skin",
                expected="a mesh that is bound to joints",
                cure="Bind the mesh to its joints and export it with skinning",
            )
        # Clips on bare nodes: the joints are what moves, and all that hangs below it.
        held = {"mesh", "camera"}
        entries = document.items("nodes")
        joints = {
            node
            for node in tree.order
            if node in animated or (animated.intersection(tree.above(node)) and not held & set(entries[node]))
        }
    above = {node for joint in joints for node in tree.above(joint)}
    joints |= moved_nodes(document, tree, above - joints)
    return [node for node in tree.order if node in joints]


def _nearest(tree: NodeTree, node: int, inside: set[int]) -> int | None:
    return next((above for above in tree.above(node) if above in inside), None)


def _place_skins(
    document: Document, tree: NodeTree, skins: tuple[Skin, ...], bind: dict[int, FloatArray]
) -> tuple[tuple[FloatArray | None, ...], list[Note]]:
    """M for each skin; fills `bind` with the bind transform of each joint, by node."""
    notes: list[Note] = []
    places: dict[int, FloatArray | None] = {}
    found: dict[int, Placement] = {}
    rank = {node: i for i, node in enumerate(tree.order)}
    for index, skin in enumerate(skins):
        if not skin.bound:
            places[index] = None
            notes.append(
                Note(
                    f"{document.path.name}: skin {index}",
                    "it has no inverse bind matrices",
                    "the rest pose is taken for the bind pose",
                )
            )
            continue
        order = sorted(range(len(skin.nodes)), key=lambda i, s=skin: rank[s.nodes[i]])  # type: ignore[misc]
        nodes = [skin.nodes[i] for i in order]
        inside = {node: i for i, node in enumerate(nodes)}
        above = [_nearest(tree, node, set(nodes)) for node in nodes]
        parents = np.array([-1 if a is None else inside[a] for a in above], dtype=np.int64)
        candidates = _candidates(document, tree, index, nodes[0])
        found[index] = mesh_to_world(tree.world[nodes], skin.inverse_bind[order], parents, candidates)
        agreeing = np.empty(len(order), dtype=np.bool_)
        agreeing[order] = found[index].agreeing
        found[index] = Placement(found[index].M, agreeing, found[index].how)
    # Skins whose joints all stand as they stood when bound come first: what they say is certain.
    for index in sorted(found, key=lambda i: not found[i].agreeing.all()):
        skin, placement = skins[index], found[index]
        M = placement.M
        shared = [i for i, node in enumerate(skin.nodes) if node in bind]
        if shared and not placement.agreeing.all():
            known = np.array([bind[skin.nodes[i]] for i in shared])
            size = float(np.linalg.norm(np.ptp(np.array([T[:3, 3] for T in bind.values()]), axis=0))) or 1.0
            M, gap, _ = mesh_to_known_bind(known, skin.inverse_bind[shared], size)
            if gap > BIND_AGREEMENT * size:
                notes.append(
                    Note(
                        f"{document.path.name}: skin {index}",
                        f"it was bound in another pose than the skins before it; joints differ by up to {gap:.3g}",
                        "joints that it shares stand where the earlier skin has them",
                    )
                )
        else:
            _note_rest(document, tree, index, skin, placement, notes)
        places[index] = M
        world = tree.world[list(skin.nodes)]
        bound = M @ np.linalg.inv(skin.inverse_bind)
        still = placement.agreeing if M is placement.M else np.zeros(len(bound), dtype=np.bool_)
        for node, rest, T, same in zip(skin.nodes, world, bound, still, strict=True):
            bind.setdefault(node, rest if same and _noise_only(rest, T) else T)
    for skin in skins:
        if not skin.bound:
            for node in skin.nodes:
                bind.setdefault(node, tree.world[node])
    return tuple(places[index] for index in range(len(skins))), notes


def _noise_only(rest: FloatArray, bound: FloatArray) -> bool:
    """Whether the axes of two transforms agree; their places have been compared already."""
    scale = np.linalg.norm(rest[:3, :3], axis=0)
    return bool(np.abs((rest - bound)[:3, :3] / scale).max() < BIND_AGREEMENT)


def _candidates(document: Document, tree: NodeTree, skin: int, top: int) -> list[tuple[str, FloatArray]]:
    """Likely mesh spaces: under the plain nodes above the skeleton; the mesh's own node, which glTF says to
    ignore, but where many exporters wrote the mesh; the world."""
    above = tree.parents[top]
    found = [("the nodes above the skeleton", tree.world[above] if above >= 0 else np.eye(4))]
    for node, entry in enumerate(document.items("nodes")):
        if entry.get("skin") == skin and "mesh" in entry:
            found.append((f"the mesh's {tree.label(node)}", tree.world[node]))
    found.append(("the world", np.eye(4)))
    return found


def _note_rest(
    document: Document, tree: NodeTree, index: int, skin: Skin, placement: Placement, notes: list[Note]
) -> None:
    count = int((~placement.agreeing).sum())
    if count:
        notes.append(
            Note(
                f"{document.path.name}: skin {index}",
                f"{count} of {len(skin.nodes)} joints do not stand at rest where the skin was bound",
                f"the rig is built on the bind pose, which is placed in the world by {placement.how}",
            )
        )
