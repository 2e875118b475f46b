"""The page of a clip: its footfalls, how far planted points slide, what the rig left over, how the knees turn, and the
soles through a stance."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined

from instep.character import Poses
from instep.character.arrays import FloatArray
from instep.delivery.board import Board
from instep.delivery.lengths import Lengths, lengths_for
from instep.delivery.lettering import NAME, NOTE, TEXT
from instep.delivery.page import FACES
from instep.formats import write_whole
from instep.motion.blend import runs
from instep.motion.figures import Slide, knee_flexion, moved_rms, sinks, slides
from instep.motion.fit import Leftover
from instep.motion.gait import KNEE_DEG, PHASES
from instep.motion.model import PARTS, Motion
from instep.motion.sole import sole_tracks
from instep.motion.stance import AIR, modes_of
from instep.rig import Rig

WIDTH: Final = 1184.0
"""Drawing units: the page's measure."""

LABEL: Final = 120.0
"""Drawing units on the left for the names of rows."""

ROW: Final = 22.0
BAND_DEG: Final = 10.0
"""Degrees that sources of the knee's curve differ by."""

SHOWN: Final = 9
"""Poses of a sole that are drawn through a stance."""


def write_motion_page(
    rig: Rig,
    motion: Motion,
    path: Path,
    *,
    before: tuple[Motion, Poses] | None = None,
    leftovers: Sequence[Leftover] = (),
) -> None:
    """Write the page of a motion, whole or not at all.

    `before` is the motion as it was before it was planted, with its poses; `leftovers` what the fit could not do.
    Raises OutputError where it cannot be written.
    """
    write_whole(path, render_motion_page(rig, motion, before=before, leftovers=leftovers).encode("utf-8"))


def render_motion_page(
    rig: Rig,
    motion: Motion,
    *,
    before: tuple[Motion, Poses] | None = None,
    leftovers: Sequence[Leftover] = (),
) -> str:
    """The page as HTML that asks nothing of any other place."""
    lengths = lengths_for(_height(rig))
    poses = rig.evaluate(motion.values)
    after = slides(rig, motion, poses)
    was = slides(rig, before[0], before[1]) if before is not None else ()
    sections = [
        _plate("I", "Footfalls", "bars bear: tip, ball and heel of each foot, the heel lowest", _score(motion)),
        _slide_table("II", rig, motion, poses, after, was, lengths),
        _plate(
            "III",
            "Knees",
            "flexion over the clip; the band is that of walking (Perry & Burnfield 2010, within 10°), from each strike",
            _knees(rig, motion, poses),
        ),
    ]
    picture = _soles(rig, motion, poses)
    if picture:
        sections.append(
            _plate("IV", "Soles through a stance", "heel, ball and tip from the side, over the floor", picture)
        )
    if before is not None:
        moved = moved_rms(before[1], poses)
        sections.append(_moved("V", rig, moved, lengths))
    if leftovers:
        sections.append(_leftover_table("VI", leftovers, lengths))
    environment = Environment(
        loader=PackageLoader("instep.delivery", "templates"), autoescape=True, undefined=StrictUndefined
    )
    worst = max((each.slide for each in after), default=0.0)
    length_s = (len(motion) - 1) / motion.rate
    return environment.from_string(PAGE).render(
        title=motion.name,
        kind="a clip on its rig: what bears, and whether it stands",
        facts=[
            rig.character.source.name,
            f"{len(motion):,} frames at {motion.rate:g} a second, {length_s:.2f} s",
            f"floor: {motion.floor.kind}" + (", moving" if any(motion.floor.velocity) else ""),
        ],
        summary=f"planted points move by {lengths.text(worst, 3)} at most",
        sections=sections,
        css=(files("instep.delivery") / "style" / "sheet.css").read_text(encoding="utf-8") + STYLE,
        faces="\n".join(_face(*face) for face in FACES),
    )


STYLE: Final = """
.bar.left { fill: var(--left); } .bar.right { fill: var(--right); }
.curve { fill: none; stroke-width: 1.6px; } .curve.left { stroke: var(--left); }
.curve.right { stroke: var(--right); stroke-dasharray: var(--dash-right); }
.band { fill: var(--tone-2); } .pose { fill: none; stroke: var(--ink); stroke-width: .7px; }
.pose.bears { stroke-width: 1.6px; }
"""

PAGE: Final = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ title }}: footfalls</title>
<style>
{{ faces|safe }}
{{ css|safe }}
</style>
</head>
<body>
<main>
<header>
  <div><h1>{{ title }}</h1><p class="kind">{{ kind }}</p></div>
  <div></div>
  <ul class="facts">
    {%- for fact in facts %}
    <li>{{ fact }}</li>
    {%- endfor %}
    <li><strong>{{ summary }}</strong></li>
  </ul>
