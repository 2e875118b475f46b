"""The page in a browser, on the real server: judged by numbers.

The biped stands in for the cast where any character will do; `test_cast_page` opens the cast.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import BrowserContext, Page

from instep.bench.messages import Score
from instep.bench.score import score_times, score_values
from instep.rig import Rig
from instep.rig.file import load_rig, read_rig_file
from tests.bench.served import (
    LEFT_OUTLINE,
    Server,
    biped_in,
    browsing,
    drag,
    on_stage,
    open_bench,
    pose_of,
    serving,
    settled,
    start,
    wait_for,
)


@pytest.fixture(scope="module")
def browser(chromium: Path) -> Iterator[BrowserContext]:
    with browsing(chromium) as context:
        yield context


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with serving(biped_in(tmp_path)) as running:
        yield running


@pytest.fixture
def page(browser: BrowserContext, server: Server) -> Iterator[Page]:
    opened = open_bench(browser, server.link)
    yield opened
    opened.close()


def _agree(page: Page, rig: Rig) -> None:
    """The joints on the page are those of Python's evaluation, to 1e-6 of the leg."""
    shown = page.evaluate("instep.bench.rig.jointPositions(instep.bench.values)")
    pose = page.evaluate("instep.bench.rig.pose(instep.bench.values)")
    wanted = rig.pose(pose).position[0]
    names = rig.character.skeleton.names
    found = np.array([shown[name] for name in names])
    assert np.abs(found - wanted).max() < 1e-6 * rig.plan.unit


def test_dragging_a_foot_moves_it_as_python_says(page: Page, tmp_path: Path) -> None:
    rig = load_rig(tmp_path / "biped.rig.toml")
    _agree(page, rig)
    from_, by = on_stage(page, LEFT_OUTLINE), (42.0, -18.0)
    grabbed = page.evaluate(LEFT_OUTLINE)
    drag(page, from_, by)
    settled(page)
    pose = pose_of(page)
    assert set(pose) == {"left.foot.across", "left.foot.along"}
    _agree(page, rig)
    # What was under the pointer is under it still: the outline has moved by as many pixels as the mouse.
    ring = page.evaluate('instep.shown.shapes.find((shape) => shape.control === "left.foot").flat[0]')
    nearest = min(np.hypot(p[0] - grabbed[0] - by[0], p[1] - grabbed[1] - by[1]) for p in ring)
    assert nearest < 1.0
    assert page.evaluate("instep.bench.state.undo") == "move, left foot"


def test_the_roll_grip_and_the_rocker_both_roll_the_foot(page: Page, tmp_path: Path) -> None:
    rig = load_rig(tmp_path / "biped.rig.toml")
    place = "instep.shown.handles.find((handle) => handle.grip.quantity === 'roll').at"
    before = page.evaluate(place)
    drag(page, on_stage(page, place), (-4.0, -50.0))
    settled(page)
    rolled = pose_of(page)["left.foot.roll"]
    assert 5.0 < rolled < 60.0
    after = page.evaluate(place)
    assert after[1] < before[1] - 20.0
    _agree(page, rig)
    bead = page.locator(".rocker .bead")
    box = bead.bounding_box()
    assert box is not None
    drag(page, (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2), (140.0, -10.0))
    settled(page)
    further = pose_of(page)["left.foot.roll"]
    assert further > rolled + 10.0
    assert float(bead.get_attribute("aria-valuenow") or "nan") == pytest.approx(further, abs=0.06)
    _agree(page, rig)
    page.locator("[data-step='pose']").focus()
    box = bead.bounding_box()
    assert box is not None
    page.keyboard.down("Control")
    drag(page, (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2), (-60.0, 3.0))
    page.keyboard.up("Control")
    settled(page)
    assert pose_of(page)["left.foot.roll"] % 5.0 == pytest.approx(0.0, abs=1e-9)


