"""A rig: a pure function from channels to joint transforms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import casadi
import numpy as np
from numpy.typing import ArrayLike

from instep.character import Character, Poses
from instep.character.arrays import BoolArray, FloatArray
from instep.character.pose import rotation_matrices
from instep.errors import ChannelError
from instep.landmarks import Measurement
from instep.rig.assemble import COMPONENTS, Traced, assemble
from instep.rig.channels import Channel, check_range, find_channel
from instep.rig.description import RigDescription
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.joints import joint_function
from instep.rig.native.choice import NativeChoice
from instep.rig.native.evaluator import Rows, joint_rows
from instep.rig.plan import RigPlan
from instep.rig.planning import plan_rig
from instep.rig.program import Program
from instep.rig.program.derivatives import differentiate
from instep.rig.program.sparsity import influence
from instep.rig.program.trace import trace


@dataclass(frozen=True, eq=False)
class Rig:
    """A built rig. Make one with `build_rig`.

    Attributes
    ----------
    character, measurement, description : what it was built from.
    plan : the numbers in its parts.
    program : the rig's function as a straight-line program.
    traced : the same in symbols, with its channels.
    """

    character: Character
    measurement: Measurement
    description: RigDescription
    plan: RigPlan
    program: Program
    traced: Traced

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The animator's numbers, in the order of the program's inputs."""
        return self.traced.channels

    @property
    def function(self) -> casadi.Function:
        """The rig's function in CasADi: the reference that every evaluator is held against."""
        return self.traced.function

    @cached_property
    def defaults(self) -> FloatArray:
        """(C,) each channel's value at rest."""
        return np.array([channel.default for channel in self.channels])

    def channel(self, name: str) -> int:
        """The number of the channel of this name; raises ChannelError that says what there is instead."""
        return find_channel(self.channels, name, self.traced.offered)

    def values(self, settings: Mapping[str, ArrayLike], frames: int | None = None) -> FloatArray:
        """(N, C) channel values: the defaults, with some channels set to a number or to (N,) numbers.

        Raises ChannelError for an unknown channel, a value out of its range, or columns of unlike length.
        """
        columns = {
            self.channel(name): np.atleast_1d(np.asarray(value, dtype=np.float64)) for name, value in settings.items()
        }
        length = frames or max((len(column) for column in columns.values()), default=1)
        for number, column in columns.items():
            if len(column) not in (1, length):
                raise ChannelError(
                    f"{self.channels[number].name} has {len(column)} values and there are {length} frames",
                    expected=f"1 value, or {length}",
                    cure="Give every channel as many values as there are frames",
                )
        table = np.tile(self.defaults, (length, 1))
        for number, column in columns.items():
            for extreme in (column.min(initial=np.inf), column.max(initial=-np.inf)):
                if len(column):
                    check_range(self.channels[number], float(extreme))
            table[:, number] = column
        return table

    @cached_property
    def _evaluator(self) -> Callable[[FloatArray], FloatArray]:
        return compile_numpy(self.program)

    def evaluate_outputs(self, values: FloatArray) -> FloatArray:
        """(O, N) raw outputs of the program, in the order of its names, for (N, C) channel values."""
        return self._evaluator(np.asarray(values, dtype=np.float64).T)

    @cached_property
    def _native(self) -> NativeChoice:
        return NativeChoice(lambda: self.joints_program)

    def evaluate(self, values: FloatArray, *, native: bool | None = None, threads: int | None = None) -> Poses:
        """The poses of all joints for (N, C) channel values; no range is checked.

        Parameters
        ----------
        native : whether compiled code does it, where there is a compiler: False never, True always, None where it pays
            (see `NativeChoice`). The results are the same to 1e-12 of the leg. INSTEP_NATIVE=0 turns it off for all.
        threads : at most so many; None for as many as there are cores. Only compiled code uses more than one.
        """
        values = np.atleast_2d(np.asarray(values, dtype=np.float64))
        frames = len(values)
        evaluator = self._native.evaluator(frames, native) if frames else None
        if evaluator is None:
            return self.poses(self.evaluate_outputs(values))
        joints = len(self.character.skeleton)
        scale, rotation, position = np.empty(frames), np.empty((frames, joints, 4)), np.empty((frames, joints, 3))
        evaluator.into(Rows.of(values.T), joint_rows(scale, rotation, position), frames, threads=threads)
        return Poses(rotation, position, scale)

    def pose(self, settings: Mapping[str, ArrayLike]) -> Poses:
        """The poses for some channels set, all others at rest; ranges are checked."""
        return self.evaluate(self.values(settings))

    def poses(self, outputs: FloatArray) -> Poses:
        """Joints from the program's outputs (O, N): each joint follows its driver rigidly."""
        drivers = len(self.plan.drivers)
        scale = outputs[0]
        table = np.moveaxis(outputs[1:].reshape(drivers, len(COMPONENTS), -1), -1, 0)
        turns, places = table[..., :4], table[..., 4:]
        followers = self.plan.followers
        offset = self.character.skeleton.positions - self.plan.points[followers]
        rotation = turns[:, followers]
        position = places[:, followers].copy()
        apart = np.flatnonzero(np.abs(offset).max(axis=1) > 0.0)
        if len(apart):
            turned = np.einsum("njab,jb->nja", rotation_matrices(rotation[:, apart]), offset[apart])
            position[:, apart] += turned * scale[:, None, None]
        return Poses(np.ascontiguousarray(rotation), position, scale)

    @cached_property
    def joints_program(self) -> Program:
        """The program from channels to all joints of the character: see `instep.rig.joints`."""
        function, outputs = joint_function(self.traced, self.plan, self.character.skeleton)
        return trace(function, self.program.inputs, outputs)

    @cached_property
    def control_frames(self) -> Program:
        """Where each control has gone, as a program of the same channels: see `assemble` for its outputs."""
        return trace(self.traced.frames, self.program.inputs, self.traced.frame_outputs)

    @cached_property
    def _frames_evaluator(self) -> Callable[[FloatArray], FloatArray]:
        return compile_numpy(self.control_frames)

    def control_frames_at(self, values: FloatArray) -> dict[str, FloatArray]:
        """By control, (N, 3, 4) ``[A | t]``: what stood at x in the bind pose goes to ``A x + t``."""
        outputs = self._frames_evaluator(np.asarray(values, dtype=np.float64).T)
        scale = outputs[0]
        found: dict[str, FloatArray] = {}
        names = [name.removesuffix(".w") for name in self.control_frames.outputs if name.endswith(".w")]
        for number, name in enumerate(names):
            rows = outputs[1 + 7 * number : 8 + 7 * number]
            linear = rotation_matrices(rows[:4].T) * scale[:, None, None]
            found[name] = np.concatenate([linear, rows[4:].T[..., None]], axis=-1)
        return found

    @cached_property
    def influence(self) -> BoolArray:
        """(D, C) which driver each channel moves, read off the program's data flow."""
        rows = influence(self.program)
        drivers = len(self.plan.drivers)
        table: BoolArray = rows[1:].reshape(drivers, len(COMPONENTS), -1).any(axis=1) | rows[0]
        return table

    @cached_property
    def jacobian(self) -> Program:
        """The program of the derivatives of all outputs by all channels, zeros left out."""
        names = tuple(channel.name for channel in self.channels)
        return differentiate(self.function, names, self.program.outputs)


def build_rig(character: Character, measurement: Measurement, description: RigDescription | None = None) -> Rig:
    """Build the rig of a measured character.

    Parameters
    ----------
    character, measurement : as read and as measured.
    description : what the rig file says; the defaults where None.

    Raises
    ------
    LandmarkError, RigFileError, CycleError
        Where a bone has no length, the description does not fit the character, or controls go round in a circle.
    """
    description = description or RigDescription(character=character.source.name)
    plan = plan_rig(character, measurement, description)
    traced = assemble(plan, description.controls, description.by_hand.ranges, description.by_hand.pinned)
    program = trace(traced.function, [channel.name for channel in traced.channels], traced.outputs)
    return Rig(character, measurement, description, plan, program, traced)
