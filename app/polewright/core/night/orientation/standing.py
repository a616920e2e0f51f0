"""How to stand the mount up: heading, inclination, and whether clock and scale can be believed.

The magnetic declination comes in as a value (services/magnetic.py); nothing here looks anything up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.sky.places import pole_enu
from polewright.words.numbers import number_text

NO_AIR = Atmosphere(0.0)
OVERHEAD_DEG, LEVEL_DEG = 88.0, 2.0
COMPASS_SIGMA_DEG = 2.0  # a hand compass beside iron: 2 to 5 degrees (common practice, no source)
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
