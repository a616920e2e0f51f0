"""What a drift can prove at best is said before anybody waits for it, and nobody waits for more than that.

Outside check of the size: a base that leans by 0.2" a minute each way fakes 0.2" / (60 s x 15.04"/s) rad, 45.7", east
of the axis, and that times the sine of the latitude above it (rate of the sky: Explanatory Supplement to the
Astronomical Almanac, 3rd ed. (2013), mean sidereal time; from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from drift_nights import AIR, mount_off, plan_at, site_at, watched
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.reading import DriftReading, hidden_at_best, read_drift, wanted_rad
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import TargetPole
from polewright.core.night.advice import GuidingAsked, ShortReach
from polewright.core.night.advise import advise
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.coach import usual_seconds
from polewright.core.night.drifting.reach import SETTLED_S, outset_reach_rad, sought_rad
from polewright.core.night.states import Running, Stage
from polewright.words.coach import say

SITE = site_at(50.0)
PLAN = plan_at(SITE)
NO_TUBE = Flexure(0.0, 0.0, 0.0, 0.0)
PLACES = ((0.0, math.radians(10.0)), (math.radians(-90.0), math.radians(75.0)))


def on(soil: bool, tolerance_arcsec: float) -> Running:
    plan = replace(PLAN, tolerance_rad=tolerance_arcsec / ARCSEC_PER_RAD)
    return Running(stage=Stage.CAPTURE, now_s=4000.0, plan=plan, drift=DriftWatch(stood=not soil, ask=True))


def reach_arcsec(state: Running) -> float:
    watch = state.drift
    assert watch is not None
    found = outset_reach_rad(state, watch.stood)
    assert found is not None
    return found * ARCSEC_PER_RAD


@pytest.mark.parametrize("lat_deg", [50.0, -35.0])
def test_soil_alone_hides_what_its_creep_fakes(lat_deg: float) -> None:
    still_air = replace(AIR, scale_sigma=0.0)
    hidden = hidden_at_best(site_at(lat_deg), still_air, TargetPole.REFRACTED, NO_TUBE, SETTLED_S, PLACES)
    east, up = np.sqrt(np.diag(np.array(hidden))) * ARCSEC_PER_RAD
    faked = 0.2 / 60.0 / 15.04 * ARCSEC_PER_RAD
    assert (east, up) == pytest.approx((faked, faked * math.sin(math.radians(abs(lat_deg)))), rel=0.01)


def test_a_drift_that_cannot_prove_tonight_says_so_before_its_first_frame() -> None:
    state = on(soil=True, tolerance_arcsec=30.0)
    reason = advise(state).reason
    assert isinstance(reason, GuidingAsked) and isinstance(reason.short, ShortReach)
    assert reason.short.reach_rad > 3.0 * reason.short.needed_rad == 3.0 * state.plan.tolerance_rad
    assert reason.short.firm_rad is not None and reason.short.firm_rad < 0.5 * reason.short.reach_rad
    assert say(advise(state)).gain == (
        "At best a drift proves 100″ here; tonight needs 30″. After half an hour on firm ground (H), 33″."
    )


def test_on_firm_ground_firm_ground_is_not_advised() -> None:
    assert (
        say(advise(on(soil=False, tolerance_arcsec=30.0))).gain
        == "At best a drift proves 33″ here; tonight needs 30″. Turn the RA axis instead, or take it as it is then."
    )


@pytest.mark.parametrize(("soil", "tolerance_arcsec"), [(True, 150.0), (False, 60.0)])
def test_what_can_prove_tonight_is_not_doubted(soil: bool, tolerance_arcsec: float) -> None:
    assert advise(on(soil, tolerance_arcsec)).reason == GuidingAsked(on=False)


def test_beyond_what_it_can_prove_nobody_is_asked_to_watch() -> None:
    """At 30" it was watched until each component is known to 7", and proved no more for it."""
    soil, firm = on(True, 30.0), on(False, 30.0)
    assert sought_rad(soil) * ARCSEC_PER_RAD == pytest.approx(reach_arcsec(soil))
    assert usual_seconds(soil, None) < 0.6 * usual_seconds(firm, None)
    easy = on(True, 240.0)
    assert sought_rad(easy) == easy.plan.tolerance_rad
    of_before = replace(soil, plan=replace(soil.plan, flexure=None))
    assert sought_rad(of_before) == of_before.plan.tolerance_rad


def test_a_long_drift_comes_near_to_what_was_said_at_its_outset_and_not_below() -> None:
    """Frames of the simulated mount; the fields share nothing with the sum but their places."""
    spec = mount_off(50.0, 9.0, 9.0, periodic_error_arcsec=6.0)
    fields = ((0.0, 10.0), (-5.0, 55.0))
    proof = watched(spec, 50.0, fields, 900.0, 6.0, 0.3, np.random.default_rng(2))
    resting = wanted_rad(1.5e-4), SETTLED_S
    reading = read_drift(proof.samples, proof.site, AIR, TargetPole.REFRACTED, *resting, FLEXURE_PRIOR)
    assert isinstance(reading, DriftReading)
    middle_h = [hour + 450.0 / 3600.0 for hour, _ in fields]
    places = tuple((math.radians(15.0 * hour), math.radians(dec)) for hour, (_, dec) in zip(middle_h, fields))
    hidden = hidden_at_best(proof.site, AIR, TargetPole.REFRACTED, FLEXURE_PRIOR, SETTLED_S, places)
    told, least = (np.sqrt(np.diag(np.array(c))) * ARCSEC_PER_RAD for c in (reading.covariance_rad2, hidden))
    assert np.all(0.97 * least < told) and np.all(told < 1.1 * least), (told, least)
