"""The plate of proofs on the page: what falls short first, every check to be found, and its words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest

from instep.checks.model import Report
from instep.delivery import SheetContent, render_sheet
from instep.delivery.lengths import lengths_for
from instep.delivery.proof.proofs import Proofs, proofs
from tests.delivery.proofs import proved_sheet
from tests.delivery.test_page import Outline


@pytest.fixture(scope="module")
def content() -> SheetContent:
    return proved_sheet()


@pytest.fixture(scope="module")
def page(content: SheetContent) -> str:
    return render_sheet(content)


def plate(content: SheetContent) -> Proofs:
    made = proofs(content, lengths_for(1.7))
    assert made is not None
    return made


def words_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<(svg|style).*?</\1>|<.*?>", " ", html, flags=re.DOTALL))


def test_findings_are_sorted_by_what_a_reader_needs(content: SheetContent) -> None:
    made = plate(content)
    groups = [[item.check for item in group] for group in (
        made.short, made.advice, made.drawn, made.plain, made.absent)]  # fmt: skip
    assert groups == [["floor"], ["range"], ["rest", "plant"], ["carry", "skeleton"], ["switch"]]
    assert made.summary == "4 claims hold, 1 falls short"
    assert made.notes == [("plant", "The heel is nearly round")]
    assert [check for check, _, _ in made.claims] == ["rest", "carry", "plant", "floor", "range", "skeleton", "switch"]


def test_what_falls_short_has_pose_soles_graph_cause_and_cures(content: SheetContent) -> None:
    (item,) = plate(content).short
    for drawing in (item.drawing, item.soles, item.graph):
        assert ElementTree.fromstring(drawing).tag == "svg"
    assert (str(item.figure), str(item.allowed)) == ("5.0 mm", "1.2 mm")
    assert item.at == "at roll 40°, foot up 200 mm"
    assert item.brief == "at roll 40°"
    assert item.cause == "Six vertices of the toe pad follow the foot."
    assert [(cure.sentence, str(cure.reaches)) for cure in item.cures] == [
        ("Give the pad to the toes", "0.1 mm"), ("Move the ball in the model", "")]  # fmt: skip
    assert [(what, str(figure)) for what, figure in item.others] == [("float through the bank, right", "7.5 of 3.8 mm")]


def test_without_a_pose_a_finding_is_told_in_words(content: SheetContent) -> None:
    made = plate(replace(content, worst=()))
    assert [item.check for item in made.drawn] == []
    assert [item.check for item in made.plain] == ["rest", "carry", "plant", "skeleton"]
    assert made.short[0].drawing == ""
    assert made.short[0].soles


def test_no_checks_no_plate(content: SheetContent) -> None:
    without = replace(content, proof=None, worst=())
    assert proofs(without, lengths_for(1.7)) is None
    page = render_sheet(without)
    assert "Proofs" not in page
    assert "claims" not in words_of(page)


def test_the_page_says_it_in_ten_seconds(page: str) -> None:
    outline = Outline()
    outline.feed(page)
    assert outline.open == []
    assert outline.headings[-2:] == ["VII", "Proofs"]
    head = words_of(page[: page.index('class="sheet"')])
    assert "4 claims hold, 1 falls short" in head
    assert (
        "floor falls short: sinking through the roll 5.0 of 1.2 mm, left, at roll 40°. "
        "Cure: Give the pad to the toes (reaches 0.1 mm)." in head
    )


def test_every_check_is_a_place_on_the_page(page: str) -> None:
    for check in ("rest", "carry", "plant", "floor", "range", "skeleton", "switch"):
        assert page.count(f'id="proof-{check}"') == 1
        assert page.count(f'href="#proof-{check}"') == 1


def test_a_state_is_told_by_mark_and_word(page: str) -> None:
    for kind, word, count in (("holds", "holds", 4), ("short", "falls short", 1), ("advice", "advice", 1)):
        sections = re.findall(rf'<section class="proof {kind}.*?</section>', page, flags=re.DOTALL)
        assert len(sections) == count
        for section in sections:
            assert f'class="mark {kind}"' in section
            assert f'<p class="verdict">{word}</p>' in section


def test_a_page_whose_claims_all_hold_has_no_violet(content: SheetContent) -> None:
    page = render_sheet(proved_sheet(0.001))
    body = page[page.index("</style>") :]
    assert "all 5 claims hold" in body
    assert not re.search(r'class="[^"]*\b(short|beyond|crossed|worst)\b', body)


def test_the_proof_leaves_the_rest_of_the_page_alone(content: SheetContent, page: str) -> None:
    without = render_sheet(replace(content, proof=None, worst=()))
    roll = re.compile(r'<figure class="roll small broad">.*?</figure>', re.DOTALL)
    assert roll.search(page).group() == roll.search(without).group()  # type: ignore[union-attr]


def test_words_of_a_report_are_escaped(content: SheetContent) -> None:
    report = content.proof
    assert isinstance(report, Report)
    odd = tuple(
        replace(finding, cause="the joint <b>foot</b> & toes", notes=("a < b",)) for finding in report.findings
    )  # fmt: skip
    page = render_sheet(replace(content, proof=replace(report, findings=odd)))
    assert "<b>foot</b>" not in page
    assert "the joint &lt;b&gt;foot&lt;/b&gt; &amp; toes" in page
    assert "A &lt; b" in page
