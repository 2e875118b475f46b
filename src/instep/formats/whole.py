"""Files written whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from instep.errors import OutputError


def write_whole(target: Path | str, content: bytes) -> None:
    """Write a file by way of a temporary one beside it, which then takes its place in one step.

    Raises OutputError where that is not possible; then what stood at `target` before still stands there, and
    nothing is left beside it.
    """
    target = Path(target)
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with open(part, "xb") as file:
            file.write(content)
        os.replace(part, target)
    except BaseException as error:
        with suppress(OSError):  # it was never made, or its folder is gone: the first error is the one to tell
            part.unlink()
        if not isinstance(error, OSError):
            raise
        raise OutputError(
            f"it cannot be written ({error.strerror})",
            where=str(target),
            expected="a folder that exists and may be written to",
            cure="Choose another place with -o",
        ) from error
