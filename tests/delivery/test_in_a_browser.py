"""What a rigger's own viewer shows: a whole job's model, opened with three.js in Chromium, against the rig itself."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, Route

from instep.character.arrays import FloatArray
from instep.delivery.job import JobResult, rig_job
from instep.formats import write_character
from tests.biped import make_biped
from tests.browser import open_page
from tests.node import HERE, node_packages, validate

PAGE = """<!doctype html><meta charset="utf-8"><title>three.js</title>
<script type="importmap">{"imports": {
  "three": "/node_modules/three/build/three.module.js",
  "three/addons/": "/node_modules/three/examples/jsm/"}}</script>
<script type="module">
  import { shown } from "/shown.mjs";
  window.show = async (text, clip, times) => {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    return JSON.stringify(await shown(bytes.buffer, clip, 50, times));
  };
</script>"""


def _serve(route: Route) -> None:
    """Files of tests/node, from disk: the page asks no other place."""
    path = HERE / route.request.url.removeprefix("http://tests.invalid/")
    if path == HERE:
        route.fulfill(body=PAGE, content_type="text/html")
    elif path.is_file():
        route.fulfill(body=path.read_bytes(), content_type="text/javascript")
    else:
        route.fulfill(status=404)


def _shown(page: Page, model: Path, clip: str, times: FloatArray) -> Any:
    text = base64.b64encode(model.read_bytes()).decode()
    return json.loads(
        page.evaluate("([text, clip, times]) => window.show(text, clip, times)", [text, clip, times.tolist()])
    )


def _joint_nodes(model: Path) -> dict[str, int]:
    """Node index by name, read plainly from the file's JSON chunk."""
    raw = model.read_bytes()
    length = int.from_bytes(raw[12:16], "little")
    document = json.loads(raw[20 : 20 + length])
    return {node["name"]: index for index, node in enumerate(document["nodes"]) if "name" in node}


def _job(folder: Path, options: dict[str, Any]) -> JobResult:
    source = folder / "biped.glb"
    write_character(make_biped(**options), source)
    return rig_job(source, folder / "out")


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"heel_height": 0.06, "toe_out_deg": 12.0},
        {"scale": 100.0, "R_world": np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])},
    ],
    ids=["plain", "heeled", "centimetres facing sideways"],
)
def test_three_js_in_a_browser_shows_the_rigs_joints(chromium: Path, tmp_path: Path, options: dict[str, Any]) -> None:
    node_packages()
    result = _job(tmp_path, options)
    nodes = _joint_nodes(result.model)
    (verdict,) = validate(result.model)
    assert verdict.errors == ()
    rig = result.rig
    names = rig.character.skeleton.names
    leg = rig.plan.unit
    with open_page(chromium) as page:
        page.route("http://tests.invalid/**", _serve)
        page.goto("http://tests.invalid/")
        page.wait_for_function("() => Boolean(window.show)")
        for exercise in result.exercises:
            frames = np.linspace(0, len(exercise.times_s) - 1, 7).astype(int)
            expected = rig.evaluate(exercise.values[frames]).position
            found = _shown(page, result.model, exercise.name, exercise.times_s[frames])
            for pose, joints in zip(expected, found, strict=True):
                places = np.array([joints["joints"][str(nodes[name])] for name in names])
                assert np.abs(places - pose).max() < 1e-5 * leg, exercise.name
