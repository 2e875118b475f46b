"""The page of a cast: a row for each character, written one after the other, and the same as JSON beside it."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import IO, Any, Final
from urllib.parse import quote

from instep import __version__
from instep.delivery.cast_member import CastTask
from instep.delivery.page import FACES, embedded_face
from instep.errors import OutputError

WORDS: Final = {"holds": "holds", "falls short": "falls short", "failed": "could not be rigged"}

MARKS: Final = {
    "holds": '<svg class="sign" viewBox="0 0 16 16" aria-hidden="true"><circle cx="8" cy="8" r="5"/></svg>',
    "falls short": '<svg class="sign bar" viewBox="0 0 16 16" aria-hidden="true"><path d="M1 8h8M13 2v12"/></svg>',
    "failed": '<svg class="sign ring" viewBox="0 0 16 16" aria-hidden="true"><circle cx="8" cy="8" r="5"/></svg>',
}
"""As on a rig's sheet: a disc holds, a bar short of a line falls short; a ring: there is nothing yet."""


def write_cast_page(page: Path, data: Path, tasks: Sequence[CastTask], recipe: dict[str, Any]) -> None:
    """Write the page and the JSON of a cast from the records of its characters, each read when its turn comes.

    Neither says when or how it was made: equal characters give equal files. Raises OutputError.
    """
    from instep.delivery.cast import records

    counts = dict.fromkeys(WORDS, 0)
    named: dict[str, list[str]] = {"falls short": [], "failed": []}
    with _whole(data) as file:
        head = {"version": 1, "instep": __version__, "recipe": recipe}
        file.write(json.dumps(head, ensure_ascii=False, indent=1)[:-2] + ',\n "characters": [')
        comma = ""
        for record in records(tasks):
            counts[record["outcome"]] += 1
            if record["outcome"] in named:
                named[record["outcome"]].append(record["name"])
            told = {key: value for key, value in record.items() if key not in ("drawing", "version", "key")}
            file.write(comma + "\n  " + json.dumps(told, ensure_ascii=False, allow_nan=False))
            comma = ","
        file.write("\n ]\n}\n")
    with _whole(page) as file:
        for part in _head(counts, named):
            file.write(part)
        for record in records(tasks):
            file.write(_row(record))
        file.write(
            "</tbody></table>\n<footer>Written by Instep. This page holds all its drawings; the names lead to each "
            "character's own files beside it.</footer>\n</main>\n</body>\n</html>\n"
        )


@contextmanager
def _whole(target: Path) -> Iterator[IO[str]]:
    """A text file written bit by bit, and put in place at its end or not at all. Raises OutputError."""
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with open(part, "w", encoding="utf-8", newline="\n") as file:
            yield file
        os.replace(part, target)
    except BaseException as error:
        with suppress(OSError):  # it was never made: the first error is the one to tell
            part.unlink()
        if not isinstance(error, OSError):
            raise
        raise OutputError(
            f"it cannot be written ({error.strerror})",
            where=str(target),
            expected="a folder that exists and may be written to",
            cure="Choose another place with -o",
        ) from error


def _head(counts: dict[str, int], named: dict[str, list[str]]) -> Iterator[str]:
    style = files("instep.delivery") / "style"
    css = "\n".join((style / name).read_text(encoding="utf-8") for name in ("sheet.css", "cast.css"))
    faces = "\n".join(embedded_face(*face) for face in FACES)
    total = sum(counts.values())
    yield (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>The cast: legs and feet</title>\n'
        f"<style>\n{faces}\n{css}\n</style>\n</head>\n<body>\n<main class=cast>\n<header>\n<div><h1>The cast</h1>\n"
        '<p class="kind">its legs and feet, rigged with one recipe and proved</p></div>\n<ul class="facts">'
        f"<li><strong>{total} {'character' if total == 1 else 'characters'}</strong></li></ul>\n</header>\n"
        '<ul class="summary">'
    )
    for outcome, count in counts.items():
        if count or outcome == "holds":
            yield f"<li>{MARKS[outcome]}<strong>{count}</strong> {_counted(outcome, count)}"
            links = [f'<a href="#{_anchor(name)}">{escape(name)}</a>' for name in named.get(outcome, ())]
            yield (": " + ", ".join(links) if links else "") + "</li>"
    yield (
        "</ul>\n<table class=members>\n<thead><tr><th>character</th><th>feet</th><th>measured</th>"
        "<th>at its worst, of what is allowed</th><th>what falls short</th></tr></thead>\n<tbody>\n"
    )


def _counted(outcome: str, count: int) -> str:
    many = {"holds": "hold", "falls short": "fall short"}
    return WORDS[outcome] if count == 1 else many.get(outcome, WORDS[outcome])


def _anchor(name: str) -> str:
    return "member-" + quote(name, safe="")


def _row(record: dict[str, Any]) -> str:
    outcome = record["outcome"]
    name = escape(record["name"]).replace("/", "/<wbr>").replace("_", "_<wbr>")
    sheet = next((file for file in record["files"] if file.endswith(".html")), None)
    linked = f'<a href="{escape(quote(sheet))}">{name}</a>' if sheet else name
    cells = [
        f'<th scope="row" id="{_anchor(record["name"])}"><span class="who">{linked}</span>'
        f'<span class="verdict">{MARKS[outcome]}{WORDS[outcome]}</span></th>',
        f'<td class="feet"><div class="small">{record["drawing"]}</div></td>',
    ]
    if outcome == "failed":
        error = record["error"]
        cells.append(f'<td colspan="3" class="why">{escape(error["message"])}</td>')
    else:
        cells += [
            f'<td class="facts-of">{_measured(record)}</td>',
            f"<td>{_figures(record)}</td>",
            f"<td>{_short(record)}</td>",
        ]
    return f"<tr>{''.join(cells)}</tr>\n"


def _measured(record: dict[str, Any]) -> str:
    facts = record["facts"]
    lines = [
        f"{facts['height_text']} tall",
        f"{facts['vertices']:,} vertices, {facts['joints']} joints",
        f"{facts['channels']} channels",
    ]
    lines += [
        f"{leg['name']} foot {leg['foot_text']}" + ("" if leg["hold"] is None else f", hold {leg['hold']:.2f}")
        for leg in record["legs"]
    ]
    return _lines(lines)


def _figures(record: dict[str, Any]) -> str:
    rows = "".join(
        f'<tr><th scope="row">{escape(entry["word"])}</th><td class="n">{escape(entry["text"])}</td></tr>'
        for entry in record["figures"]
    )
    return f"<table>{rows}</table>" if rows else ""


def _short(record: dict[str, Any]) -> str:
    verdicts = list(record["verdicts"].values())
    if not record["short"]:
        count = verdicts.count("holds")
        return f'<p class="quiet">{count} {"claim holds" if count == 1 else "claims hold"}</p>'
    parts = []
    for entry in record["short"]:
        leg = f"{entry['leg']}: " if entry["leg"] else ""
        # The whole cause and all cures stand in the JSON, and in the character's own proof.
        cause = entry["cause"].partition(". ")[0]
        cure = f" <em>{escape(entry['cures'][0])}.</em>" if entry["cures"] else ""
        parts.append(
            f"<p><strong>{escape(entry['check'])}</strong>, {escape(leg + entry['what'])}: {escape(entry['text'])}. "
            f"{escape(cause)}.{cure}</p>"
        )
    return "".join(parts)


def _lines(lines: Sequence[str]) -> str:
    return "<br>".join(escape(line) for line in lines)
