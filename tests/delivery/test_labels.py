"""Labels beside a drawing: apart, in reach, and their leaders uncrossed."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from instep.delivery.board import Board
from instep.delivery.labels import ROW, Label, place_column, spread

HEIGHTS = st.lists(st.floats(0, 400), min_size=1, max_size=6)


@given(HEIGHTS)
def test_spreading_is_least_squares(wanted: list[float]) -> None:
    """Against scipy's isotonic regression of the heights without their gaps."""
    gaps = ROW * np.arange(len(wanted))
    expected = isotonic_regression(np.array(wanted) - gaps).x + gaps
    np.testing.assert_allclose(spread(np.array(wanted), ROW, -np.inf, np.inf), expected, atol=1e-9)


@given(HEIGHTS)
def test_heights_keep_apart_and_between_their_bounds(wanted: list[float]) -> None:
    heights = spread(np.array(wanted), ROW, 50.0, 50.0 + 6 * ROW)
    assert (np.diff(heights) >= ROW - 1e-9).all()
    assert heights.min() >= 50.0
    assert heights.max() <= 50.0 + 6 * ROW + 1e-9


@given(st.lists(st.tuples(st.floats(50, 300), st.floats(0, 400)), min_size=1, max_size=5))
def test_labels_never_overlap(places: list[tuple[float, float]]) -> None:
    board = Board()
    labels = [Label(f"place {k}", f"{k}00 mm", x, y) for k, (x, y) in enumerate(places)]
    place_column(board, labels, 320.0, "right", 0.0, 420.0)
    boxes = [box for _, box in board.boxes]
    assert len(boxes) == 2 * len(labels)
    for i, one in enumerate(boxes):
        assert one.left >= 320.0
        assert not any(one.meets(other) for other in boxes[i + 1 :])


def test_leaders_do_not_cross_where_they_need_not() -> None:
    """The nearer place hangs lower than the farther one, yet its label comes first: by height they would cross."""
    board = Board()
    labels = [Label("near", "1 mm", 300.0, 110.0), Label("far", "2 mm", 20.0, 100.0)]
    place_column(board, labels, 320.0, "right", 0.0, 400.0)
    heights = {words: box.top for words, box in board.boxes}
    assert heights["far"] < heights["near"]
    crossing = Board()
    steep = [Label("near", "1 mm", 300.0, 200.0), Label("far", "2 mm", 20.0, 205.0)]
    place_column(crossing, steep, 320.0, "right", 0.0, 400.0)
    assert len(crossing.boxes) == 4
