"""The skinned sole over a floor: heights of its vertices, signed, in any pose."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.checks.model import SoleMap, bounded
from instep.checks.subject import LIFT, Skinned, Subject, carried
from instep.landmarks import LegLandmarks
from instep.rig.plan import LegPlan


@dataclass(frozen=True, eq=False)
class Sole:
    """The tread of one foot, ready to be skinned.

    Attributes
    ----------
    lowest : how far its lowest vertex lies under the sole plane at rest, 0 or more: the foot stands on that.
    uneven : median height of its vertices over that level at rest. Both in the file's unit.
    """

    subject: Subject
    leg: LegLandmarks
    plan: LegPlan
    skin: Skinned
    lowest: float
    uneven: float
    _floors: dict[bytes, FloatArray] = field(default_factory=dict, repr=False)

    @staticmethod
    def of(subject: Subject, leg: LegLandmarks, plan: LegPlan, weights: FloatArray | None = None) -> Sole:
        """The sole of a leg; with other weights (V, K) over the mesh's joints where told."""
        mesh = subject.mesh
        assert mesh is not None
        at_rest = (mesh.positions[leg.sole] - leg.heel.position) @ leg.sole_normal
        lowest = max(0.0, -float(at_rest.min()))
        return Sole(
            subject, leg, plan, Skinned.of(subject, leg.sole, weights), lowest, float(np.median(at_rest)) + lowest
        )

    @property
    def vertices(self) -> IntArray:
        """The sole's vertices."""
        return self.leg.sole

    def flat(self) -> FloatArray:
        """(C,) a row with the foot raised so far that its leg reaches it through all of its roll."""
        raised = self.subject.put(self.subject.rest(), {f"{self.leg.name}.foot.up": LIFT * self.subject.unit})
        return np.asarray(raised[0], dtype=np.float64)

    def heights(self, rows: FloatArray) -> FloatArray:
        """(N, V) heights over the floor that the foot stands on in each row, with roll, bank and toes at rest.

        That floor is the sole plane, carried by where the foot control has put the foot: level, or a slope.
        """
        normal, level, _, _ = self._floor(rows)
        up = self.skin.along(self.subject.evaluate(rows), normal)
        return np.asarray(up - level[:, None] + self.lowest, dtype=np.float64)

    def ahead(self, rows: FloatArray) -> FloatArray:
        """(N, V) how far before the ball joint, along the sole, the vertices stand."""
        _, _, forward, heel = self._floor(rows)
        leg = self.leg
        edge = np.einsum("na,na->n", forward, heel) + float((leg.ball.position - leg.heel.position) @ leg.axis)
        along = self.skin.along(self.subject.evaluate(rows), forward)
        return np.asarray(along - edge[:, None], dtype=np.float64)

    def _idle(self) -> dict[str, float]:
        names = ("foot.roll", "foot.bank", "toes.bend", "ball.pitch")
        return dict.fromkeys((f"{self.leg.name}.{name}" for name in names), 0.0)

    def _floor(self, rows: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """By row: the floor's normal (N, 3), its level along that (N,), forward (N, 3), and the heel's place (N, 3)."""
        idle = self.subject.put(rows, self._idle())
        # Mostly the foot stands in one place while it rolls: then one floor serves all rows.
        if np.all(idle == idle[0]):
            key = idle[0].tobytes()
            if key not in self._floors:
                self._floors[key] = self._plane(idle[:1])
            places = np.broadcast_to(self._floors[key], (len(rows), 3, 3))
        else:
            places = self._plane(idle)
        normal, forward = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
        return normal, np.einsum("na,na->n", normal, places[:, 0]), forward, places[:, 0]

    def _plane(self, idle: FloatArray) -> FloatArray:
        """(N, 3, 3) the heel, and a unit over and before it, as the foot carries them."""
        leg = self.leg
        heel = leg.heel.position
        poses = self.subject.evaluate(idle)
        return carried(self.subject, poses, leg.foot, np.stack([heel, heel + leg.sole_normal, heel + leg.axis]))

    def sinking(self, rows: FloatArray) -> FloatArray:
        """(N,) depth of the deepest vertex under the floor, of foot length; negative where all stay over it."""
        return np.asarray(-self.heights(rows).min(axis=1) / self.leg.foot_length, dtype=np.float64)

    def floating(self, rows: FloatArray) -> FloatArray:
        """(N,) height of the lowest vertex over the floor, of foot length."""
        return -self.sinking(rows)

    def sinking_on_stair(self, rows: FloatArray) -> FloatArray:
        """(N,) as `sinking`, where the floor ends in an edge under the ball joint."""
        over_step = np.where(self.ahead(rows) >= 0.0, self.heights(rows), np.inf)
        return np.asarray(-over_step.min(axis=1) / self.leg.foot_length, dtype=np.float64)

    def map(self, row: FloatArray) -> SoleMap:
        """The heights of all vertices in one pose."""
        heights = self.heights(row[None])[0]
        numbers = tuple(int(vertex) for vertex in self.vertices)
        return SoleMap(
            self.leg.name, self.subject.pose(row), numbers, tuple(bounded(float(f"{h:.6g}")) for h in heights)
        )
