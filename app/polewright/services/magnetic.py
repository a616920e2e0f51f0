"""Magnetic declination from the World Magnetic Model 2025 (NOAA/NCEI and BGS), through pygeomag; no network."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.model import Site
from polewright.core.not_measurable import NotMeasurable

# WMM2025 is valid for five years (NOAA NCEI/BGS, released 2024-12-17)
VALID_FROM_YEAR, VALID_UNTIL_YEAR = 2025.0, 2030.0
USELESS_BELOW_NT = 2000.0  # WMM2025 report: the blackout zones round the magnetic poles
DRIFT_SIGMA_DEG_PER_YEAR = 0.1  # growth beyond the model's years, beside the declared 0.1-0.2 deg (own estimate)


@dataclass(frozen=True)
class MagneticDeclination:
    """True azimuth = compass reading + `declination_deg` (east positive).

    `sigma_deg` is the model's own standard deviation; iron near the compass (tripod, mount, phone) adds 2 to 5
    degrees (common practice, no source).
    """

    declination_deg: float
    sigma_deg: float
    horizontal_nt: float


@dataclass(frozen=True)
class CompassUseless(NotMeasurable):
    """So close to the magnetic pole a compass shows nothing of use."""


def magnetic_declination(site: Site, julian_year: float) -> MagneticDeclination | CompassUseless:
    """Declination at `site`; CompassUseless near a magnetic pole, where a compass is of no use.

    Uncertainty by the WMM2025 error model: sqrt(0.26^2 + (5417 / H)^2) degrees, H in nT. Outside the model's five
    years the nearest of its limits is used, with a growing uncertainty.
    """
    from pygeomag import GeoMag
    from pygeomag.wmm import wmm_2025

    year = min(max(julian_year, VALID_FROM_YEAR), VALID_UNTIL_YEAR)
    model = GeoMag(coefficients_data=wmm_2025.WMM_2025)
    found = model.calculate(glat=site.lat_deg, glon=site.lon_deg, alt=site.elev_m / 1000.0, time=year)
    if found.h < USELESS_BELOW_NT:
        return CompassUseless()
    outside = abs(julian_year - year)
    sigma = math.hypot(0.26, 5417.0 / found.h, DRIFT_SIGMA_DEG_PER_YEAR * outside)
    return MagneticDeclination(float(found.d), sigma, float(found.h))
