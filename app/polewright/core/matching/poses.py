"""From matched stars to attitude and scale, for many candidates at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import Camera, FloatArray


@dataclass(frozen=True, eq=False)
class Poses:
    """M candidate placements: `camera_to_sky` (M, 3, 3), `focal_px` (M,), `mirrored` (M,), and `misfit_px` (M,), the
    rms distance of the matched stars from where the pose puts them; `middle_px` (M, 2) is the middle of those stars,
    `extent_px` (M,) the distance of the widest pair.
    """

    camera_to_sky: FloatArray
    focal_px: FloatArray
    mirrored: NDArray[np.bool_]
    misfit_px: FloatArray
    middle_px: FloatArray
    extent_px: FloatArray

    def take(self, which: NDArray[np.int64] | NDArray[np.bool_]) -> Poses:
        """Some of them."""
        return Poses(
            self.camera_to_sky[which],
            self.focal_px[which],
            self.mirrored[which],
            self.misfit_px[which],
            self.middle_px[which],
            self.extent_px[which],
        )

    def __len__(self) -> int:
        return int(self.focal_px.size)


def centred_pixels(camera: Camera, x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """(N, 2) pixels from the image centre, freed of the camera's distortion, not un-mirrored."""
    x = x_px - (camera.width_px - 1) / 2.0
    y = y_px - (camera.height_px - 1) / 2.0
    r2 = (x * x + y * y) / camera.focal_px**2
    factor = 1.0 + r2 * (camera.k1 + camera.k2 * r2)
    return np.stack([x * factor, y * factor], axis=-1)


def directions(pixels: FloatArray, focal_px: FloatArray | float) -> FloatArray:
    """Unit vectors (..., 3) of centred pixels (..., 2); `focal_px` broadcasts against (...)."""
    x, y = pixels[..., 0] / focal_px, pixels[..., 1] / focal_px
    scale = 1.0 / np.sqrt(1.0 + x * x + y * y)
    return np.stack([x * scale, y * scale, scale], axis=-1)


def poses_of(pixels: FloatArray, sky: FloatArray, focal_px: float) -> Poses:
    """Best similarity for each of M matched groups: centred pixels (M, K, 2), unit vectors `sky` (M, K, 3), K >= 3.

    The first two of a group are its widest pair. `focal_px` is a first guess; it is refined twice.
    """
    count = len(pixels)
    focal = np.full(count, float(focal_px))
    side = _side(directions(pixels, focal_px))
    mirrored = np.sum(np.sign(side) * np.sign(_side(sky)) * np.abs(side), axis=1) < 0.0
    seen = pixels.copy()
    seen[mirrored, :, 0] *= -1.0
    sky_basis, sky_plane = _plane(sky)
    for _ in range(2):
        camera_basis, camera_plane = _plane(directions(seen, focal[:, None]))
        norm = np.sum(np.abs(camera_plane) ** 2, axis=1)
        turn = np.sum(np.conj(camera_plane) * sky_plane, axis=1) / norm
        last, focal = focal, focal / np.maximum(np.abs(turn), 1e-3)
    misfit = np.abs(sky_plane - turn[:, None] * camera_plane)
    misfit_px = np.sqrt(np.mean(misfit * misfit, axis=1)) * last
    extent = np.hypot(*(pixels[:, 1] - pixels[:, 0]).T)
    phase = turn / np.abs(turn)
    spin = np.zeros((count, 3, 3))
    spin[:, 0, 0] = spin[:, 1, 1] = phase.real
    spin[:, 0, 1], spin[:, 1, 0] = -phase.imag, phase.imag
    spin[:, 2, 2] = 1.0
    camera_basis = _plane(directions(seen, focal[:, None]))[0]
    camera_to_sky = sky_basis @ spin @ np.swapaxes(camera_basis, 1, 2)
    return Poses(camera_to_sky, focal, mirrored, misfit_px, pixels.mean(axis=1), extent)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """a x b of vectors (M, 3); numpy's own costs more in set-up than in arithmetic at this size."""
    out = np.empty_like(a)
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def _side(v: FloatArray) -> FloatArray:
    """(M, K - 2) triple products A . (B x C): on which side of AB each further star lies."""
    normal = _cross(v[:, 0], v[:, 1])
    return np.asarray(np.einsum("mi,mki->mk", normal, v[:, 2:]))


def _plane(v: FloatArray) -> tuple[FloatArray, NDArray[np.complex128]]:
    """Basis (M, 3, 3), columns e1 along AB, e2, mean direction; and the stars (M, K) as e1 + i e2 about the mean."""
    middle = v.mean(axis=1)
    middle /= np.linalg.norm(middle, axis=1, keepdims=True)
    along = v[:, 1] - v[:, 0]
    along = along - np.sum(along * middle, axis=1, keepdims=True) * middle
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-15)
    across = _cross(middle, along)
    plane = np.einsum("mki,mi->mk", v, along) + 1j * np.einsum("mki,mi->mk", v, across)
    plane -= plane.mean(axis=1, keepdims=True)
    return np.stack([along, across, middle], axis=2), plane
