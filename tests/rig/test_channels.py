"""Channels: what a person can get wrong, told whole."""

from __future__ import annotations

import numpy as np
import pytest

from instep.errors import ChannelError, RigFileError
from instep.rig import Rig, RigDescription, build_rig
from instep.rig.channels import check_range
from instep.rig.description import ByHand
from tests.measured import make_measured_biped
from tests.rig.made import BIPEDS, made_rig, with_values

CURE = "Choose a value inside, or widen the range in the rig file under by_hand.ranges."


def _built(by_hand: ByHand, controls: str = "essential") -> Rig:
    character, measurement = make_measured_biped()
    description = RigDescription.model_validate({"character": "x", "controls": controls, "by_hand": by_hand})
    return build_rig(character, measurement, description)


def test_an_unknown_channel_names_the_nearest() -> None:
    with pytest.raises(ChannelError) as caught:
        made_rig().pose({"left.foot.rol": 10.0})
    assert str(caught.value) == (
        '"left.foot.rol" is no channel of this rig; expected one such as "left.foot.roll". '
        "See `instep why` for what a control has."
    )


def test_an_unknown_channel_that_is_like_no_other() -> None:
    with pytest.raises(ChannelError) as caught:
        made_rig().pose({"zzzz": 10.0})
    assert str(caught.value) == (
        f'"zzzz" is no channel of this rig; expected one of {len(made_rig().channels)} names. '
        "See `instep why` for what a control has."
    )


def test_a_channel_of_the_full_rig_is_not_called_unknown() -> None:
    with pytest.raises(ChannelError) as caught:
        made_rig().pose({"left.leg.stretch": 1.0})
    assert str(caught.value) == (
        '"left.leg.stretch" is a channel that this rig leaves out; expected one of the '
        f"{len(made_rig().channels)} channels that it has. "
        'Write controls = "full" in the rig file, or take the channel out of by_hand.pinned.'
    )


@pytest.mark.parametrize(("value", "shown"), [(91.0, "91"), (-41.5, "-41.5"), (np.inf, "inf"), (-np.inf, "-inf")])
def test_a_value_out_of_range(value: float, shown: str) -> None:
    with pytest.raises(ChannelError) as caught:
        made_rig().pose({"left.foot.roll": value})
    assert str(caught.value) == f"left.foot.roll = {shown}° is out of range; expected -40 to 90. {CURE}"


def test_one_frame_out_of_range_among_many() -> None:
    values = np.zeros(50)
    values[33] = 100.0
    with pytest.raises(ChannelError) as caught:
        made_rig().pose({"left.foot.roll": values})
    assert str(caught.value) == f"left.foot.roll = 100° is out of range; expected -40 to 90. {CURE}"


def test_a_value_that_is_no_number() -> None:
    for values in (np.nan, [0.0, np.nan, 1.0]):
        with pytest.raises(ChannelError) as caught:
            made_rig().pose({"root.scale": values})
        assert str(caught.value) == f"root.scale = nan is out of range; expected 0.1 to 10. {CURE}"


def test_a_length_out_of_range() -> None:
    rig = made_rig()
    with pytest.raises(ChannelError) as caught:
        rig.pose({"pelvis.up": 1e3})
    limit = 2.0 * rig.plan.unit
    assert str(caught.value) == (f"pelvis.up = 1000 (length) is out of range; expected {-limit:g} to {limit:g}. {CURE}")


@pytest.mark.parametrize("biped", BIPEDS)
def test_every_channel_takes_its_ends_and_its_default(biped: str) -> None:
    rig = made_rig(biped, "full", True)
    assert len({channel.name for channel in rig.channels}) == len(rig.channels)
    for channel in rig.channels:
        assert channel.low <= channel.default <= channel.high
        assert channel.low < channel.high
        assert channel.name == f"{channel.control}.{channel.quantity}"
        assert channel.sentence.endswith(".")
        assert channel.sentence[0].isupper()
        for value in (channel.low, channel.default, channel.high):
            assert check_range(channel, value) == value