def test_the_sole_map_and_its_words_follow_the_pose(page: Page, tmp_path: Path) -> None:
    rig = load_rig(tmp_path / "biped.rig.toml")
    read = "Object.fromEntries(instep.soleState.soles.map((sole) => [sole.leg.name, sole.reading()]))"
    wait_for(page, f"Math.abs({read}.left.deepest) < 1e-4")
    page.evaluate("instep.bench.set('left.foot.up', 0.05, true)")
    settled(page)
    wait_for(page, f"Math.abs({read}.left.deepest - 0.05) < 1e-5")
    assert page.locator("#sole-words-left").inner_text().startswith("hovers 50 mm")
    assert abs(page.evaluate(read)["right"]["deepest"]) < 1e-4
    page.evaluate("instep.bench.set('pelvis.up', -0.05, true)")  # so that the leg reaches through the floor
    page.evaluate("instep.bench.set('left.foot.up', -0.02, true)")
    settled(page)
    wait_for(page, f"Math.abs({read}.left.deepest + 0.02) < 1e-5")
    assert page.locator("#sole-words-left").inner_text().startswith("sinks 20 mm")
    _agree(page, rig)


def test_a_typed_number_a_refused_one_and_rest(page: Page) -> None:
    page.locator("[data-value='left.foot.roll']").click()
    field = page.locator(".channel-field")
    field.fill("35")
    field.press("Enter")
    settled(page)
    assert pose_of(page) == {"left.foot.roll": 35.0}
    page.locator("[data-value='left.foot.roll']").click()
    page.locator(".channel-field").fill("95")
    page.locator(".channel-field").press("Enter")
    assert page.locator(".channel-wrong").inner_text() == "90.0° is the most: stays 35.0°"
    assert pose_of(page) == {"left.foot.roll": 35.0}
    page.locator("[data-channel='left.foot.roll']").focus()
    page.keyboard.press("Backspace")
    settled(page)
    assert pose_of(page) == {}


def test_a_landmark_dragged_on_the_sole_changes_the_rig_file(page: Page, tmp_path: Path) -> None:
    path = tmp_path / "biped.rig.toml"
    before = load_rig(path).measurement.legs[0]
    page.locator("[data-step='measure']").click()
    mark = page.locator("[data-mark='left.tip'].mark .hit")
    box = mark.bounding_box()
    assert box is not None
    scale = page.evaluate("instep.soleState.sheets.left.scale")
    drag(page, (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2), (0.0, 12.0))
    wait_for(page, "instep.bench.state.by_hand.length === 1")
    settled(page)
    point = np.array(read_rig_file(path).by_hand.landmarks["left.tip"])
    shift = point - before.tip.position
    assert shift @ before.axis == pytest.approx(-12.0 / scale, rel=0.02)
    assert abs(shift @ before.sole_normal) < 1e-9
    after = load_rig(path)
    np.testing.assert_allclose(after.measurement.legs[0].tip.position, point, atol=1e-12)
    page.locator("[data-step='pose']").click()
    page.evaluate("instep.bench.set('left.foot.roll', 80, true)")
    settled(page)
    _agree(page, after)
    page.locator("[data-step='measure']").click()
    page.locator("[data-mark='left.tip'].mark").focus()
    page.keyboard.press("Backspace")
    wait_for(page, "instep.bench.state.by_hand.length === 0")
    assert read_rig_file(path).by_hand.landmarks == {}


def test_a_mark_of_the_rocker_is_written_to_the_rig_file(page: Page, tmp_path: Path) -> None:
    wedge = page.locator("[data-tuning='ball_gives_out_deg']")
    before = float(wedge.get_attribute("aria-valuenow") or "nan")
    wedge.focus()
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    wait_for(page, "instep.bench.rig.info.legs[0].ball_by_hand")
    settled(page)
    tuned = read_rig_file(tmp_path / "biped.rig.toml").by_hand.tuned["left"]
    assert tuned.ball_gives_out_deg == before - 3.0
    page.evaluate("instep.bench.set('left.foot.roll', 50, true)")
    settled(page)
    _agree(page, load_rig(tmp_path / "biped.rig.toml"))


def test_undo_goes_through_everything(page: Page, tmp_path: Path) -> None:
    text = (tmp_path / "biped.rig.toml").read_text()
    page.evaluate("instep.bench.set('left.foot.roll', 30, true)")
    settled(page)
    page.evaluate("instep.bench.ask({ kind: 'set_tuned', leg: 'left', number: 'hold', value: 0.5 })")
    wait_for(page, "instep.bench.state.undo_count === 2")
    page.get_by_role("button", name="Keep this pose").click()
    page.locator(".name-field").fill("over the ball")
    page.locator(".name-field").press("Enter")
    wait_for(page, "instep.bench.state.undo_count === 3")
    page.get_by_role("button", name="Mirror to right").click()
    wait_for(page, "instep.bench.state.undo_count === 4")
    assert pose_of(page) == {"left.foot.roll": 30.0, "right.foot.roll": 30.0}
    page.locator(".stage").focus()
    for left in (3, 2, 1, 0):
        page.keyboard.press("z")
        wait_for(page, f"instep.bench.state.undo_count === {left}")
        settled(page)
    assert pose_of(page) == {}
    assert page.evaluate("instep.bench.state.poses") == {}
    assert (tmp_path / "biped.rig.toml").read_text() == text
    page.keyboard.press("Shift+Z")
    wait_for(page, "instep.bench.state.undo_count === 1")
    settled(page)
    assert pose_of(page) == {"left.foot.roll": 30.0}


