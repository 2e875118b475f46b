"""instep bench: measure, build, pose, prove, move and hand over in the browser."""

from __future__ import annotations

import webbrowser
from pathlib import Path
from urllib.parse import urlsplit

import click

from instep.cli.answer import STATUS
from instep.errors import InstepError


@click.command(short_help="Open the bench: pose, judge and mend a rig in the browser.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Otherwise one that is free.")
@click.option("--open/--no-open", "show", default=True, help="Whether to open the page in the browser.")
def bench(file: Path, port: int, show: bool) -> None:
    """Open the bench on FILE: a character (.glb or .gltf), a rig file (.rig.toml), or a folder of them.

    The page is served to this machine alone, at a link with a token that only you have. What is changed there is
    written to the rig file at once; beside it lies NAME.rig.journal with poses and the way back. Stop with Control-C.
    """
    from instep.bench.serve import is_free, prepare, remember, remembered, serve

    last, token = remembered(file)
    port = port or (last if last and is_free(last) else 0)

    def ready(link: str) -> None:
        remember(file, urlsplit(link).port or 0, token)
        click.echo(f"The bench is at {link}")
        click.echo("Stop with Control-C; everything is written as it is done.")
        if show:
            webbrowser.open(link)

    try:
        serve(prepare(file), port=port, token=token, ready=ready)
    except InstepError as error:
        click.echo("Error: " + " ".join(str(error).split("\n")), err=True)
        click.get_current_context().exit(STATUS)
    except KeyboardInterrupt:
        click.echo("The bench is closed.")
