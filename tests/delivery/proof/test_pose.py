"""The worst pose: the leg that the finding is about, on its own floor wherever that has been put."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from instep.checks.model import Finding, Place
from instep.delivery.content import SheetContent
from instep.delivery.proof.pose import Pieces, draw_worst, leg_of, part_shown
from tests.delivery.proof.test_graph import paths
from tests.delivery.proofs import findings, proved_sheet


@pytest.fixture(scope="module")
def content() -> SheetContent:
    return proved_sheet()


def found(content: SheetContent, check: str) -> Finding:
    assert content.proof is not None
    return content.proof.finding(check)


def drawing(content: SheetContent, finding: Finding, moved: tuple[np.ndarray, float, np.ndarray] | None = None) -> str:
    mesh = content.character.mesh
    assert mesh is not None
    (worst,) = (pose for pose in content.worst if pose.check == finding.check)
    if moved is not None:
        turn, scale, shift = moved
        carried = np.column_stack([scale * turn, shift])
        worst = replace(
            worst,
            vertices=scale * worst.vertices @ turn.T + shift,
            joints=scale * worst.joints @ turn.T + shift,
            root=carried,
            feet=dict.fromkeys(worst.feet, carried),
            place=None if worst.place is None else scale * turn @ worst.place + shift,
        )
    svg = draw_worst(content, finding, worst, Pieces(mesh), 300.0, 240.0, "words")
    ElementTree.fromstring(svg)
    return svg


@pytest.mark.parametrize("check", ["plant", "floor"])
def test_a_foot_is_drawn_on_its_own_floor_wherever_it_was_carried(content: SheetContent, check: str) -> None:
    finding = found(content, check)
    turn = Rotation.from_euler("YXZ", [140.0, 35.0, -20.0], degrees=True).as_matrix()
    still = drawing(content, finding)
    carried = drawing(content, finding, (turn, 2.5, np.array([3.0, -1.0, 0.7])))
    for style in ("outline", "floor"):
        one, two = np.concatenate(paths(still, style)), np.concatenate(paths(carried, style))
        # paths are thinned anew, so their extents are compared, to a tenth of a unit and a little
        assert np.abs(one.min(axis=0) - two.min(axis=0)).max() < 0.4
        assert np.abs(one.max(axis=0) - two.max(axis=0)).max() < 0.4


def test_a_rolled_foot_stands_on_the_floor_line(content: SheetContent) -> None:
    svg = drawing(content, found(content, "floor"))
    (floor,) = paths(svg, "floor")
    shift = [tuple(map(float, m)) for m in re.findall(r'class="ink" transform="translate\(([-\d.]+) ([-\d.]+)\)"', svg)]
    outline = np.concatenate(paths(svg, "outline")) + np.array(shift[0])
    # it turns about its ball while its toes stay
    assert outline[:, 1].max() == pytest.approx(floor[0, 1], abs=0.6)
    assert outline[:, 1].min() < floor[0, 1] - 100


def test_only_what_falls_short_has_its_place_ringed(content: SheetContent) -> None:
    assert 'class="worst"' in drawing(content, found(content, "floor"))
    assert 'class="worst"' not in drawing(content, found(content, "plant"))


def test_which_poses_are_drawn(content: SheetContent) -> None:
    by_name = {finding.check: finding for finding in findings(content.measurement)}
    assert {name: part_shown(finding) for name, finding in by_name.items()} == {
        "rest": "foot",
        "carry": None,
        "plant": "foot",
        "floor": "foot",
        "range": "leg",
        "skeleton": None,
        "switch": None,
    }
    assert part_shown(replace(by_name["carry"], verdict="falls short")) == "leg"


def test_the_leg_is_that_of_the_finding_or_of_its_place(content: SheetContent) -> None:
    base = replace(found(content, "carry"), leg="", place=None)
    right = content.measurement.legs[1]
    joint = content.character.skeleton.names[right.shin]
    vertex = int(right.sole[0])
    assert leg_of(base, content).name == "left"
    for changed in (
        replace(base, leg="right"),
        replace(base, place=Place("landmark", "right.heel", (0.0, 0.0, 0.0))),
        replace(base, place=Place("joint", joint, (0.0, 0.0, 0.0))),
        replace(base, place=Place("vertex", str(vertex), (0.0, 0.0, 0.0))),
    ):
        assert leg_of(changed, content).name == "right"
    for nowhere in ("99999999", "x"):
        assert leg_of(replace(base, place=Place("vertex", nowhere, (0.0, 0.0, 0.0))), content).name == "left"
