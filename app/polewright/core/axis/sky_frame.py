"""A plate solution as the axis estimator needs it: the attitude refitted in the observed Earth-fixed frame."""

from __future__ import annotations

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.attitude import fit_attitude
from polewright.core.camera import moved_alike_rad2, pixel_to_vector
from polewright.core.matching.plate_fit import FitPlan, fit_plate
from polewright.core.model import Atmosphere, Attitude, Camera, FloatArray, PlateSolution, Site, SkyFrame, Utc
from polewright.core.sky.places import observed_enu

COMMON_MOTION_ARCSEC = 0.12  # ground-layer image motion that all stars share in 1 s, one axis (plan 0.1-0.2")
COMMON_MOTION_POWER = -1.0 / 3.0  # with exposure time: slower than 1/sqrt(t), Kolmogorov with finite outer scale
ROLL_FLOOR_ARCSEC = 1.0  # refraction gradient and distortion known to a per cent
WIDE_RAD = np.radians(35.0)  # across the frame; narrower lenses draw straight to the error of a centroid
# so many times the sigmas of a wide frame that no lens explains together with others: with two frames of 90 to 180
# degrees the axis was off by 2.0 sigmas of its stars (rms of 12 drawn captures, 5.1 at most); three: chosen for it
_ALONE = 3.0
_PRIOR_STARS_DOF = 10.0  # how many residuals the stated centroid errors are worth when they are rescaled


def sky_frame(
    name: str,
    utc: Utc,
    site: Site,
    atmosphere: Atmosphere,
    solution: PlateSolution,
    exposure_s: float | None = None,
) -> SkyFrame:
    """The frame in observed ENU at mid-exposure `utc`.

    Rigorous apparent places of the matched stars; rotation and scale fitted anew (refraction compresses the field),
    distortion kept. The covariance follows the residuals and carries what residuals cannot show: image motion common
    to all stars, sized for `exposure_s` (1 s when unknown), what a motion leaves open, how a wide lens bends in this
    frame by itself, and what the frame it was placed by is off by. UsageError for an impossible site or time.
    """
    matched = solution.matched
    enu = observed_enu(matched.icrs, utc, site, atmosphere)
    camera = solution.camera
    sigma_rad = matched.sigma_px / camera.focal_px
    start = fit_attitude(pixel_to_vector(camera, matched.x_px, matched.y_px), enu, sigma_rad)
    fit = fit_plate(
        camera, start.camera_to_sky, matched.x_px, matched.y_px, matched.sigma_px, enu, FitPlan(distortion_terms=0)
    )
    scale = _noise_scale(fit.chi2, fit.dof)
    covariance = fit.covariance[:3, :3] * scale + _common_floor_rad2(exposure_s)
    covariance += moved_alike_rad2(fit.camera, solution.shared_error)
    if is_bent(camera):
        covariance *= _ALONE**2
    if solution.inherited_rad2 is not None:
        covariance += solution.inherited_rad2
    rms_px = float(np.sqrt(np.mean(np.square(fit.residual_px))))
    return SkyFrame(
        name=name,
        utc_mid=utc,
        attitude_enu=Attitude(_orthonormal(fit.camera_to_sky), covariance),
        camera=fit.camera,
        stars_matched=len(matched),
        rms_arcsec=rms_px / fit.camera.focal_px * ARCSEC_PER_RAD,
        centre=solution.centre,
        inherited_rad2=solution.inherited_rad2,
        anchor=solution.anchor,
    )


def is_bent(camera: Camera) -> bool:
    """Is the frame so wide across that its lens bends by more than a centroid is off?"""
    # by its middle: the bend learned there, drawn on to the sides, may fold them back
    return bool(2.0 * np.arctan(0.5 * camera.width_px / camera.focal_px) > WIDE_RAD)


def _noise_scale(chi2: float, dof: int) -> float:
    """Factor on the covariance: the residuals' own word, held near 1 when they are few."""
    return (chi2 + _PRIOR_STARS_DOF) / (dof + _PRIOR_STARS_DOF)


def _common_floor_rad2(exposure_s: float | None) -> FloatArray:
    motion = COMMON_MOTION_ARCSEC * max(exposure_s or 1.0, 0.02) ** COMMON_MOTION_POWER
    return np.diag(np.square([motion, motion, ROLL_FLOOR_ARCSEC]) / ARCSEC_PER_RAD**2)


def _orthonormal(rotation: FloatArray) -> FloatArray:
    """The nearest proper rotation: products of many rotations drift in the last digits."""
    u, _, vt = np.linalg.svd(rotation)
    return np.asarray(u @ vt)
