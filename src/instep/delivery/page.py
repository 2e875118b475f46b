"""The rig sheet: one page that holds its drawings, its fonts and its tables, and asks nothing of any other place."""

from __future__ import annotations

import base64
import os
import tempfile
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined

from instep.delivery.anatomy import pair_word, pairs
from instep.delivery.board import Board
from instep.delivery.content import SheetContent
from instep.delivery.figure import ink_of
from instep.delivery.lengths import Lengths, lengths_for, number
from instep.delivery.plates.below import below_plate
from instep.delivery.plates.front import front_plate
from instep.delivery.plates.plate import ROMAN, Plate
from instep.delivery.plates.roll import SLIM as SLIM_ROLL
from instep.delivery.plates.roll import WIDTH as WIDE_ROLL
from instep.delivery.plates.roll import roll_plate
from instep.delivery.plates.side import SLIM as SLIM_SIDE
from instep.delivery.plates.side import side_plate
from instep.delivery.tables import ControlGroup, control_groups, landmark_rows, proportions
from instep.delivery.views import body_view
from instep.errors import CharacterError, OutputError
from instep.landmarks.model import LegLandmarks

if TYPE_CHECKING:
    from instep.delivery.proof.proofs import Proofs

FACES: Final = (
    ("Sheet Serif", 400, "normal", "alegreya-latin-400-normal.woff2"),
    ("Sheet Serif", 400, "italic", "alegreya-latin-400-italic.woff2"),
    ("Sheet Serif", 500, "normal", "alegreya-latin-500-normal.woff2"),
    ("Sheet Sans", 400, "normal", "source-sans-3-latin-400-normal.woff2"),
    ("Sheet Sans", 600, "normal", "source-sans-3-latin-600-normal.woff2"),
)
"""Family, weight, style and file of each embedded font."""

FIGURE: Final = 112.0
"""Drawing units: height of the whole figure on the page's head."""

SLIM_TALLEST: Final = 310.0
"""Drawing units: height of the first leg on paper, so that the four plates of the measurement share its first page."""

SLIM_FRONT: Final = 215.0
"""The same of both legs."""

ROWS_BESIDE: Final = 18
"""Up to this many rows the table of controls stands beside the landmarks of a pair of legs; otherwise both take
the whole width."""


@dataclass(frozen=True, slots=True, eq=False)
class _Item:
    """A drawing in a row of drawings; `slim` takes its place on paper."""

    number: str
    kind: str
    plate: Plate
    proportions: list[tuple[str, str]]
    slim: Plate | None = None


def write_sheet(content: SheetContent, path: Path) -> None:
    """Write the rig sheet, whole or not at all.

    Raises CharacterError where there is no mesh to draw, and OutputError where `path` cannot be written.
    """
    page = render_sheet(content)
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(page)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError as error:
        os.unlink(name)
        raise _cannot_write(path, error) from error


def _cannot_write(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"the page cannot be written ({error.strerror})",
        where=str(path),
        expected="a file in a folder that exists and may be written to",
        cure="Give another place for it",
    )


def render_sheet(content: SheetContent) -> str:
    """The rig sheet as HTML. Raises CharacterError where there is no mesh to draw."""
    mesh = content.character.mesh
    if mesh is None:
        raise CharacterError(
            "there is no mesh to draw",
            where=content.file_name,
            expected="a character with a skinned mesh",
            cure="Give the file that holds the character, not only its clips",
        )
    up = content.measurement.R_world_body[:, 1]
    height = float(np.ptp(mesh.positions @ up))
    lengths = lengths_for(height)
    environment = _environment()
    numbers = iter(ROMAN)
    proof = _proofs(content, lengths)
    sections = _sections(content, lengths, environment, numbers, proof)
    return environment.get_template("sheet.html.j2").render(
        title=content.title,
        kind="its legs and feet, measured, rigged and proved" if proof else "its legs and feet, measured and rigged",
        figure=_figure(content),
        facts=_facts(content, height, lengths),
        summary=proof.summary if proof else _landmark_count(content),
        verdicts=environment.get_template("verdicts.html.j2").render(proofs=proof) if proof else "",
        sections=sections,
        file_name=content.file_name,
        css=(files("instep.delivery") / "style" / "sheet.css").read_text(encoding="utf-8"),
        faces="\n".join(embedded_face(*face) for face in FACES),
    )


def _proofs(content: SheetContent, lengths: Lengths) -> Proofs | None:
    if content.proof is None:
        return None
    from instep.delivery.proof.proofs import proofs  # brings the checks, which a sheet without them need not wait for

    return proofs(content, lengths)


def _environment() -> Environment:
    return Environment(loader=PackageLoader("instep.delivery", "templates"), autoescape=True, undefined=StrictUndefined)


