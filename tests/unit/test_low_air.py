"""Poles and stars near the horizon: refraction against rays followed step by step, and how far to trust it."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from axis_sky import Rig
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis.estimate import estimate_axis, low_pole_doubt_rad
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.axis_reasons import LowPole
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import Atmosphere, AxisEstimate, Site, TargetPole, Utc
from polewright.core.sky.places import (
    default_target,
    observed_enu,
    pole_altitude_rad,
    refraction_rad,
    standard_atmosphere,
)
from polewright.core.sky.refraction import lift_rad, refract, refraction_constants
from polewright.words.axis import doubt_words
from rays import bending_of_seen, bending_of_true

AIRS = [(1013.25, 10.0), (900.0, 25.0), (1013.25, -10.0)]


@pytest.mark.parametrize(("pressure", "celsius"), AIRS)
@pytest.mark.parametrize("lat", [0.0, 0.5, -1.0, 2.0, -4.0, 7.0, 12.0])
def test_the_pole_is_lifted_as_a_ray_is_bent(lat: float, pressure: float, celsius: float) -> None:
    """Standard atmosphere of ISO 2533:1975, ray path of Born & Wolf, section 3.2 (tests/rays.py)."""
    air, site = Atmosphere(pressure, celsius, relative_humidity=0.0), Site(lat, 10.0)
    seen = pole_altitude_rad(site, air, TargetPole.REFRACTED)
    bent = bending_of_true(abs(math.radians(lat)), pressure, celsius)
    assert (seen - abs(math.radians(lat)) - bent) * ARCSEC_PER_RAD == pytest.approx(0.0, abs=0.7)


@pytest.mark.parametrize("seen_deg", [0.0, 1.0, 5.0, 14.0, 16.0, 40.0])
def test_what_is_seen_low_is_lifted_as_a_ray_is_bent(seen_deg: float) -> None:
    lifted = float(lift_rad(np.array(math.radians(seen_deg)), Atmosphere(1013.25, 10.0, relative_humidity=0.0)))
    bent = bending_of_seen(math.radians(seen_deg), 1013.25, 10.0)
    assert lifted * ARCSEC_PER_RAD == pytest.approx(bent * ARCSEC_PER_RAD, abs=0.7)


def test_one_place_for_one_star_whichever_way_it_is_computed() -> None:
    """ERFA's chain with the rays on top, and the vectors raised: from the horizon to the zenith, without a step."""
    air, utc, site = Atmosphere(1000.0, 5.0), Utc(2461370.5, 0.5), Site(3.0, 10.0)
    ra = np.linspace(0.0, 2.0 * np.pi, 4000)
    icrs = np.stack([np.cos(ra), np.sin(ra), np.zeros_like(ra)], axis=-1)
    bare, seen = (observed_enu(icrs, utc, site, a) for a in (Atmosphere(0.0), air))
    up = bare[:, 2] > math.sin(math.radians(-0.4))
    raised = refract(bare, refraction_constants(air))
    assert np.abs(raised - seen)[up].max() * ARCSEC_PER_RAD < 0.5  # most where the formula is held
    altitudes = np.radians(np.arange(-0.4, 60.0, 0.01))
    lifts = np.array([refraction_rad(a, air) for a in altitudes])
    assert np.all(np.diff(lifts) <= 1e-12) and np.abs(np.diff(lifts, 2)).max() * ARCSEC_PER_RAD < 0.5


def captured(lat: float, target: TargetPole) -> AxisEstimate:
    rig = Rig(Site(lat, 10.0), 25.0, -12.0, rho_deg=40.0, hour_deg=-45.0)  # all frames above 20 degrees
    rng = np.random.default_rng(2)
    placed = [sky_frame(n, u, rig.site, rig.air, s) for n, u, s in rig.capture((0.0, 45.0, 90.0), rng)]
    found = estimate_axis(placed, rig.site, rig.air, target, FLEXURE_PRIOR)
    assert isinstance(found, AxisEstimate)
    return found


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_doubt_about_a_low_pole_grows_continuously(side: float) -> None:
    """Without a threshold at which 48" of doubt would begin; sizes: core/axis/nuisances.py."""
    latitudes = side * np.arange(12.0, -0.1, -0.5)
    doubts = [
        low_pole_doubt_rad(Site(lat, 10.0), TargetPole.REFRACTED, standard_atmosphere(Site(lat, 10.0)))
        * ARCSEC_PER_RAD
        for lat in latitudes
    ]
    assert np.all(np.diff(doubts) > 0.0)
    assert max(b / a for a, b in pairwise(doubts)) < 1.6
    assert doubts[0] < 2.0 and 10.0 < doubts[16] < 40.0 and doubts[-1] > 100.0


@pytest.mark.parametrize("lat", [0.0, 2.0, -4.0, 6.0, 9.0, -12.0])
def test_default_target_advice_and_estimate_agree_about_the_pole(lat: float) -> None:
    """The default target is the true pole and needs no advice; whoever takes the refracted one low down is advised to
    take the true one, and is told how far the air is to be trusted."""
    site = Site(lat, 10.0)
    assert default_target(site) is TargetPole.TRUE
    assert not [w for w in captured(lat, default_target(site)).warnings if isinstance(w, LowPole)]
    found = captured(lat, TargetPole.REFRACTED)
    low = [w for w in found.warnings if isinstance(w, LowPole)]
    assert bool(low) is (abs(lat) < 7.0)
    if low:
        assert "aim at the true pole" in doubt_words(low[0])
        assert math.sqrt(found.covariance_rad2[1, 1]) >= low[0].sigma_rad
