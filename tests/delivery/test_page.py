"""The rig sheet: whole, self-contained, in order, and readable without a mouse or a network."""

from __future__ import annotations

import base64
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from instep.character import Note
from instep.character.arrays import FloatArray
from instep.delivery import ControlDrawing, SheetContent, render_sheet, write_sheet
from instep.delivery.lengths import lengths_for
from instep.delivery.page import FACES
from instep.delivery.plates.below import below_plate
from instep.delivery.plates.front import front_plate
from instep.delivery.plates.plate import Plate
from instep.delivery.plates.roll import roll_plate
from instep.delivery.plates.side import side_plate
from instep.errors import CharacterError, OutputError
from instep.formats import read_character
from instep.landmarks import measure
from tests.delivery.sheets import biped_sheet, sheet_of

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Outline(HTMLParser):
    """Checks that tags close in order, and gathers what a reader meets."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[str] = []
        self.addresses: list[str] = []
        self.counts: dict[str, int] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.counts[tag] = self.counts.get(tag, 0) + 1
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "xlink:href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "h2" in self.open and data.strip():
            self.headings.append(data.strip())


@pytest.fixture(scope="module")
def content() -> SheetContent:
    return biped_sheet()


@pytest.fixture(scope="module")
def page(content: SheetContent) -> str:
    return render_sheet(content)


def test_the_page_is_well_formed_and_in_order(page: str) -> None:
    outline = Outline()
    outline.feed(page)
    outline.close()
    assert outline.open == []
    assert outline.headings == [
        "I", "From the outer side", "II", "From below", "III", "From before",
        "IV", "Landmarks", "V", "What each control moves", "VI", "The roll",
    ]  # fmt: skip
    # the four plates have a second form for paper, and the proportions a second place
    assert outline.counts["svg"] == outline.counts["desc"] == 9
    assert outline.counts["figure"] == 9
    assert outline.counts["caption"] == 4
    assert outline.counts["h1"] == 1


def test_every_drawing_is_well_formed_xml(page: str) -> None:
    drawings = re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)
    assert len(drawings) == 9
    for drawing in drawings:
        root = ElementTree.fromstring(drawing)
        assert root.find("title") is not None
        assert "nan" not in drawing
        assert "inf" not in re.sub(r"<(title|desc|text).*?</\1>", "", drawing)


def test_the_page_asks_nothing_of_any_other_place(page: str) -> None:
    outline = Outline()
    outline.feed(page)
    assert all(address.startswith("#") for address in outline.addresses)
    assert "http" not in page
    assert "@import" not in page
    assert all(url.startswith("data:font/woff2;base64,") for url in re.findall(r"url\((.*?)\)", page))


def test_the_fonts_are_embedded_whole(page: str) -> None:
    fonts = [base64.b64decode(data) for data in re.findall(r"base64,([A-Za-z0-9+/=]+)\)", page)]
    assert len(fonts) == len(FACES)
    for font in fonts:
        assert font[:4] == b"wOF2"
        assert int.from_bytes(font[8:12], "big") == len(font)  # the length that the font itself states


def test_the_page_stays_small(page: str) -> None:
    assert len(page) < 1_000_000


def test_the_same_page_twice(content: SheetContent, page: str) -> None:
    assert render_sheet(content) == page


def plates_of(content: SheetContent) -> list[Plate]:
    mesh = content.character.mesh
    assert mesh is not None
    up = content.measurement.R_world_body[:, 1]
    lengths = lengths_for(float(np.ptp(mesh.positions @ up)))
    legs = content.measurement.legs
    plates = [side_plate(content, leg, lengths) for leg in legs]
    plates += [below_plate(content, leg, lengths) for leg in legs]
    plates.append(front_plate(content, legs[:2], lengths))
    return plates + [roll_plate(content, legs[0], roll) for roll in content.rolls]


def test_the_plates_for_paper_are_the_same_drawings_smaller(content: SheetContent) -> None:
    leg, lengths = content.measurement.legs[0], lengths_for(1.7)
    side, below = side_plate(content, leg, lengths), below_plate(content, leg, lengths)
    front = front_plate(content, content.measurement.legs, lengths)
    for wide, plate in (
        (side, side_plate(content, leg, lengths, 400.0, 310.0, side.ink)),
        (below, below_plate(content, leg, lengths, tallest=250.0, drawn=below.ink)),
        (front, front_plate(content, content.measurement.legs, lengths, tallest=200.0, drawn=front.ink)),
    ):
        assert {words for words, _ in plate.board.boxes} == {words for words, _ in wide.board.boxes}
        assert plate.height < wide.height
        for i, (words, box) in enumerate(plate.board.boxes):
            assert all(not box.meets(other) for _, other in plate.board.boxes[i + 1 :]), words
            assert box.left >= -2
            assert box.right <= plate.width + 2
        outline = re.findall(r'class="outline" d="(.*?)"', plate.svg)
        assert outline == re.findall(r'class="outline" d="(.*?)"', wide.svg)
        assert " scale(0." in plate.svg


def test_shapes_of_controls_are_drawn_where_nothing_stands_before_them(content: SheetContent) -> None:
    """A ring round the foot is seen on the outer side alone; one that would leave the plate is left out."""
    leg = content.measurement.legs[0]
    angle = np.linspace(0.0, 2.0 * np.pi, 73)[:, None]
    across = np.cross(leg.sole_normal, leg.axis)
    ring = leg.ball.position + 0.12 * (np.cos(angle) * across + np.sin(angle) * leg.sole_normal)
    bar = leg.knee.position + np.array([[0.0, -0.02, 0.0], [0.0, 0.02, 0.0]])
    far = leg.knee.position + 5.0 * leg.axis + np.array([[0.0, -0.1, 0.0], [0.0, 0.1, 0.0]])
    drawn = replace(content, controls=(
        ControlDrawing("left.ball", "left", (ring,)),
        ControlDrawing("left.toes", "left", (bar,)),
        ControlDrawing("left.knee", "left", (far,)),
        ControlDrawing("right.ball", "right", (ring,)),
    ))  # fmt: skip
    svg = side_plate(drawn, leg, lengths_for(1.7)).svg
    found = re.findall(r'<path class="control shape (\w+)" d="M([\d.]+) ([\d.]+)(.*?)"', svg)
    assert {side for side, *_ in found} == {"left"}
    # the ring's near half and what stands out above and below; the bar in the middle of the knee is inside the leg
    rings = re.findall(r'<circle class="left ring" cx="([\d.]+)" cy="([\d.]+)"', svg)
    ball = (float(rings[3][0]), float(rings[3][1]))
    assert found
    for _, x, _, _ in found:
        assert abs(float(x) - ball[0]) < 2.0


def test_the_hips_lie_in_a_faint_outline_of_the_body(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    svg = side_plate(content, leg, lengths_for(1.7)).svg
    tops = [float(y) for y in re.findall(r'class="above" d="M[\d.]+ ([\d.]+)', svg)]
    assert tops
    hip = float(re.findall(r'class="left ring" cx="[\d.]+" cy="([\d.]+)"', svg)[0])
    assert min(tops) < hip


def turn(degrees: float) -> FloatArray:
    a = np.deg2rad(degrees)
    return np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"toes": False},
        {"toe_end": True, "heel_height": 0.06},
        {"toe_out_deg": 25.0},
        {"scale": 100.0, "offset": (300.0, 40.0, -20.0)},
        {"scale": 0.01},
        {"R_world": turn(70.0)},
        {"R_world": np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])},
    ],
    ids=["plain", "no toes", "heeled", "toes out", "centimetres", "tiny", "turned", "Z up"],
)
def test_words_on_a_plate_stay_apart_and_on_it(options: dict[str, object]) -> None:
    for plate in plates_of(biped_sheet(**options)):
        boxes = plate.board.boxes
        assert boxes
        for i, (words, box) in enumerate(boxes):
            for other_words, other in boxes[i + 1 :]:
                assert not box.meets(other), f"{plate.title}: {words!r} lies on {other_words!r}"
            assert box.left >= -2, f"{plate.title}: {words!r}"
            assert box.right <= plate.width + 2, f"{plate.title}: {words!r}"
            assert box.bottom <= plate.height, f"{plate.title}: {words!r}"


@pytest.mark.parametrize("scale", [1.0, 100.0])
def test_every_number_on_a_plate_has_its_unit(scale: float) -> None:
    unit = "mm" if scale == 1.0 else "units"
    for plate in plates_of(biped_sheet(scale=scale)):
        numbers = [words for words, _ in plate.board.boxes if re.search(r"\d", words)]
        assert numbers
        for words in numbers:
            assert re.fullmatch(rf"−?[\d,.]+( {unit}|°)", words), words


def test_dimensions_are_those_of_the_landmarks(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    words = {words for words, _ in side_plate(content, leg, lengths_for(1.7)).board.boxes}
    up = content.measurement.R_world_body[:, 1]
    for name in ("hip", "knee", "ankle", "ball"):
        height = 1000 * (float(leg.landmarks[name].position @ up) - content.measurement.floor)
        assert f"{height:.0f} mm" in words
    assert f"{1000 * leg.foot_length:.0f} mm" in words


def test_markers_lie_on_their_places(content: SheetContent) -> None:
    """The hip's mark is as high over the floor line as the hip is over the floor, at the drawing's own scale."""
    leg = content.measurement.legs[0]
    svg = side_plate(content, leg, lengths_for(1.7)).svg
    rings = [(float(x), float(y)) for x, y in re.findall(r'<circle class="left ring" cx="([\d.]+)" cy="([\d.]+)"', svg)]
    hip, knee, ankle, ball, heel, tip = rings
    up, ahead = np.array([0.0, 1, 0]), leg.axis
    for one, two, a, b in (
        (hip, heel, leg.hip, leg.heel),
        (knee, ankle, leg.knee, leg.ankle),
        (ball, tip, leg.ball, leg.tip),
    ):
        scale = (heel[0] - tip[0]) / float((leg.tip.position - leg.heel.position) @ ahead)
        step = (b.position - a.position) * scale
        # marks are written in tenths, and the scale is read off two of them
        assert two[0] - one[0] == pytest.approx(-float(step @ ahead), abs=0.4)
        assert two[1] - one[1] == pytest.approx(-float(step @ up), abs=0.4)


def test_the_foot_control_is_drawn_as_the_rig_brings_it(content: SheetContent) -> None:
    leg = content.measurement.legs[0]
    square = leg.heel.position + np.array([[-0.1, 0, -0.1], [0.1, 0, -0.1], [0.1, 0, 0.3], [-0.1, 0, 0.3]])
    drawn = replace(content, controls=(ControlDrawing("left.foot", "left", (square,)),))
    svg = below_plate(drawn, leg, lengths_for(1.7)).svg
    (data,) = re.findall(r'<path class="control left" d="(.*?)"', svg)
    assert data.count("M") == 1
    assert data.endswith("z")
    assert 'class="control' not in below_plate(content, leg, lengths_for(1.7)).svg  # the biped has no outline


def test_four_legs_have_the_hind_pair_first(shared_data: Path) -> None:
    character = read_character(shared_data / "characters" / "fox.glb")
    sheet = sheet_of(character, measure(character), title="Fox", file_name="fox.glb")
    outline = Outline()
    page = render_sheet(sheet)
    outline.feed(page)
    assert outline.headings[12:] == [
        "VII", "From the outer side", "VIII", "From below", "IX", "The fore pair", "Remarks",
    ]  # fmt: skip
    assert " mm" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    assert page.index("the left hind leg") < page.index("the left fore leg")


def test_a_lone_leg_has_its_plates(content: SheetContent) -> None:
    lone = replace(content, measurement=replace(content.measurement, legs=content.measurement.legs[:1]))
    page = render_sheet(lone)
    assert "the left leg" in page
    assert "sure, R" not in page
    assert "apart" not in page


def test_without_rig_there_are_still_the_measured_plates(content: SheetContent) -> None:
    outline = Outline()
    outline.feed(render_sheet(replace(content, channels=(), rolls=(), rig_file_name="")))
    assert outline.headings == [
        "I", "From the outer side", "II", "From below", "III", "From before", "IV", "Landmarks",
    ]  # fmt: skip


def test_remarks_and_notes_are_printed_and_escaped(content: SheetContent) -> None:
    note = Note("grub.glb: node 4", "the node <turned> & scaled", "nothing follows for the rig")
    noted = replace(content, remarks=("the toes were guessed",), character=replace(content.character, notes=(note,)))
    page = render_sheet(noted)
    assert "grub.glb: node 4: the node &lt;turned&gt; &amp; scaled; nothing follows for the rig." in page
    assert "the toes were guessed." in page


def test_no_mesh_is_refused(content: SheetContent) -> None:
    with pytest.raises(CharacterError) as caught:
        render_sheet(replace(content, character=replace(content.character, mesh=None)))
    assert str(caught.value) == (
        "biped.glb: there is no mesh to draw; expected a character with a skinned mesh. "
        "Give the file that holds the character, not only its clips."
    )


def test_a_folder_that_is_not_there_is_refused(content: SheetContent, tmp_path: Path) -> None:
    path = tmp_path / "missing" / "biped.html"
    with pytest.raises(OutputError) as caught:
        write_sheet(content, path)
    assert str(caught.value) == (
        f"{path}: the page cannot be written (No such file or directory); "
        "expected a file in a folder that exists and may be written to. Give another place for it."
    )
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_is_a_folder_is_refused_and_nothing_is_left(content: SheetContent, tmp_path: Path) -> None:
    path = tmp_path / "biped.html"
    path.mkdir()
    with pytest.raises(OutputError) as caught:
        write_sheet(content, path)
    assert str(caught.value) == (
        f"{path}: the page cannot be written (Is a directory); "
        "expected a file in a folder that exists and may be written to. Give another place for it."
    )
    assert [p.name for p in tmp_path.iterdir()] == ["biped.html"]


def test_writing_replaces_the_old_page(content: SheetContent, page: str, tmp_path: Path) -> None:
    path = tmp_path / "biped.html"
    path.write_text("old")
    write_sheet(content, path)
    assert path.read_text(encoding="utf-8") == page
    assert [p.name for p in tmp_path.iterdir()] == ["biped.html"]
