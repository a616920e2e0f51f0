"""The mount axis from N solved frames, with its covariance, its consistency and its robust companion."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, separation_rad, wrap_pi
from polewright.core.axis.accuracy import predicted_sigma_rad, recommended_rotation_rad
from polewright.core.axis.budgeting import capture_budget
from polewright.core.axis.fit import rotation_angles, shared_axis
from polewright.core.axis.nuisances import pole_lift_rad
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.axis.straight import straightened
from polewright.core.axis.suspects import Verdict, judge
from polewright.core.axis_reasons import (
    AxisDoubt,
    AxisRefusal,
    FarFromPole,
    LongApart,
    LowPole,
    MirroredAndNot,
    OtherField,
    SameExposure,
    SameInstant,
    TooAlike,
    TooFewPlaces,
    TooUnsure,
    TurnedUpright,
    TwoFrames,
    Unsure,
)
from polewright.core.budget import Nuisance
from polewright.core.flexure import Flexure
from polewright.core.model import (
    Atmosphere,
    AxisEstimate,
    FloatArray,
    Site,
    SkyFrame,
    TargetPole,
)
from polewright.core.sky.places import check_site, east_and_up, offset_from_pole, pole_enu
from polewright.core.sky.thick_air import THICK_BELOW_RAD

__all__ = ["estimate_axis", "predicted_sigma_rad", "recommended_rotation_rad", "sky_frame"]

SMALLEST_SPAN_RAD = np.radians(3.0)  # tube flexure alone turns less than this into nonsense
LARGEST_SIGMA_RAD = np.radians(0.75)  # a number that is less sure than the compass is no measurement
UNSURE_SIGMA_RAD = 2.0 / ARCMIN_PER_RAD  # said aloud from here on
LARGEST_OFFSET_RAD = np.radians(20.0)
LONGEST_CAPTURE_S = 6.0 * 3600.0  # no capture takes so long: these frames are of two setups
LOW_POLE_DOUBT_RAD = 5.0 / ARCSEC_PER_RAD  # from here on the true pole is advised: below 7 degrees (chosen)
_SAME_FIELD = 0.01  # relative difference of field widths that is still one camera
_SAME_INSTANT_S = 0.05
_MOVED_RAD = np.radians(0.2)


def estimate_axis(
    frames: Sequence[SkyFrame], site: Site, atmosphere: Atmosphere, target: TargetPole, flexure: Flexure | None = None
) -> AxisEstimate | AxisRefusal:
    """Where the RA axis points against the target pole, from N >= 2 frames with only the RA axis turned between.

    Tracking may be on or off. With `flexure` what the rig is known to give is taken off, and the covariance is the
    whole of the budget; without, how the frames scatter. A refusal when the frames cannot support a number;
    UsageError for an impossible site.
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
    if flexure is not None:
        attitudes = straightened(attitudes, pole, flexure)
    verdict = judge([frame.name for frame in frames], attitudes, covariances, pole, apart=flexure is None)
    offset = float(separation_rad(verdict.fit.axis_enu, pole))
    if offset > LARGEST_OFFSET_RAD:
        return FarFromPole(offset)
    estimate = _estimate(frames, attitudes, site, atmosphere, target, pole, verdict, notes)
    sigma = float(np.sqrt(np.trace(estimate.covariance_rad2)))
    if sigma > LARGEST_SIGMA_RAD:
        return TooUnsure(sigma, _onward_rad(frames))
    return estimate if flexure is None else _budgeted(estimate, frames, verdict, atmosphere, flexure)


def _budgeted(
    estimate: AxisEstimate, frames: Sequence[SkyFrame], verdict: Verdict, atmosphere: Atmosphere, flexure: Flexure
) -> AxisEstimate:
    """The estimate with all that is known of its errors."""
    kept = [frame for frame, keep in zip(frames, verdict.kept) if keep]
    budget = capture_budget(verdict, kept, estimate, atmosphere, flexure)
    return replace(estimate, covariance_rad2=np.array(budget.whole), budget=budget)


def _estimate(
    frames: Sequence[SkyFrame],
    attitudes: FloatArray,
    site: Site,
    atmosphere: Atmosphere,
    target: TargetPole,
    pole: FloatArray,
    verdict: Verdict,
    notes: tuple[AxisDoubt, ...],
) -> AxisEstimate:
    fit = verdict.fit
    east, up = offset_from_pole(fit.axis_enu, pole, site)
    directions = east_and_up(pole, site)
    covariance = directions @ fit.axis_covariance_enu @ directions.T
    companion, _ = shared_axis(attitudes, pole)
    companion_east, companion_up = offset_from_pole(companion, pole, site)
    doubt = low_pole_doubt_rad(site, target, atmosphere)
    covariance = covariance + np.diag([0.0, doubt**2])
    sigma = float(np.sqrt(np.trace(covariance)))
    warnings: list[AxisDoubt] = [*notes, *verdict.warnings]
    low = doubt > LOW_POLE_DOUBT_RAD
    if low:
        warnings.append(LowPole(doubt))
    agreed = verdict.scatter_rad == 0.0 and verdict.suspect is None and not low
    if UNSURE_SIGMA_RAD < sigma <= LARGEST_SIGMA_RAD and agreed:
        warnings.append(_unsure(frames, sigma))
    if len(frames) == 2:
        warnings.append(TwoFrames())
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


