"""instep cast: many characters with one recipe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.delivery.cast import CastResult


@click.command(short_help="Rig and prove many characters with one recipe, on one page.")
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path),
    default=Path("cast"),
    show_default=True,
    help="Folder for the results; made if need be.",
)
@click.option("--recipe", type=click.Path(path_type=Path), help="A recipe (TOML) in place of the usual one.")
@click.option("--sheets", is_flag=True, help="Draw each character's rig sheet as well.")
@click.option("--models", is_flag=True, help="Write each character's model with exercise clips as well.")
@click.option("--only", help="Run these checks alone, with commas between.")
@click.option("--workers", type=click.IntRange(1, 512), help="Processes; otherwise as many as there are cores.")
@click.option(
    "--since",
    metavar="WHEN",
    help='Build only what has changed: since the "last" run, by content, or since a time such as 2026-03-01T18:00.',
)
@click.option("--cluster", metavar="ADDRESS", help="Run on the workers of a Dask scheduler: tcp://HOST:PORT.")
@answers
def cast(
    sources: tuple[Path, ...],
    folder: Path,
    recipe: Path | None,
    sheets: bool,
    models: bool,
    only: str | None,
    workers: int | None,
    since: str | None,
    cluster: str | None,
) -> Answer:
    """Rig and prove all characters in SOURCES: folders with all below them, models, or .txt files with one path a line.

    Writes cast.html, a row for each with its feet and figures, cast.json, and each character's rig file and built form
    in a folder of its own. One that fails stops no other. A run that was interrupted is taken up where it ended. Ends
    with status 1 where a check falls short or a character could not be rigged.
    """
    from instep.delivery.cast import parse_since, run_cast
    from instep.delivery.cast_recipe import CastRecipe, make_recipe, read_recipe

    chosen = read_recipe(recipe) if recipe is not None else CastRecipe()
    data = chosen.model_dump(exclude_none=True)
    data |= {"sheets": sheets or chosen.sheets, "models": models or chosen.models}
    if only is not None:
        data["checks"] = tuple(name.strip() for name in only.split(",") if name.strip())
    chosen = make_recipe(data, "the command line")
    when = None if since is None else parse_since(since)
    with working("looking for characters") as tell:
        result = run_cast(
            sources,
            folder,
            chosen,
            workers=workers,
            since=when,
            cluster=cluster,
            progress=lambda done, total, name, outcome: tell(f"{done} of {total} done; {name}: {outcome}"),
        )
    short = bool(result.named("falls short") or result.named("failed"))
    return Answer(_data(result), lambda: _text(result), status=1 if short else 0)


def _data(result: CastResult) -> dict[str, Any]:
    return {
        "page": str(result.page),
        "data": str(result.data),
        "built": list(result.built),
        "characters": [{"name": entry.name, "outcome": entry.outcome} for entry in result.outcomes],
    }


def _text(result: CastResult) -> list[RenderableType]:
    from instep.cli.wording import heading, line, table

    kept = len(result.outcomes) - len(result.built)
    parts: list[RenderableType] = [
        heading(f"{len(result.outcomes)} characters: {len(result.named('holds'))} hold")
        if not kept
        else heading(
            f"{len(result.outcomes)} characters, {kept} of them as they were: {len(result.named('holds'))} hold"
        )
    ]
    for outcome, words in (("falls short", "Fall short"), ("failed", "Could not be rigged")):
        names = result.named(outcome)
        if names:
            parts.append(heading(words))
            parts += [line(name) for name in names[:20]]
            if len(names) > 20:
                parts.append(line(f"and {len(names) - 20} more"))
    parts.append(heading("Written"))
    parts.append(
        table(("", ""), [(str(result.page), "open it in a browser"), (str(result.data), "the same, for programs")])
    )
    return parts
