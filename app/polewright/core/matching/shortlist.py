"""Which of many candidate poses put further catalogue stars onto detected ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.matching.poses import Poses
from polewright.core.model import FloatArray, IntArray

_ROWS_ABOUT, _COLUMNS_ABOUT = (np.repeat([-1, 0, 1], 3), np.tile([-1, 0, 1], 3))


@dataclass(frozen=True, eq=False)
class StarMap:
    """A coarse picture of the frame: which cells of `cell_px` have a star in them or next to them.

    `chance` is the probability that a random place is occupied.
    """

    cell_px: float
    half_width_px: float
    half_height_px: float
    occupied: NDArray[np.bool_]
    chance: float

    def hits(self, pixels: FloatArray) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """(inside the frame, on a star) of centred pixels (..., 2); NaN is outside."""
        inside = (np.abs(pixels[..., 0]) < self.half_width_px) & (np.abs(pixels[..., 1]) < self.half_height_px)
        x = np.where(inside, pixels[..., 0], 0.0) + self.half_width_px
        y = np.where(inside, pixels[..., 1], 0.0) + self.half_height_px
        column = (x / self.cell_px).astype(np.int64) + 1
        row = (y / self.cell_px).astype(np.int64) + 1
        return inside, inside & self.occupied[row, column]


def star_map(pixels: FloatArray, width_px: int, height_px: int, cell_px: float) -> StarMap:
    """The map of centred star pixels (N, 2)."""
    half_width, half_height = width_px / 2.0, height_px / 2.0
    shape = (int(height_px / cell_px) + 4, int(width_px / cell_px) + 4)
    occupied = np.zeros(shape, dtype=bool)
    column = ((pixels[:, 0] + half_width) / cell_px).astype(np.int64) + 1
    row = ((pixels[:, 1] + half_height) / cell_px).astype(np.int64) + 1
    column = np.minimum(np.maximum(column, 1), shape[1] - 2)
    row = np.minimum(np.maximum(row, 1), shape[0] - 2)
    occupied[row[:, None] + _ROWS_ABOUT, column[:, None] + _COLUMNS_ABOUT] = True
    return StarMap(cell_px, half_width, half_height, occupied, float(np.count_nonzero(occupied) / occupied.size))


def project(poses: Poses, sky: FloatArray) -> FloatArray:
    """Centred, undistorted pixels (M, K, 2) of unit vectors (M, K, 3) or (K, 3); NaN behind the camera."""
    v = np.matmul(sky, poses.camera_to_sky)  # (M, K, 3): C^T v for every star
    depth = np.where(v[..., 2] > 0.1, v[..., 2], np.nan)
    factor = poses.focal_px[:, None] / depth
    pixels: FloatArray = v[..., :2] * factor[..., None]
    pixels[poses.mirrored, :, 0] *= -1.0
    return pixels


def further_matches(
    poses: Poses, sky: FloatArray, counted: NDArray[np.bool_], stars: StarMap
) -> tuple[IntArray, IntArray]:
    """(on a star, inside the frame) counts (M,) of the `counted` (M, K) catalogue stars `sky` (M, K, 3) or (K, 3)."""
    inside, hit = stars.hits(project(poses, sky))
    return np.sum(hit & counted, axis=1), np.sum(inside & counted, axis=1)
