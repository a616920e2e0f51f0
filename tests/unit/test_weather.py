"""Temperature and pressure: refraction goes with pressure over temperature, and is surer where both are stated."""

from __future__ import annotations

import math
from argparse import Namespace

import numpy as np
import pytest

from polewright.commands.options import air_from
from polewright.core.model import Site, Utc
from polewright.core.sky.places import refraction_rad, standard_atmosphere
from polewright.core.sky.weather import NIGHTS_K, Weather, air_at, usual_temperature_c

SITE = Site(47.0, 11.0, 600.0)


def test_refraction_goes_with_pressure_over_temperature() -> None:
    """To first order, as any handbook has it (Astronomical Almanac, section B: R ~ P / T; from memory)."""
    cold, warm = (refraction_rad(math.radians(45.0), air_at(SITE, Weather(t, p))) for t, p in ((-10, 950), (20, 930)))
    assert cold / warm == pytest.approx(950 / 930 * 293.15 / 263.15, rel=0.003)


def test_what_is_stated_makes_refraction_surer() -> None:
    sigmas = [
        air_at(SITE, Weather(t, p)).scale_sigma for t, p in ((None, None), (None, 940.0), (5.0, None), (5.0, 940))
    ]
    assert sigmas == sorted(sigmas, reverse=True)
    assert sigmas[0] == pytest.approx(0.03, abs=0.003)
    assert sigmas[-1] == pytest.approx(0.01)


def test_options_come_before_the_usual_air() -> None:
    assert air_from(Namespace(temperature=None, pressure=None), SITE, None).pressure_hpa == pytest.approx(
        standard_atmosphere(SITE).pressure_hpa
    )
    air = air_from(Namespace(temperature=-5.0, pressure=944.0), SITE, None)
    assert (air.temperature_c, air.pressure_hpa) == (-5.0, 944.0)


# mean temperature (C) of January and July: WMO climatological normals 1981-2010, to the degree, from memory
NORMALS = [
    (Site(1.4, 103.8, 5.0), 26.0, 28.0),
    (Site(19.4, -99.1, 2240.0), 14.0, 18.0),
    (Site(40.4, -3.7, 660.0), 6.0, 26.0),
    (Site(39.7, -105.0, 1610.0), -1.0, 23.0),
    (Site(51.5, 0.0, 20.0), 5.0, 19.0),
    (Site(52.5, 13.4, 50.0), 1.0, 19.0),
    (Site(60.3, 25.0, 50.0), -5.0, 18.0),
    (Site(51.1, 71.4, 350.0), -14.0, 21.0),
    (Site(-33.9, 151.2, 10.0), 23.0, 13.0),
    (Site(-53.0, -70.9, 30.0), 11.0, 2.0),
]
JANUARY, JULY = Utc(2461421.5, 0.0), Utc(2461602.5, 0.0)  # the middle of both in 2027


def test_the_usual_temperature_of_a_season_is_as_sure_as_it_says() -> None:
    """Nights are some 4 K cooler than the mean of the day (common practice); 10 C all the year is worse."""
    misses = np.array(
        [
            (usual_temperature_c(site, JANUARY) - january + 4.0, usual_temperature_c(site, JULY) - july + 4.0)
            for site, january, july in NORMALS
        ]
    )
    mild = np.array([(14.0 - january, 14.0 - july) for _, january, july in NORMALS])
    assert float(np.sqrt(np.mean(misses**2))) < NIGHTS_K < float(np.sqrt(np.mean(mild**2)))


def test_the_season_counts_where_nothing_is_stated_and_not_beside_a_thermometer() -> None:
    winter, summer = (air_at(Site(52.0, 5.0), Weather(), utc) for utc in (JANUARY, JULY))
    south = air_at(Site(-52.0, 5.0), Weather(), JANUARY)
    assert winter.temperature_c < -3.0 < 10.0 < summer.temperature_c
    assert south.temperature_c > 10.0
    assert winter.scale_sigma > summer.scale_sigma > 0.025  # the same kelvins are more of a cold air
    assert air_at(Site(52.0, 5.0), Weather(4.0), JANUARY).temperature_c == 4.0
    assert air_at(Site(52.0, 5.0), Weather(), None).temperature_c == 10.0
