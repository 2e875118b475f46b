"""The report: plain data with a published schema, the same in every run."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.checks import CHECKS, Measure, Report, run_checks
from instep.checks.model import UNBOUNDED, bounded
from instep.checks.schema import report_schema, schema_text
from instep.errors import CheckError
from tests.checks.broken import plate_follows_the_foot, sound

ROOT = Path(__file__).resolve().parents[2]
QUICK = ("rest", "carry", "plant", "floor", "influence", "rebuild")


@pytest.fixture(scope="module")
def report() -> Report:
    return run_checks(plate_follows_the_foot(), only=QUICK)


def test_the_published_schema_is_that_of_the_code() -> None:
    published = (ROOT / "docs" / "proof.schema.json").read_text(encoding="utf-8")
    assert published == schema_text(), "write it anew: python -m instep.checks.schema > docs/proof.schema.json"


def _fits(value: Any, schema: dict[str, Any], defs: dict[str, Any]) -> bool:
    """Whether plain data fits a schema, for the words that ours uses; any other word is an error of this test."""
    known = {"$ref", "$defs", "$schema", "x-version", "additionalProperties", "anyOf", "const", "description", "enum"}
    known |= {"items", "maxItems", "minItems", "prefixItems", "properties", "required", "title", "type"}
    assert set(schema) <= known, set(schema) - known
    if "$ref" in schema:
        return _fits(value, defs[schema["$ref"].rpartition("/")[2]], defs)
    if "anyOf" in schema:
        return any(_fits(value, each, defs) for each in schema["anyOf"])
    if "enum" in schema:
        return value in schema["enum"]
    kind = schema["type"]
    if kind == "object":
        properties, rest = schema.get("properties", {}), schema.get("additionalProperties", True)
        if not isinstance(value, dict) or not set(schema.get("required", [])) <= set(value):
            return False
        others = set(value) - set(properties)
        if rest is False and others:
            return False
        free = isinstance(rest, bool) or all(_fits(value[name], rest, defs) for name in others)
        return free and all(_fits(value[name], properties[name], defs) for name in set(value) & set(properties))
    if kind == "array":
        if not isinstance(value, list) or len(value) < schema.get("minItems", 0):
            return False
        if "prefixItems" in schema:
            return len(value) == len(schema["prefixItems"]) and all(
                _fits(each, own, defs) for each, own in zip(value, schema["prefixItems"], strict=True)
            )
        return all(_fits(each, schema["items"], defs) for each in value)
    types: dict[str, tuple[type, ...]] = {
        "string": (str,), "number": (int, float), "integer": (int,), "null": (type(None),)
    }  # fmt: skip
    return isinstance(value, types[kind]) and not isinstance(value, bool)


def test_a_report_fits_its_schema_and_is_json(report: Report) -> None:
    data = json.loads(json.dumps(report.to_data(), allow_nan=False))
    assert data == report.to_data()
    schema = report_schema()
    assert _fits(data, schema, schema["$defs"])
    for spoil in ("verdict", "figure", "measures"):
        spoiled = json.loads(json.dumps(data))
        spoiled["findings"][0][spoil] = {}
        assert not _fits(spoiled, schema, schema["$defs"])


def test_findings_carry_what_a_reader_needs(report: Report) -> None:
    floor = report.finding("floor")
    assert floor.verdict == "falls short"
    assert {sole.leg for sole in floor.soles} == {"left", "right"}
    for sole in floor.soles:
        assert len(sole.vertices) == len(sole.heights) > 10
    # The map and the figure tell the same depth.
    deepest = min(min(sole.heights) for sole in floor.soles)
    assert floor.length is not None
    assert max(m.figure for m in floor.measures if "sink" in m.what) * floor.length == pytest.approx(-deepest, rel=1e-4)
    assert floor.curve is not None
    assert max(floor.curve.y) == pytest.approx(floor.figure, rel=1e-2)
    assert floor.pose
    assert floor.place is not None
    reaching = [cure for cure in floor.cures if cure.reaches is not None]
    assert reaching
    assert floor.allowance is not None
    assert all(cure.reaches is not None and cure.reaches < floor.figure for cure in reaching)
    assert any(cure.edits for cure in reaching)


def test_a_cure_reaches_what_it_says(report: Report) -> None:
    """The edit of the rig file, made, gives the figure that was foretold."""
    rig = plate_follows_the_foot()
    cure = next(cure for cure in report.finding("floor").cures if cure.edits and cure.edits[0].keys[0] == "by_hand")
    data = rig.description.model_dump()
    for leg in ("left", "right"):
        for edit in cure.edits:
            data["by_hand"]["tuned"].setdefault(leg, {})[edit.keys[-1]] = edit.value
    from instep.rig import RigDescription, build_rig

    mended = build_rig(rig.character, rig.measurement, RigDescription.model_validate(data))
    roll = next(m for m in run_checks(mended, only=["floor"]).finding("floor").measures if "the roll" in m.what)
    assert cure.reaches is not None
    assert roll.figure == pytest.approx(cure.reaches, rel=0.02)
    assert roll.holds


def test_the_same_seed_gives_the_same_report_and_verdicts_hold_for_others(report: Report) -> None:
    again = run_checks(plate_follows_the_foot(), only=QUICK)
    assert again.to_data() == report.to_data()
    other = run_checks(plate_follows_the_foot(), only=QUICK, seed=11)
    assert [f.verdict for f in other.findings] == [f.verdict for f in report.findings]
    assert other.to_data() != report.to_data()
    # A maximum, not a lucky sample: other samples lead to the same worst figure.
    one, two = (r.finding("floor").figure for r in (report, other))
    assert one == pytest.approx(two, rel=1e-3)


def test_progress_is_told_and_only_is_kept_to() -> None:
    told: list[str] = []
    report = run_checks(sound(), only=["rebuild", "rest"], progress=told.append)
    assert told == ["rest", "rebuild"]
    assert [finding.check for finding in report.findings] == told
    with pytest.raises(KeyError):
        report.finding("floor")


def test_an_unknown_check_is_named() -> None:
    with pytest.raises(CheckError) as caught:
        run_checks(sound(), only=["flor"])
    assert str(caught.value) == (
        '"flor" is no check; expected one such as "floor". See `instep prove --help` for their names.'
    )
    with pytest.raises(CheckError) as caught:
        run_checks(sound(), only=["xyzzy"])
    assert str(caught.value) == (
        f'"xyzzy" is no check; expected one of {", ".join(CHECKS)}. See `instep prove --help` for their names.'
    )


def test_verdicts_of_measures() -> None:
    assert Measure("a", 1.0, 1.0, "deg").holds
    assert not Measure("a", 1.1, 1.0, "deg").holds
    assert Measure("a", 1.0, 1.0, "deg", "at least").holds
    assert not Measure("a", 0.9, 1.0, "deg", "at least").holds
    assert Measure("a", 0.9, 1.0, "deg", "at least").use > 1.0
    assert Measure("a", 5.0, None, "deg").holds
    assert Measure("a", 1.0, 0.0, "channels").use == np.inf
    assert bounded(float("nan")) == bounded(float("inf")) == UNBOUNDED
