"""Landmarks set by a person: checked, and never measured over. The sole's plane and axis follow them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches

import numpy as np

from instep.character.arrays import FloatArray
from instep.errors import LandmarkError
from instep.landmarks.model import LANDMARK_NAMES
from instep.landmarks.sole import SolePlane
from instep.tolerances import HAND_SPREAD

ON_SOLE = ("heel", "tip", "inner", "outer")


def read_by_hand(
    by_hand: Mapping[str, Sequence[float]], legs: Mapping[str, FloatArray], height: float, where: str
) -> dict[str, dict[str, FloatArray]]:
    """Hand-set places by leg and landmark.

    Parameters
    ----------
    by_hand : places in the world, in the file's unit, under names such as ``"left.heel"``.
    legs : (n, 3) places on each leg (joints, foot) by its name.
    height : of the body; no landmark lies further than this from its leg.
    where : the file, for messages.

    Raises
    ------
    LandmarkError : unknown name; not three finite numbers; too far from the leg.
    """
    known = [f"{leg}.{name}" for leg in legs for name in LANDMARK_NAMES]
    found: dict[str, dict[str, FloatArray]] = {leg: {} for leg in legs}
    for name, value in by_hand.items():
        if name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.0)[0]
            raise LandmarkError(
                f"there is no landmark {name!r}",
                where=where,
                expected=f"a leg ({', '.join(legs)}) and one of {', '.join(LANDMARK_NAMES)}",
                cure=f"The nearest known name is {near!r}",
            )
        point = np.asarray(value, dtype=np.float64)
        if point.shape != (3,) or not np.isfinite(point).all():
            raise LandmarkError(
                f"{name} is set to {_shown(value)}",
                where=where,
                expected="three finite numbers x, y, z in the file's unit",
                cure="Correct the value, or leave it out to have it measured",
            )
        leg, landmark = name.rsplit(".", 1)
        distance = float(np.linalg.norm(legs[leg] - point, axis=1).min())
        if distance > height:
            raise LandmarkError(
                f"{name} is set to {_shown(value)}, which is {distance:.4g} from the {leg} leg",
                where=where,
                expected=f"a place within the body's height of it, {height:.4g} in the file's unit",
                cure="Correct the value, or leave it out to have it measured",
            )
        found[leg][landmark] = point
    return found


def plane_by_hand(measured: SolePlane, hand: Mapping[str, FloatArray], size: float) -> SolePlane:
    """The sole plane through the hand-set places on the sole, turned no further from the measured one than needed.

    One place shifts the plane, two turn it about their line, three or more fix it (by least squares for
    four, through the heel where that is one of them). `size` is the foot's length.
    """
    places = np.array([hand[name] for name in ON_SOLE if name in hand])
    if not len(places):
        return measured
    normal = measured.normal
    origin = hand["heel"] if "heel" in hand else places.mean(axis=0)
    offsets = places - origin
    _, spread, directions = np.linalg.svd(offsets, full_matrices=True)
    spread = np.pad(spread, (0, 3 - len(spread)))
    if spread[1] > HAND_SPREAD * size:
        normal = directions[2]
    elif spread[0] > HAND_SPREAD * size:
        normal = normal - (normal @ directions[0]) * directions[0]
    normal = normal / np.linalg.norm(normal)
    if normal @ measured.normal < 0:
        normal = -normal
    return SolePlane(np.asarray(normal), float(normal @ origin), measured.flatness)


def _shown(value: Sequence[float]) -> str:
    return "(" + ", ".join(f"{number:g}" for number in value) + ")"
