"""Rigs broken on purpose, each in the way that one check is for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import casadi
import numpy as np

from instep.character import Character
from instep.character.arrays import FloatArray, IntArray
from instep.frames.vector import Vec
from instep.landmarks import LegLandmarks, Measurement
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.assemble import assemble
from instep.rig.channels import ControlSet
from instep.rig.description import ByHand
from instep.rig.plan import LegPlan
from instep.rig.program import Instruction, Op, Program
from instep.rig.program.trace import trace
from tests.measured import make_measured_biped


def sound(controls: ControlSet = "essential", **options: Any) -> Rig:
    """A biped's rig, as it should be."""
    character, measurement = make_measured_biped(**options)
    return build_rig(character, measurement, RigDescription(character="biped.glb", controls=controls))


def with_plan(rig: Rig, change: Callable[[LegPlan], LegPlan]) -> Rig:
    """The rig of a plan whose legs are changed."""
    plan = replace(rig.plan, legs=tuple(change(leg) for leg in rig.plan.legs))
    traced = assemble(plan, rig.description.controls)
    program = trace(traced.function, [channel.name for channel in traced.channels], traced.outputs)
    return replace(rig, plan=plan, traced=traced, program=program)


def with_inputs(rig: Rig, change: Callable[[casadi.SX, dict[str, int]], None]) -> Rig:
    """The rig whose joints hear changed channels; where its controls are drawn stays as it was."""
    return _with_function(rig, change, lambda x, y, numbers, outputs: None)


def with_outputs(rig: Rig, change: Callable[[casadi.SX, casadi.SX, dict[str, int], dict[str, int]], None]) -> Rig:
    """The rig with outputs y changed by its channels x, both by their numbers."""
    return _with_function(rig, lambda x, numbers: None, change)


def _with_function(
    rig: Rig,
    change_inputs: Callable[[casadi.SX, dict[str, int]], None],
    change_outputs: Callable[[casadi.SX, casadi.SX, dict[str, int], dict[str, int]], None],
) -> Rig:
    names = [channel.name for channel in rig.channels]
    numbers = {name: number for number, name in enumerate(names)}
    outputs = {name: number for number, name in enumerate(rig.traced.outputs)}
    x = casadi.SX.sym("x", len(names))
    heard = casadi.SX(x)
    change_inputs(heard, numbers)
    y = casadi.SX(rig.function(heard))
    change_outputs(x, y, numbers, outputs)
    function = casadi.Function("rig", [x], [y])
    traced = replace(rig.traced, function=function)
    return replace(rig, traced=traced, program=trace(function, names, rig.traced.outputs))


def with_mesh(rig: Rig, change: Callable[[IntArray, FloatArray, Measurement], None]) -> Rig:
    """The rig of a character whose joints and weights (copies, changed in place) are others."""
    mesh = rig.character.mesh
    assert mesh is not None
    joints, weights = np.array(mesh.joints), np.array(mesh.weights)
    joints = np.concatenate([joints, np.zeros((len(joints), 1), dtype=np.int64)], axis=1)
    weights = np.concatenate([weights, np.zeros((len(weights), 1))], axis=1)
    change(joints, weights, rig.measurement)
    character = Character("biped", rig.character.skeleton, replace(mesh, joints=joints, weights=weights))
    return build_rig(character, rig.measurement, rig.description)


def with_legs(rig: Rig, change: Callable[[LegLandmarks], LegLandmarks]) -> Rig:
    """The rig built on changed landmarks."""
    measurement = replace(rig.measurement, legs=tuple(change(leg) for leg in rig.measurement.legs))
    return build_rig(rig.character, measurement, rig.description)


def rests_elsewhere() -> Rig:
    """The head's yaw rests at 5 degrees."""
    rig = sound()
    channels = tuple(
        replace(channel, default=5.0) if channel.name == "head.yaw" else channel for channel in rig.channels
    )
    return replace(rig, traced=replace(rig.traced, channels=channels))


