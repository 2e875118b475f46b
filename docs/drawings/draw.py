"""Draws the pictures of docs/conventions.md.

    python -m docs.drawings.draw            write them
    python -m docs.drawings.draw --check    compare them with what is there; exit status 1 if they differ

Every arrow is the way of a real point, turned by the right-hand rule about a real axis and projected: the
signs in the pictures are computed, not drawn by eye.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np

from docs.drawings import puppet
from docs.drawings.ink import (
    DASHES,
    INK,
    INK_2,
    INK_3,
    LIGHT,
    SANS,
    SERIF,
    SIDES,
    WASHES,
    FloatArray,
    Sheet,
    View,
    circular,
    turned,
    vector,
    view_from,
)

X, Y, Z = vector(1, 0, 0), vector(0, 1, 0), vector(0, 0, 1)
SIGN = {"left": 1.0, "right": -1.0, "middle": 1.0}
FOLDER = Path(__file__).parent


def floor_line(sheet: Sheet, left: float, right: float, y: float) -> None:
    sheet.path([(left, y), (right, y)], stroke_width=1.7)


def body_frame() -> Sheet:
    """The body's directions, and the positive turns about them."""
    sheet = Sheet(
        760,
        590,
        "The body's frame",
        "A figure seen from its front and left. X points to the character's left, Y up, Z forward. "
        "A positive turn about X brings the front down, about Y the front to the left, "
        "about Z the left side up.",
    )
    view = view_from(33, 17, 88, vector(300, 520))
    for k in np.arange(-1.5, 1.6, 0.5):
        sheet.path(view([(k, 0, -1.0), (k, 0, 1.5)]), stroke=INK_3, stroke_width=0.5)
    for k in np.arange(-1.0, 1.6, 0.5):
        sheet.path(view([(-1.5, 0, k), (1.5, 0, k)]), stroke=INK_3, stroke_width=0.5)
    size = 1.02
    for side in ("right", "left"):
        sole = puppet.sole_outline(SIGN[side], 0.07) + vector(0.42 * SIGN[side], 0, 0)
        sheet.path(
            view(size * sole),
            closed=True,
            stroke=SIDES[side],
            fill=WASHES[side],
            stroke_dasharray=DASHES[side],
            stroke_width=1.7,
        )
    puppet.draw_limbs(sheet, view, puppet.figure_limbs(size), "body")
    sheet.letter(view((-0.43, 0, 1.03))[0] + (0, 4), "right")
    sheet.letter(view((0.43, 0, 1.03))[0] + (0, 4), "left")

    triad = view_from(33, 17, 135, vector(558, 280))
    origin = vector(0, 0, 0)
    names = {
        "X": (X, "to the character’s left", (0, 24), "middle"),
        "Y": (Y, "up", (10, 8), "start"),
        "Z": (Z, "forward", (-2, 26), "middle"),
    }
    turns = {
        "X": (X, -Y, "front down"),
        "Y": (Y, Z, "front to the left"),
        "Z": (Z, X, "left side up"),
    }
    for name, (axis, words, offset, anchor) in names.items():
        tip = triad(axis)[0]
        sheet.arrow(triad([origin, axis]), head=11)
        sheet.text(tip + offset, name, size=18, family=SERIF, italic=True, anchor=anchor)
        place = tip + offset + ((16, 0) if anchor == "start" else (0, 17))
        sheet.text(place, words, size=14, anchor=anchor, color=INK_2)
    for axis, start, _ in turns.values():
        centre = 0.72 * axis
        sheet.arrow(triad(circular(centre, centre + 0.2 * start, axis, 270)), width=1.0, head=8, color=INK)
    sheet.circle(triad(origin)[0], 3.5, fill=INK)
    rows = [("about X", turns["X"][2]), ("about Y", turns["Y"][2]), ("about Z", turns["Z"][2])]
    sheet.text((500, 440), "A positive turn brings", size=16, family=SERIF, italic=True)
    for k, (about, what) in enumerate(rows):
        sheet.text((500, 466 + 22 * k), about, color=INK_2)
        sheet.text((566, 466 + 22 * k), what)
    sheet.heading((28, 40), "The body’s frame", "seen from the front and the character’s left; right-handed")
    return sheet


def dot_out(sheet: Sheet, at: FloatArray, color: str) -> None:
    """An axis that points at the reader."""
    sheet.circle(at, 6, stroke=color, fill=LIGHT)
    sheet.circle(at, 1.8, stroke="none", fill=color)


