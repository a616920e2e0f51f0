"""Drift from frames that cannot be solved: star lists, and what is known of the camera and of where it points.

Scale, orientation and parity of the camera and the rough place of the field (to a degree or two) turn the common
shift of the stars into the path of the boresight. An orientation that is wrong by g lets the drive's own error into
the declination as its sine: that share is fitted as one more unknown, known beforehand to a degree or so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.drift.live import DriftProof, add_direction
from polewright.core.drift.rates import star_enu
from polewright.core.drift.reasons import ShiftRefusal, TooFewClean
from polewright.core.drift.shift_tracking import LEAST_PAIRS, FieldShift, field_shift
from polewright.core.model import FloatArray, Site, StarList
from polewright.core.sky.places import hemisphere_sign
from polewright.core.sky.refraction import refract, refraction_constants

ORIENTATION_SIGMA_RAD = np.radians(1.0)  # from one trail with the drive off, or by eye against a chart


@dataclass(frozen=True)
class KnownCamera:
    """What the person knows. `position_angle_rad`: of image up (toward row 0), from celestial north through east;
    `mirrored`: east and west are exchanged. Scale in rad per pixel. `orientation_sigma_rad`: how well the angle is
    known."""

    scale_rad_px: float
    position_angle_rad: float
    mirrored: bool = False
    orientation_sigma_rad: float = ORIENTATION_SIGMA_RAD


@dataclass(frozen=True, eq=False)
class UnsolvedDrift:
    """The state: the proof that grows, the camera, the present field (hour angle and declination toward the elevated
    pole at its first frame), that frame, and the last shift. `trouble` is why the latest frame did not count."""

    proof: DriftProof
    camera: KnownCamera
    hour_angle_rad: float
    dec_p_rad: float
    first: StarList | None = None
    first_s: float = 0.0
    last: tuple[float, float] = (0.0, 0.0)
    trouble: ShiftRefusal | None = None


def at_field(state: UnsolvedDrift, hour_angle_rad: float, dec_p_rad: float) -> UnsolvedDrift:
    """The mount was pointed at another field."""
    return replace(
        state, hour_angle_rad=hour_angle_rad, dec_p_rad=dec_p_rad, first=None, last=(0.0, 0.0), trouble=None
    )


def add_stars(state: UnsolvedDrift, stars: StarList, at_s: float) -> UnsolvedDrift:
    """The state with one more star list, taken at mid-exposure `at_s`."""
    if state.first is None:
        if len(stars) < LEAST_PAIRS:
            return replace(state, trouble=TooFewClean(len(stars), LEAST_PAIRS))
        start = replace(state, first=stars, first_s=at_s, trouble=None)
        at_rest = FieldShift(0.0, 0.0, 0.0, float(np.median(stars.sigma_px)), 0)
        return replace(start, proof=_with(start, at_rest, at_s))
    shift = field_shift(state.first, stars, state.last)
    if not isinstance(shift, FieldShift):
        return replace(state, trouble=shift)
    return replace(state, proof=_with(state, shift, at_s), last=(shift.x_px, shift.y_px), trouble=None)


def _with(state: UnsolvedDrift, shift: FieldShift, at_s: float) -> DriftProof:
    direction = boresight_enu(
        state.proof.site,
        state.camera,
        (state.hour_angle_rad + SIDEREAL_RATE_RAD_S * (at_s - state.first_s), state.dec_p_rad),
        shift,
    )
    seen = refract(direction, refraction_constants(state.proof.atmosphere))
    proof = replace(state.proof, orientation_sigma_rad=state.camera.orientation_sigma_rad)
    return add_direction(proof, at_s, seen, shift.sigma_px * state.camera.scale_rad_px)


def boresight_enu(site: Site, camera: KnownCamera, place_rad: tuple[float, float], shift: FieldShift) -> FloatArray:
    """Where the image centre looks, (3,) in ENU without air, after the stars moved by `shift` from where the field's
    `place_rad` (hour angle now, declination toward the elevated pole) was in the centre."""
    # image up and right on the sky: (north, east) components
    up = np.array([np.cos(camera.position_angle_rad), np.sin(camera.position_angle_rad)])
    right = np.array([up[1], -up[0]]) * (-1.0 if camera.mirrored else 1.0)
    north, east = -camera.scale_rad_px * (
        shift.x_px * right - shift.y_px * up
    )  # the boresight goes against the stars
    hour, dec_p = place_rad
    centre = star_enu(site, hour, dec_p)
    toward_p = star_enu(site, hour, dec_p + 0.5 * np.pi)
    side = hemisphere_sign(site)
    eastward = side * np.cross(toward_p, centre)
    v = centre + north * side * toward_p + east * eastward
    return np.asarray(v / np.linalg.norm(v))
