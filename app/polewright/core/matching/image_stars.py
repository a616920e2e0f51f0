"""The detected stars under an assumed camera, as every generator of candidates needs them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.matching.growth import Detections, effective_sigma, middle_of
from polewright.core.matching.poses import Poses, centred_pixels
from polewright.core.matching.shortlist import StarMap, star_map
from polewright.core.model import Camera, FloatArray, IntArray

SIGMA_FLOOR_PX = 0.25  # detectors promise better centroids than blends and trailed stars keep


@dataclass(frozen=True, eq=False)
class ImageStars:
    """`camera` is assumed: its focal length may be off by `scale_tolerance`; `mirrored` is None when not known.

    `pixels` (N, 2) from the image centre, freed of the known distortion, of the brightest detections, those that the
    search starts from; `slack` is the relative error that unknown
    distortion and differential refraction may give to a distance.
    """

    camera: Camera
    detections: Detections
    scale_tolerance: float
    mirrored: bool | None
    pixels: FloatArray
    sigma_px: FloatArray
    usual_sigma_px: float
    slack: float
    map: StarMap
    camera_known: bool

    @property
    def half_diagonal_rad(self) -> float:
        """Angle from the centre to a corner, distortion left out."""
        return float(np.arctan(np.hypot(self.camera.width_px, self.camera.height_px) / 2.0 / self.camera.focal_px))

    @property
    def field_sr(self) -> float:
        """Solid angle of the frame."""
        return self.camera.field_sr

    def plausible(self, poses: Poses) -> IntArray:
        """Numbers of those whose stars fit, at a scale and parity that are allowed."""
        ratio = self.camera.focal_px / poses.focal_px
        good = (ratio < 1.0 + self.scale_tolerance) & (ratio > 1.0 / (1.0 + self.scale_tolerance))
        good &= poses.misfit_px < 1.2 + 3.0 * self.usual_sigma_px + self.slack * poses.extent_px
        if self.mirrored is not None:
            good &= poses.mirrored == self.mirrored
        return np.flatnonzero(good)


def image_stars(
    camera: Camera,
    detections: Detections,
    scale_tolerance: float,
    mirrored: bool | None,
    camera_known: bool,
    depth: int | None = None,
) -> ImageStars:
    """Prepare the detections for the search; a known camera brings its distortion and its parity.

    `depth`: how many of the brightest the search and the verdict start from, None for all.
    """
    if camera_known:
        mirrored = camera.mirrored if mirrored is None else mirrored
    first = detections if depth is None else detections.brightest(depth)
    pixels = centred_pixels(camera, first.x_px, first.y_px)
    half_field = np.hypot(camera.width_px, camera.height_px) / 2.0 / camera.focal_px
    sigma = np.maximum(effective_sigma(first.sigma_px, camera.scale_arcsec_px), SIGMA_FLOOR_PX)
    usual = middle_of(sigma)
    cell = max(2.0, 2.5 * usual, 0.0022 * camera.width_px)
    return ImageStars(
        camera=camera,
        detections=detections,
        scale_tolerance=scale_tolerance,
        mirrored=mirrored,
        pixels=pixels,
        sigma_px=sigma,
        usual_sigma_px=usual,
        slack=0.0015 + (0.002 if camera_known else 0.012) * float(min(half_field, 0.5)),
        camera_known=camera_known,
        map=star_map(pixels, camera.width_px, camera.height_px, cell),
    )
