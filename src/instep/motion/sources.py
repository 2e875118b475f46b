"""What a clip can come from: a file with joint animation, or markers of a walker."""

from __future__ import annotations

from pathlib import Path

from instep.formats import read_character
from instep.motion.clips import bring_clip, choose_clip
from instep.motion.fit import Fit, fit_clip
from instep.motion.marker_fit import fit_markers
from instep.motion.markers import read_markers
from instep.rig import Rig

MARKERS = (".csv", ".c3d")


def fit_source(rig: Rig, source: Path, clip: str | None, rate: float, smooth_hz: float | None) -> Fit:
    """Fit a clip of a file to a rig: joint animation, or markers by the file's ending (.csv, .c3d).

    Raises MotionError, FormatError and what else reading a character raises.
    """
    if source.suffix.lower() in MARKERS:
        return fit_markers(rig, read_markers(source), rate=rate, smooth_hz=smooth_hz)
    character = read_character(source)
    return fit_clip(rig, bring_clip(rig, character, choose_clip(character, clip), rate), smooth_hz=smooth_hz)
