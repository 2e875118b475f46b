"""The two-bone leg: it reaches, keeps its bones, bends where it is told, and stays whole at its singular places."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.frames.vector import Vec
from instep.rig import Rig
from instep.rig.parts.leg import Bones, _pinned
from instep.tolerances import AIM_FADE, LEAST_REACH
from tests.frames.samples import quat, random_turns, rows, turn, vec
from tests.rig.made import (
    SIDES,
    Side,
    at_rest,
    extreme_values,
    in_body,
    joint_places,
    made_rig,
    moved,
    random_values,
    rotations,
    singular_values,
    with_values,
)

EXACT = 1e-9
"""Of leg length."""
KNEES = ("plain", "straight knee", "bent knee", "backward knee", "toe-out", "all at once")


class Leg:
    """One leg of a rig, posed by where its ankle shall be; all in the body's axes, pelvis at rest."""

    def __init__(self, rig: Rig, side: Side) -> None:
        self.rig, self.side = rig, side
        self.plan = next(leg for leg in rig.plan.legs if leg.name == side)
        self.hip, self.knee, self.ankle, self.bend = (
            np.array(list(point), dtype=np.float64)
            for point in (self.plan.hip, self.plan.knee, self.plan.ankle, self.plan.bend)
        )
        self.thigh = float(np.linalg.norm(self.knee - self.hip))
        self.shin = float(np.linalg.norm(self.ankle - self.knee))
        self.whole = self.thigh + self.shin
        self.nearest = abs(self.thigh - self.shin) + LEAST_REACH * rig.plan.unit
        self.u_rest = (self.ankle - self.hip) / np.linalg.norm(self.ankle - self.hip)

    def values(self, goals: FloatArray, settings: Mapping[str, float | FloatArray] | None = None) -> FloatArray:
        """(N, C) with the foot moved so that the ankle's goal is (N, 3), and channels of the leg set."""
        base = at_rest(self.rig, len(goals))
        base = moved(self.rig, base, f"{self.side}.foot", self.plan.side, goals - self.ankle)
        return with_values(self.rig, base, {f"{self.side}.{name}": value for name, value in (settings or {}).items()})

    def aimed(self, values: FloatArray, marks: FloatArray) -> FloatArray:
        """The knee's mark at (N, 3) in root space (`knee.follow` is set to 0)."""
        ahead = self.knee + 0.5 * self.rig.plan.unit * self.bend
        values = with_values(self.rig, values, {f"{self.side}.knee.follow": 0.0})
        return moved(self.rig, values, f"{self.side}.knee", self.plan.side, marks - ahead)

    def joints(self, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, Poses]:
        """Hip, knee and ankle (N, 3), and the poses."""
        poses = self.rig.evaluate(values)
        hip, knee, ankle = (
            in_body(self.rig, joint_places(self.rig, poses, f"{joint}.{self.side}"))
            for joint in ("thigh", "shin", "foot")
        )
        return hip, knee, ankle, poses

    def goals(self, seed: int, count: int, low: float = 0.0, high: float = 1.0) -> FloatArray:
        """(count, 3) all round the hip, from the nearest to the farthest reach, ends included."""
        rng = np.random.default_rng(seed)
        directions = rng.normal(size=(count, 3))
        directions /= np.linalg.norm(directions, axis=1)[:, None]
        directions[: count // 10] = -self.u_rest + rng.normal(size=(count // 10, 3)) * 10.0 ** -rng.uniform(
            0, 15, (count // 10, 1)
        )
        directions /= np.linalg.norm(directions, axis=1)[:, None]
        share = low + (high - low) * rng.uniform(size=(count, 1))
        share[-2:] = [[low], [high]]
        return np.asarray(self.hip + directions * (self.nearest + share * (self.whole - self.nearest)))


def _leg(biped: str, side: Side, controls: str = "full") -> Leg:
    return Leg(made_rig(biped, "full" if controls == "full" else "essential"), side)


def _unit_rows(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1)[:, None])


