"""A foot's skinned tread over the floor that it stands on, for solving: raised so far that its leg reaches it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import RegularGridInterpolator

from instep.character.arrays import FloatArray
from instep.character.skinning import skin_vertices
from instep.landmarks import LegLandmarks
from instep.rig.parts.roll import share_roll
from instep.rig.rig import Rig, build_rig
from instep.tolerances import SOLE_SINKS

LIFT: Final = 0.25
"""Share of the leg by which the foot is raised, so that its leg reaches it through all of its roll."""

BALL_DEG: Final = np.linspace(0.0, 75.0, 31)
TIP_DEG: Final = np.concatenate([np.linspace(0.0, 40.0, 17), np.linspace(45.0, 90.0, 10)])
"""Turns at which the sinking is worked out; between them it is interpolated. Over 2.5 degrees a height over the
floor bends away from a straight line by at most 1/4000 of the foot."""

ROLL_STEP_DEG: Final = 1.0


def full_rig(rig: Rig) -> Rig:
    """The same rig with all controls of its legs and none of the rest: what solving poses. Ranges are left out."""
    by_hand = rig.description.by_hand.model_copy(update={"ranges": {}})
    description = rig.description.model_copy(update={"controls": "full", "plain": False, "by_hand": by_hand})
    return build_rig(rig.character, rig.measurement, description)


@dataclass(frozen=True, eq=False)
class Tread:
    """The tread of one foot of a rig with all controls.

    Attributes
    ----------
    lowest : how far its lowest vertex lies under the sole plane at rest, 0 or more: the foot stands on that.
    uneven : median height of its vertices over that level at rest. Both in the file's unit.
    """

    full: Rig
    leg: LegLandmarks
    lowest: float
    uneven: float

    @staticmethod
    def of(full: Rig, leg: LegLandmarks) -> Tread:
        """The tread of a leg, which must have a sole, on a character that must have a mesh."""
        mesh = full.character.mesh
        assert mesh is not None
        at_rest = (mesh.positions[leg.sole] - leg.heel.position) @ leg.sole_normal
        lowest = max(0.0, -float(at_rest.min()))
        return Tread(full, leg, lowest, float(np.median(at_rest)) + lowest)

    @property
    def share(self) -> float:
        """How far the tread may sink, of foot length: a lumpy one rolls over its lumps."""
        return SOLE_SINKS + min(self.uneven / self.leg.foot_length, SOLE_SINKS)

    def places(self, settings: Mapping[str, ArrayLike], frames: int) -> FloatArray:
        """(N, V, 3) tread vertices with channels of this leg set (by their names without the leg's), in the world.

        The raise of the foot is taken off again.
        """
        mesh = self.full.character.mesh
        assert mesh is not None
        lift = LIFT * self.full.plan.unit
        named = {f"{self.leg.name}.{name}": value for name, value in settings.items()}
        values = self.full.values({f"{self.leg.name}.foot.up": lift} | named, frames)
        moved = skin_vertices(mesh, self.full.character.skeleton, self.full.evaluate(values), self.leg.sole)
        return moved - self.full.measurement.R_world_body[:, 1] * lift

    def heights(self, settings: Mapping[str, ArrayLike], frames: int) -> FloatArray:
        """(N, V) heights over the floor that the foot stands on, in the file's unit."""
        above = (self.places(settings, frames) - self.leg.heel.position) @ self.leg.sole_normal
        return np.asarray(above + self.lowest, dtype=np.float64)

    def has(self, *names: str) -> bool:
        """Whether the rig has these channels of the leg: those that are pinned it has not got."""
        there = {channel.name for channel in self.full.channels}
        return all(f"{self.leg.name}.{name}" in there for name in names)


@dataclass(frozen=True, eq=False)
class RollSinking:
    """How far a tread sinks, of foot length, by the turns of ball and tip at a given hold: worked out once, so that
    a search over how roll is shared asks nothing more of the skin."""

    table: RegularGridInterpolator
    settle_deg: float
    rolls_deg: FloatArray

    @staticmethod
    def of(tread: Tread, hold: float, settle_deg: float) -> RollSinking:
        """Work out the table for a leg with toes."""
        ball, tip = (grid.ravel() for grid in np.meshgrid(BALL_DEG, TIP_DEG, indexing="ij"))
        settings = {"ball.pitch": ball, "tip.pitch": tip, "toes.hold": hold}
        deepest = -tread.heights(settings, len(ball)).min(axis=1) / tread.leg.foot_length
        table = np.maximum(deepest, 0.0).reshape(len(BALL_DEG), len(TIP_DEG))
        highest = next(
            (channel.high for channel in tread.full.channels if channel.name == f"{tread.leg.name}.foot.roll"), 90.0
        )
        rolls = np.arange(0.0, highest + 0.5 * ROLL_STEP_DEG, ROLL_STEP_DEG)
        return RollSinking(RegularGridInterpolator((BALL_DEG, TIP_DEG), table), settle_deg, rolls)

    def deepest(self, ball_gives_out_deg: float, tip_takes_over_deg: float) -> float:
        """The greatest sinking over the whole roll, of foot length."""
        shared = [share_roll(float(r), ball_gives_out_deg, tip_takes_over_deg, self.settle_deg) for r in self.rolls_deg]
        turns = np.array([[min(float(ball), BALL_DEG[-1]), min(float(tip), TIP_DEG[-1])] for _, ball, tip in shared])
        return float(self.table(turns).max())