def test_a_server_that_is_killed_and_comes_back_finds_the_page_where_it_was(
    browser: BrowserContext, tmp_path: Path
) -> None:
    path = biped_in(tmp_path)
    first = start(path)
    page = open_bench(browser, first.link)
    second: Server | None = None
    try:
        page.evaluate("instep.bench.set('left.foot.roll', 20, true)")
        settled(page)
        first.kill()
        wait_for(page, "!instep.bench.connected")
        assert "not written since" in page.locator("header").inner_text()
        page.evaluate("instep.bench.set('left.foot.bank', 10, true)")  # posing goes on
        page.evaluate("instep.bench.set('left.foot.roll', 40, true)")
        assert page.evaluate("instep.bench.link.pending") == 2
        assert "2 changes wait" in page.locator("header").inner_text()
        second = start(path, first.port)
        wait_for(page, "instep.bench.connected")
        settled(page)
        assert pose_of(page) == {"left.foot.roll": 40.0, "left.foot.bank": 10.0}
        assert page.evaluate("instep.bench.state.undo_count") == 3
        _agree(page, load_rig(tmp_path / "biped.rig.toml"))
    finally:
        page.close()
        for server in (first, second):
            if server is not None:
                server.kill()
                assert server.process.stdout is not None
                server.process.stdout.close()


def test_two_windows_on_one_project_agree(page: Page, browser: BrowserContext, server: Server) -> None:
    other = open_bench(browser, server.link)
    try:
        page.evaluate("instep.bench.set('right.foot.roll', 25, true)")
        wait_for(other, "instep.bench.state.pose['right.foot.roll'] === 25")
        wait_for(other, "instep.bench.value('right.foot.roll') === 25")
        other.evaluate("instep.bench.ask({ kind: 'set_tuned', leg: 'right', number: 'hold', value: 0.25 })")
        wait_for(page, "instep.bench.rig.info.legs[1].hold === 0.25")
        one, two = (window.evaluate("instep.bench.rig.jointPositions(instep.bench.values)") for window in (page, other))
        assert one == two
    finally:
        other.close()


def test_a_file_changed_outside_is_shown_with_both_values(page: Page, tmp_path: Path) -> None:
    path = tmp_path / "biped.rig.toml"
    path.write_text(path.read_text().replace('controls = "essential"', 'controls = "full"'))
    notice = page.get_by_role("alert", name="Changed outside")
    notice.wait_for()
    assert [cell.inner_text() for cell in notice.locator("tbody tr").first.locator("th, td").all()] == [
        "controls",
        "essential",
        "full",
    ]
    notice.get_by_role("button", name="Take theirs").click()
    wait_for(page, "instep.bench.rig.index.has('left.leg.forward')")
    assert notice.count() == 0
    page.evaluate("instep.bench.set('left.heel.yaw', 12, true)")
    settled(page)
    _agree(page, load_rig(path))


