"""Numbers as they are printed."""

from __future__ import annotations

import pytest

from instep.delivery.lengths import lengths_for, number, shortest


@pytest.mark.parametrize(
    ("height", "length", "text"),
    [
        (1.7, 0.5193, "519 mm"),
        (0.2, 0.0112, "11 mm"),
        (6.0, 2.0, "2,000 mm"),
        (6.01, 2.0, "2.00 units"),
        (79.0, 49.36, "49.4 units"),
        (170.0, 49.36, "49 units"),
        (0.017, 0.005193, "0.0052 units"),
    ],
)
def test_lengths_have_their_unit(height: float, length: float, text: str) -> None:
    assert lengths_for(height).text(length) == text


def test_minus_is_a_minus_and_never_before_zero() -> None:
    assert number(-12.6, 0) == "−13"
    assert number(-0.04, 1) == "0.0"
    assert number(0.0, 2) == "0.00"
    assert shortest(-25.0) == "−25"
    assert shortest(2.5) == "2.5"
    assert shortest(100.0) == "100"