</header>
<div class="sheet">
{%- for section in sections %}
{{ section|safe }}
{%- endfor %}
</div>
<footer>Written by Instep. This page holds all its drawings and asks nothing of any other place.</footer>
</main>
</body>
</html>
"""


def _face(family: str, weight: int, style: str, file: str) -> str:
    data = base64.b64encode((files("instep.delivery") / "fonts" / file).read_bytes()).decode("ascii")
    return (
        f'@font-face{{font-family:"{family}";font-weight:{weight};font-style:{style};font-display:block;'
        f'src:url(data:font/woff2;base64,{data}) format("woff2")}}'
    )


def _height(rig: Rig) -> float:
    mesh = rig.character.mesh
    points = rig.character.skeleton.positions if mesh is None else mesh.positions
    return float(np.ptp(points @ rig.plan.R_world_body[:, 1]))


def _plate(roman: str, title: str, caption: str, picture: str) -> str:
    return (
        f'<section class="plate wide"><h2><span class="roman">{roman}</span>{escape(title)}</h2>'
        f'<p class="caption">{escape(caption)}</p><figure>{picture}</figure></section>'
    )


def _across(motion: Motion, frame: FloatArray | float) -> FloatArray:
    """Where a frame stands across a drawing."""
    share = np.asarray(frame, dtype=np.float64) / max(len(motion) - 1, 1)
    return np.asarray(LABEL + share * (WIDTH - LABEL - 30.0), dtype=np.float64)


def _time_axis(board: Board, motion: Motion, y: float, top: float) -> None:
    length_s = (len(motion) - 1) / motion.rate
    step = next((s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 60.0, 600.0) if length_s / s <= 14), 3600.0)
    for k in range(int(length_s / step + 1e-6) + 1):
        x = float(_across(motion, k * step * motion.rate))
        board.line([(x, top), (x, y + 5.0)], "leader")
        board.text(x, y + 18.0, f"{k * step:g} s", NOTE, "middle")


def _score(motion: Motion) -> str:
    """Three lines a foot, heel lowest; bars bear."""
    board = Board()
    legs = list(dict.fromkeys(contact.leg for contact in motion.contacts))
    y = 26.0
    top = y - 14.0
    for leg in legs:
        side = "left" if leg.startswith("left") else "right"
        letter = "L" if side == "left" else "R"
        board.text(4.0, y + 1.2 * ROW, letter, NAME, classes=side)
        for part in reversed(PARTS):
            board.text(LABEL - 14.0, y + 5.0, part, TEXT, "end")
            board.line([(LABEL, y), (WIDTH - 30.0, y)], "leader")
            for first, end in runs(motion.bearing(leg, part)):
                x0, x1 = float(_across(motion, float(first))), float(_across(motion, float(end - 1)))
                wide = max(x1 - x0, 2.0)
                board.add(f'<rect class="bar {side}" x="{x0:.1f}" y="{y - 5.0:.1f}" width="{wide:.1f}" height="10"/>')
            y += ROW
        y += 16.0
    if not legs:
        board.text(LABEL, y, "no foot ever bears", TEXT)
        y += ROW
    _time_axis(board, motion, y - 10.0, top)
    return board.svg(WIDTH, y + 20.0, "Footfalls", "Over time, when heel, ball and tip of each foot bear.")


def _slide_table(
    roman: str,
    rig: Rig,
    motion: Motion,
    poses: Poses,
    after: Sequence[Slide],
    was: Sequence[Slide],
    lengths: Lengths,
) -> str:
    sunk = sinks(rig, motion, poses)
    rows = []
    for leg in rig.measurement.legs:
        for part in PARTS:
            own = [each for each in after if each.leg == leg.name and each.part == part]
            if not own:
                continue
            slid = [each.slide for each in was if each.leg == leg.name and each.part == part]
            now = max(each.slide for each in own)
            rows.append(
                (
                    leg.name,
                    part,
                    lengths.text(max(slid), 1) if slid else "",
                    lengths.text(now, 3),
                    f"{100.0 * now / leg.foot_length:.3f} %",
                    lengths.text(max(each.rise for each in own), 2),
                    lengths.text(float(sunk[leg.name].max(initial=0.0)), 2),
                )
            )
    heads = ("leg", "bears", "slid before", "slides", "of the foot", "rises", "sole sinks")
    return _table(roman, "How far planted points move", "the greatest of all contacts of a part", heads, rows, 2)


def _table(
    roman: str, title: str, caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]], words: int
) -> str:
    head = "".join(f'<th scope="col"{"" if k < words else " class=n"}>{escape(h)}</th>' for k, h in enumerate(heads))
    body = "".join(
        "<tr>"
        + "".join(f"<td{'' if k < words else ' class=n'}>{escape(cell)}</td>" for k, cell in enumerate(row))
        + "</tr>"
        for row in rows
    )
    return (
        f'<section class="plate wide"><h2><span class="roman">{roman}</span>{escape(title)}</h2>'
        f"<table><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></section>"
    )


def _knees(rig: Rig, motion: Motion, poses: Poses) -> str:
    board = Board()
    tall, top = 170.0, 14.0
    flexion = knee_flexion(rig, poses)
    most = max(80.0, max((float(own.max()) for own in flexion.values()), default=0.0))

    def y_of(degrees: FloatArray | float) -> FloatArray:
        return np.asarray(top + tall * (1.0 - np.asarray(degrees, dtype=np.float64) / most))

    for leg in rig.plan.legs[:2]:
        for start, end in _cycles(motion, leg.name):
            x = _across(motion, start + np.array([*PHASES, 1.0]) * (end - start))
            middle = np.array([*KNEE_DEG, KNEE_DEG[0]])
            low, high = y_of(np.maximum(middle - BAND_DEG, 0.0)), y_of(middle + BAND_DEG)
            ring = " ".join(
                f"{a:.1f},{b:.1f}" for a, b in [*zip(x, low, strict=True), *zip(x[::-1], high[::-1], strict=True)]
            )
            board.add(f'<polygon class="band" points="{ring}"/>')
    for degrees in range(0, 181, 20 if most <= 100.0 else 40):
        if degrees <= most:
            y = float(y_of(float(degrees)))
            board.line([(LABEL, y), (WIDTH - 30.0, y)], "leader")
            board.text(LABEL - 12.0, y + 4.0, f"{degrees}°", NOTE, "end")
    frames = np.arange(len(motion), dtype=np.float64)
    for leg_name, own in flexion.items():
        side = "left" if leg_name.startswith("left") else "right"
        board.line(np.stack([_across(motion, frames), y_of(own)], axis=1), f"curve {side}")
        rate = float(np.abs(np.diff(own)).max(initial=0.0)) * motion.rate
        beside, level = float(_across(motion, float(frames[-1]))) + 6.0, float(y_of(float(own[-1])))
        board.text(beside, level + 4.0, leg_name[:1].upper(), NOTE, classes=side)
        row = list(flexion).index(leg_name)
        told = f"{leg_name}: {own.min():.0f} to {own.max():.0f}°, at most {rate:.0f}° a second"
        board.text(LABEL + 360.0 * row, top + tall + 44.0, told, TEXT, classes=side)
    _time_axis(board, motion, top + tall, top)
    return board.svg(WIDTH, top + tall + 56.0, "Knee flexion", "Degrees over time for each leg.")


def _cycles(motion: Motion, leg: str) -> list[tuple[float, float]]:
    """From strike to strike, in frames."""
    starts = [float(first) for first, _ in runs(motion.bearing(leg, "heel")) if first > 0]
    return list(pairwise(starts))


def _soles(rig: Rig, motion: Motion, poses: Poses) -> str:
    """The sole from the side at some frames of the longest stance of the first leg: the lowest points of its parts."""
    leg = rig.plan.legs[0]
    spans = runs(modes_of(motion, leg) != AIR)
    tracks = sole_tracks(rig, poses).parts[leg.name]
    if not len(spans) or len(tracks) < 2:
        return ""
    first, end = max(spans.tolist(), key=lambda span: span[1] - span[0])
    around = max((end - first) // 10, 1)
    shown = np.unique(
        np.linspace(max(first - around, 0), min(end + around, len(motion)) - 1, SHOWN).round().astype(int)
    )
    carried = motion.floor.carried(len(motion), motion.rate)
    points = np.concatenate([own.points for own in tracks.values()], axis=1) - carried[:, None]
    order = np.argsort(points[first, :, 2])
    size = rig.measurement.legs[0].foot_length
    board = Board()
    scale = (WIDTH - 60.0) / (1.3 * SHOWN) / size
    floor = motion.floor.heights(points[first, :1, 0], points[first, :1, 2])[0]
    base = 120.0
    board.line([(20.0, base), (WIDTH - 20.0, base)], "floor")
    bears = modes_of(motion, leg) != AIR
    for number, frame in enumerate(shown):
        own = points[frame][order]
        x = 40.0 + number * (WIDTH - 60.0) / SHOWN + (own[:, 2] - points[first, order, 2].min()) * scale
        x = x - (x.min() - 40.0 - number * (WIDTH - 60.0) / SHOWN)
        y = base - (own[:, 1] - floor) * scale
        board.line(np.stack([x, y], axis=1), f"pose{' bears' if bears[frame] else ''}")
        board.text(40.0 + number * (WIDTH - 60.0) / SHOWN, base + 24.0, f"{motion.times_s[frame]:.2f} s", NOTE)
    return board.svg(WIDTH, base + 36.0, "Sole through a stance", "The sole from the side at frames of one stance.")


def _moved(roman: str, rig: Rig, moved: FloatArray, lengths: Lengths) -> str:
    names = rig.character.skeleton.names
    rows = [(names[joint], lengths.text(float(moved[joint]), 1)) for joint in range(len(names)) if moved[joint] > 0.0]
    return _table(roman, "What was moved for it", "root mean square over the clip", ("joint", "moved"), rows, 1)


def _leftover_table(roman: str, leftovers: Sequence[Leftover], lengths: Lengths) -> str:
    rows = [
        (
            left.joint,
            lengths.text(left.distance_rms, 2),
            lengths.text(left.distance_most, 2),
            f"{left.turn_rms_deg:.2f}°",
            f"{left.turn_most_deg:.2f}°",
        )
        for left in leftovers
    ]
    heads = ("joint", "apart, rms", "most", "turned, rms", "most")
    return _table(roman, "What the rig cannot do of the clip", "by joint", heads, rows, 1)
