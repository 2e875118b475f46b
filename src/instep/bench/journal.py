"""The project's journal: every accepted change with what was there before, one line of JSON each, only ever added to.

The rig file is the truth about the rig. The journal keeps what a rig file has no place for: the pose, kept poses, the
score, and the way back. It lies beside the rig file, ``grub.rig.journal`` for ``grub.rig.toml``. A process that is
killed leaves at worst half a line at the end, which is taken off when it is read again.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from instep.errors import OutputError, RigFileError
from instep.formats.whole import write_whole

Sheet = dict[str, Any]
"""All that can be undone: "description", "pose", "poses", "score"; plain JSON."""

KEPT: Final = 500
"""Changes that a journal keeps when it is written anew, at opening."""

VERSION: Final = 1
"""Of the journal's layout."""


@dataclass(frozen=True, slots=True)
class Change:
    """What changed, in words, and the entries of the sheet before and after."""

    what: str
    was: Sheet
    now: Sheet


@dataclass(slots=True)
class Journal:
    """A sheet with its history.

    Attributes
    ----------
    path : of the file; its folder must exist when something is added.
    sheet : as it is now.
    done, undone : changes that can be undone, and those that can be done again; the last is next.
    """

    path: Path
    sheet: Sheet
    done: list[Change] = field(default_factory=list)
    undone: list[Change] = field(default_factory=list)

    def change(self, what: str, now: Sheet) -> None:
        """Set entries of the sheet, as one step that can be undone. Raises OutputError where it cannot be written."""
        made = Change(what, {key: self.sheet.get(key) for key in now}, now)
        self._add({"line": "change", "what": what, "was": made.was, "now": made.now})
        self._make(made)

    def undo(self) -> Change | None:
        """Take back the last change; None where there is none."""
        if not self.done:
            return None
        self._add({"line": "undo"})
        return self._unmake()

    def redo(self) -> Change | None:
        """Make again the change that was taken back last; None where there is none."""
        if not self.undone:
            return None
        self._add({"line": "redo"})
        return self._remake()

    def start(self) -> None:
        """Write the file whole: the sheet as it was KEPT changes ago, and the changes since."""
        kept = self.done[-KEPT:]
        oldest = dict(self.sheet)
        for made in reversed(kept):
            oldest |= made.was
        lines: list[dict[str, Any]] = [{"line": "start", "journal": VERSION, "sheet": oldest}]
        lines += [{"line": "change", "what": made.what, "was": made.was, "now": made.now} for made in kept]
        for made in reversed(self.undone):
            lines.append({"line": "change", "what": made.what, "was": made.was, "now": made.now})
        lines += [{"line": "undo"}] * len(self.undone)
        write_whole(self.path, b"".join(_line(line) for line in lines))
        self.done = kept

    def _make(self, made: Change) -> None:
        self.sheet |= made.now
        self.done.append(made)
        self.undone.clear()

    def _unmake(self) -> Change:
        made = self.done.pop()
        self.sheet |= made.was
        self.undone.append(made)
        return made

    def _remake(self) -> Change:
        made = self.undone.pop()
        self.sheet |= made.now
        self.done.append(made)
        return made

    def _add(self, line: dict[str, Any]) -> None:
        size = self.path.stat().st_size if self.path.exists() else 0
        try:
            with open(self.path, "ab") as file:
                file.write(_line(line))
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            with suppress(OSError):  # the first error is the one to tell; half a line would hide what comes next
                os.truncate(self.path, size)
            raise OutputError(
                f"it cannot be written ({error.strerror})",
                where=self.path.name,
                expected="a folder that exists and may be written to",
                cure="Make room there; what was asked for has not been done",
            ) from error


def read_journal(path: Path, sheet: Sheet) -> Journal:
    """The journal at `path`, or a new one on `sheet` where there is none.

    Raises RigFileError where the file is no journal. A last line that is not whole is left out.
    """
    if not path.exists():
        return Journal(path, dict(sheet))
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError as error:
        raise RigFileError(f"it cannot be read ({error.strerror})", where=path.name) from error
    journal: Journal | None = None
    for number, text in enumerate(lines[:-1], 1):  # what follows the last line's end was never finished
        try:
            line = json.loads(text)
            if line["line"] == "start" and line["journal"] == VERSION:
                journal = Journal(path, dict(sheet) | dict(line["sheet"]))
            elif line["line"] == "change" and journal is not None:
                journal._make(Change(str(line["what"]), dict(line["was"]), dict(line["now"])))
            elif line["line"] == "undo" and journal is not None:
                journal._unmake()
            elif line["line"] == "redo" and journal is not None:
                journal._remake()
            else:
                raise ValueError(line["line"])
        except (ValueError, KeyError, TypeError, IndexError):
            raise RigFileError(
                "this line is not one that the bench writes",
                where=f"{path.name}: line {number}",
                expected="a journal of this version",
                cure="Move the file away: the pose, the kept poses and the way back are in it, the rig is not",
            ) from None
    return journal or Journal(path, dict(sheet))


def _line(line: dict[str, Any]) -> bytes:
    return json.dumps(line, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"
