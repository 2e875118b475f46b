"""What the commands on motion share: reading a motion with its rig, and the names of files."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from instep.motion.model import Contact, Motion
    from instep.rig import Rig


def load_motion(path: Path) -> tuple[Motion, Rig]:
    """A motion on its rig. Raises MoveFileError, and whatever reading and building the rig raises."""
    from instep.motion.file import MoveFileError, fit_to_rig, read_motion
    from instep.rig.file import load_rig

    motion, rig_path = read_motion(path)
    if not rig_path.is_file():
        raise MoveFileError(
            f'there is no rig file "{rig_path.name}", seen from the folder of the motion file',
            where=f"{path.name}: rig",
            expected="the rig file (.rig.toml) of the character",
            cure="Put its path right, or move the file there",
        )
    rig = load_rig(rig_path)
    return fit_to_rig(motion, rig, path.name), rig


def seen_from(target: Path, rig_path: Path) -> str:
    """The path of the rig file as it is written in a motion file at `target`."""
    return Path(os.path.relpath(rig_path.resolve(), target.parent.resolve())).as_posix()


def move_path(target: Path | None, beside: Path, name: str) -> Path:
    """Where a motion goes: where it was asked for, or NAME.move.toml beside a file."""
    from instep.motion.file import MOVE_FILE

    return target if target is not None else beside.parent / f"{name}{MOVE_FILE}"


def contact_data(contacts: tuple[Contact, ...]) -> list[dict[str, Any]]:
    """Contacts for machines."""
    return [
        {
            "leg": contact.leg,
            "part": contact.part,
            "start_s": float(contact.start_s),
            "end_s": float(contact.end_s),
            "confidence": float(contact.confidence),
            "height": float(contact.height),
        }
        for contact in contacts
    ]
