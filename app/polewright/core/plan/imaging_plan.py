"""What one means to photograph tonight: optics, camera, exposure, target, guiding. And its closed forms.

Closed forms: E_rot = beta cos(dec) / (w T r) for a guided exposure with the farthest corner at r from the guide star,
E_drift = beta / (w T) for an unguided one (Covington, Astrophotography for the Amateur, 2nd ed., 1999, appendix B;
Hook, J. Brit. Astron. Assoc. 99(1), 19, 1989).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.errors import UsageError
from polewright.core.model import Atmosphere, FloatArray
from polewright.core.plan.exposure_blur import Shot

SEA_LEVEL = Atmosphere(1010.0, 10.0)  # hPa and C, chosen: where a plan names no air
_HOURS_PER_S = SIDEREAL_RATE_RAD_S * 12.0 / math.pi  # hours of hour angle
_FWHM_PER_SIGMA = 2.3548  # of a normal distribution, 2 sqrt(2 ln 2)


@dataclass(frozen=True)
class ImagingPlan:
    """One target of tonight. UsageError for numbers that make no sense.

    `pixel_um` is after binning, `width_px` and `height_px` likewise. Hour angle is west positive, counted at the
    beginning and the end of the whole series. `guide_offset_deg` is the distance of the guide star from the centre
    of the picture. `allowed_blur_px` is the longest trail, in pixels, that is to be tolerated in a sub-exposure.
    """

    latitude_deg: float
    declination_deg: float
    focal_length_mm: float
    pixel_um: float
    width_px: int
    height_px: int
    sub_s: float
    hour_angle_from_h: float = -1.0
    hour_angle_to_h: float = 1.0
    guided: bool = True
    guide_offset_deg: float = 0.5
    seeing_arcsec: float = 2.5
    allowed_blur_px: float = 0.5
    atmosphere: Atmosphere = SEA_LEVEL

    def __post_init__(self) -> None:
        for name, value, low, high, unit in (
            ("latitude", self.latitude_deg, -90.0, 90.0, "degrees"),
            ("declination", self.declination_deg, -90.0, 90.0, "degrees"),
            ("focal length", self.focal_length_mm, 3.0, 50000.0, "mm"),
            ("pixel size", self.pixel_um, 0.3, 200.0, "micrometres"),
            ("width", self.width_px, 16, 200000, "pixels"),
            ("height", self.height_px, 16, 200000, "pixels"),
            ("sub-exposure", self.sub_s, 0.001, 43200.0, "s"),
            ("first hour angle", self.hour_angle_from_h, -12.0, 12.0, "hours"),
            ("last hour angle", self.hour_angle_to_h, -12.0, 36.0, "hours"),
            ("distance of the guide star", self.guide_offset_deg, 0.0, 60.0, "degrees"),
            ("seeing", self.seeing_arcsec, 0.1, 60.0, "arcsec"),
            ("allowed blur", self.allowed_blur_px, 0.01, 100.0, "pixels"),
        ):
            if not (math.isfinite(value) and low <= value <= high):
                raise UsageError(f"The {name} must be between {low:g} and {high:g} {unit}, not {value:g}.")
        if self.hour_angle_to_h < self.hour_angle_from_h:
            raise UsageError("The last hour angle must not come before the first: the sky turns westward.")

    @property
    def scale_arcsec_px(self) -> float:
        """Plate scale."""
        return ARCSEC_PER_RAD / self.focal_px

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.focal_length_mm * 1000.0 / self.pixel_um

    @property
    def total_s(self) -> float:
        """Time from the first to the last hour angle."""
        return (self.hour_angle_to_h - self.hour_angle_from_h) / _HOURS_PER_S

    @property
    def half_diagonal_rad(self) -> float:
        """From the centre to a corner."""
        return math.atan(0.5 * math.hypot(self.width_px, self.height_px) / self.focal_px)

    @property
    def farthest_rad(self) -> float:
        """From the guide star to the farthest corner, whichever way the two lie."""
        return self.half_diagonal_rad + math.radians(self.guide_offset_deg)

    @property
    def allowed_rad(self) -> float:
        """The allowed trail on the sky."""
        return self.allowed_blur_px / self.focal_px

    def shot(self, seconds: float | None = None) -> Shot:
        """One sub-exposure of the plan, or one of another length."""
        return Shot(
            latitude_rad=math.radians(self.latitude_deg),
            declination_rad=math.radians(self.declination_deg),
            seconds=self.sub_s if seconds is None else seconds,
            focal_px=self.focal_px,
            half_diagonal_rad=self.half_diagonal_rad,
            guide_offset_rad=math.radians(self.guide_offset_deg) if self.guided else None,
            atmosphere=self.atmosphere,
        )

    def mid_hour_angles_rad(self, seconds: float | None = None, most: int = 7) -> FloatArray:
        """Hour angles (M,) of the middles of the sub-exposures, thinned to `most`; one if only one fits."""
        length_h = (self.sub_s if seconds is None else seconds) * _HOURS_PER_S
        first, last = self.hour_angle_from_h + 0.5 * length_h, self.hour_angle_to_h - 0.5 * length_h
        if last <= first:
            return np.asarray(np.radians([7.5 * (self.hour_angle_from_h + self.hour_angle_to_h)]))
        subs = int((self.hour_angle_to_h - self.hour_angle_from_h) / length_h)
        return np.asarray(np.radians(15.0 * np.linspace(first, last, int(np.clip(subs, 2, most)))))


def rotation_limit_rad(plan: ImagingPlan, seconds: float | None = None) -> float:
    """Closed form: the error that turns the farthest corner by the allowed blur in a guided sub-exposure."""
    half = 0.5 * SIDEREAL_RATE_RAD_S * (plan.sub_s if seconds is None else seconds)
    turned = 2.0 * math.sin(min(half, 0.5 * math.pi))
    return plan.allowed_rad * math.cos(math.radians(plan.declination_deg)) / (turned * plan.farthest_rad)


def drift_limit_rad(plan: ImagingPlan, seconds: float | None = None) -> float:
    """Closed form: the error that can make a star drift by the allowed blur in an unguided sub-exposure."""
    return plan.allowed_rad / (SIDEREAL_RATE_RAD_S * (plan.sub_s if seconds is None else seconds))


def elongation(plan: ImagingPlan, trail_px: float) -> float:
    """How much longer than wide a star becomes: long over short diameter of the smeared disc, seeing included.

    A uniform trail of length L adds L^2/12 to the variance along it.
    """
    sigma = max(plan.seeing_arcsec / plan.scale_arcsec_px, 1.0) / _FWHM_PER_SIGMA  # a pixel wide at the least
    return math.sqrt(1.0 + trail_px**2 / 12.0 / sigma**2)