def _across(vectors: FloatArray, directions: FloatArray) -> FloatArray:
    return np.asarray(vectors - directions * (vectors * directions).sum(axis=1)[:, None])


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", KNEES)
def test_the_ankle_reaches_and_the_bones_keep_their_length(biped: str, side: Side) -> None:
    leg = _leg(biped, side)
    goals = leg.goals(1, 3000)
    hip, knee, ankle, poses = leg.joints(leg.values(goals, {"leg.soft": 0.0}))
    unit = leg.rig.plan.unit
    np.testing.assert_allclose(hip, np.broadcast_to(leg.hip, hip.shape), rtol=0, atol=EXACT * unit)
    assert np.linalg.norm(ankle - goals, axis=1).max() / unit < EXACT
    assert np.abs(np.linalg.norm(knee - hip, axis=1) - leg.thigh).max() / unit < EXACT
    assert np.abs(np.linalg.norm(ankle - knee, axis=1) - leg.shin).max() / unit < EXACT
    rotations(poses)
    # The turns say the same as the places: each bone is its rest bone, turned.
    skeleton = leg.rig.character.skeleton
    R = leg.rig.plan.R_world_body
    for joint, start, end, p_start, p_end in (
        ("thigh", leg.hip, leg.knee, hip, knee),
        ("shin", leg.knee, leg.ankle, knee, ankle),
    ):
        turn = Rotation.from_quat(poses.rotation[:, skeleton.index(f"{joint}.{side}")], scalar_first=True)
        turned = in_body(leg.rig, turn.apply(R @ (end - start)))
        assert np.linalg.norm(turned - (p_end - p_start), axis=1).max() / unit < EXACT


