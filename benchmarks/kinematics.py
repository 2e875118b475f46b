"""Forward kinematics alone of the same skeleton, by libraries made for it: turns of 20 joints given, places out.

The rig does more: it solves two legs and feet. The comparison says what all of that costs.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import mujoco
import numpy as np
import pinocchio
from scipy.spatial.transform import Rotation

from benchmarks.rigs import POSES, random_poses, two_legged
from benchmarks.timing import Contestant, Group, race, timed
from instep.character import Skeleton
from instep.character.arrays import FloatArray

SINGLE: Final = 4_096
"""Poses for what is called once a pose."""
BALL: Final = mujoco.mjtJoint(1)
"""MuJoCo's joint that turns all ways."""


def time_kinematics() -> Group:
    """All figures in one group, the rig first."""
    rig = two_legged("essential", True)
    skeleton = rig.character.skeleton
    values = random_poses(rig)
    flat = Rotation.random(POSES * len(skeleton), rng=np.random.default_rng(2)).as_quat(scalar_first=True)
    turns = np.asarray(flat.reshape(POSES, len(skeleton), 4), dtype=np.float64)
    by_scipy, by_pinocchio, by_mujoco = _scipy(skeleton, turns), _pinocchio(skeleton, turns), _mujoco(skeleton, turns)
    _assert_equal(by_scipy[1](), by_pinocchio[1](), by_mujoco[1]())
    contestants = [
        Contestant(
            "Instep, the whole rig", "`Rig.evaluate` with plain controls", timed(lambda: rig.evaluate(values)), POSES
        ),
        Contestant(
            "pinocchio", "`forwardKinematics` a pose, from Python, spherical joints", timed(by_pinocchio[0]), SINGLE
        ),
        Contestant("MuJoCo", "`mj_kinematics` a pose, from Python, ball joints", timed(by_mujoco[0]), SINGLE),
        Contestant("scipy", f"`Rotation`, {POSES:,} poses at once, joint by joint", timed(by_scipy[0]), POSES),
    ]
    about = (
        f"{len(skeleton)} joints; places agree between the three to 1e-9. pinocchio has no parallel form of this "
        "function; MuJoCo's batch function, `rollout`, steps the physics as well and is not comparable"
    )
    return race("Forward kinematics alone, the same skeleton", about, "poses", contestants)


Timed = tuple[Callable[[], object], Callable[[], FloatArray]]
"""What is timed, and the (10, J, 3) places of the first ten poses."""


def _offsets(skeleton: Skeleton) -> FloatArray:
    """(J, 3) from parent to joint at rest."""
    parents = skeleton.parents
    above = np.where((parents >= 0)[:, None], skeleton.positions[parents], 0.0)
    return np.asarray(skeleton.positions - above)


def _scipy(skeleton: Skeleton, turns: FloatArray) -> Timed:
    offsets = _offsets(skeleton)
    local = [Rotation.from_quat(turns[:, joint], scalar_first=True) for joint in range(len(skeleton))]

    def run() -> FloatArray:
        world: list[Rotation] = []
        places = np.empty((len(turns), len(skeleton), 3))
        for joint, parent in enumerate(skeleton.parents):
            if parent < 0:
                world.append(local[joint])
                places[:, joint] = offsets[joint]
            else:
                world.append(world[parent] * local[joint])
                places[:, joint] = places[:, parent] + world[parent].apply(offsets[joint])
        return places

    return run, lambda: run()[:10]


def _pinocchio(skeleton: Skeleton, turns: FloatArray) -> Timed:
    model: Any = pinocchio.Model()
    offsets = _offsets(skeleton)
    numbers: list[int] = []
    for joint, parent in enumerate(skeleton.parents):
        placement = pinocchio.SE3(np.eye(3), offsets[joint])
        above = numbers[parent] if parent >= 0 else 0
        numbers.append(model.addJoint(above, pinocchio.JointModelSpherical(), placement, skeleton.names[joint]))
    data = model.createData()
    configurations = np.roll(turns[:SINGLE], -1, axis=2).reshape(SINGLE, -1)

    def run() -> None:
        for q in configurations:
            pinocchio.forwardKinematics(model, data, q)

    def places() -> FloatArray:
        found = []
        for q in configurations[:10]:
            pinocchio.forwardKinematics(model, data, q)
            found.append([np.array(data.oMi[number].translation) for number in numbers])
        return np.array(found)

    return run, places


def _mujoco(skeleton: Skeleton, turns: FloatArray) -> Timed:
    spec = mujoco.MjSpec()
    offsets = _offsets(skeleton)
    bodies: list[Any] = []
    for joint, parent in enumerate(skeleton.parents):
        body = (bodies[parent] if parent >= 0 else spec.worldbody).add_body(
            name=skeleton.names[joint], pos=offsets[joint]
        )
        body.add_joint(name=skeleton.names[joint], type=BALL)
        body.mass, body.inertia = 1.0, [1.0, 1.0, 1.0]
        body.explicitinertial = True
        bodies.append(body)
    model = spec.compile()
    data = mujoco.MjData(model)
    configurations = turns[:SINGLE].reshape(SINGLE, -1)
    # MuJoCo orders joints depth first, as it compiles them; a parent's children stay in their order.
    ids = [model.body(name).id for name in skeleton.names]
    columns = np.concatenate([np.arange(4) + model.joint(name).qposadr[0] for name in skeleton.names])
    ordered = np.empty_like(configurations)
    ordered[:, columns] = configurations

    def run() -> None:
        for q in ordered:
            data.qpos[:] = q
            mujoco.mj_kinematics(model, data)

    def places() -> FloatArray:
        found = []
        for q in ordered[:10]:
            data.qpos[:] = q
            mujoco.mj_kinematics(model, data)
            found.append(np.array(data.xpos[ids]))
        return np.array(found)

    return run, places


def _assert_equal(*places: FloatArray) -> None:
    for other in places[1:]:
        np.testing.assert_allclose(other, places[0], rtol=0, atol=1e-9)
