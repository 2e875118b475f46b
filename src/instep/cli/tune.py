"""instep tune: what is set by feel elsewhere, solved from the mesh."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from instep.cli.answer import Answer, answers, working

if TYPE_CHECKING:
    from rich.console import RenderableType

    from instep.delivery.lengths import Lengths
    from instep.rig.tuning.solved import Solved
    from instep.rig.tuning.tune import Tuning

WORDS = {
    "hold": "toes hold",
    "ball_gives_out_deg": "ball gives out",
    "tip_takes_over_deg": "tip takes over",
    "soft": "soft zone",
    "knee_aim_deg": "knee's rest aim",
    "outer_shift": "outer edge's pivot",
    "inner_shift": "inner edge's pivot",
}


@click.command(short_help="Solve a rig's numbers from the mesh and write them into its rig file.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--only", help="Solve these alone, with commas between: hold, ball, tip, soft, knee, edges.")
@click.option("--look", is_flag=True, help="Solve and tell, but write nothing.")
@answers
def tune(file: Path, only: str | None, look: bool) -> Answer:
    """Solve the numbers of the rig in FILE (.rig.toml) from the skinned mesh, and write them into it.

    How far the toes hold to the floor, where the ball gives out and the tip takes over, the soft zone at full reach,
    which way a straight knee bends, and the points that the foot banks over. What you set by hand is kept.
    """
    from instep.rig.tuning.tune import tune_file

    chosen = None if only is None else [name.strip() for name in only.split(",") if name.strip()]
    with working("solving"):
        tuning = tune_file(file, chosen, write=not look)
    return Answer(_data(tuning, not look), lambda: _text(tuning, not look))


def _data(tuning: Tuning, written: bool) -> dict[str, Any]:
    return {
        "rig": str(tuning.rig_file),
        "written": written,
        "solved": [
            {
                "leg": entry.leg,
                "number": entry.name,
                "value": list(entry.value) if isinstance(entry.value, tuple) else entry.value,
                "before": entry.before,
                "after": entry.after,
                "figure": entry.figure,
                "unit": entry.unit,
                "note": entry.note,
            }
            for entry in tuning.solved
        ],
    }


def _text(tuning: Tuning, written: bool) -> list[RenderableType]:
    from instep.cli.wording import heading, lengths_of, line, table

    lengths = lengths_of(tuning.rig.character, tuning.rig.measurement)
    feet = {leg.name: leg.foot_length for leg in tuning.rig.measurement.legs}
    rows = [
        (
            entry.leg,
            WORDS[entry.name],
            _value(entry, lengths, feet[entry.leg]),
            _figures(entry, lengths, feet[entry.leg]) if entry.figure else "",
            entry.figure,
        )
        for entry in tuning.solved
    ]
    notes = [f"{entry.leg}, {WORDS[entry.name]}: {entry.note}." for entry in tuning.solved if entry.note]
    parts: list[RenderableType] = [heading(f"{tuning.rig_file.name}: solved from the mesh")]
    parts.append(table(("leg", "number", "value", "before and after", "of what"), rows))
    if notes:
        parts.append(heading("Remarks"))
        parts += [line(note) for note in notes]
    parts.append(line(f"Written into {tuning.rig_file}." if written else "Nothing was written."))
    return parts


def _value(entry: Solved, lengths: Lengths, foot: float) -> str:
    if entry.value is None:
        return "as it was"
    if isinstance(entry.value, tuple):
        away, up = (lengths.text(share * foot, 1) for share in entry.value)
        return f"{away} outward, {up} up"
    if entry.name.endswith("_deg"):
        return f"{entry.value:g}°"
    return f"{100 * entry.value:.3g} % of the leg" if entry.name == "soft" else f"{entry.value:g}"


def _figures(entry: Solved, lengths: Lengths, foot: float) -> str:
    if entry.unit == "of foot length":
        return f"{lengths.text(entry.before * foot, 2)} to {lengths.text(entry.after * foot, 2)}"
    unit = "°" if entry.unit == "deg" else ""
    return f"{entry.before:.3g}{unit} to {entry.after:.3g}{unit}"
