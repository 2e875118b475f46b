"""Why a joint moves: as the data flow says, by routes that the parts really have."""

from __future__ import annotations

import numpy as np
import pytest

from instep.errors import ChannelError
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.description import LegOptions
from instep.rig.explain import explain
from tests.measured import make_measured_biped


def _rig(toes: bool = True, **options: object) -> Rig:
    character, measurement = make_measured_biped(toes=toes)
    return build_rig(character, measurement, RigDescription.model_validate({"character": "x", **options}))


RIGS = {
    "essential": {},
    "full": {"controls": "full"},
    "without plain controls": {"controls": "full", "plain": False},
    "without toes": {"controls": "full", "toes": False},
    "spaces": {
        "controls": "full",
        "options": {"left": LegOptions(spaces=("chest", "pelvis")), "right": LegOptions(spaces=("left.toes",))},
    },
}


@pytest.mark.parametrize("kind", RIGS)
def test_reasons_are_the_data_flow_with_a_route_for_each(kind: str) -> None:
    rig = _rig(**RIGS[kind])  # type: ignore[arg-type]
    for number, role in enumerate(rig.plan.drivers):
        (reason, *others) = explain(rig, role).joints
        assert reason.role == role
        assert all(other.role != role for other in others)  # a joint may have the name of another's role
        channels = [channel for mover in reason.movers for channel in mover.channels]
        assert {channel.name for channel in channels} == {
            channel.name for channel, moves in zip(rig.channels, rig.influence[number], strict=True) if moves
        }
        for mover in reason.movers:
            assert mover.route[0] == mover.control
            assert mover.route[-1] == role
            assert len(set(mover.route)) == len(mover.route) or role.endswith(".foot")
    followed = set(rig.plan.followers.tolist())
    for column, channel in enumerate(rig.channels):
        (told,) = explain(rig, channel.name).channels
        drivers = [rig.plan.drivers[k] for k in np.flatnonzero(rig.influence[:, column]) if k in followed]
        assert [moved.role for moved in told.moves] == drivers
        assert all((moved.route[0], moved.route[-1]) == (channel.control, moved.role) for moved in told.moves)


def test_every_joint_is_explained_by_its_own_name() -> None:
    rig = _rig()
    for joint in rig.character.skeleton.names:
        assert any(joint in reason.joints for reason in explain(rig, joint).joints)


def test_routes_of_the_foot() -> None:
    rig = _rig(controls="full", options={"left": LegOptions(spaces=("chest",))})
    routes = {mover.control: mover.route for mover in explain(rig, "left.shin").joints[0].movers}
    assert routes["left.foot"] == (
        *("left.foot", "left.heel", "left.outer", "left.inner", "left.tip", "left.ball", "left.leg", "left.shin"),
    )
    assert routes["left.knee"] == ("left.knee", "left.leg", "left.shin")
    assert routes["left.thigh"] == ("left.thigh", "left.shin")
    assert routes["pelvis"] == ("pelvis", "left.leg", "left.shin")
    assert routes["chest"][:3] == ("chest", "left.foot", "left.heel")
    assert routes["root"] == ("root", "left.shin")
    assert "right.foot" not in routes


def test_a_name_may_be_joint_and_control() -> None:
    reasons = explain(_rig(), "left.foot")
    assert [reason.joints for reason in reasons.joints] == [("foot.left",)]
    assert {reason.channel.control for reason in reasons.channels} == {"left.foot"}


def test_an_unknown_name_names_the_nearest() -> None:
    with pytest.raises(ChannelError) as caught:
        explain(_rig(), "left.fot")
    assert str(caught.value) == (
        '"left.fot" is no joint, control or channel of this rig; expected one such as "left.foot". '
        "See `instep look` for the joints, `instep why left.foot` for what a control has."
    )
