"""Watch the frames of the imaging run: has the mount been moved since it was aligned?

What can be seen, and what cannot. A base that tilts by a small rotation k moves the axis by k x p. Against the path
that the measured axis predicts, k shows in three parts: along p (a turn in right ascension: harmless, and drowned in
periodic error), along the declination axis d (the field moves in declination), and along m, square to both. Guiding,
dithering, periodic error and slipping clutches turn the mount about p and d only, so that the part along m proves
that the BASE moved, whoever guides; but it rests on the roll of the picture, which is 30 to 100 times less certain
than its place, unless the field is near the pole. Hence:

* unguided, or a second camera that does not guide: both parts count; arcseconds are seen, in the declination part;
* guided or dithered: only the part along m counts; some ten arcseconds are seen, fewer toward the pole.

A shift whose part along d is small is seen late or never; a second look from another hour angle would show it. Of
axes moved in any direction by 5" at once or 10"/h, 97 % and 67 % is the most that can be found within five minutes at
this threshold, with frames every 15 s good to 0.1" and 7" in roll (Cramer-Rao: tests/bench/vigil_bound.py); 94 % and
67 % are. The rest shows in right ascension alone, where a moved base cannot be told from a slipped clutch or a speck
in the gear; even a worm known to 0.1" would let at most 89 % of the slow ones be found so soon.

Frames are solved attitudes in observed ENU. A slew or a meridian flip begins a new watch; unsolved frames (clouds)
are just not there. State is frozen: `watch` gives the next one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.attitude import rotation_vector
from polewright.core.model import FloatArray, Matrix, Site, SkyFrame
from polewright.core.sky.places import east_and_up, hemisphere_sign, true_pole_enu
from polewright.core.vigil.change_search import Change, Quiet, find_change, scatter

THRESHOLD = 5.3  # see tests/bench/vigil_nights_bench.py for what it lets through
LEAST_STEP_RAD = 1.0 / ARCSEC_PER_RAD  # smaller ones harm nobody, and every mount makes some
_BASE_EVERY = 3  # the roll of one picture is so uncertain that every third look at it is enough
SEARCH_S = 600.0  # how far back an onset is looked for: twice the five minutes in which a shift is to be told
MEMORY_S = 1800.0  # looks that are kept: slope and wandering need more of them than the search
SLEW_RAD = np.radians(0.25)  # no drift carries the field so far between two frames: somebody has pointed elsewhere
FLEXURE_RAD_S = 3.0 / ARCSEC_PER_RAD / 3600.0  # tubes bend by some arcseconds an hour as they follow the sky
WANDER_RAD, WANDER_S = 0.06 / ARCSEC_PER_RAD, 700.0  # what air and tube do beside that
# stars and air do not agree better than that, however many stars are matched (chosen)
POINTING_FLOOR_RAD = 0.05 / ARCSEC_PER_RAD
SETTLED_RAD_H = 3.0 / ARCSEC_PER_RAD  # a mount that was sinking and now sinks by less an hour has settled
_HOUR_S = 3600.0


class Part(Enum):
    """Which part of the base's motion gave it away."""

    DECLINATION = "along the declination axis"
    BASE = "square to both axes of the mount"


@dataclass(frozen=True)
class VigilSetup:
    """What is known when the watch begins: the axis (3,) in ENU and its total sigma, and how the run is held."""

    site: Site
    axis_enu: tuple[float, float, float]
    axis_sigma_rad: float
    guided: bool = False
    dithered: bool = False


@dataclass(frozen=True)
class Look:
    """One frame: seconds, the apparent motion since the watch began along d and m, with sigmas, and, in right
    ascension on the sky, along u (square to d and to the line of sight)."""

    at_s: float
    along_d_rad: float
    along_m_rad: float
    sigma_d_rad: float
    sigma_m_rad: float
    along_u_rad: float = 0.0


@dataclass(frozen=True)
class Shift:
    """The mount was moved. `onset_s` when, `found_s` when it was noticed; a sudden one has a size, a slow one a rate
    (in all: what was found before is counted in) and the size it has grown to.

    `east_rad`, `up_rad`: by how much the axis moved, as far as this part shows it: at least so much.
    """

    sudden: bool
    part: Part
    onset_s: float
    found_s: float
    size_rad: float
    rate_rad_h: float
    sigma_rad: float
    east_rad: float
    up_rad: float


@dataclass(frozen=True)
class Vigil:
    """The watch. `shifts`: all found so far; `new`: the one found with the latest frame, None mostly;
    `watches`: how often it began anew (slews, flips)."""

    setup: VigilSetup
    since_s: float = 0.0
    reference: Matrix | None = None
    looks: tuple[Look, ...] = ()
    slope_d: float = 0.0
    slope_m: float = 0.0
    shifts: tuple[Shift, ...] = ()
    new: Shift | None = None
    watches: int = 0
    frames: int = 0


def watch(vigil: Vigil, frame: SkyFrame, at_s: float) -> Vigil:
    """The watch after one more frame, mid-exposure at `at_s` (s, growing)."""
    attitude = frame.attitude_enu.camera_to_sky
    if vigil.reference is None or (vigil.looks and at_s <= vigil.looks[-1].at_s):
        return _begin(vigil, attitude, at_s) if vigil.reference is None else replace(vigil, new=None)
    motion = _motion(vigil, attitude, at_s)
    if float(np.linalg.norm(motion)) > SLEW_RAD:
        return _begin(vigil, attitude, at_s)
    look = _look(vigil, frame, motion, at_s)
    kept = tuple(k for k in vigil.looks if k.at_s >= at_s - MEMORY_S)
    return _judged(replace(vigil, looks=(*kept, look), new=None, frames=vigil.frames + 1))


