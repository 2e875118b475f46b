"""Markers from CSV and C3D: names, gaps, axes, units, and what is wrong with a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from instep.character.arrays import FloatArray
from instep.motion.faults import MotionError
from instep.motion.marker_fit import fit_markers, marker_contacts, walker_axes
from instep.motion.markers import Markers, marker_name, read_markers
from tests.motion.made_clips import shared
from tests.rig.made import made_rig

NEEDED = [f"{side}_{place}" for side in "lr" for place in ("heel", "ankle", "knee", "mt1")]


def _write(path: Path, frames: int = 6, spoil: dict[tuple[int, str], str] | None = None, names: object = None) -> Path:
    labels = list(names) if isinstance(names, list) else NEEDED
    header = ["time_s", *(f"{label}_{axis}_m" for label in labels for axis in "xyz")]
    lines = [",".join(header)]
    for frame in range(frames):
        cells = [f"{frame / 100:.3f}"]
        for number, column in enumerate(header[1:]):
            cells.append((spoil or {}).get((frame, column), f"{0.1 * number + 0.01 * frame:.4f}"))
        if (frame, "time_s") in (spoil or {}):
            cells[0] = (spoil or {})[frame, "time_s"]
        lines.append(",".join(cells))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_names() -> None:
    assert marker_name("l_heel") == "left.heel"
    assert marker_name("R Knee-Medial") == "right.knee_medial"
    assert marker_name("Left.MT5") == "left.mt5"
    assert marker_name("c7") is None


def test_a_short_gap_is_filled(tmp_path: Path) -> None:
    spoil = {(k, f"l_heel_{axis}_m"): "" for k in (2, 3) for axis in "xyz"}
    markers = read_markers(_write(tmp_path / "m.csv", 8, spoil))
    assert markers.filled["left.heel"] == 2
    np.testing.assert_allclose(markers.places["left.heel"][:, 0], 0.01 * np.arange(8), atol=1e-9)


@pytest.mark.parametrize(
    ("frames", "spoil", "message"),
    [
        (6, {(3, "time_s"): "0.010"}, "m.csv: frame 3: time_s is 0.01 after 0.02; expected times that increase."),
        (6, {(1, "l_heel_x_m"): "x"}, 'm.csv: line 3: l_heel_x_m is "x"; expected a number, or nothing.'),
        (6, {(1, "l_heel_x_m"): "inf"}, 'm.csv: line 3: l_heel_x_m is "inf"; expected a number, or nothing.'),
        (
            60,
            {(k, "l_heel_x_m"): "nan" for k in range(10, 45)},
            'm.csv: marker "l_heel": it is lost for 0.35 s from frame 10; expected gaps of at most 0.25 s. Fill the '
            "gap in the capture first.",
        ),
        (0, {}, "m.csv: it has no frames; expected a row for each frame."),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, frames: int, spoil: dict[tuple[int, str], str], message: str) -> None:
    with pytest.raises(MotionError) as wrong:
        read_markers(_write(tmp_path / "m.csv", frames, spoil))
    assert str(wrong.value) == message


def test_a_missing_marker_is_named(tmp_path: Path) -> None:
    with pytest.raises(MotionError) as missing:
        read_markers(_write(tmp_path / "m.csv", names=[n for n in NEEDED if n != "r_heel"]))
    assert str(missing.value) == (
        "m.csv: it has no marker right heel; expected heel, ankle, knee and a head of the metatarsals on each side. "
        "Name the markers l_heel, r_heel and so on."
    )


def test_an_unreadable_c3d_is_an_error(tmp_path: Path) -> None:
    pytest.importorskip("ezc3d")
    path = tmp_path / "m.c3d"
    path.write_bytes(b"no such thing" * 60)
    with pytest.raises(MotionError) as wrong:
        read_markers(path)
    assert str(wrong.value).startswith("m.c3d: it cannot be read as C3D (")


def _as_c3d(markers: Markers, path: Path, lost: int | None = None) -> None:
    """The markers in millimetres with Z up, as most laboratories write them."""
    import ezc3d  # type: ignore[import-untyped,unused-ignore]

    file = ezc3d.c3d()
    labels = [name.replace("left.", "L_").replace("right.", "R_") for name in markers.places]
    points = np.ones((4, len(labels), len(markers)))
    for number, own in enumerate(markers.places.values()):
        points[:3, number] = 1000.0 * own[:, [0, 2, 1]].T * np.array([[1.0], [-1.0], [1.0]])
    if lost is not None:
        points[:3, 0, lost : lost + 5] = np.nan
    file["parameters"]["POINT"]["RATE"]["value"] = [markers.rate]
    file["parameters"]["POINT"]["LABELS"]["value"] = labels
    file["data"]["points"] = points
    file.write(str(path))


def _starts(markers: Markers) -> FloatArray:
    found = marker_contacts(markers, walker_axes(markers))
    return np.array(sorted(c.start_s - markers.start_s for c in found.contacts))


def test_c3d_in_other_axes_and_units_gives_the_same_contacts(tmp_path: Path) -> None:
    pytest.importorskip("ezc3d")
    markers = read_markers(shared("motion/walk_markers.csv"))
    _as_c3d(markers, tmp_path / "walk.c3d", lost=100)
    read = read_markers(tmp_path / "walk.c3d")
    assert read.rate == pytest.approx(150.0)
    assert next(iter(read.filled.values())) == 5
    np.testing.assert_allclose(_starts(read), _starts(markers), atol=0.007)


def test_contacts_hold_when_the_markers_are_noisy() -> None:
    markers = read_markers(shared("motion/walk_markers.csv"))
    rng = np.random.default_rng(3)
    shaken = {name: own + rng.normal(0.0, 0.0005, own.shape) for name, own in markers.places.items()}
    noisy = Markers(markers.name, markers.rate, markers.start_s, shaken, markers.filled)
    clean = [t for t in _starts(markers) if 0.1 < t < 2.3]
    found = _starts(noisy)
    assert max(np.abs(found - t).min() for t in clean) < 0.033


def test_the_walker_is_scaled_to_the_rig() -> None:
    rig = made_rig("plain", plain=True)
    fit = fit_markers(rig, read_markers(shared("motion/walk_markers.csv")))
    column = fit.motion.values[:, rig.channel("pelvis.along")]
    # 2.4 s at 1.2 m/s of a walker whose legs are as long as the rig's, within a tenth.
    assert 2.0 < float(np.ptp(column)) / rig.plan.unit < 4.5
    ankles = [left for left in fit.leftovers if left.joint.endswith("ankle")]
    assert max(left.distance_rms for left in ankles) < 0.015 * rig.plan.unit