def foot_frame() -> Sheet:
    """The foot's frame at its landmarks, from the outer side and from above."""
    sheet = Sheet(
        860,
        470,
        "The foot's frame",
        "The left foot from its outer side, and both feet from above. At each landmark Z points from heel "
        "to toe along the sole, Y is normal to the sole plane, and X points to the character's left on both feet.",
    )
    side = View(-Z, Y, 292, vector(305, 330))
    teal = SIDES["left"]
    puppet.draw_open(sheet, side(puppet.side_outline()))
    floor_line(sheet, 28, 405, 330)
    places = {"heel": puppet.HEEL, "ball": puppet.BALL, "tip": puppet.TIP}
    for name, place in places.items():
        at = side(place)[0]
        sheet.arrow(side([place, place + 0.2 * Y]), color=teal)
        sheet.arrow(side([place, place + 0.2 * Z]), color=teal)
        dot_out(sheet, at, teal)
        sheet.text(side(place + 0.2 * Y)[0] + (7, 6), "Y", size=14, family=SERIF, italic=True, color=teal)
        sheet.text(
            side(place + 0.2 * Z)[0] + (2, -8),
            "Z",
            size=14,
            family=SERIF,
            italic=True,
            color=teal,
            anchor="middle",
        )
        sheet.path([(at[0], at[1] + 8), (at[0], 356)], stroke=INK_3, stroke_width=0.8)
        sheet.text((at[0], 374), {"tip": "toe tip"}.get(name, name), anchor="middle", bold=True)
    sheet.text(side(puppet.HEEL)[0] + (13, 17), "X", size=14, family=SERIF, italic=True, color=teal)
    sheet.text((28, 412), "The sole plane is the floor at rest. The ringed dot is X,", size=14, color=INK_2)
    sheet.text((28, 431), "which points at the reader.", size=14, color=INK_2)
    sheet.heading((28, 40), "From the outer side", "the left foot")

    above = View(-X, Z, 280, vector(650, 312))
    for name in ("left", "right"):
        sign, colour, dash = SIGN[name], SIDES[name], DASHES[name]
        shift = vector(0.33 * sign, 0, 0)
        sheet.path(above(shift + puppet.sole_outline(sign)), closed=True, fill=WASHES[name], stroke_width=1.7)
        sheet.path(
            above(shift + puppet.sole_outline(sign, 0.05)),
            closed=True,
            stroke=colour,
            stroke_dasharray=dash,
            stroke_width=1.7,
        )
        marks = {
            "heel": puppet.HEEL,
            "ball": puppet.BALL,
            "tip": puppet.TIP,
            "inner": puppet.INNER,
            "outer": puppet.OUTER,
        }
        for mark, place in marks.items():
            p = shift + place * vector(sign, 1, 1)
            if mark in ("heel", "ball", "tip"):
                sheet.arrow(above([p, p + 0.15 * X]), color=colour, head=7, width=1.4)
                sheet.arrow(above([p, p + 0.15 * Z]), color=colour, head=7, width=1.4)
            dot_out(sheet, above(p)[0], colour) if mark in ("heel", "ball", "tip") else sheet.circle(
                above(p)[0], 4.5, stroke=colour, fill=LIGHT
            )
        heel = shift + puppet.HEEL
        sheet.text(
            above(heel + 0.15 * X)[0] + (-9, 5),
            "X",
            size=14,
            family=SERIF,
            italic=True,
            color=colour,
            anchor="middle",
        )
        sheet.text(
            above(heel + 0.15 * Z)[0] + (0, -5),
            "Z",
            size=14,
            family=SERIF,
            italic=True,
            color=colour,
            anchor="middle",
        )
        sheet.letter(above(shift)[0] + (0, 122), name)
        edge = above(shift + puppet.OUTER * vector(sign, 1, 1))[0]
        sheet.text(edge + vector(-20 * sign, 5), "outer", anchor="end" if sign > 0 else "start", size=14)
    sheet.text((650, above(puppet.INNER)[0][1] + 5), "inner", anchor="middle", size=14)
    sheet.text((650, above(puppet.HEEL)[0][1] + 5), "heel", anchor="middle", bold=True)
    ball_label = vector(650, above(puppet.BALL)[0][1] + 44)
    for sign in (1.0, -1.0):
        mark = above(vector(0.33 * sign, 0, puppet.BALL[2]))[0] + vector(7 * sign, 3)
        sheet.path([mark, ball_label + vector(-20 * sign, -5)], stroke=INK_3, stroke_width=0.8)
    sheet.text(ball_label, "ball", anchor="middle", bold=True)
    sheet.text((650, above(puppet.TIP)[0][1] + 5), "toe tip", anchor="middle", bold=True)
    sheet.heading((470, 40), "From above", "both feet: X points to the character’s left on both")
    return sheet


def roll_bank_twist() -> Sheet:
    """The three channels of the foot, positive and negative."""
    sheet = Sheet(
        860,
        860,
        "Roll, bank and twist",
        "Roll: below zero the foot turns about the heel and the toes rise; above zero the ball lifts the heel "
        "while the toes hold, and beyond that the whole foot turns about the toe tip. Bank: positive onto the "
        "outer edge on both feet. Twist: positive toes out on both feet.",
    )
    sheet.heading((28, 40), "Roll", "the left foot from its outer side; the pivot is marked")
    base, scale = 235.0, 150.0
    outline = puppet.side_outline()
    ball_up = puppet.bent(outline, 35)
    tip_up = turned(ball_up, puppet.TIP, X, 30)
    steps = [
        ("roll −20°", "about the heel", turned(outline, puppet.HEEL, X, -20), puppet.HEEL, puppet.TIP, -20.0),
        ("roll 0°", "at rest", outline, None, None, 0.0),
        ("roll 35°", "the ball lifts the heel", ball_up, puppet.BALL, puppet.HEEL, 35.0),
        ("roll 65°", "over the toe tip", tip_up, puppet.TIP, puppet.bent(puppet.HEEL[None], 35)[0], 30.0),
    ]
    floor_line(sheet, 28, 832, base)
    for k, (name, words, shape, pivot, start, degrees) in enumerate(steps):
        view = View(-Z, Y, scale, vector(165 + 195 * k + (6 if k == 3 else 0), base))
        puppet.draw_open(sheet, view(shape))
        if pivot is not None and start is not None:
            from_point = pivot + 1.1 * (start - pivot)
            sheet.path(view([pivot, from_point]), stroke=INK_3, stroke_width=0.8, stroke_dasharray="1.5 3.5")
            sheet.arrow(view(circular(pivot, from_point, X, degrees)), color=SIDES["left"])
            sheet.circle(view(pivot)[0], 5, stroke=SIDES["left"], fill=LIGHT)
        middle = view(vector(0, 0, 0.24))[0][0]
        sheet.text((middle, base + 26), name, anchor="middle", bold=True)
        sheet.text((middle, base + 44), words, anchor="middle", color=INK_2)

    sheet.heading((28, 325), "Bank", "both feet from before: positive onto the outer edge")
    floor = 540.0
    for column, degrees in enumerate((25.0, -25.0)):
        x0 = 225 + 410 * column
        floor_line(sheet, x0 - 180, x0 + 180, floor)
        for name in ("left", "right"):
            sign, colour = SIGN[name], SIDES[name]
            view = View(X, Y, 195, vector(x0 + 92 * sign, floor))
            edge = vector(sign * (0.165 if degrees > 0 else -0.15), 0, 0)
            axis = -sign * Z
            shape = turned(puppet.front_outline(sign), edge, axis, degrees)
            sheet.path(view(puppet.front_outline(sign)), stroke=INK_3, stroke_width=0.8, stroke_dasharray="1.5 3.5")
            puppet.draw_open(sheet, view(shape))
            for toe in puppet.front_toes(sign):
                sheet.path(view(turned(toe, edge, axis, degrees)), stroke_width=0.8, fill=LIGHT)
            top = vector(0, 0.7, 0)
            sheet.arrow(view(circular(edge, top, axis, degrees)), color=colour, dash=DASHES[name])
            sheet.circle(view(edge)[0], 5, stroke=colour, fill=LIGHT)
            sheet.letter((x0 + 92 * sign, floor + 30), name)
        sheet.text((x0, floor + 26), f"bank {degrees:+.0f}°".replace("-", "−"), anchor="middle", bold=True)
        sheet.text((x0, floor + 44), "outer edge" if degrees > 0 else "inner edge", anchor="middle", color=INK_2)

    sheet.heading((28, 632), "Twist", "both feet from above: positive toes out")
    for column, degrees in enumerate((25.0, -25.0)):
        x0 = 225 + 410 * column
        for name in ("left", "right"):
            sign, colour, dash = SIGN[name], SIDES[name], DASHES[name]
            view = View(-X, Z, 125, vector(x0 - 88 * sign, 800))
            pivot, axis = puppet.BALL * vector(1, 0, 1), sign * Y
            sheet.path(
                view(puppet.sole_outline(sign)),
                closed=True,
                stroke=INK_3,
                stroke_width=0.8,
                stroke_dasharray="1.5 3.5",
            )
            sheet.path(view(turned(puppet.sole_outline(sign), pivot, axis, degrees)), closed=True, fill=WASHES[name])
            tip = puppet.TIP + vector(0, 0, 0.12)
            sheet.arrow(view(circular(pivot, tip, axis, degrees)), color=colour, dash=dash)
            sheet.circle(view(pivot)[0], 5, stroke=colour, fill=LIGHT)
            sheet.letter((x0 - 160 * sign, 826), name)
        sheet.text((x0, 842), f"twist {degrees:+.0f}°".replace("-", "−"), anchor="middle", bold=True)
    return sheet


