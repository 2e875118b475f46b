"""Fitting a walk of a minute: clip to channels with contacts and planted feet, against solving frame by frame."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, Final

import mink
import mujoco
import numpy as np
from scipy.optimize import least_squares

from benchmarks.rigs import two_legged
from benchmarks.timing import Contestant, Group, race, timed
from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.motion.fit import fit_poses
from instep.motion.gait import make_gait, plan_gait
from instep.motion.goals import goals_of
from instep.motion.inverse import solve_channels
from instep.motion.plant import plant
from instep.motion.smoothing import smooth_goals
from instep.rig import Rig, RigDescription, build_rig

RATE: Final = 60.0
SECONDS: Final = 60.0
FEW: Final = 10
"""Frames for what solves one frame at a time: it takes as long for each."""

NEAR: Final = 1e-4
"""Metres by which differential inverse kinematics may miss before it goes on to the next frame."""


def time_motion() -> Group:
    """Frames a second of each way, in turn, on the same walk of the two-legged rig. Real time is 60."""
    rig = two_legged("essential", plain=True)
    planned = plan_gait(rig, 1.3)
    motion = make_gait(rig, planned, cycles=max(round(SECONDS / planned.cycle_s), 1))
    poses = rig.evaluate(motion.values)
    goals = goals_of(rig, poses)

    def whole() -> None:
        plant(rig, fit_poses(rig, poses, RATE).motion)

    frames = len(poses)
    return race(
        "Fitting a clip",
        f"a walk of {frames / RATE:.0f} s at 60 frames a second; real time is 60 frames/s",
        "frames",
        [
            Contestant("fit, contacts and plant", "all that the three commands do", timed(whole), frames),
            Contestant("closed form", "channels of all joints", timed(lambda: solve_channels(rig, goals)), frames),
            Contestant(
                "banded Gauss-Newton",
                "22 channels, smooth at 8 Hz",
                timed(lambda: smooth_goals(rig, goals, RATE, 8.0)),
                frames,
            ),
            Contestant("scipy", "`least_squares` a frame, 22 channels", timed(_scipy(rig, poses)), FEW),
            Contestant("mink", "differential IK a frame, legs alone, to 0.1 mm", timed(_mink(rig, poses)), FEW),
        ],
        tries=3,
    )  # fmt: skip


def _small(rig: Rig) -> Rig:
    description = RigDescription(character="biped", controls="essential", plain=False)
    return build_rig(rig.character, rig.measurement, description)


def _scipy(rig: Rig, poses: Poses) -> Callable[[], None]:
    """Each frame's joints by trust-region least squares, started at the frame before."""
    small = _small(rig)
    wanted = {channel.name for channel in small.channels}
    free = [
        number
        for number, channel in enumerate(small.channels)
        if channel.control == "pelvis"
        or channel.name.endswith((".knee.twist", ".toes.bend"))
        or (channel.control.endswith(".foot") and channel.quantity not in ("roll", "bank", "twist"))
    ]
    assert len(free) == 22, wanted
    joints = [joint for leg in rig.measurement.legs for joint in (leg.thigh, leg.shin, leg.foot, leg.toes or leg.foot)]

    def run() -> None:
        x = small.defaults[free]
        for frame in range(FEW):
            place, turn = poses.position[frame, joints], poses.rotation[frame, joints]

            def residual(x: FloatArray, place: FloatArray = place, turn: FloatArray = turn) -> FloatArray:
                values = small.defaults.copy()
                values[free] = x
                made = small.evaluate(values[None])
                apart = made.rotation[0, joints] * np.sign(np.sum(made.rotation[0, joints] * turn, axis=1))[:, None]
                return np.concatenate([(made.position[0, joints] - place).ravel(), 0.25 * (apart - turn).ravel()])

            x = least_squares(residual, x).x

    return run


def _mink(rig: Rig, poses: Poses) -> Callable[[], None]:
    """Feet and pelvis as frame tasks on the legs of the skeleton, stepped until they are met."""
    skeleton = rig.character.skeleton
    pelvis = rig.measurement.pelvis
    spec = mujoco.MjSpec()
    bodies: dict[int, Any] = {pelvis: spec.worldbody.add_body(name="pelvis", pos=skeleton.positions[pelvis])}
    bodies[pelvis].add_freejoint()
    for leg in rig.measurement.legs:
        above = pelvis
        for joint, kind in ((leg.thigh, 1), (leg.shin, 3), (leg.foot, 1)):
            body = bodies[above].add_body(
                name=skeleton.names[joint], pos=skeleton.positions[joint] - skeleton.positions[above]
            )
            body.add_joint(type=mujoco.mjtJoint(kind), axis=[1, 0, 0])
            bodies[joint], above = body, joint
    for body in bodies.values():
        body.mass, body.inertia, body.explicitinertial = 1.0, [1.0, 1.0, 1.0], True
    model = spec.compile()
    names = {pelvis: "pelvis"} | {leg.foot: skeleton.names[leg.foot] for leg in rig.measurement.legs}
    tasks = {
        joint: mink.FrameTask(name, "body", position_cost=1.0, orientation_cost=0.25) for joint, name in names.items()
    }

    def run() -> None:
        configuration = mink.Configuration(model)
        for frame in range(FEW):
            for joint, task in tasks.items():
                turn = mink.SO3(poses.rotation[frame, joint])
                task.set_target(mink.SE3.from_rotation_and_translation(turn, poses.position[frame, joint]))
            for _ in range(60):
                velocity = mink.solve_ik(configuration, list(tasks.values()), 0.02, "daqp", damping=1e-6)
                configuration.integrate_inplace(velocity, 0.02)
                if max(np.linalg.norm(t.compute_error(configuration)[:3]) for t in tasks.values()) < NEAR:
                    break

    return run


def memory_of_a_long_clip(frames: int = 100_000) -> float:
    """Megabytes that fitting and planting a clip of so many frames adds to the process at most."""
    import resource

    rig = two_legged("essential", plain=True)
    planned = plan_gait(rig, 1.3)
    motion = make_gait(rig, planned, cycles=2)
    values = motion.values[np.arange(frames) % (len(motion) - 1)]
    poses = rig.evaluate(values)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    plant(rig, fit_poses(rig, poses, RATE).motion)
    return (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024.0


if __name__ == "__main__":
    group = time_motion()
    for figure in group.figures:
        print(f"{figure.name}: {figure.value:,.0f} {figure.unit}, {figure.value / RATE:.3g} x real time ({figure.how})")
    if "--long" in sys.argv:
        print(f"100,000 frames: {memory_of_a_long_clip():,.0f} MB")
