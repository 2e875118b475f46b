"""instep emit: a rig as code, for a game or a page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "languages",
    type=click.Choice(["c", "js", "wgsl"]),
    multiple=True,
    help="C99 (also C++), JavaScript with TypeScript declarations, or a WGSL compute shader. May be given again.",
)
@click.option("-o", "--output", "target", type=click.Path(path_type=Path), help="The folder to write to.")
@click.option("--name", help="What names in the code begin with. Otherwise the rig file's name.")
@click.option("--with-vectors", "vectors", is_flag=True, help="Also test vectors, and a program that runs them.")
@click.option("--vectors", "count", type=click.IntRange(1, 100_000), default=1000, show_default=True, help="How many.")
@click.option(
    "--with-derivatives", "derivatives", is_flag=True, help="Also derivatives by all channels (C and JavaScript)."
)
@click.option("--report", is_flag=True, help="Say how many instructions the rig takes, by kind and by control.")
@answers
def emit(
    file: Path,
    languages: tuple[str, ...],
    target: Path | None,
    name: str | None,
    vectors: bool,
    count: int,
    derivatives: bool,
    report: bool,
) -> Answer:
    """Write the rig FILE (.rig.toml) as code that needs nothing of Instep.

    The code takes the animator's channels and gives the place and turn of each joint, the same in every language.
    """
    from instep.cli.wording import heading, line, table
    from instep.delivery.runtime import Language, runtime_form, write_runtime
    from instep.delivery.runtime_vectors import make_vectors
    from instep.errors import InstepError, OutputError
    from instep.rig.cost import rig_cost
    from instep.rig.file import load_rig

    if not languages and not report:
        raise InstepError(
            "nothing was asked for",
            expected="a language to write, or --report",
            cure="Add --to c, --to js or --to wgsl and a folder with -o, or --report",
        )
    if languages and target is None:
        raise OutputError("no folder to write to was named", cure="Add -o FOLDER")
    with working("building the rig") as tell:
        rig = load_rig(file)
        written: list[Path] = []
        if languages and target is not None:
            tell("writing code")
            form = runtime_form(rig, name or file.name.partition(".")[0], derivatives=derivatives)
            proof = make_vectors(rig, count) if vectors else None
            for language in dict.fromkeys(languages):
                written += write_runtime(form, cast(Language, language), target, proof)
        cost = rig_cost(rig) if report else None
    data: dict[str, object] = {"files": [str(path) for path in dict.fromkeys(written)]}
    if cost is not None:
        data |= {"instructions": cost.total, "kinds": dict(cost.kinds), "controls": dict(cost.controls)}

    def text() -> list[RenderableType]:
        parts: list[RenderableType] = []
        if written:
            parts += [heading(f"Written to {target}"), *(line(path.name) for path in dict.fromkeys(written))]
        if cost is not None:
            parts.append(heading(f"{cost.total:,} instructions a pose"))
            parts.append(table(("kind", ""), [(op.value, f"{n:,}") for op, n in cost.kinds.items()], right=(1,)))
            parts.append(heading("What pinning a whole control would save"))
            parts.append(table(("control", ""), [(each, f"{n:,}") for each, n in cost.controls.items()], right=(1,)))
        return parts

    return Answer(data, text)
