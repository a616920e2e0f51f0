"""What is known about a frame before it is solved."""

from __future__ import annotations

from dataclasses import dataclass

from polewright.core.model import Camera, SkyPosition


@dataclass(frozen=True)
class SolveHint:
    """Everything is optional; what is given narrows the search and lets fewer stars decide.

    `scale_arcsec_px` may be off by the fraction `scale_tolerance`. `near` is where the image centre is expected,
    within `near_radius_deg` (last pointing, or the header's); the whole sky is searched after it. `declination_deg`
    is that of the last frame: a mount turned about its RA axis stays in a ring about the pole. `mirrored` is None
    when not known. `camera` is the camera of the last solved frame of the same size: scale and distortion are then
    known, the scale to `CAMERA_SCALE_TOLERANCE`. `thorough` False: the frame is probably spoiled (the mount moved),
    only the quick ways are worth their time. `narrowest_field_deg`: the width from which fields are tried when the
    scale is unknown.
    """

    scale_arcsec_px: float | None = None
    scale_tolerance: float = 0.10
    near: SkyPosition | None = None
    near_radius_deg: float = 5.0
    declination_deg: float | None = None
    mirrored: bool | None = None
    camera: Camera | None = None
    thorough: bool = True
    narrowest_field_deg: float = 0.0


CAMERA_SCALE_TOLERANCE = 0.006  # focus, temperature and differential refraction move the scale less than this
KNOWN_SCALE_SIGMA = 0.002  # one standard deviation of the same
RING_HALF_WIDTH_DEG = 1.5  # polar misalignment moves the declination of a turned mount by up to twice its size