def _begin(vigil: Vigil, attitude: FloatArray, at_s: float) -> Vigil:
    rows = [(float(r[0]), float(r[1]), float(r[2])) for r in attitude]
    return replace(
        vigil,
        since_s=at_s,
        reference=(rows[0], rows[1], rows[2]),
        looks=(),
        slope_d=0.0,
        slope_m=0.0,
        new=None,
        watches=vigil.watches + 1,
    )


def _motion(vigil: Vigil, attitude: FloatArray, at_s: float) -> FloatArray:
    """Rotation vector (3,) in ENU from where the axis should have carried the camera to where it is."""
    north_end = np.array(vigil.setup.axis_enu) * hemisphere_sign(vigil.setup.site)
    carried = rotation_about(north_end, -SIDEREAL_RATE_RAD_S * (at_s - vigil.since_s)) @ np.array(vigil.reference)
    return rotation_vector(attitude @ carried.T)


def _axes(vigil: Vigil, boresight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """d and m (3,) for a camera that looks along `boresight`; m lies in the plane of axis and boresight."""
    p = np.array(vigil.setup.axis_enu)
    m = boresight - (boresight @ p) * p
    m = m / max(float(np.linalg.norm(m)), 1e-9)
    return np.cross(p, m), m


def _look(vigil: Vigil, frame: SkyFrame, motion: FloatArray, at_s: float) -> Look:
    attitude, covariance = frame.attitude_enu.camera_to_sky, frame.attitude_enu.covariance_rad2
    d, m = _axes(vigil, attitude[:, 2])
    spread = attitude @ covariance @ attitude.T
    u = np.cross(attitude[:, 2], d)
    return Look(
        at_s=at_s,
        along_d_rad=float(motion @ d),
        along_m_rad=float(motion @ m),
        sigma_d_rad=float(np.sqrt(d @ spread @ d)),
        sigma_m_rad=float(np.sqrt(m @ spread @ m)),
        along_u_rad=float(motion @ u),
    )


def _judged(vigil: Vigil) -> Vigil:
    """The watch with its latest frame judged."""
    setup = vigil.setup
    found: list[tuple[Part, Change]] = []
    if not (setup.guided or setup.dithered):
        change = _search(vigil, Part.DECLINATION)
        if change is not None:
            found.append((Part.DECLINATION, change))
    change = _search(vigil, Part.BASE) if vigil.frames % _BASE_EVERY == 0 else None
    if change is not None:
        found.append((Part.BASE, change))
    if not found:
        return vigil
    part, likeliest = max(found, key=lambda f: f[1].sigmas)
    shift = _shift(vigil, part, likeliest)
    known = replace(vigil, shifts=(*vigil.shifts, shift), new=shift)
    if likeliest.ramp:  # it may go on: from here on this rate is what is expected
        rate = likeliest.size
        known = replace(
            known,
            slope_d=vigil.slope_d + (rate if part is Part.DECLINATION else 0.0),
            slope_m=vigil.slope_m + (rate if part is Part.BASE else 0.0),
        )
    return replace(known, looks=vigil.looks[-2:])


def _search(vigil: Vigil, part: Part) -> Change | None:
    """A change of that part beyond the threshold."""
    looks = vigil.looks
    by_d = part is Part.DECLINATION
    at_s = np.array([k.at_s for k in looks])
    value = np.array([k.along_d_rad if by_d else k.along_m_rad for k in looks])
    sigma = np.array([k.sigma_d_rad if by_d else k.sigma_m_rad for k in looks])
    sigma = np.maximum(np.hypot(sigma, POINTING_FLOOR_RAD), scatter(value))
    axis_drift = SIDEREAL_RATE_RAD_S * vigil.setup.axis_sigma_rad
    slope = vigil.slope_d if by_d else vigil.slope_m
    expected = Quiet(slope, float(np.hypot(axis_drift, FLEXURE_RAD_S)), WANDER_RAD, WANDER_S)
    change = find_change(at_s, value, sigma, expected, SEARCH_S)
    if change is None or change.sigmas <= THRESHOLD or (not change.ramp and abs(change.size) < LEAST_STEP_RAD):
        return None
    return change


def _shift(vigil: Vigil, part: Part, change: Change) -> Shift:
    now = vigil.looks[-1].at_s
    boresight = (
        rotation_about(
            np.array(vigil.setup.axis_enu) * hemisphere_sign(vigil.setup.site),
            -SIDEREAL_RATE_RAD_S * (now - vigil.since_s),
        )
        @ np.array(vigil.reference)[:, 2]
    )
    d, m = _axes(vigil, boresight)
    size = change.size * (now - change.onset_s) if change.ramp else change.size
    moved = size * np.cross(d if part is Part.DECLINATION else m, np.array(vigil.setup.axis_enu))
    east_up = east_and_up(true_pole_enu(vigil.setup.site), vigil.setup.site) @ moved
    before = vigil.slope_d if part is Part.DECLINATION else vigil.slope_m
    rate = (before + change.size) * _HOUR_S if change.ramp else 0.0
    return Shift(
        sudden=not change.ramp,
        part=part,
        onset_s=float(change.onset_s),
        found_s=now,
        size_rad=float(abs(size)),
        rate_rad_h=float(abs(rate)),
        sigma_rad=float(change.sigma * (now - change.onset_s if change.ramp else 1.0)),
        east_rad=float(east_up[0]),
        up_rad=float(east_up[1]),
    )
