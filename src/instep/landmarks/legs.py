"""The legs: which limbs they are, on which side, and which joint of each is hip, knee and ankle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.character.model import Character
from instep.errors import LandmarkError
from instep.landmarks.chain import Chain, choose_chain
from instep.landmarks.ground import Stance, find_stance, tread_area
from instep.landmarks.limbs import Limb, branch, limb_pairs, read_tree
from instep.landmarks.mirror import NO_PARTNER, Mirror, find_mirror
from instep.landmarks.surface import Surface
from instep.tolerances import BONE_LENGTH


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """One leg by its joints; `here` tells the side to which the mirror's normal points."""

    limb: Limb
    chain: Chain
    here: bool
    pair: int


@dataclass(frozen=True, slots=True, eq=False)
class Legs:
    """All legs of a body, the body's plane, the tree as the skin has it, and the stance they were seen in."""

    legs: tuple[Leg, ...]
    mirror: Mirror
    parents: IntArray
    stance: Stance


def find_legs(character: Character, surface: Surface, where: str) -> Legs:
    """The legs of a character, seen from joint tree, skin and shape; names are never read.

    Raises
    ------
    LandmarkError : no legs; one leg only; fewer than three joints in a leg; a bone without length.
    """
    skeleton = character.skeleton
    mirror = find_mirror(skeleton, surface)
    if mirror is None:
        raise _no_legs(where)
    parents = read_tree(skeleton, surface, mirror)
    stance = find_stance(skeleton, surface, mirror, limb_pairs(skeleton, mirror, parents))
    lonely = _lonely_leg(character, surface, mirror, parents)
    if lonely is not None and (stance is None or stance.up[1] < 0.9):
        raise LandmarkError(
            f"only one leg stands on the floor: the one of joint {skeleton.names[lonely]!r}",
            where=where,
            expected="legs in pairs, one the mirror image of the other",
            cure="Add the other leg, or check that its skin is bound to its joints",
        )
    if stance is None:
        raise _no_legs(where)
    tread = tread_area(surface, stance.up)
    legs = []
    for number, pair in enumerate(stance.pairs):
        chains = [choose_chain(skeleton, surface, parents, limb, tread, stance.up) for limb in (pair.here, pair.there)]
        if None in chains and number > 0:
            continue
        for limb, chain, here in zip((pair.here, pair.there), chains, (True, False), strict=True):
            if chain is None:
                raise LandmarkError(
                    f"the leg of joint {skeleton.names[limb.root]!r} has fewer than three joints down to its foot",
                    where=where,
                    expected="at least the joints of hip, knee and ankle",
                    cure="Add the missing joints and bind the skin to them",
                )
            _check_bones(character, surface, chain, where)
            legs.append(Leg(limb, chain, here, number))
    return Legs(tuple(legs), mirror, parents, stance)


def carriers(parents: IntArray, chain: Chain, toes: int | None) -> tuple[tuple[int, int], ...]:
    """(joint, carrier) for each joint of a leg: the nearest of thigh, shin, foot and toes above it, or itself."""
    bones = {chain.hip, chain.knee, chain.ankle} | ({toes} if toes is not None else set())
    carrier: dict[int, int] = {}
    for joint in branch(parents, chain.hip):
        carrier[joint] = joint if joint in bones else carrier[int(parents[joint])]
    return tuple(sorted(carrier.items()))


def _no_legs(where: str) -> LandmarkError:
    return LandmarkError(
        "no legs were found",
        where=where,
        expected="a mirrored pair of limbs of three joints or more, whose skin reaches the floor",
        cure="Check that the character stands upright in its bind pose and that its feet are bound to their joints",
    )


def _lonely_leg(character: Character, surface: Surface, mirror: Mirror, parents: IntArray) -> int | None:
    """Topmost joint of a branch without a mirror image that bears most of the tread under the file's up."""
    skeleton = character.skeleton
    bears = np.asarray(surface.weights.T @ tread_area(surface, np.array([0.0, 1.0, 0.0]))).ravel()
    for joint in range(len(skeleton)):
        parent = int(parents[joint])
        alone = mirror.partner[joint] == NO_PARTNER
        if not alone or (parent >= 0 and mirror.partner[parent] == NO_PARTNER):
            continue
        joints = branch(parents, joint)
        if len(joints) >= 3 and bears[joints].sum() > 0.5 * bears.sum() > 0:
            return joint
    return None


def _check_bones(character: Character, surface: Surface, chain: Chain, where: str) -> None:
    names, points = character.skeleton.names, character.skeleton.positions
    for bone, one, two in (("thigh", chain.hip, chain.knee), ("shin", chain.knee, chain.ankle)):
        length = float(np.linalg.norm(points[one] - points[two]))
        if length < BONE_LENGTH * surface.size:
            raise LandmarkError(
                f"the {bone} has no length: joints {names[one]!r} and {names[two]!r} stand at one place",
                where=where,
                expected="hip, knee and ankle apart from each other in the bind pose",
                cure="Move the joints to their places and bind the skin again",
            )


def leg_line(points: FloatArray, chain: Chain) -> FloatArray:
    """(3,) from ankle to hip."""
    return np.asarray(points[chain.hip] - points[chain.ankle], dtype=np.float64)