def test_a_range_by_hand_is_taken() -> None:
    rig = _built(ByHand(ranges={"left.foot.roll": (-5.0, 12.0)}))
    channel = rig.channels[rig.channel("left.foot.roll")]
    assert (channel.low, channel.high) == (-5.0, 12.0)
    with pytest.raises(ChannelError) as caught:
        rig.pose({"left.foot.roll": 13.0})
    assert str(caught.value) == f"left.foot.roll = 13° is out of range; expected -5 to 12. {CURE}"


def test_a_range_that_leaves_out_the_rest() -> None:
    with pytest.raises(RigFileError) as caught:
        _built(ByHand(ranges={"left.foot.roll": (5.0, 12.0)}))
    assert str(caught.value) == (
        "by_hand.ranges: left.foot.roll rests at 0, outside its range 5 to 12. "
        "Widen the range so that it holds the rest value."
    )


@pytest.mark.parametrize("table", ["ranges", "pinned"])
def test_an_unknown_channel_in_the_rig_file(table: str) -> None:
    value = {"left.foot.rol": (-5.0, 5.0) if table == "ranges" else 1.0}
    with pytest.raises(RigFileError) as caught:
        _built(ByHand.model_validate({table: value}))
    assert str(caught.value) == (
        f'the rig file: by_hand.{table}: "left.foot.rol" is no channel of this character; expected one such as '
        '"left.foot.roll". Correct the name, or delete the line.'
    )


def test_a_pinned_channel_is_gone_and_has_its_value() -> None:
    free, pinned = _built(ByHand()), _built(ByHand(pinned={"left.foot.roll": 20.0, "left.leg.stretch": 0.5}))
    names = [channel.name for channel in pinned.channels]
    assert [channel.name for channel in free.channels if channel.name not in names] == ["left.foot.roll"]
    a = pinned.evaluate(pinned.defaults)
    b = free.evaluate(with_values(free, free.defaults[None], {"left.foot.roll": 20.0}))
    np.testing.assert_allclose(a.position, b.position, rtol=0, atol=1e-12)


def test_a_pinned_value_outside_the_range() -> None:
    with pytest.raises(RigFileError) as caught:
        _built(ByHand(pinned={"root.scale": 0.0}))
    assert str(caught.value) == (
        "by_hand.pinned: root.scale is pinned to 0, outside its range 0.1 to 10. "
        "Pin it to a value inside, or widen the range under by_hand.ranges."
    )


def test_a_follow_channel_of_a_joint_with_dots_belongs_to_the_foot() -> None:
    character, measurement = make_measured_biped()
    options = {"left": {"spaces": ("hand.left",)}}
    description = RigDescription.model_validate({"character": "x", "controls": "full", "options": options})
    rig = build_rig(character, measurement, description)
    channel = rig.channels[rig.channel("left.foot.follow_hand.left")]
    assert (channel.control, channel.quantity) == ("left.foot", "follow_hand.left")


def test_a_share_cannot_be_widened_beyond_what_its_mechanism_bears() -> None:
    for given, shown in (((-1.0, 1.0), "-1 to 1"), ((0.5, 20.0), "0.5 to 20")):
        with pytest.raises(RigFileError) as caught:
            _built(ByHand(ranges={"root.scale": given}))
        assert str(caught.value) == (
            f"by_hand.ranges: root.scale is given the range {shown}, and its mechanism bears 0.1 to 10. "
            "Keep the range of a share inside what the mechanism bears."
        )


def test_columns_of_unlike_length() -> None:
    with pytest.raises(ChannelError) as caught:
        made_rig().pose({"left.foot.roll": [0.0, 1.0, 2.0], "pelvis.up": [0.0, 0.1]})
    assert str(caught.value) == (
        "pelvis.up has 2 values and there are 3 frames; expected 1 value, or 3. "
        "Give every channel as many values as there are frames."
    )