def scales_twice() -> Rig:
    """The root's scale raises the head once more."""

    def change(x: casadi.SX, y: casadi.SX, numbers: dict[str, int], outputs: dict[str, int]) -> None:
        y[outputs["head.up"]] += (x[numbers["root.scale"]] - 1.0) * 0.1

    return with_outputs(sound(), change)


def twists_the_wrong_way() -> Rig:
    """The right foot's twist has the other sign."""

    def change(x: casadi.SX, numbers: dict[str, int]) -> None:
        x[numbers["right.foot.twist"]] *= -1.0

    return with_inputs(sound(), change)


def heel_pivot_ahead() -> Rig:
    """Both heels turn about a point 0.3 % of the foot's length ahead."""
    return with_plan(sound(), lambda leg: replace(leg, heel=leg.heel + Vec(0.0, 0.0, 0.003 * 0.25)))


def plate_follows_the_foot() -> Rig:
    """The toe pad takes 15 % of its weight from the foot."""

    def change(joints: IntArray, weights: FloatArray, measurement: Measurement) -> None:
        for leg in measurement.legs:
            assert leg.toes is not None
            lead = np.where(joints[leg.sole] == leg.toes, weights[leg.sole], 0.0).sum(axis=1)
            pad = leg.sole[lead > 0.99]
            joints[pad], weights[pad] = 0, 0.0
            joints[pad, 0], weights[pad, 0] = leg.toes, 0.85
            joints[pad, 1], weights[pad, 1] = leg.foot, 0.15

    return with_mesh(sound(), change)


def no_soft_zone() -> Rig:
    """A bent leg that comes to full reach without a soft zone."""
    return with_plan(sound(knee_bend_deg=25.0), lambda leg: replace(leg, soft=0.0))


def knee_hears_less() -> Rig:
    """The leg is solved for four fifths of the way that the knee's mark is moved."""

    def change(x: casadi.SX, numbers: dict[str, int]) -> None:
        for side in ("left", "right"):
            x[numbers[f"{side}.knee.across"]] *= 0.8

    return with_inputs(sound(), change)


def forward_hears_less() -> Rig:
    """The thighs' own yaw turns them by nine tenths of what it says."""

    def change(x: casadi.SX, numbers: dict[str, int]) -> None:
        for side in ("left", "right"):
            x[numbers[f"{side}.thigh.yaw"]] *= 0.9

    return with_inputs(sound("full"), change)


def deaf_head() -> Rig:
    """The head does not hear its yaw."""

    def change(x: casadi.SX, numbers: dict[str, int]) -> None:
        x[numbers["head.yaw"]] = 0.0

    return with_inputs(sound(), change)


def twin_channels() -> Rig:
    """The head's pitch does what the neck's does, and not its own."""

    def change(x: casadi.SX, numbers: dict[str, int]) -> None:
        x[numbers["neck.pitch"]] += x[numbers["head.pitch"]]
        x[numbers["head.pitch"]] = 0.0

    return with_inputs(sound(), change)


def stray_weights() -> Rig:
    """The tops of the left foot follow the right shin by a fifth."""

    def change(joints: IntArray, weights: FloatArray, measurement: Measurement) -> None:
        left, right = measurement.legs
        tops = np.setdiff1d(left.vertices, left.sole)[:20]
        weights[tops] *= 0.8
        joints[tops, -1], weights[tops, -1] = right.shin, 0.2

    return with_mesh(sound(), change)


def loose_weights() -> Rig:
    """The weights of one vertex of the head sum to 0.9."""

    def change(joints: IntArray, weights: FloatArray, measurement: Measurement) -> None:
        weights[0] *= 0.9

    return with_mesh(sound(), change)


def knee_beside_the_leg() -> Rig:
    """Both knees lie beside the plane that the feet point in."""

    def change(leg: LegLandmarks) -> LegLandmarks:
        outward = 0.012 if leg.side == "left" else -0.012
        return replace(leg, knee=replace(leg.knee, position=leg.knee.position + np.array([outward, 0.0, 0.0])))

    return with_legs(sound(), change)


