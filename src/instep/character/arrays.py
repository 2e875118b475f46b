"""Names for the kinds of array that cross from floor to floor."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]


def frozen(array: NDArray[np.generic]) -> None:
    """Make an array read-only in place: what is in a frozen dataclass does not change."""
    array.setflags(write=False)
