"""How to stand the mount up: heading, inclination, and whether clock and scale can be believed.

The magnetic declination comes in as a value (services/magnetic.py); nothing here looks anything up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.sky.places import pole_enu
from polewright.words.numbers import angle_text, duration_text, number_text

NO_AIR = Atmosphere(0.0)
OVERHEAD_DEG, LEVEL_DEG = 88.0, 2.0
COMPASS_SIGMA_DEG = 2.0  # a hand compass beside iron: 2 to 5 degrees (common practice, no source)
LATENCY_S = 8.0  # a frame is read out and written within this time (common practice, no source)
SCALE_TOLERANCE = 0.05


@dataclass(frozen=True)
class Heading:
    """Where the upper end of the axis is to point, degrees; 0 north, through east.

    `magnetic_deg` is the compass reading, None where a compass is of no use or nothing is known. `sigma_deg` covers
    compass and magnetic model. `inclination_deg` is that of the target pole, `refraction_arcmin` of it due to air.
    `words` are sentences for places where heading or inclination are out of the ordinary.
    """

    true_deg: float
    magnetic_deg: float | None
    sigma_deg: float
    inclination_deg: float
    refraction_arcmin: float
    words: tuple[str, ...] = ()


def heading(
    site: Site,
    atmosphere: Atmosphere,
    target: TargetPole,
    magnetic_declination_deg: float | None = None,
    magnetic_sigma_deg: float = 0.5,
) -> Heading:
    """How to stand the mount up at `site`; declination + where magnetic north lies east of true north."""
    southern = site.lat_deg < 0.0
    true_deg = 180.0 if southern else 0.0
    altitude = pole_altitude_rad(site, atmosphere, target)
    bare = pole_altitude_rad(site, NO_AIR, TargetPole.TRUE)
    magnetic = None if magnetic_declination_deg is None else (true_deg - magnetic_declination_deg) % 360.0
    return Heading(
        true_deg,
        magnetic,
        math.hypot(COMPASS_SIGMA_DEG, magnetic_sigma_deg),
        math.degrees(altitude),
        (altitude - bare) * ARCMIN_PER_RAD,
        _words(math.degrees(altitude), southern, magnetic),
    )


def pole_altitude_rad(site: Site, atmosphere: Atmosphere, target: TargetPole) -> float:
    """Altitude of the target pole, rad."""
    pole = pole_enu(site, atmosphere, target)
    return math.atan2(float(pole[2]), math.hypot(float(pole[0]), float(pole[1])))


def _words(inclination_deg: float, southern: bool, magnetic_deg: float | None) -> tuple[str, ...]:
    side = "south" if southern else "north"
    words = []
    if inclination_deg > OVERHEAD_DEG:
        words.append(
            "The pole stands overhead: the heading hardly matters. Set the axis upright and correct with the feet of "
            "the tripod; the azimuth screw does nothing here."
        )
    elif inclination_deg > 75.0:
        words.append("The pole stands high: a large turn in azimuth moves the axis only a little.")
    if inclination_deg < LEVEL_DEG:
        words.append(
            f"The pole lies on the {side} horizon: the axis lies level. Many mounts do not go so low: tilt the tripod"
            " head, and mind the counterweight."
        )
    elif inclination_deg < 12.0:
        words.append("The pole stands low, in thick air: aim at the pole as refraction shows it.")
    if magnetic_deg is None:
        words.append(f"No compass reading is known here: find {side} by a star, the Sun's shadow at noon, or a map.")
    return tuple(words)


# the clock


@dataclass(frozen=True)
class FrameArrival:
    """One frame: middle of the exposure by its own time, exposure, and the computer's clock when it had landed.

    Both times in seconds of UTC from any common zero.
    """

    mid_utc_s: float
    exposure_s: float
    landed_utc_s: float


@dataclass(frozen=True)
class ClockCheck:
    """How far the frames' times are ahead of this computer's clock, s; what it means, in words."""

    ahead_s: float
    agrees: bool
    words: str


def check_clock(arrivals: Sequence[FrameArrival], offset_rad: float | None = None) -> ClockCheck | None:
    """Compares frame times with the computer's clock; None without frames. A frame lands 0 to 8 s after its exposure.

    `offset_rad` is the size of the axis error, when known: a wrong clock turns it about the pole, nothing else.
    """
    if not arrivals:
        return None
    ahead = median(a.mid_utc_s + 0.5 * a.exposure_s - a.landed_utc_s for a in arrivals)
    beyond = ahead if ahead > 0.0 else min(ahead + LATENCY_S, 0.0)
    if abs(beyond) <= 2.0:
        return ClockCheck(ahead, True, "Frame times and computer clock agree.")
    way = "ahead of" if beyond > 0.0 else "behind"
    effect = clock_effect_rad(math.radians(1.0) if offset_rad is None else offset_rad, beyond)
    size = "one degree" if offset_rad is None else angle_text(offset_rad)
    return ClockCheck(
        ahead,
        False,
        f"Frame times are {duration_text(abs(beyond))} {way} this computer's clock: set both to the same time. "
        f"At {size} off this shifts the result by {angle_text(effect)}, and by nothing once the axis is on the pole.",
    )


def clock_effect_rad(offset_rad: float, clock_error_s: float) -> float:
    """How far a wrong clock displaces an axis error of this size: it turns it about the pole, E w dt."""
    return abs(2.0 * math.sin(0.5 * SIDEREAL_RATE_RAD_S * clock_error_s) * offset_rad)


def longitude_effect_rad(offset_rad: float, longitude_error_deg: float) -> float:
    """The same for a wrong longitude: E x the error."""
    return abs(2.0 * math.sin(0.5 * math.radians(longitude_error_deg)) * offset_rad)


# the scale


@dataclass(frozen=True)
class ScaleCheck:
    """Plate scale as solved against as stated."""

    solved_arcsec_px: float
    ratio: float | None
    agrees: bool
    words: str


def check_scale(solved_arcsec_px: float, stated_arcsec_px: float | None, pixel_size_um: float | None) -> ScaleCheck:
    """What the solved scale says about the stated optics."""
    focal = None if pixel_size_um is None else ARCSEC_PER_RAD * pixel_size_um / (1000.0 * solved_arcsec_px)
    length = "" if focal is None else f" Focal length {number_text(focal, 0.01 * focal)} mm."
    scale = number_text(solved_arcsec_px, 0.01 * solved_arcsec_px)
    if stated_arcsec_px is None:
        return ScaleCheck(solved_arcsec_px, None, True, f"The stars give {scale}″ a pixel.{length}")
    ratio = solved_arcsec_px / stated_arcsec_px
    if abs(ratio - 1.0) <= SCALE_TOLERANCE:
        return ScaleCheck(solved_arcsec_px, ratio, True, f"Scale as stated: {scale}″ a pixel.")
    binning = round(ratio) if ratio > 1.0 else round(1.0 / ratio)
    hint = ""
    if binning >= 2 and abs((ratio if ratio > 1.0 else 1.0 / ratio) / binning - 1.0) <= SCALE_TOLERANCE:
        hint = f" A factor of {binning}: check the binning."
    stated = number_text(stated_arcsec_px, 0.01 * stated_arcsec_px)
    words = f"The stars give {scale}″ a pixel, not {stated}″.{hint}{length}"
    return ScaleCheck(solved_arcsec_px, ratio, False, words)