def low_pole_doubt_rad(site: Site, target: TargetPole, atmosphere: Atmosphere) -> float:
    """One sigma, rad, upward, of where the air shows the target pole: what its layers may add near the horizon."""
    if abs(math.radians(site.lat_deg)) >= THICK_BELOW_RAD:
        return 0.0
    return pole_lift_rad(site, atmosphere, target)[Nuisance.LOW_AIR]


def without_repeats(frames: Sequence[SkyFrame]) -> tuple[list[SkyFrame], tuple[SameExposure, ...]]:
    """The frames, each exposure once, and a note when one was given twice."""
    kept: list[SkyFrame] = []
    notes = []
    for frame in frames:
        twin = next((other for other in kept if _same_exposure(frame, other)), None)
        if twin is None:
            kept.append(frame)
        else:
            notes.append(SameExposure(frame.name, twin.name))
    return kept, tuple(notes)


def _same_exposure(a: SkyFrame, b: SkyFrame) -> bool:
    same_time = abs(a.utc_mid.seconds_since(b.utc_mid)) < 1e-3
    return same_time and bool(
        np.allclose(a.attitude_enu.camera_to_sky, b.attitude_enu.camera_to_sky, rtol=0.0, atol=1e-10)
    )


def _unfit_frames(frames: Sequence[SkyFrame]) -> AxisRefusal | None:
    """Why these frames do not belong together, if so."""
    if len(frames) < 2:
        return TooFewPlaces(len(frames))
    first = frames[0]
    for frame in frames[1:]:
        if frame.camera.mirrored != first.camera.mirrored:
            return MirroredAndNot(frame.name, first.name)
        if _sides(frame) != _sides(first) == _sides(frame)[::-1]:
            return TurnedUpright(frame.name, first.name)
        if abs(np.log(_field_width(frame) / _field_width(first))) > _SAME_FIELD:
            return OtherField(frame.name, _field_width(frame), first.name, _field_width(first))
    return _long_apart(frames) or _same_time_other_sky(frames)


def _long_apart(frames: Sequence[SkyFrame]) -> AxisRefusal | None:
    ordered = sorted(frames, key=lambda frame: frame.utc_mid)
    hours = ordered[-1].utc_mid.seconds_since(ordered[0].utc_mid) / 3600.0
    if hours * 3600.0 <= LONGEST_CAPTURE_S:
        return None
    return LongApart(ordered[0].name, ordered[-1].name, hours)


def _sides(frame: SkyFrame) -> tuple[int, int]:
    return frame.camera.width_px, frame.camera.height_px


def _field_width(frame: SkyFrame) -> float:
    return frame.camera.width_px / frame.camera.focal_px


def _same_time_other_sky(frames: Sequence[SkyFrame]) -> AxisRefusal | None:
    ordered = sorted(frames, key=lambda frame: frame.utc_mid)
    for a, b in pairwise(ordered):
        turned = a.attitude_enu.camera_to_sky.T @ b.attitude_enu.camera_to_sky
        moved = float(np.linalg.norm(turned - np.eye(3))) > _MOVED_RAD
        if moved and b.utc_mid.seconds_since(a.utc_mid) < _SAME_INSTANT_S:
            return SameInstant(a.name, b.name)
    return None


def _too_alike(frames: Sequence[SkyFrame], attitudes: FloatArray, axis: FloatArray) -> AxisRefusal | None:
    """Frames between which the RA axis hardly turned."""
    theta = rotation_angles(attitudes, axis)
    span = float(np.max(np.abs(wrap_pi(theta[:, None] - theta[None, :]))))
    if span >= SMALLEST_SPAN_RAD:
        return None
    return TooAlike(span, _onward_rad(frames))


def _unsure(frames: Sequence[SkyFrame], sigma: float) -> Unsure:
    turn = recommended_rotation_rad(frames)
    return Unsure(sigma, turn, float(predicted_sigma_rad(frames, turn)))


def _onward_rad(frames: Sequence[SkyFrame]) -> float:
    """How much further to turn the RA axis, at least 45 degrees."""
    return float(max(recommended_rotation_rad(frames), np.radians(45.0)))
