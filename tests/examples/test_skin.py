"""Laws of the gates and of the shares that they give."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from examples.salt_ferry.fields import ball
from examples.salt_ferry.skin import (
    INFLUENCES,
    across,
    always,
    aside,
    belonging,
    both,
    either,
    led,
    opposite,
    packed,
    ramp,
    weigh,
)

NAMES = ("root", "pelvis", "spine", "thigh.left", "shin.left", "foot.left", "toes.left")
PARENTS = np.array([-1, 0, 1, 1, 3, 4, 5])
SEEDS = st.integers(0, 2**32 - 1)


def test_a_ramp_is_flat_at_both_ends_and_even_in_the_middle() -> None:
    x = np.array([-1.0, 0.0, 0.5, 1.0, 2.0])
    np.testing.assert_array_equal(ramp(x, 0.0, 1.0), [0.0, 0.0, 0.5, 1.0, 1.0])
    step = 1e-4
    for end in (0.0, 1.0):
        values = ramp(np.array([end - step, end, end + step]), 0.0, 1.0)
        np.testing.assert_allclose(np.diff(values) / step, 0.0, atol=1e-6)


@given(SEEDS)
def test_shares_sum_to_one_and_keep_to_the_number_of_influences(seed: int) -> None:
    noise = np.random.default_rng(seed)
    points = noise.uniform(-1, 1, (300, 3))
    gates = {
        "pelvis": always,
        **{name: across(noise.uniform(-1, 1, 3), noise.normal(size=3), 0.6, 0.6) for name in NAMES[2:]},
    }
    weights = weigh(points, NAMES, PARENTS, gates)
    np.testing.assert_allclose(weights.sum(axis=1), 1.0, rtol=0, atol=1e-12)
    assert (weights >= 0.0).all()
    assert ((weights > 0.0).sum(axis=1) <= INFLUENCES).all()
    joints, values = packed(weights)
    again = np.zeros_like(weights)
    np.add.at(again, (np.arange(300)[:, None], joints), values)
    np.testing.assert_array_equal(again, weights)
    assert (np.diff(values, axis=1) <= 0.0).all()


def test_a_joint_that_takes_no_part_passes_its_share_on() -> None:
    points = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    gates = {"pelvis": always, "foot.left": across((0.0, 0.0, 0.0), (0.0, -1.0, 0.0), 0.5, 0.5)}
    weights = weigh(points, NAMES, PARENTS, gates)
    np.testing.assert_array_equal(weights[:, NAMES.index("foot.left")], [1.0, 0.5, 0.0])
    np.testing.assert_array_equal(weights[:, NAMES.index("pelvis")], [0.0, 0.5, 1.0])


@given(SEEDS)
def test_gates_combine_as_chances_do(seed: int) -> None:
    noise = np.random.default_rng(seed)
    points = noise.uniform(-1, 1, (100, 3))
    one, two = aside(0.5), across((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), 0.5, 0.5)
    np.testing.assert_allclose(either(one, two)(points), opposite(both(opposite(one), opposite(two)))(points))
    np.testing.assert_array_equal(both(one, two)(points), one(points) * two(points))


def test_what_belongs_to_a_limb_is_led_past_the_trunks_gates() -> None:
    trunk, limb = ball((0.0, 0.0, 0.0), 0.3), ball((1.0, -1.0, 0.0), 0.3)
    points = np.array([[1.0, -1.0, 0.0], [0.0, -0.2, 0.0], [0.5, -0.5, 0.0]])
    own = belonging(limb, trunk, 0.1)
    np.testing.assert_array_equal(own(points), [1.0, 0.0, 0.5])
    below = across((0.0, -0.1, 0.0), (0.0, -1.0, 0.0), 0.01, 0.01)
    gates = led({"pelvis": always, "spine": opposite(below), "thigh.left": below}, own, ("spine",))
    assert gates["pelvis"] is always
    np.testing.assert_array_equal(gates["spine"](points), [1.0, 0.0, 0.5])
    np.testing.assert_array_equal(gates["thigh.left"](points), [0.0, 1.0, 0.5])