def _sections(
    content: SheetContent, lengths: Lengths, environment: Environment, numbers: Any, proof: Proofs | None
) -> list[str]:
    """The plates in order: drawings of the first pair, tables, the roll, then the other pairs more briefly."""
    couples = pairs(content.measurement)
    first = couples[0]
    groups = control_groups(content.channels, lengths)
    beside = bool(groups) and not _takes_width(groups, couples)
    side, below = side_plate(content, first[0], lengths), below_plate(content, first[0], lengths)
    front = front_plate(content, first, lengths)
    slim_side = side_plate(content, first[0], lengths, SLIM_SIDE, SLIM_TALLEST, side.ink)
    slim_below = below_plate(content, first[0], lengths, tallest=SLIM_TALLEST - 20.0, drawn=below.ink)
    slim_front = front_plate(content, first, lengths, tallest=SLIM_FRONT, drawn=front.ink)
    # beside the long table of controls the landmarks leave room for the proportions
    ratios = proportions(content, first[0], lengths)
    sections = [
        _drawings(
            environment,
            [
                _Item(next(numbers), "side", side, [], slim_side),
                _Item(next(numbers), "below", below, [], slim_below),
                _Item(next(numbers), "front", front, [] if beside else ratios, slim_front),
            ],
        )
    ]
    under = ratios if beside else []
    sections.append(_landmarks(content, couples, lengths, environment, next(numbers), under))
    if groups:
        sections.append(_controls(groups, not beside, environment, next(numbers), under))
    rolls = {roll.leg: roll for roll in content.rolls}
    if first[0].name in rolls:
        feet: dict[int, str] = {}
        plate, slim = (
            roll_plate(content, first[0], rolls[first[0].name], width, feet) for width in (WIDE_ROLL, SLIM_ROLL)
        )
        sections.append(environment.get_template("roll.html.j2").render(number=next(numbers), plate=plate, slim=slim))
    for couple in couples[1:]:
        items = [
            _Item(next(numbers), "side", side_plate(content, couple[0], lengths, tallest=280.0), []),
            _Item(next(numbers), "below", below_plate(content, couple[0], lengths, tallest=220.0), []),
            _Item(
                next(numbers),
                "front",
                front_plate(content, couple, lengths),
                proportions(content, couple[0], lengths),
            ),
        ]
        sections.append(_drawings(environment, items))
    if proof:
        sections.append(environment.get_template("proofs.html.j2").render(number=next(numbers), proofs=proof))
    remarks = [
        *content.measurement.remarks,
        *content.remarks,
        *(f"{note.where}: {note.seen}; {note.means}" for note in content.character.notes),
    ]
    if remarks:
        sections.append(environment.get_template("remarks.html.j2").render(remarks=[r.rstrip(".") for r in remarks]))
    return sections


def _drawings(environment: Environment, items: list[_Item]) -> str:
    return environment.get_template("drawings.html.j2").render(items=items)


def _landmarks(
    content: SheetContent,
    couples: list[tuple[LegLandmarks, ...]],
    lengths: Lengths,
    environment: Environment,
    roman: str,
    below: list[tuple[str, str]],
) -> str:
    groups = []
    for couple in couples:
        sides = {leg.side for leg in couple}
        word = pair_word(couple[0])
        unit = "millimetres" if lengths.unit == "mm" else "the file's units"
        groups.append(
            {
                "caption": f"{word and f'the {word}pair, '}in {unit} from the floor under each ankle; sure of 1",
                "rows": landmark_rows(content, couple, lengths),
                "left": "left" in sides,
                "right": "right" in sides,
            }
        )
    return environment.get_template("landmarks.html.j2").render(
        number=roman, groups=groups, wide=len(couples) > 1, proportions=below
    )


def _takes_width(groups: list[ControlGroup], couples: list[tuple[LegLandmarks, ...]]) -> bool:
    """Whether the table of controls is too long to stand beside the landmarks."""
    return sum(len(group.rows) for group in groups) > ROWS_BESIDE or len(couples) > 1


def _controls(
    groups: list[ControlGroup], wide: bool, environment: Environment, roman: str, ratios: list[tuple[str, str]]
) -> str:
    rows = sum(len(group.rows) for group in groups)
    parts = [groups]
    if wide:
        half, seen = 0, 0
        while seen < rows / 2:
            seen += len(groups[half].rows)
            half += 1
        parts = [groups[:half], groups[half:]]
    captions = ["read off the rig itself; left and right alike", "continued"]
    return environment.get_template("controls.html.j2").render(
        number=roman, parts=[part for part in parts if part], wide=wide, captions=captions, proportions=ratios
    )


def _figure(content: SheetContent) -> str:
    """The whole character, small, from before and a little from the side."""
    ink = ink_of(content.character, body_view(content.measurement.R_world_body, "quarter"), FIGURE)
    board = Board()
    board.add(ink.svg())
    return board.svg(ink.frame.width, ink.frame.height, content.title, f"{content.title}, the whole figure")


def _facts(content: SheetContent, height: float, lengths: Lengths) -> list[str]:
    mesh = content.character.mesh
    assert mesh is not None
    tall = f"{number(height, 2)} m tall" if lengths.unit == "mm" else f"{lengths.text(height)} tall"
    triangles, joints = len(mesh.faces), len(content.character.skeleton)
    facts = [content.date, f"{content.file_name}, {tall}, {triangles:,} triangles, {joints} joints"]
    if content.rig_file_name:
        facts.append(f"{content.rig_file_name}, {len(content.channels)} channels")
    return [fact for fact in facts if fact]


def _landmark_count(content: SheetContent) -> str:
    """How many landmarks were measured, and how many of them set by hand."""
    marks = [mark for leg in content.measurement.legs for mark in leg.landmarks.values()]
    hand = sum(mark.by_hand for mark in marks)
    return f"{len(marks)} landmarks" + (f", {hand} set by hand" if hand else "")


def embedded_face(family: str, weight: int, style: str, file: str) -> str:
    """A rule of a style sheet that holds one of the fonts in `fonts/`."""
    data = base64.b64encode((files("instep.delivery") / "fonts" / file).read_bytes()).decode("ascii")
    return (
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; font-style: {style}; '
        f"src: url(data:font/woff2;base64,{data}) format('woff2'); }}"
    )
