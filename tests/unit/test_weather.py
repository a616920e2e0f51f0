"""Temperature and pressure: refraction goes with pressure over temperature, and is surer where both are stated."""

from __future__ import annotations

import math
from argparse import Namespace

import pytest

from polewright.commands.options import air_from
from polewright.core.model import Site
from polewright.core.sky.places import refraction_rad, standard_atmosphere
from polewright.core.sky.weather import Weather, air_at

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
