"""Whether native code may be used, as the user says it: the environment variable INSTEP_NATIVE.

``0`` never; ``1`` always, compiling at once; otherwise where it pays.
"""

from __future__ import annotations

import os
from typing import Final

VARIABLE: Final = "INSTEP_NATIVE"


def native_is_off() -> bool:
    """Whether the user has turned native code off."""
    return os.environ.get(VARIABLE, "") == "0"


def native_is_wished() -> bool:
    """Whether the user wants native code even where compiling takes longer than it saves."""
    return os.environ.get(VARIABLE, "") == "1"
