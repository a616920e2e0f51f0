"""How a lens draws: the radius on the sensor as an odd polynomial of the angle from the boresight, its centre free.

Why this one: core/axis/shared_lens.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.camera import pixel_to_vector
from polewright.core.model import Camera, FloatArray

LENS_TERMS = 8  # ln focal length, three of the bend, two of the centre, two of the tilt


@dataclass(frozen=True, eq=False)
class Lens:
    """`values` (8,): ln focal length (px), b1, b2, b3 of r = f (t + b1 t^3 + b2 t^5 + b3 t^7), centre off the middle
    of the sensor (x, y, in focal lengths, x un-mirrored), tilt p1, p2."""

    values: FloatArray

    @property
    def focal_px(self) -> float:
        """Pixels to a radian on the boresight."""
        return float(np.exp(self.values[0]))

    def drawn(self, v: FloatArray) -> FloatArray:
        """(N, 2) pixels from the middle of the sensor, un-mirrored, of unit vectors (N, 3) in camera axes."""
        _, b1, b2, b3, cx, cy, p1, p2 = self.values
        across = np.hypot(v[:, 0], v[:, 1])
        t = np.arctan2(across, v[:, 2])
        t2 = t * t
        radius = t * (1.0 + t2 * (b1 + t2 * (b2 + t2 * b3)))
        u = v[:, :2] * (radius / np.maximum(across, 1e-12))[:, None]
        x, y, r2 = u[:, 0], u[:, 1], radius * radius
        tilt = np.stack(
            [p1 * (r2 + 2.0 * x * x) + 2.0 * p2 * x * y, p2 * (r2 + 2.0 * y * y) + 2.0 * p1 * x * y], axis=1
        )
        return np.asarray((u + tilt + np.array([cx, cy])) * self.focal_px)


def from_middle(camera: Camera, x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """(N, 2) pixels from the middle of the sensor, un-mirrored."""
    sign = -1.0 if camera.mirrored else 1.0
    return np.stack([sign * (x_px - 0.5 * (camera.width_px - 1)), y_px - 0.5 * (camera.height_px - 1)], axis=1)


def first_lens(camera: Camera, reach_px: float) -> Lens:
    """The lens of one frame's solution, as far out as it has stars."""
    radius = np.linspace(0.02, 1.0, 60) * reach_px
    x = radius + 0.5 * (camera.width_px - 1)
    v = pixel_to_vector(replace(camera, mirrored=False), x, np.full(60, 0.5 * (camera.height_px - 1)))
    t = np.arctan2(v[:, 0], v[:, 2])
    terms = np.linalg.lstsq(np.stack([t, t**3, t**5, t**7], axis=1), radius, rcond=None)[0]
    return Lens(np.array([np.log(terms[0]), *(terms[1:] / terms[0]), 0.0, 0.0, 0.0, 0.0]))
