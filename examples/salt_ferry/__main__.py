"""Write the cast to a folder: ``python -m examples.salt_ferry OUT_DIR [--detail 1.0]``."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import click

from examples.salt_ferry import CAST
from instep.errors import InstepError, OutputError
from instep.formats import write_character


def write_cast(folder: Path, detail: float = 1.0) -> list[Path]:
    """Write ``NAME.glb`` for each of the cast, and ``truth.json`` with what is known of their feet.

    Raises OutputError where the folder or a file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            "the folder cannot be made", where=str(folder), cure=f"Name another folder ({error.strerror})"
        ) from error
    written = []
    truth = {}
    for name, make in CAST.items():
        member = make(detail=detail)
        truth[name] = member.truth
        path = folder / f"{name}.glb"
        write_character(member.character, path, colours=member.colours)
        written.append(path)
    path = folder / "truth.json"
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_text(json.dumps(truth, indent=2) + "\n", encoding="utf-8")
        os.replace(beside, path)
    except OSError as error:
        raise OutputError("the file cannot be written", where=str(path), cure=str(error.strerror)) from error
    return [*written, path]


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--detail", default=1.0, show_default=True, help="Number of vertices, as a ratio to the usual.")
def main(folder: Path, detail: float) -> None:
    """Make the cast of The Salt Ferry and write it to FOLDER."""
    try:
        for path in write_cast(folder, detail):
            click.echo(path)
    except InstepError as error:
        click.echo(str(error), err=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
