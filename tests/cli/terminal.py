"""Running commands as a person does, and looking at what they leave behind."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from instep.cli import instep


def run(*arguments: str | Path) -> Result:
    """Run a command; anything but an ordinary end, a claim that falls short or a user's error is raised."""
    result = CliRunner().invoke(instep, [str(argument) for argument in arguments], catch_exceptions=False)
    assert result.exit_code in (0, 1, 2), result.output
    return result


def answer(*arguments: str | Path) -> Any:
    """The JSON that a command answers with; nothing may stand on the error stream."""
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return json.loads(result.stdout)


def refusal(*arguments: str | Path) -> str:
    """The error line of a command that must refuse: status 2, one line, nothing on the standard output.

    The same command with --json must say the same there.
    """
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    line = result.stderr.removeprefix("Error: ").rstrip("\n")
    machine = run(*arguments, "--json")
    assert machine.exit_code == 2
    assert machine.stderr == ""
    error = json.loads(machine.stdout)["error"]
    assert list(error) == ["kind", "message", "where", "seen", "expected", "cure"]
    assert error["message"] == line
    return line


def contents(folder: Path) -> dict[str, bytes | None]:
    """All files below a folder with their bytes, and folders with None."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }
