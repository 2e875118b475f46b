"""instep contacts: when heel, ball and tip bear."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Say when heel, ball and tip bear.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("source", type=click.Path(path_type=Path), required=False)
@click.option("--clip", help="Which clip of SOURCE. Needed where it has several.")
@click.option("--rate", type=click.FloatRange(1.0, 1000.0), default=60.0, show_default=True, help="Frames a second.")
@click.option("--page", type=click.Path(path_type=Path), help="Write the footfall picture as a page (.html).")
@answers
def contacts(file: Path, source: Path | None, clip: str | None, rate: float, page: Path | None) -> Answer:
    """List the contacts of a clip in SOURCE on the rig FILE (.rig.toml), or of the motion FILE (.move.toml).

    Beside each stance stands what the published kinematic method (Zeni 2008) says of its strike and its toe-off.
    """
    from instep.cli.motion_words import contact_data, load_motion
    from instep.cli.wording import heading, line, table
    from instep.motion.contacts import find_contacts
    from instep.motion.events import gait_events, stances_of
    from instep.motion.faults import MotionError
    from instep.motion.file import MOVE_FILE
    from instep.motion.sole import sole_tracks
    from instep.motion.sources import fit_source
    from instep.rig.file import load_rig

    with working("building the rig") as tell:
        if file.name.endswith(MOVE_FILE):
            motion, rig = load_motion(file)
            tracks = sole_tracks(rig, rig.evaluate(motion.values))
            found = find_contacts(
                tracks, motion.rate, motion.start_s, expected=rig.measurement.floor, cyclic=motion.cyclic
            )
        else:
            if source is None:
                raise MotionError(
                    "there is no clip to look at", expected="a file with clips after the rig file, or a motion file"
                )
            rig = load_rig(file)
            tell("finding contacts")
            fitted = fit_source(rig, source, clip, rate, None)
            motion, found = fitted.motion, fitted.found
            tracks = sole_tracks(rig, rig.evaluate(motion.values))
        if page is not None:
            from instep.delivery.motion_page import write_motion_page

            write_motion_page(rig, motion, page)
    listed = motion.contacts
    events = gait_events(tracks, motion.rate, motion.start_s, motion.floor.velocity)
    strides = stances_of(found, motion.times_s, events)
    data: dict[str, Any] = {
        "clip": motion.name,
        "floor": {
            "kind": motion.floor.kind,
            "height": float(motion.floor.height),
            "slope": [float(value) for value in motion.floor.slope],
            "velocity": [float(value) for value in motion.floor.velocity],
            "uneven": motion.floor.path is not None,
        },
        "contacts": contact_data(listed),
        "stances": [
            {
                "leg": s.leg,
                "start_s": float(s.start_s),
                "end_s": float(s.end_s),
                "strike_s": s.strike_s,
                "off_s": s.off_s,
                "whole": s.whole,
            }
            for s in strides
        ],
    }
    rows = [
        (c.leg, c.part, f"{c.start_s:.3f} s", f"{c.end_s:.3f} s", f"{c.confidence:.2f}")
        for c in sorted(listed, key=lambda c: (c.leg, c.start_s))
    ]
    seconds_rows = [
        (
            s.leg,
            f"{s.start_s:.3f} s",
            "" if s.strike_s is None else f"{s.strike_s:.3f} s",
            f"{s.end_s:.3f} s",
            "" if s.off_s is None else f"{s.off_s:.3f} s",
        )
        for s in strides
    ]

    def text() -> list[Any]:
        if not rows:
            return [heading(f'clip "{motion.name}"'), line("no foot ever bears")]
        heads = ("leg", "starts", "strike, second opinion", "ends", "toe-off, second opinion")
        return [
            heading(f'clip "{motion.name}": what bears'),
            table(("leg", "part", "from", "to", "sure"), rows, right=(2, 3, 4)),
            heading("Footfalls"),
            *(line(row) for row in _score(motion)),
            heading("Stances"),
            table(heads, seconds_rows, right=(1, 2, 3, 4)),
        ]

    return Answer(data, text)


def _score(motion: Any) -> list[str]:
    """Footfalls as lines of text: a line for each part of each foot, heel lowest."""
    import numpy as np

    width = min(len(motion), 100)
    pick = np.linspace(0, len(motion) - 1, width).round().astype(int)
    lines = []
    for leg in dict.fromkeys(contact.leg for contact in motion.contacts):
        for part in ("tip", "ball", "heel"):
            bears = motion.bearing(leg, part)[pick]
            lines.append(f"{leg:>8} {part:<4} " + "".join("━" if on else "·" for on in bears))
    return lines
