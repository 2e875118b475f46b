"""What all commands share: an answer for people or for machines, errors in one line, and news of long work."""

from __future__ import annotations

import functools
import io
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias, TypeVar

import click

from instep.errors import InstepError

if TYPE_CHECKING:  # rich takes a tenth of a second to import, which --help and --json need not wait for
    from rich.console import Console, RenderableType

STATUS: Final = 2
"""Exit status where the user must change something."""

PLAIN_WIDTH: Final = 160
"""Characters in a line where the output is no terminal: wide enough that no name is broken."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command has to say.

    data : for machines; keys and kinds of values stay what they are from version to version.
    text : for people: lines and tables, made only where they are shown.
    status : what the process ends with: 1 where what was asked for was done and something falls short.
    """

    data: dict[str, Any]
    text: Callable[[], list[RenderableType]]
    status: int = 0


Step: TypeAlias = Callable[[str], None]
Command = TypeVar("Command", bound=Callable[..., Answer])


def answers(function: Command) -> Callable[..., None]:
    """Make a command of a function that returns an Answer: adds --json, shows the answer, turns errors into a line."""

    @click.option("--json", "as_json", is_flag=True, help="Answer in JSON, for machines.")
    @functools.wraps(function)
    def wrapper(*args: Any, as_json: bool, **options: Any) -> None:
        context = click.get_current_context()
        context.obj = as_json
        try:
            answer = function(*args, **options)
        except InstepError as error:
            _tell_error(error, as_json)
            context.exit(STATUS)
        if as_json:
            click.echo(json.dumps(answer.data, ensure_ascii=False, indent=2, allow_nan=False))
        else:
            _print(answer.text())
        if answer.status:
            context.exit(answer.status)

    return wrapper


def _tell_error(error: InstepError, as_json: bool) -> None:
    if as_json:
        data = {
            "kind": type(error).__name__,
            "message": str(error),
            "where": error.where,
            "seen": error.seen,
            "expected": error.expected,
            "cure": error.cure,
        }
        click.echo(json.dumps({"error": data}, ensure_ascii=False, indent=2))
    else:
        click.echo("Error: " + " ".join(str(error).split("\n")), err=True)


def _print(parts: list[RenderableType]) -> None:
    from rich.console import Console

    if sys.stdout.isatty():
        _show(Console(markup=False, highlight=False, emoji=False), parts)
        return
    held = io.StringIO()
    _show(Console(file=held, width=PLAIN_WIDTH, markup=False, highlight=False, emoji=False), parts)
    click.echo("\n".join(line.rstrip() for line in held.getvalue().strip("\n").splitlines()))


def _show(console: Console, parts: list[RenderableType]) -> None:
    for part in parts:
        console.print(part)


@contextmanager
def working(first: str) -> Iterator[Step]:
    """News of long work on the error stream's last line; none where that is no terminal, or with --json.

    Yields a function that takes what is being done now.
    """
    if click.get_current_context().obj or not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console

    with Console(stderr=True, markup=False, highlight=False).status(first) as status:
        yield lambda step: status.update(step)
