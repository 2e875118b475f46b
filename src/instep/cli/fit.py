"""instep fit: joint animation to control channels."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from instep.cli.answer import Answer, answers, working


@click.command(short_help="Fit joint animation or markers to a rig's channels.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--clip", help="Which clip of SOURCE. Needed where it has several.")
@click.option(
    "--rate", type=click.FloatRange(1.0, 1000.0), default=60.0, show_default=True, help="Frames a second of the motion."
)
@click.option(
    "--smooth",
    "smooth_hz",
    type=click.FloatRange(0.5, 100.0),
    help="Solve the clip as a whole and keep what is slower than so many Hz. For noisy clips; 8 suits a walk.",
)
@click.option("-o", "--output", "target", type=click.Path(path_type=Path), help="The .move.toml to write.")
@answers
def fit(
    file: Path, source: Path, clip: str | None, rate: float, smooth_hz: float | None, target: Path | None
) -> Answer:
    """Fit a clip to the rig FILE (.rig.toml).

    SOURCE is a .glb or .gltf whose skeleton has the character's joint names: the character's own file, one with other
    joints besides, or one with other proportions, whose steps are then scaled by leg length. Or it is markers of a
    walker: .c3d, or .csv with a column time_s and columns NAME_x_m, NAME_y_m, NAME_z_m. Or it is a folder: then each
    of its clips is fitted, and what is there already is left.

    Writes NAME.move.toml, with the frames beside it, and says joint by joint what the rig cannot do.
    """
    from instep.cli.motion_words import contact_data, move_path, seen_from
    from instep.cli.wording import heading, lengths_of, line, seconds, table
    from instep.motion.file import write_motion
    from instep.motion.sources import fit_source
    from instep.rig.file import load_rig

    if source.is_dir():
        return _fit_folder(file, source, rate, smooth_hz, target)
    with working("building the rig") as tell:
        rig = load_rig(file)
        tell("fitting")
        result = fit_source(rig, source, clip, rate, smooth_hz)
        path = move_path(target, source, result.motion.name)
        written = write_motion(result.motion, seen_from(path, file), path)
    motion = result.motion
    data: dict[str, Any] = {
        "files": [str(each) for each in written],
        "clip": motion.name,
        "frames": len(motion),
        "rate": motion.rate,
        "cyclic": motion.cyclic,
        "contacts": contact_data(motion.contacts),
        "leftovers": [
            {
                "joint": left.joint,
                "distance_rms": left.distance_rms,
                "distance_most": left.distance_most,
                "turn_rms_deg": left.turn_rms_deg,
                "turn_most_deg": left.turn_most_deg,
            }
            for left in result.leftovers
        ],
    }
    lengths = lengths_of(rig.character, rig.measurement)
    least = 1e-6 * rig.plan.unit
    shown = [left for left in result.leftovers if left.distance_most > least or left.turn_most_deg > 0.01]
    rows = [
        (
            left.joint,
            lengths.text(left.distance_rms, 2),
            lengths.text(left.distance_most, 2),
            f"{left.turn_rms_deg:.2f}°",
            f"{left.turn_most_deg:.2f}°",
        )
        for left in shown
    ]

    def text() -> list[Any]:
        parts: list[Any] = [
            heading(f"Written: {path}"),
            line(
                f'clip "{motion.name}": {len(motion):,} frames at {motion.rate:g} a second, '
                f"{seconds((len(motion) - 1) / motion.rate)}, {len(motion.contacts)} contacts"
            ),
        ]
        if not rows:
            return [*parts, line("every joint is where the clip has it")]
        heads = ("joint", "apart, rms", "most", "turned, rms", "most")
        return [*parts, heading("What the rig cannot do"), table(heads, rows, right=(1, 2, 3, 4))]

    return Answer(data, text)


def _fit_folder(file: Path, folder: Path, rate: float, smooth_hz: float | None, target: Path | None) -> Answer:
    from instep.cli.wording import heading, table
    from instep.delivery.motion_folder import fit_folder

    with working("looking at the clips") as tell:
        results = fit_folder(file, folder, target or folder, rate=rate, smooth_hz=smooth_hz, progress=tell)
    data = {
        "clips": [
            {"source": str(r.source), "clip": r.clip, "file": str(r.target), "state": r.state, "message": r.message}
            for r in results
        ]
    }
    rows = [(r.clip, r.state, str(r.target) if not r.message else r.message) for r in results]
    return Answer(data, lambda: [heading(f"{len(results)} clips"), table(("clip", "", ""), rows)])
