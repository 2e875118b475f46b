"""The foot's axis: through the middle of the heel and the middle of the tread at the ball."""

from __future__ import annotations

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.landmarks.sole import SolePlane
from instep.landmarks.tread import FootFrame, Tread, find_tread, foot_frame

HEEL_SECTION, BALL_SECTION = 0.12, 0.68
"""Where along the tread the two middles are taken. Between the widest place and the heel's round end the
tread narrows evenly, so that neither a big toe nor a round heel pulls the axis."""
JOINTS = 3.0
"""Weight of the line from ankle to ball against the outline's: shoes and toes bulge to one side, joints are put
in the middle. With equal weights the edges of a boot and the tip of a bare foot moved by 0.04 of the foot."""
SLENDER = 1.3
"""A tread that is shorter than this many widths (a paw, a hoof) says little about its axis."""


def find_axis(
    foot: FloatArray,
    edges: IntArray,
    plane: SolePlane,
    guess: FloatArray,
    joints: FloatArray | None,
    hold: bool = False,
) -> tuple[FootFrame, Tread, float] | None:
    """Frame and tread of a foot along its axis, and how sure the axis is (0 to 1); None without a tread.

    Where there is a ball joint the axis lies between the outline's and the joints', near the joints'.

    `foot` is (N, 3), its vertices in the world, `edges` (E, 2) between them.
    `guess` is (3,), from heel to toe, right to within 60 degrees. It is kept on `hold`, and where the tread is
    too short to say better. `joints` is (3,) from the ankle to the ball joint, None where there is none.
    """
    frame = foot_frame(foot, plane, guess)
    tread = find_tread(frame.into(foot), edges, frame)
    if tread is None:
        return None
    before = frame.R_world_foot[:, 2]
    for _ in range(6):
        width = float(np.ptp(tread.polygon[:, 0]))
        if hold or tread.length < SLENDER * width:
            frame = foot_frame(foot, plane, guess)
            short = find_tread(frame.into(foot), edges, frame)
            return None if short is None else (frame, short, 0.4)
        rear, front = (tread.rear + share * tread.length for share in (HEEL_SECTION, BALL_SECTION))
        turn = np.array([tread.middle(front) - tread.middle(rear), 0.0, front - rear])
        along = frame.R_world_foot @ turn
        if joints is not None:
            along = along / np.linalg.norm(along) + JOINTS * _on_plane(joints, plane)
        frame = foot_frame(foot, plane, along)
        turned = find_tread(frame.into(foot), edges, frame)
        if turned is None:
            return None
        tread = turned
        if np.linalg.norm(frame.R_world_foot[:, 2] - before) < 1e-6:
            break
        before = frame.R_world_foot[:, 2]
    slender = tread.length / float(np.ptp(tread.polygon[:, 0])) - SLENDER
    return frame, tread, float(np.clip(0.5 + 0.4 * slender, 0.5, 0.95))


def _on_plane(vector: FloatArray, plane: SolePlane) -> FloatArray:
    flat = vector - (vector @ plane.normal) * plane.normal
    return np.asarray(flat / np.linalg.norm(flat), dtype=np.float64)