def control_axes() -> Sheet:
    """Position and turn channels of a control, on either side and in the middle."""
    sheet = Sheet(
        860,
        500,
        "The channels of a control",
        "Three controls with their channels: a right one, one in the middle, a left one. Across is positive "
        "away from the body's middle, and to the left in the middle; up and along are the same everywhere. "
        "Pitch brings the front down, yaw the front away from the middle, lean the outer side down; "
        "in the middle to the left.",
    )
    sheet.heading((28, 40), "The channels of a control", "from before; each arrow shows the positive way")
    for name, place in (("right", 172.0), ("middle", 412.0), ("left", 688.0)):
        sign, colour, dash = SIGN[name], SIDES[name], DASHES[name]
        view = view_from(28 * sign, 24, 165, vector(place, 285))
        if name != "middle":
            sole = puppet.sole_outline(sign, 0.05)
            ground = -0.16
            lift = vector(0, ground, -0.2)
            sheet.path(view(lift + sole), closed=True, fill=WASHES[name], stroke=colour, stroke_dasharray=dash)
            puppet.draw_limbs(sheet, view, puppet.foot_limbs(lift, sign, 0.95, shin=0.32), name)
        else:
            thighs: list[puppet.Limb] = [
                [(vector(0.19 * k, -0.1, 0), 0.165), (vector(0.2 * k, -0.42, 0.02), 0.145)] for k in (1, -1)
            ]
            hips: puppet.Limb = [(vector(x, y, 0), r) for x, y, r in ((-0.19, -0.04, 0.18), (0.19, -0.04, 0.18))]
            waist: puppet.Limb = [(vector(x, 0.2, 0), 0.14) for x in (-0.11, 0.11)]
            puppet.draw_limbs(sheet, view, thighs, "thighs")
            puppet.draw_limbs(sheet, view, [hips + waist], "hips")
        origin = vector(0, 0, 0)
        axes = {
            "across": (sign * X, X, "pitch", -Y),
            "up": (Y, sign * Y, "yaw", Z),
            "along": (Z, -sign * Z, "lean", Y),
        }
        for axis_name, (axis, about, turn, start) in axes.items():
            length = 0.8
            sheet.arrow(view([origin, length * axis]), color=colour, dash=dash, head=10)
            tip = view(length * axis)[0]
            offset = {"across": (2 * sign, 22), "up": (0, -8), "along": (-6 * sign, 20)}[axis_name]
            sheet.text(tip + offset, axis_name, anchor="middle", color=colour, bold=True)
            centre = 0.55 * axis
            way = circular(centre, centre + 0.14 * start, about, 280)
            sheet.arrow(view(way), color=colour, width=1.2, head=8)
            label = {"across": (6 * sign, -32), "up": (40 * sign, 4), "along": (-32 * sign, -8)}[axis_name]
            anchor = {
                "across": "middle",
                "up": "start" if sign > 0 else "end",
                "along": "end" if sign > 0 else "start",
            }
            sheet.text(view(centre)[0] + label, turn, anchor=anchor[axis_name], size=14, family=SERIF, italic=True)
        sheet.circle(view(origin)[0], 4, fill=colour, stroke="none")
        title = {"left": "left.foot", "middle": "pelvis", "right": "right.foot"}[name]
        sheet.text((place, 470), title, anchor="middle", family=SANS, size=16, bold=True, color=colour)
        if name != "middle":
            sheet.letter((place, 444), name)
    return sheet


DRAWINGS = {
    "body-frame.svg": body_frame,
    "foot-frame.svg": foot_frame,
    "roll-bank-twist.svg": roll_bank_twist,
    "control-axes.svg": control_axes,
}

_NUMBER = re.compile(r"-?\d+\.\d+")
_ROUNDING = 0.11
"""Drawing units. Coordinates have one decimal; another machine's sine may round it the other way."""


def agrees(new: str, old: str) -> bool:
    """Whether two drawings are the same but for rounding."""
    if _NUMBER.sub("#", new) != _NUMBER.sub("#", old):
        return False
    pairs = zip(_NUMBER.findall(new), _NUMBER.findall(old), strict=True)
    return all(abs(float(a) - float(b)) < _ROUNDING for a, b in pairs)


def main(arguments: list[str]) -> int:
    """Write the drawings, or with ``--check`` name those that have drifted."""
    status = 0
    for name, draw in DRAWINGS.items():
        path, svg = FOLDER / name, draw().svg()
        old = path.read_text(encoding="utf-8") if path.is_file() else ""
        if agrees(svg, old):
            continue
        if "--check" in arguments:
            print(f"{name} differs from what docs/drawings/draw.py draws; run scripts/fix.")
            status = 1
        else:
            path.write_text(svg, encoding="utf-8")
            print(f"Drawn: {name}")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
