"""Documents are held against what they speak of: links, packages, floors, scripts."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

DOCUMENTS = ("README.md", "CHANGELOG.md", "docs/architecture.md", "docs/conventions.md", "docs/dependencies.md")


def _without_code(text: str) -> str:
    return re.sub(r"```.*?```|`[^`\n]*`", "", text, flags=re.DOTALL)


def _anchors(text: str) -> set[str]:
    """Anchors of the headings, as the usual viewers make them."""
    headings = re.findall(r"^#+ (.*)$", text, flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_links_lead_to_something_in_the_project(project: Path, document: str) -> None:
    source = project / document
    broken = []
    for link in re.findall(r"\]\(([^)\s]+)\)", _without_code(source.read_text(encoding="utf-8"))):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        target = (source.parent / path).resolve() if path else source
        if (
            not target.exists()
            or not target.is_relative_to(project)
            or (anchor and anchor not in _anchors(target.read_text(encoding="utf-8")))
        ):
            broken.append(link)
    assert broken == []


def _rows_of_sections(text: str) -> dict[str, list[str]]:
    sections = re.split(r"^## ", text, flags=re.MULTILINE)[1:]
    rows = {}
    for section in sections:
        cells = [line.split("|")[1].strip() for line in section.splitlines() if line.startswith("|")]
        rows[section.splitlines()[0]] = cells[2:]  # after the heading and its rule
    return rows


def _names(requirements: list[str]) -> set[str]:
    found = {re.split(r"[<>=!~\[; ]", requirement)[0] for requirement in requirements}
    return found - {"instep"}


def test_each_package_has_its_reason_and_no_reason_lacks_its_package(project: Path) -> None:
    about = tomllib.loads((project / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    rows = _rows_of_sections((project / "docs/dependencies.md").read_text(encoding="utf-8"))
    extras = about["optional-dependencies"]
    assert set(rows["To run Instep"]) == _names(about["dependencies"])
    assert set(rows["On request"]) == _names([name for extra in ("markers", "cluster") for name in extras[extra]])
    assert set(rows["Only for the demo"]) == _names(extras["demo"])
    assert set(rows["Only for development"]) == _names(extras["dev"])


def test_each_npm_package_has_its_reason(project: Path) -> None:
    rows = _rows_of_sections((project / "docs/dependencies.md").read_text(encoding="utf-8"))
    used: dict[str, str] = {}
    for folder in ("tests/node", "web"):
        about = json.loads((project / folder / "package.json").read_text(encoding="utf-8"))
        used |= about.get("dependencies", {}) | about.get("devDependencies", {})
    fonts = {name for name in rows["From the npm registry"] if name.startswith("@fontsource/")}
    assert set(rows["From the npm registry"]) - fonts == set(used) - fonts


def test_the_floors_are_those_that_are_held(project: Path) -> None:
    about = tomllib.loads((project / "pyproject.toml").read_text(encoding="utf-8"))
    (contract,) = about["tool"]["importlinter"]["contracts"]
    held = [re.findall(r"instep\.(\w+)", layer) for layer in reversed(contract["layers"])]
    rows = _rows_of_sections((project / "docs/architecture.md").read_text(encoding="utf-8"))
    told = [re.findall(r"\w+", cell) for cell in rows["Floors"]]
    assert [sorted(names) for names in told] == [sorted(names) for names in held]


def test_a_floor_in_brackets_is_one_that_does_not_exist(project: Path) -> None:
    rows = _rows_of_sections((project / "docs/architecture.md").read_text(encoding="utf-8"))
    for cell in rows["Floors"]:
        for name in re.findall(r"\w+", cell):
            source = project / "src/instep"
            exists = (source / name).is_dir() or (source / f"{name}.py").is_file()
            assert exists != cell.startswith("("), name


def test_each_script_is_told_and_each_told_script_exists(project: Path) -> None:
    rows = _rows_of_sections((project / "docs/architecture.md").read_text(encoding="utf-8"))
    told = {cell.strip("`") for cell in rows["Commands"]}
    assert told == {f"scripts/{path.name}" for path in (project / "scripts").iterdir()} | {".ci/run"}


def test_each_tool_script_says_what_it_is_for(project: Path) -> None:
    for path in [*(project / "scripts").iterdir(), project / ".ci/run"]:
        first, second = path.read_text(encoding="utf-8").splitlines()[:2]
        assert first in ("#!/bin/sh", "#!/usr/bin/env bash")
        assert second.startswith("# ")
        assert path.stat().st_mode & 0o111, f"{path.name} cannot be executed"
