"""Light on a raster: one smoothed field of shade that tones and hatching are cut from."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter

from instep.character.arrays import FloatArray
from instep.delivery.raster import Raster
from instep.delivery.surface import CAP, Surface

LIGHT: Final = (-0.50, 0.58, 0.64)
"""Where the light comes from, in right, up, towards the viewer: over the left shoulder, as engravers have it."""

TONES: Final = (0.56, 0.30, 0.04)
"""Shade below which each of the three darker paper tones begins; the lightest tone is under all of them."""

HATCHES: Final = (0.20, -0.22)
"""Shade below which hatching begins, and below which it is crossed."""

HOLLOW: Final = 0.55
"""How much a hollow darkens: shade taken away where a surface lies a tenth of the drawing behind its
surroundings."""


def shade_field(
    surface: Surface, raster: Raster, R_view_world: FloatArray, pixels: float, hollow: float = HOLLOW
) -> FloatArray:
    """(H, W) shade from about -1 (away from the light) to 1; bare paper counts as fully lit.

    `pixels` is the number of raster pixels to a drawing unit, `hollow` how much hollows darken.
    """
    light = np.array(LIGHT) / np.linalg.norm(LIGHT)
    mask = raster.mask
    face = raster.face[mask]
    corner = surface.corner_normals[face] @ R_view_world.T
    normal = np.einsum("nk,nka->na", raster.weights, corner)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    tri = surface.points[surface.faces] @ R_view_world.T
    facing = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])[:, 2]
    inner = facing[face] < 0
    normal[inner] *= -1.0
    value = normal @ light
    # the inside of an open mesh lies in its own shadow, a cut is as bright as paper
    value[inner] = np.minimum(value[inner], 0.2)
    value[surface.part[face] == CAP] = 0.8
    shade = np.ones(mask.shape)
    shade[mask] = value
    shade = _blurred(shade, raster, 0.7 * pixels)
    shade[mask] -= hollow * _hollows(raster, pixels)[mask]
    shade[~mask] = 2.0
    return shade


def _blurred(field: FloatArray, raster: Raster, sigma: float) -> FloatArray:
    """A field blurred within the inked pixels only."""
    mask = raster.mask.astype(np.float64)
    weight = gaussian_filter(mask, sigma, truncate=2.5)
    return np.asarray(gaussian_filter(field * mask, sigma, truncate=2.5) / np.maximum(weight, 1e-9))


def _hollows(raster: Raster, pixels: float) -> FloatArray:
    """(H, W) 0 in the open, up to 1 where the surroundings stand in front: under a brow, between toes."""
    mask = raster.mask
    size = max(mask.shape)
    depth = np.where(mask, raster.depth, 0.0)
    result = np.zeros(mask.shape)
    for reach in (0.012, 0.035):
        sigma = max(reach * size, pixels)
        step = max(int(sigma / 3), 1)  # a wide blur needs no fine grid
        small = gaussian_filter(np.where(mask, depth, 0.0)[::step, ::step], sigma / step, truncate=2.5)
        weight = gaussian_filter(mask[::step, ::step].astype(np.float64), sigma / step, truncate=2.5)
        mean = small / np.maximum(weight, 1e-6)
        wide = np.kron(mean, np.ones((step, step)))[: mask.shape[0], : mask.shape[1]]
        if step > 1:
            wide = gaussian_filter(wide, step * 0.6, truncate=2.5)
        behind = (wide - depth) / (0.1 * size)
        result += 0.5 * np.clip(behind * (0.05 / reach), 0.0, 1.0)
    return result