def edited_program() -> Rig:
    """The generated program turns the head by a millionth more than the function says."""
    rig = sound()
    number = [channel.name for channel in rig.channels].index("head.yaw")
    old = rig.program
    instructions: list[Instruction] = []
    moved: dict[int, int] = {}
    for place, instruction in enumerate(old.instructions):
        args = tuple(moved[argument] for argument in instruction.args)
        moved[place] = len(instructions)
        instructions.append(replace(instruction, args=args))
        if instruction.op is Op.INPUT and int(instruction.value) == number:
            instructions.append(Instruction(Op.CONSTANT, (), 1.000001))
            instructions.append(Instruction(Op.MULTIPLY, (moved[place], len(instructions) - 1)))
            moved[place] = len(instructions) - 1
    results = tuple(moved[result] for result in old.results)
    return replace(rig, program=Program(old.inputs, old.outputs, tuple(instructions), results))


def ignores_a_hand() -> Rig:
    """The rig file sets the left heel by hand, but the rig was measured without it."""
    character, measurement = make_measured_biped()
    heel = measurement.legs[0].heel.position
    hand = ByHand(landmarks={"left.heel": (float(heel[0]), float(heel[1]), float(heel[2]) - 0.01)})
    return build_rig(character, measurement, RigDescription(character="biped.glb", by_hand=hand))


@dataclass(frozen=True)
class Breakage:
    """A rig that is broken, the one check that must tell, and what it must say."""

    make: Callable[[], Rig]
    check: str
    what: str
    cause: str


BREAKAGES: Final[Mapping[str, Breakage]] = {
    "rests elsewhere": Breakage(
        rests_elsewhere, "rest", "moves and turns that do not rest at zero", "head.yaw rests at 5 instead of 0."
    ),
    "scales twice": Breakage(
        scales_twice,
        "carry",
        "departure from where the root carries it",
        "The joint head takes the root's scale twice, or not at all: it follows something that the root does not "
        "carry, or "
        "carries twice.",
    ),
    "twists the wrong way": Breakage(
        twists_the_wrong_way,
        "mirror",
        "departure from the mirrored pose",
        "left.foot answers to its channels in another way than its partner on the other side.",
    ),
    "heel pivot ahead": Breakage(
        heel_pivot_ahead,
        "plant",
        "drift at the heel",
        "The foot turns about another point than its heel: the landmark is not where the rig has its pivot, or the "
        "pivots "
        "are nested in another order.",
    ),
    "plate follows the foot": Breakage(
        plate_follows_the_foot,
        "floor",
        "sinking through the roll",
        "",
    ),
    "no soft zone": Breakage(no_soft_zone, "reach", "knee's rate for the foot's travel", ""),
    "knee hears less": Breakage(knee_hears_less, "aim", "knee away from its mark", ""),
    "forward hears less": Breakage(forward_hears_less, "switch", "inverse to forward: move of a joint", ""),
    "deaf head": Breakage(
        deaf_head,
        "influence",
        "channels that move nothing",
        "head.yaw reaches no joint: what the channel feeds was left out.",
    ),
    "twin channels": Breakage(
        twin_channels,
        "influence",
        "channels that do the same as another",
        "neck.pitch and head.pitch move all joints alike wherever they stand.",
    ),
    "stray weights": Breakage(
        stray_weights,
        "skin",
        "weight on a strange joint",
        "A vertex of a shin or a foot follows a joint that is not of its leg: it is dragged along when that joint "
        "moves "
        "(left). "
        "The foot shrinks or swells as it bends: linear blending pulls the skin across the bend (left).",
    ),
    "loose weights": Breakage(
        loose_weights,
        "skin",
        "sum of weights",
        "Weights that do not sum to one scale the skin towards the world's origin.",
    ),
    "knee beside the leg": Breakage(
        knee_beside_the_leg,
        "skeleton",
        "knee out of the leg's plane",
        "The knee bends across the foot: it swings sideways when the foot is raised (left and right).",
    ),
    "edited program": Breakage(edited_program, "programs", "difference of", ""),
    "ignores a hand": Breakage(
        ignores_a_hand,
        "rebuild",
        "values set by hand that the rig does not have",
        "left.heel is set by hand, but the rig was built without it: it is older than its rig file.",
    ),
}
"""The table of breakages against checks. `range` is advice and has none."""