def test_the_whole_job_by_keyboard_alone(page: Page, tmp_path: Path) -> None:
    keys = page.keyboard
    for _ in range(40):
        keys.press("Tab")
        if page.evaluate("document.activeElement.classList.contains('stage')"):
            break
    assert page.evaluate("document.activeElement.classList.contains('stage')")
    for key in ("r", "f"):
        keys.press(key)
    while page.evaluate("instep.bench.quantity !== 'roll'"):  # the rules that were walked over chose their own values
        keys.press("ArrowRight")
    for key in ("ArrowUp", "ArrowUp", "Control+ArrowUp"):
        keys.press(key)
    settled(page)
    wait_for(page, "instep.bench.state.pose['right.foot.roll'] === 12")
    keys.press("Shift+ArrowDown")
    wait_for(page, "Math.abs(instep.bench.state.pose['right.foot.roll'] - 11.9) < 1e-9")
    keys.press("ArrowRight")
    keys.press("7")
    wait_for(page, "document.activeElement.classList.contains('channel-field')")
    keys.press("Enter")
    page.locator(".stage").focus()
    wait_for(page, "Object.keys(instep.bench.state.pose).length === 2")
    for key in ("l", "k"):
        keys.press(key)
    assert page.evaluate("instep.bench.held") == "left.knee"
    keys.press("p")
    assert page.evaluate("instep.bench.held") == "pelvis"
    keys.press("r")
    keys.press("x")
    wait_for(page, "Object.keys(instep.bench.state.pose).every((name) => name.startsWith('left.'))")
    keys.press("[")
    assert page.evaluate("instep.bench.step") == "build"
    keys.press("[")
    assert page.evaluate("instep.bench.step") == "measure"
    page.locator("[data-mark='left.heel'].mark").focus()
    keys.press("ArrowDown")
    wait_for(page, "instep.bench.state.by_hand.length === 1")
    assert "left.heel" in read_rig_file(tmp_path / "biped.rig.toml").by_hand.landmarks
    keys.press("?")
    assert page.get_by_role("region", name="Keys").is_visible()
    keys.press("Shift+Backspace")


def test_a_score_is_shown_as_python_bakes_it(page: Page, tmp_path: Path) -> None:
    rig = load_rig(tmp_path / "biped.rig.toml")
    page.locator("[data-step='move']").click()
    page.locator(".score select").select_option("roll")
    wait_for(page, "instep.bench.state.score !== null")
    score = Score.model_validate(page.evaluate("instep.bench.state.score"))
    times = score_times(score)
    wanted = score_values(rig, score, times)
    for frame in (0, 7, 31, 48, len(times) - 1):
        page.evaluate(f"instep.bench.showTime({float(times[frame])!r})")
        shown = page.evaluate("[...instep.bench.values]")
        np.testing.assert_allclose(shown, wanted[frame], atol=1e-9)
    _agree(page, rig)
    assert page.locator(".bar.left").count() >= 3
    page.evaluate("instep.bench.showTime(1)")
    page.evaluate("instep.bench.set('left.foot.bank', 9, true)")
    wait_for(page, "(instep.bench.state.score.keys['left.foot'] ?? []).some((key) => key.values.bank === 9)")
    assert page.locator(".stitch").count() >= 10


def test_a_check_is_run_and_its_worst_pose_is_shown(page: Page) -> None:
    page.locator("[data-step='prove']").click()
    page.evaluate("instep.bench.ask({ kind: 'prove', only: ['rest', 'carry'] })")
    wait_for(page, "instep.bench.state.proof?.findings.length === 2 && !instep.bench.state.proof.running")
    assert page.locator("[data-step='prove'] small").inner_text() == "2 hold"
    page.locator("[data-check='carry']").click()
    wanted = page.evaluate("instep.bench.state.proof.findings.find((one) => one.check === 'carry').pose")
    assert wanted
    for name, value in wanted.items():
        assert page.evaluate(f"instep.bench.value({name!r})") == value
    assert pose_of(page) == {}
    page.locator("[data-step='pose']").click()
    assert page.evaluate("instep.bench.rig.pose(instep.bench.values)") == {}


def test_the_page_has_names_for_what_can_be_pressed_and_no_word_too_small(page: Page) -> None:
    for step in ("measure", "build", "pose", "prove", "move", "hand over"):
        page.locator(f"[data-step='{step}']").click()
        page.wait_for_timeout(60)
        nameless = page.evaluate(
            """[...document.querySelectorAll("button, [role=slider], [role=button], input, select")]
               .filter((one) => !(one.getAttribute("aria-label") || one.textContent.trim() || one.closest("label")))
               .map((one) => one.outerHTML.slice(0, 90))"""
        )
        assert nameless == []
        small = page.evaluate(
            """[...document.querySelectorAll("#bench *")]
               .filter((one) => [...one.childNodes].some((child) => child.nodeType === 3 && child.textContent.trim()))
               .filter((one) => parseFloat(getComputedStyle(one).fontSize) < 11.9).map((one) => one.textContent)"""
        )
        assert small == []
        assert page.evaluate(
            "document.documentElement.scrollHeight <= innerHeight && document.body.scrollHeight <= innerHeight"
        )
