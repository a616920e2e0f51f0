"""The mount axis from N solved frames, with its covariance, its consistency and its robust companion."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, separation_rad, wrap_pi
from polewright.core.axis.accuracy import predicted_sigma_rad, recommended_rotation_rad
from polewright.core.axis.fit import rotation_angles, shared_axis
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.axis.suspects import Verdict, judge
from polewright.core.model import (
    Atmosphere,
    AxisEstimate,
    FloatArray,
    NotMeasurable,
    Site,
    SkyFrame,
    TargetPole,
)
from polewright.core.sky.places import check_site, east_and_up, offset_from_pole, pole_enu

__all__ = ["estimate_axis", "predicted_sigma_rad", "recommended_rotation_rad", "sky_frame"]

SMALLEST_SPAN_RAD = np.radians(3.0)  # tube flexure alone turns less than this into nonsense
LARGEST_SIGMA_RAD = np.radians(0.75)  # a number that is less sure than the compass is no measurement
UNSURE_SIGMA_RAD = 2.0 / ARCMIN_PER_RAD  # said aloud from here on
LARGEST_OFFSET_RAD = np.radians(20.0)
LONGEST_CAPTURE_S = 6.0 * 3600.0  # no capture takes so long: these frames are of two setups
LOW_POLE_RAD = np.radians(4.0)
LOW_POLE_SIGMA_RAD = 10.0 / ARCMIN_PER_RAD
LOW_POLE = (
    "So near the horizon nobody knows to arcminutes where air shows the pole: aim at the true pole here. The"
    " uncertainty has been widened."
)
TWO_FRAMES = (
    "Two frames cannot check each other: a slipped declination or a moved tripod would go unnoticed. Take a third."
)
_SAME_FIELD = 0.01  # relative difference of field widths that is still one camera
_SAME_INSTANT_S = 0.05
_MOVED_RAD = np.radians(0.2)


def estimate_axis(
    frames: Sequence[SkyFrame], site: Site, atmosphere: Atmosphere, target: TargetPole
) -> AxisEstimate | NotMeasurable:
    """Where the RA axis points against the target pole, from N >= 2 frames with only the RA axis turned between.

    Tracking may be on or off. NotMeasurable when the frames cannot support a number; UsageError for an impossible
    site.
    """
    check_site(site)
    pole = pole_enu(site, atmosphere, target)
    frames, notes = without_repeats(frames)
    refusal = _unfit_frames(frames)
    if refusal is not None:
        return refusal
    attitudes = np.stack([frame.attitude_enu.camera_to_sky for frame in frames])
    covariances = np.stack([frame.attitude_enu.covariance_rad2 for frame in frames])
    start, _ = shared_axis(attitudes, pole)
    refusal = _too_alike(frames, attitudes, start)
    if refusal is not None:
        return refusal
    verdict = judge([frame.name for frame in frames], attitudes, covariances, pole)
    offset = float(separation_rad(verdict.fit.axis_enu, pole))
    if offset > LARGEST_OFFSET_RAD:
        return _far_from_pole(offset)
    estimate = _estimate(frames, site, target, pole, verdict, notes)
    sigma = float(np.sqrt(np.trace(estimate.covariance_rad2)))
    return _not_sure_enough(frames, sigma) if sigma > LARGEST_SIGMA_RAD else estimate


def _estimate(
    frames: Sequence[SkyFrame],
    site: Site,
    target: TargetPole,
    pole: FloatArray,
    verdict: Verdict,
    notes: tuple[str, ...],
) -> AxisEstimate:
    fit = verdict.fit
    east, up = offset_from_pole(fit.axis_enu, pole, site)
    directions = east_and_up(pole, site)
    covariance = directions @ fit.axis_covariance_enu @ directions.T
    attitudes = np.stack([frame.attitude_enu.camera_to_sky for frame in frames])
    companion, _ = shared_axis(attitudes, pole)
    companion_east, companion_up = offset_from_pole(companion, pole, site)
    doubt = low_pole_doubt_rad(site, target)
    covariance = covariance + np.diag([0.0, doubt**2])
    sigma = float(np.sqrt(np.trace(covariance)))
    warnings = [*notes, *verdict.warnings]
    if doubt > 0.0:
        warnings.append(LOW_POLE)
    agreed = verdict.scatter_rad == 0.0 and verdict.suspect is None and doubt == 0.0
    if UNSURE_SIGMA_RAD < sigma <= LARGEST_SIGMA_RAD and agreed:
        warnings.append(_unsure(frames, sigma))
    if len(frames) == 2:
        warnings.append(TWO_FRAMES)
    return AxisEstimate(
        site=site,
        target=target,
        target_enu=pole,
        axis_enu=fit.axis_enu,
        axis_in_camera=fit.axis_in_camera,
        east_rad=east,
        up_rad=up,
        covariance_rad2=np.asarray(0.5 * (covariance + covariance.T)),
        chi2=verdict.chi2,
        dof=verdict.dof,
        companion_east_rad=companion_east,
        companion_up_rad=companion_up,
        rotation_rad=rotation_angles(attitudes, fit.axis_enu),
        frames=tuple(frame.name for frame in frames),
        suspect=verdict.suspect,
        warnings=tuple(warnings),
    )


def low_pole_doubt_rad(site: Site, target: TargetPole) -> float:
    """One sigma, rad, upward, of where air shows a pole near the horizon; 0 where it is known to arcseconds.

    Below 2.9 degrees the refraction used is held constant; against a ray-traced standard atmosphere it is short by
    11.5' at the horizon and by 5.9' at 2 degrees (tests/bench/hard_fields.py, refracted pole).
    """
    altitude = abs(np.radians(site.lat_deg))
    if target is TargetPole.TRUE or altitude >= LOW_POLE_RAD:
        return 0.0
    return float(target.value * LOW_POLE_SIGMA_RAD * (1.0 - altitude / LOW_POLE_RAD))


def without_repeats(frames: Sequence[SkyFrame]) -> tuple[list[SkyFrame], tuple[str, ...]]:
    """The frames, each exposure once, and a note when one was given twice."""
    kept: list[SkyFrame] = []
    notes = []
    for frame in frames:
        twin = next((other for other in kept if _same_exposure(frame, other)), None)
        if twin is None:
            kept.append(frame)
        else:
            notes.append(f"{frame.name} is the same exposure as {twin.name} and was counted once.")
    return kept, tuple(notes)


def _same_exposure(a: SkyFrame, b: SkyFrame) -> bool:
    same_time = abs(a.utc_mid.seconds_since(b.utc_mid)) < 1e-3
    return same_time and bool(
        np.allclose(a.attitude_enu.camera_to_sky, b.attitude_enu.camera_to_sky, rtol=0.0, atol=1e-10)
    )


def _unfit_frames(frames: Sequence[SkyFrame]) -> NotMeasurable | None:
    """Why these frames do not belong together, if so."""
    if len(frames) < 2:
        told = "One frame says nothing about the axis" if frames else "There is no frame to measure the axis by"
        return NotMeasurable(
            f"{told}: 2 are needed, 3 are better.",
            "Turn the RA axis by 45 degrees, declination untouched, and take another frame.",
        )
    first = frames[0]
    for frame in frames[1:]:
        if frame.camera.mirrored != first.camera.mirrored:
            return NotMeasurable(
                f"{frame.name} and {first.name} are not both mirrored.",
                "Use the same camera, diagonal and flip setting for all frames of one capture.",
            )
        if abs(np.log(_field_width(frame) / _field_width(first))) > _SAME_FIELD:
            return NotMeasurable(
                f"{frame.name} shows a field of {np.degrees(_field_width(frame)):.2f} degrees,"
                f" {first.name} of {np.degrees(_field_width(first)):.2f}.",
                "Use the same camera, optics and region of the sensor for all frames of one capture.",
            )
    return _long_apart(frames) or _same_time_other_sky(frames)


def _long_apart(frames: Sequence[SkyFrame]) -> NotMeasurable | None:
    ordered = sorted(frames, key=lambda frame: frame.utc_mid)
    hours = ordered[-1].utc_mid.seconds_since(ordered[0].utc_mid) / 3600.0
    if hours * 3600.0 <= LONGEST_CAPTURE_S:
        return None
    return NotMeasurable(
        f"{ordered[0].name} and {ordered[-1].name} were taken {hours:.0f} hours apart: not in one capture.",
        "Use frames that were taken one after the other with nothing but the RA axis turned; check the clock.",
    )


def _field_width(frame: SkyFrame) -> float:
    return frame.camera.width_px / frame.camera.focal_px


def _same_time_other_sky(frames: Sequence[SkyFrame]) -> NotMeasurable | None:
    ordered = sorted(frames, key=lambda frame: frame.utc_mid)
    for a, b in pairwise(ordered):
        turned = a.attitude_enu.camera_to_sky.T @ b.attitude_enu.camera_to_sky
        moved = float(np.linalg.norm(turned - np.eye(3))) > _MOVED_RAD
        if moved and b.utc_mid.seconds_since(a.utc_mid) < _SAME_INSTANT_S:
            return NotMeasurable(
                f"{a.name} and {b.name} carry the same time but show different sky.",
                "One time must be wrong. Use files with the time in their header (a copied file may lose its own"
                " time), or take the capture again.",
            )
    return None


def _too_alike(frames: Sequence[SkyFrame], attitudes: FloatArray, axis: FloatArray) -> NotMeasurable | None:
    """Frames between which the RA axis hardly turned."""
    theta = rotation_angles(attitudes, axis)
    span = float(np.max(np.abs(wrap_pi(theta[:, None] - theta[None, :]))))
    if span >= SMALLEST_SPAN_RAD:
        return None
    return NotMeasurable(
        f"The frames are too much alike: the RA axis turned by only {np.degrees(span):.1f} degrees between them.",
        _turn_on(frames),
    )


def _far_from_pole(offset: float) -> NotMeasurable:
    return NotMeasurable(
        f"The frames turn about a point {np.degrees(offset):.0f} degrees from the celestial pole: no polar axis.",
        "Turn only the RA axis between the frames, not the declination; check latitude (and its sign), longitude and"
        " clock.",
    )


def _not_sure_enough(frames: Sequence[SkyFrame], sigma: float) -> NotMeasurable:
    return NotMeasurable(
        f"The axis would be uncertain by {np.degrees(sigma):.1f} degrees: these frames say next to nothing about it.",
        _turn_on(frames),
    )


def _unsure(frames: Sequence[SkyFrame], sigma: float) -> str:
    turn = recommended_rotation_rad(frames)
    after = predicted_sigma_rad(frames, turn)
    return (
        f"The axis is uncertain by {sigma * ARCMIN_PER_RAD:.1f}'. Another frame after turning the RA axis on by"
        f" {np.degrees(turn):.0f} degrees would bring it to about {after * ARCMIN_PER_RAD:.1f}'."
    )


def _turn_on(frames: Sequence[SkyFrame]) -> str:
    turn = max(np.degrees(recommended_rotation_rad(frames)), 45.0)
    return f"Turn the RA axis by another {turn:.0f} degrees, declination untouched, and take a frame there."
