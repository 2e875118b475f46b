"""Views of a character, and the frame of a drawing: from the world to the paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from instep.character.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """An orthographic projection on to a drawing of a given size.

    Attributes
    ----------
    R_view_world : (3, 3) rotation whose rows are the directions right, up and towards the viewer.
    scale : drawing units for one unit of the file.
    left, top : right and up coordinates of the drawing's upper left corner, in the file's unit.
    width, height : size of the drawing, in drawing units.
    """

    R_view_world: FloatArray
    scale: float
    left: float
    top: float
    width: float
    height: float

    def place(self, points: FloatArray) -> FloatArray:
        """(..., 3) drawing coordinates of (..., 3) points in the world: right, down, towards the viewer."""
        p_view = points @ self.R_view_world.T
        x = (p_view[..., 0] - self.left) * self.scale
        y = (self.top - p_view[..., 1]) * self.scale
        return np.stack([x, y, p_view[..., 2] * self.scale], axis=-1)


def fit(points: FloatArray, R_view_world: FloatArray, scale: float, pad: float = 3.0) -> Frame:
    """The frame that holds all of (n, 3) `points` with `pad` drawing units around them."""
    p_view = points @ R_view_world.T
    low, high = p_view.min(axis=0), p_view.max(axis=0)
    margin = pad / scale
    return Frame(
        R_view_world,
        scale,
        left=float(low[0] - margin),
        top=float(high[1] + margin),
        width=float((high[0] - low[0]) * scale + 2 * pad),
        height=float((high[1] - low[1]) * scale + 2 * pad),
    )


def extent(points: FloatArray, R_view_world: FloatArray) -> tuple[float, float]:
    """Width and height of (n, 3) points as seen, in the file's unit."""
    size = np.ptp(points @ R_view_world.T, axis=0)
    return float(size[0]), float(size[1])


def looking(towards: FloatArray, up: FloatArray) -> FloatArray:
    """(3, 3) rotation with rows right, up, towards the viewer.

    `towards` (3,) points from the body to the viewer; `up` (3,) is made square to it.
    """
    back = np.asarray(towards, dtype=np.float64) / np.linalg.norm(towards)
    upright = np.asarray(up, dtype=np.float64) - np.dot(up, back) * back
    upright /= np.linalg.norm(upright)
    return np.stack([np.cross(upright, back), upright, back])


def body_view(R_world_body: FloatArray, name: str) -> FloatArray:
    """One of the named views of a body: "before", "behind", "left", "right", "below", "quarter".

    Raises KeyError for another name.
    """
    left, up, ahead = R_world_body.T
    views = {
        "before": (ahead, up),
        "behind": (-ahead, up),
        "left": (left, up),
        "right": (-left, up),
        "below": (-up, ahead),
        "quarter": (0.80 * ahead - 0.54 * left + 0.22 * up, up),
    }
    return looking(*views[name])
