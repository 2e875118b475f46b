"""Parts are put together in the order of the data flow; a circle is refused with its path."""

from __future__ import annotations

import pytest

from instep.errors import CycleError
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.assemble import COMPONENTS
from tests.measured import make_measured_biped
from tests.rig.made import made_rig
from tests.rig.test_planning import with_joint

REST = (
    "; expected an order in which each control follows only what is placed before it. "
    "Take one of these out of the foot's spaces in the rig file."
)


def _built(spaces: dict[str, tuple[str, ...]]) -> Rig:
    """A biped with a spur on its left foot, that carries a bell."""
    character, measurement = make_measured_biped()
    character = with_joint(character, "spur", "foot.left", [0.1, 0.1, -0.1])
    character = with_joint(character, "bell", "spur", [0.1, 0.12, -0.15])
    options = {leg: {"spaces": names} for leg, names in spaces.items()}
    description = RigDescription.model_validate({"character": "x", "controls": "full", "options": options})
    return build_rig(character, measurement, description)


def test_a_foot_that_follows_what_hangs_on_it() -> None:
    with pytest.raises(CycleError) as caught:
        _built({"left": ("spur",)})
    path = "left follows spur follows left"
    other = "spur follows left follows spur"
    assert str(caught.value) in {f"controls follow one another in a circle: {p}{REST}" for p in (path, other)}


def test_a_longer_circle_is_told_whole() -> None:
    with pytest.raises(CycleError) as caught:
        _built({"left": ("right.foot",), "right": ("bell",)})
    ring = ["left", "right", "bell", "spur"]
    paths = {" follows ".join([*ring[k:], *ring[:k], ring[k]]) for k in range(4)}
    assert str(caught.value) in {f"controls follow one another in a circle: {path}{REST}" for path in paths}


def test_a_foot_that_follows_itself() -> None:
    with pytest.raises(CycleError) as caught:
        _built({"left": ("left.foot",)})
    assert str(caught.value) == f"controls follow one another in a circle: left follows left{REST}"


def test_a_foot_may_follow_the_other_foot() -> None:
    rig = _built({"left": ("pelvis",), "right": ("pelvis", "left.foot", "bell")})
    names = [channel.name for channel in rig.channels]
    assert {"right.foot.follow_left.foot", "right.foot.follow_bell"} <= set(names)
    moved = rig.influence[rig.plan.drivers.index("right.foot")]
    assert moved[names.index("left.foot.roll")]
    assert moved[names.index("bell.yaw")]
    assert not rig.influence[rig.plan.drivers.index("left.foot"), names.index("right.foot.roll")]


def test_outputs_are_a_scale_and_then_seven_numbers_a_driver() -> None:
    rig = made_rig("plain", "full", True)
    wanted = ["root.scale", *(f"{driver}.{component}" for driver in rig.plan.drivers for component in COMPONENTS)]
    assert list(rig.program.outputs) == wanted
    assert rig.program.inputs == tuple(channel.name for channel in rig.channels)