@pytest.mark.parametrize("biped", KNEES)
def test_knee_and_ankle_agree_when_the_goal_is_out_of_reach(biped: str) -> None:
    leg = _leg(biped, "left")
    rng = np.random.default_rng(2)
    goals = leg.hip + _unit_rows(rng.normal(size=(500, 3))) * leg.whole * rng.uniform(1.0, 5.0, (500, 1))
    for soft in (0.0, 1.0):
        hip, knee, ankle, _ = leg.joints(leg.values(goals, {"leg.soft": soft}))
        reached = np.linalg.norm(ankle - hip, axis=1)
        assert reached.max() <= leg.whole * (1 + 1e-12)
        assert reached.min() >= leg.whole - leg.plan.soft - 1e-9
        np.testing.assert_allclose(np.cross(ankle - hip, goals - hip), 0.0, rtol=0, atol=1e-9 * leg.whole**2 * 5)
        assert np.abs(np.linalg.norm(ankle - knee, axis=1) - leg.shin).max() / leg.rig.plan.unit < EXACT
        assert np.abs(np.linalg.norm(knee - hip, axis=1) - leg.thigh).max() / leg.rig.plan.unit < EXACT


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", KNEES)
def test_the_knee_lies_towards_its_mark(biped: str, side: Side) -> None:
    """Exactly, where the mark is farther than AIM_FADE from the line from hip to goal; turned on by the twist."""
    leg = _leg(biped, side)
    count = 3000
    goals = leg.goals(3, count, 0.0, 0.98)
    rng = np.random.default_rng(4)
    marks = leg.hip + rng.normal(size=(count, 3)) * leg.whole
    twist = np.where(np.arange(count) < count // 2, 0.0, rng.uniform(-120, 120, count))
    hip, knee, _, _ = leg.joints(leg.aimed(leg.values(goals, {"knee.twist": twist}), marks))
    u = _unit_rows(goals - hip)
    told, found = _across(marks - hip, u), _across(knee - hip, u)
    clear = np.linalg.norm(told, axis=1) > AIM_FADE * leg.rig.plan.unit
    assert clear.mean() > 0.9
    outward = Rotation.from_rotvec(u * np.radians(-twist * leg.plan.side)[:, None])
    wanted = outward.apply(_unit_rows(told))
    off = np.linalg.norm(_unit_rows(found) - wanted, axis=1)[clear]
    assert off.max() < 1e-9


@pytest.mark.parametrize("biped", KNEES)
def test_a_following_mark_is_carried_by_the_leg(biped: str) -> None:
    """At follow 1, as in the essential rig, the knee bends as at rest, carried by the least turn of the leg."""
    leg = _leg(biped, "left", "essential")
    goals = leg.goals(5, 2000, 0.0, 0.98)
    hip, knee, _, _ = leg.joints(leg.values(goals))
    u = _unit_rows(goals - hip)
    axis = np.cross(leg.u_rest, u)
    sine = np.linalg.norm(axis, axis=1)
    # Closer to the opposite than this the axis is known to less than 1e-9 from the goal as it is rounded here.
    clear = (sine > 1e-5) | ((u @ leg.u_rest) > 0)
    angle = np.arctan2(sine, u @ leg.u_rest)
    carried = Rotation.from_rotvec(axis / np.maximum(sine, 1e-300)[:, None] * angle[:, None]).apply(leg.bend)
    off = np.linalg.norm(_unit_rows(_across(knee - hip, u)) - carried, axis=1)
    assert clear.mean() > 0.9
    assert off[clear].max() < 1e-9


@pytest.mark.parametrize("biped", ["bent knee", "backward knee"])
def test_a_knee_keeps_the_way_it_bends(biped: str) -> None:
    leg = _leg(biped, "right", "essential")
    assert np.sign(leg.bend[2]) == (1.0 if biped == "bent knee" else -1.0)
    rng = np.random.default_rng(6)
    steps = rng.uniform(-0.3, 0.3, (500, 3)) * leg.whole
    goals = leg.hip + leg.u_rest * 0.7 * leg.whole + steps
    hip, knee, ankle, _ = leg.joints(leg.values(goals))
    u = _unit_rows(ankle - hip)
    out = (_across(knee - hip, u) @ leg.bend) / np.linalg.norm(knee - hip, axis=1)
    assert out.min() > 0.0


@pytest.mark.parametrize("controls", ["essential", "full"])
@pytest.mark.parametrize("biped", [*KNEES, "no toes"])
def test_singular_poses_are_finite_unit_and_whole(biped: str, controls: str) -> None:
    """Goal on the hip, opposite, at full reach; mark on the line, at the hip, behind; channels at their ends."""
    rig = made_rig(biped, "full" if controls == "full" else "essential", True)
    values = np.concatenate([singular_values(rig), extreme_values(rig, 500, 7)])
    with np.errstate(all="raise"):
        poses = rig.evaluate(values)
    assert np.isfinite(poses.position).all()
    assert np.isfinite(poses.rotation).all()
    assert np.isfinite(poses.scale).all()
    rotations(poses)


@pytest.mark.parametrize("side", SIDES)
def test_stretch_reaches_up_to_its_limit_and_never_past_it(side: Side) -> None:
    leg = _leg("bent knee", side)
    unit = leg.rig.plan.unit
    assert leg.plan.stretch_limit == 1.3
    away = np.linspace(0.3, 3.0, 800)
    goals = leg.hip + _unit_rows(np.random.default_rng(8).normal(size=(800, 3))) * (away * leg.whole)[:, None]
    hip, knee, ankle, _ = leg.joints(leg.values(goals, {"leg.stretch": 1.0}))
    off = np.linalg.norm(ankle - goals, axis=1)
    softened_from = leg.whole - leg.plan.soft
    assert off[away * leg.whole <= 1.15 * softened_from].max() / unit < EXACT
    thigh, shin = np.linalg.norm(knee - hip, axis=1) / leg.thigh, np.linalg.norm(ankle - knee, axis=1) / leg.shin
    np.testing.assert_allclose(thigh, shin, rtol=1e-9)  # both bones alike
    assert thigh.max() < 1.3
    assert thigh.max() > 1.25
    reached = np.linalg.norm(ankle - hip, axis=1)
    assert np.all(np.diff(reached) >= -1e-12)


def test_soft_reach_has_a_continuous_slope_and_never_locks() -> None:
    leg = _leg("bent knee", "left")
    away = np.linspace(0.9, 1.6, 7001) * leg.whole
    hip, _, ankle, _ = leg.joints(leg.values(leg.hip + leg.u_rest * away[:, None]))
    reached = np.linalg.norm(ankle - hip, axis=1)
    slope = np.diff(reached) / np.diff(away)
    assert slope.max() < 1.0 + 1e-9
    assert slope.min() > 0.0
    assert np.abs(np.diff(slope)).max() < 3.0 * (away[1] - away[0]) / leg.plan.soft
    assert reached.max() < leg.whole


@pytest.mark.parametrize("biped", KNEES)
def test_the_soft_zone_never_reaches_the_rest_pose(biped: str) -> None:
    leg = _leg(biped, "left")
    rest = float(np.linalg.norm(leg.ankle - leg.hip))
    assert leg.plan.soft >= 0.0
    assert leg.whole - leg.plan.soft >= rest * (1 - 1e-15)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("biped", ["plain", "backward knee", "all at once"])
def test_pin_puts_the_knee_at_its_place(biped: str, side: Side) -> None:
    leg = _leg(biped, side)
    count, unit = 500, leg.rig.plan.unit
    goals = leg.goals(9, count)
    shift = np.random.default_rng(10).uniform(-0.5, 0.5, (count, 3)) * unit
    values = leg.values(goals, {"knee.pin": 1.0, "knee.follow": 0.0})
    values = moved(leg.rig, values, f"{side}.knee", leg.plan.side, shift)
    hip, knee, ankle, poses = leg.joints(values)
    assert np.linalg.norm(knee - (leg.knee + shift), axis=1).max() / unit < EXACT
    assert np.linalg.norm(ankle - goals, axis=1).max() / unit < EXACT
    skeleton, R = leg.rig.character.skeleton, leg.rig.plan.R_world_body
    for joint, rest, now in (("thigh", leg.knee - leg.hip, knee - hip), ("shin", leg.ankle - leg.knee, ankle - knee)):
        turn = Rotation.from_quat(poses.rotation[:, skeleton.index(f"{joint}.{side}")], scalar_first=True)
        along = in_body(leg.rig, turn.apply(R @ rest))
        assert np.linalg.norm(_unit_rows(along) - _unit_rows(now), axis=1).max() < EXACT


@pytest.mark.parametrize("biped", ["plain", "backward knee", "straight knee"])
def test_bones_that_are_pinned_opposite_to_where_they_lie_turn_there(biped: str) -> None:
    """By half a turn about the hinge, the one axis that lies across both bones, however the leg is turned."""
    leg = _leg(biped, "left")
    whole = random_turns(12, 200)
    q, zero = quat(whole), Vec(0.0, 0.0, 0.0)
    thigh, shin = whole.apply(leg.knee - leg.hip), whole.apply(leg.ankle - leg.knee)
    place = -0.8 * thigh
    goal = place - 1.1 * shin
    pinned = _pinned(Bones(q, q, zero, vec(thigh), vec(thigh + shin), zero), vec(goal), vec(place), 1.0, leg.plan, 1.0)
    np.testing.assert_allclose(rows(pinned.knee), place, rtol=0, atol=1e-15)
    np.testing.assert_allclose(rows(pinned.ankle), goal, rtol=0, atol=1e-15)
    for found, rest, now in (
        (pinned.thigh, leg.knee - leg.hip, place),
        (pinned.shin, leg.ankle - leg.knee, goal - place),
    ):
        assert np.linalg.norm(_unit_rows(turn(found).apply(rest)) - _unit_rows(now), axis=1).max() < 1e-9


def test_slide_moves_the_knee_and_keeps_the_leg() -> None:
    leg = _leg("bent knee", "left")
    count, unit = 500, leg.rig.plan.unit
    goals = leg.goals(11, count, 0.55, 1.0)
    slide = np.linspace(-0.3, 0.3, count)
    hip, knee, ankle, _ = leg.joints(leg.values(goals, {"knee.slide": slide, "leg.soft": 0.0}))
    thigh, shin = np.linalg.norm(knee - hip, axis=1), np.linalg.norm(ankle - knee, axis=1)
    np.testing.assert_allclose(thigh, leg.thigh * (1 + slide), rtol=0, atol=EXACT * unit)
    np.testing.assert_allclose(thigh + shin, leg.whole, rtol=0, atol=EXACT * unit)
    far = np.linalg.norm(goals - hip, axis=1) > np.abs(thigh - shin) + LEAST_REACH * unit
    assert far.mean() > 0.5
    assert np.linalg.norm(ankle - goals, axis=1)[far].max() / unit < EXACT


class TestContinuity:
    """Random sweeps of goal and mark. A jump would show as a rate that grows as the steps shrink."""

    FINE, COARSE = 1e-7, 1e-4

    def _rates(self, leg: Leg, goals: FloatArray, marks: FloatArray, directions: FloatArray, step: float) -> FloatArray:
        """(N,) fastest joint's place and turn per leg length of travel of goal and mark."""
        unit = leg.rig.plan.unit
        ends = [
            leg.rig.evaluate(
                leg.aimed(leg.values(goals + way * step * unit * directions), marks - way * step * unit * directions)
            )
            for way in (0.0, 1.0)
        ]
        a, b = ends
        sign = np.where((a.rotation * b.rotation).sum(axis=-1, keepdims=True) < 0, -1.0, 1.0)
        turned = np.abs(b.rotation * sign - a.rotation).max(axis=(1, 2))
        placed = np.abs(b.position - a.position).max(axis=(1, 2)) / unit
        return np.asarray(np.maximum(turned, placed) / step)

    @pytest.mark.parametrize("biped", ["bent knee", "backward knee", "toe-out"])
    def test_nothing_jumps_on_random_sweeps(self, biped: str) -> None:
        """Outside the singular places: the goal near the hip or opposite to rest, and the mark's own crossing of
        the leg's line from behind, where the direction in which the knee shall lie turns over."""
        leg = _leg(biped, "left")
        count, unit = 20_000, leg.rig.plan.unit
        rng = np.random.default_rng(12)
        goals = leg.hip + _unit_rows(rng.normal(size=(count, 3))) * leg.whole * rng.uniform(0.2, 2.0, (count, 1))
        marks = leg.hip + rng.normal(size=(count, 3)) * 0.7 * unit
        directions = _unit_rows(rng.normal(size=(count, 3)))
        u = _unit_rows(goals - leg.hip)
        told = np.linalg.norm(_across(marks - leg.hip, u), axis=1)
        clear = (u @ leg.u_rest > -0.95) & (told > AIM_FADE * unit)
        assert clear.mean() > 0.8
        fine = self._rates(leg, goals, marks, directions, self.FINE)[clear]
        coarse = self._rates(leg, goals, marks, directions, self.COARSE)[clear]
        # 1 / AIM_FADE for the mark's turn about the line; for the goal's 1 / 0.2, times tan(162 / 2 degrees) for the
        # turn that the swing gives the plane where it nears the opposite.
        assert fine.max() < 1 / AIM_FADE + 5.0 * 6.3
        assert fine.max() < 1.5 * max(coarse.max(), 20.0)

    def test_within_the_fade_only_the_crossing_itself_is_fast(self) -> None:
        """The mark walks through the leg's line from front to back: the knee turns over, at one place."""
        leg = _leg("bent knee", "left")
        unit = leg.rig.plan.unit
        goal = leg.ankle + 0.2 * (leg.hip - leg.ankle)
        offsets = np.linspace(0.1, -0.1, 20_001) * unit
        hinge = np.cross(leg.u_rest, leg.bend)
        for beside in (1e-2, 5e-3):
            marks = leg.hip + 0.5 * (goal - leg.hip) + offsets[:, None] * leg.bend + beside * unit * hinge
            values = leg.aimed(leg.values(np.repeat(goal[None], len(marks), axis=0)), marks)
            _, knee, _, _ = leg.joints(values)
            steps = np.linalg.norm(np.diff(knee, axis=0), axis=1) / np.abs(offsets[1] - offsets[0])
            assert steps.max() < 1.0 / beside
            assert np.abs(np.diff(steps)).max() < 0.05 / beside

    def test_the_goal_may_pass_through_the_hip_beside_its_singular_place(self) -> None:
        leg = _leg("bent knee", "left", "essential")
        unit = leg.rig.plan.unit
        along = np.linspace(-0.2, 0.2, 40_001) * unit
        side = np.cross(leg.u_rest, leg.bend)
        goals = leg.hip + along[:, None] * side
        values = leg.values(goals)
        _, knee, ankle, _ = leg.joints(values)
        step = along[1] - along[0]
        # Within HIP_FADE of the hip the direction passes over from one side to the other by way of that of rest.
        for path in (knee, ankle):
            assert (np.linalg.norm(np.diff(path, axis=0), axis=1) / step).max() < 2.0 / 1e-3


def test_random_poses_of_the_whole_rig_have_unit_turns() -> None:
    rig = made_rig("plain", "full", True)
    rotations(rig.evaluate(random_values(rig, 3000, 13)))
