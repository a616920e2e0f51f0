"""What the window is told while the stars drift: the way in, curves, numbers, keys. The numbers are invented."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polewright.core.angles import SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.drift.live import DriftSample, with_sample
from polewright.core.drift.rates import star_enu
from polewright.core.drift.reading import read_drift, wanted_rad
from polewright.core.model import Site, TargetPole
from polewright.core.night.advise import advise
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.events import NOW, DriftAsked
from polewright.core.night.states import NightPlan, NightState, Running, Stage, begun
from polewright.core.sky.places import standard_atmosphere
from polewright.core.sky.refraction import refract, refraction_constants
from polewright.ui.presenting.drift import _without_nudge
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.ui.view_model import View

SITE = Site(52.0, 10.0)
AIR = standard_atmosphere(SITE)
PLAN = NightPlan(SITE, TargetPole.TRUE, math.radians(52.0), 1.5e-4, air=AIR)
STATE = Running(stage=Stage.PROOF, now_s=4000.0, plan=PLAN)


def watched() -> NightState:
    """A perfect mount that tracks a field on the meridian for two minutes, with a little scatter."""
    rng, air = np.random.default_rng(1), refraction_constants(standard_atmosphere(SITE))
    samples: tuple[DriftSample, ...] = ()
    for at_s in np.arange(0.0, 120.0, 4.0):
        seen = refract(star_enu(SITE, 0.01 + SIDEREAL_RATE_RAD_S * at_s, 0.2), air)
        samples = with_sample(samples, SITE, float(at_s), seen + rng.normal(0.0, 1e-6, 3), 1e-6)
    reading = read_drift(samples, SITE, AIR, TargetPole.TRUE, wanted_rad(1.5e-4), math.inf)
    return replace(STATE, drift=DriftWatch(samples=samples, reading=reading, read_s=4000.0, stood=True))  # type: ignore[arg-type]


def shown(state: NightState) -> View:
    return present(state, advise(state), Extras(state.now_s))


def test_the_way_in_has_a_key_in_both_stages() -> None:
    for stage, label in ((Stage.CAPTURE, "I cannot turn the RA axis"), (Stage.PROOF, "Prove by drift")):
        view = shown(replace(STATE, stage=stage))
        action = next(a for a in view.actions if isinstance(a.intent, DriftAsked))
        assert action.label == label and action.key == "D" and view.drift is None


def test_the_curve_has_every_frame_its_line_and_the_time_to_come() -> None:
    view = shown(watched())
    assert view.drift is not None
    (curve,) = view.drift.curves
    assert len(curve.at_s) == 30 and curve.at_s[-1] == pytest.approx(116.0) and curve.end_s >= 116.0
    assert "a minute" in curve.words and curve.title == "near the meridian"
    facts = {fact.label: fact for fact in view.numbers}
    assert facts["altitude"].value == "not yet" and "±" in facts["azimuth"].words and "time left" in facts


def test_what_can_be_said_while_it_drifts() -> None:
    view = shown(watched())
    keys = {a.key: a.intent for a in view.actions}
    assert keys["D"] == DriftAsked(NOW, "west", stood=True, ask=True)
    assert keys["H"] == DriftAsked(NOW, "east", stood=True, ask=True)
    assert len({a.key for a in view.actions}) == len(view.actions)


def test_the_waiting_sentence_names_the_key_of_the_other_side() -> None:
    gain = shown(watched()).instruction.gain
    assert gain.endswith("D takes the other side of the meridian.")
    assert any(a.key == "D" for a in shown(watched()).actions)


def off_the_pole(east_arcsec: float, up_arcsec: float) -> NightState:
    """Two fields of a mount whose axis is off, with hardly any scatter: the boresight turns about that axis."""
    rng, pole = np.random.default_rng(2), math.radians(52.0)
    east, up = math.radians(east_arcsec / 3600.0), math.radians(up_arcsec / 3600.0)
    axis = np.array([east, math.cos(pole) - up * math.sin(pole), math.sin(pole) + up * math.cos(pole)])
    axis /= np.linalg.norm(axis)
    samples: tuple[DriftSample, ...] = ()
    for begun_s, hour_h, dec_rad in ((0.0, 0.0, 0.2), (400.0, -5.0, 1.1)):
        start = star_enu(SITE, math.radians(15.0 * hour_h), dec_rad)
        for after_s in np.arange(0.0, 180.0, 4.0):
            seen = rotation_about(axis, -SIDEREAL_RATE_RAD_S * after_s) @ start
            samples = with_sample(samples, SITE, begun_s + after_s, seen + rng.normal(0.0, 1e-7, 3), 1e-7)
    reading = read_drift(samples, SITE, AIR, TargetPole.TRUE, wanted_rad(1.5e-4), math.inf)
    return replace(STATE, drift=DriftWatch(samples=samples, reading=reading, read_s=4000.0, stood=True))  # type: ignore[arg-type]


@pytest.mark.parametrize(("east_arcsec", "up_arcsec"), [(120.0, 0.0), (0.0, 120.0), (-90.0, 60.0)])
def test_the_points_run_along_the_line(east_arcsec: float, up_arcsec: float) -> None:
    """Stars drift against the boresight: the slope of the points is that of the line, sign and all."""
    state = off_the_pole(east_arcsec, up_arcsec)
    assert state.drift is not None and state.drift.reading is not None
    assert math.degrees(state.drift.reading.east_rad) * 3600.0 == pytest.approx(east_arcsec, abs=3.0)
    view = shown(state)
    assert view.drift is not None and len(view.drift.curves) == 2
    for curve in view.drift.curves:
        slope = np.polyfit(curve.at_s, curve.arcsec, 1)[0]
        assert slope == pytest.approx(curve.rate_arcsec_s, abs=5e-4), curve.title


@pytest.mark.parametrize(
    ("east_arcsec", "up_arcsec", "azimuth", "altitude"),
    [(120.0, 60.0, "too far east", "too high"), (-90.0, -150.0, "too far west", "too low")],
)
def test_both_numbers_say_to_which_side_and_how_surely(
    east_arcsec: float, up_arcsec: float, azimuth: str, altitude: str
) -> None:
    facts = {fact.label: fact for fact in shown(off_the_pole(east_arcsec, up_arcsec)).numbers}
    for name, arcsec, side in (("azimuth", east_arcsec, azimuth), ("altitude", up_arcsec, altitude)):
        words, size = facts[name].words, facts[name].value
        assert words.startswith(f"{side}, ±") and words.endswith(", by drift"), words
        unit = {"′": 60.0, "″": 1.0}[size[-1]]
        assert float(size[:-1]) * unit == pytest.approx(abs(arcsec), abs=6.0)
    assert facts["time left"].value == "none"


def test_what_one_field_cannot_show_needs_the_other() -> None:
    facts = {fact.label: fact for fact in shown(watched()).numbers}
    assert facts["altitude"].words == "needs the other field"


def test_a_long_drift_is_thinned_out_to_its_last_frame() -> None:
    """Hours of frames would be seconds of painting; the line is that of all of them."""
    state = watched()
    assert state.drift is not None
    one = state.drift.samples[0]
    samples = tuple(replace(one, at_s=3.0 * i) for i in range(4000))
    view = shown(replace(begun(state), drift=replace(state.drift, samples=samples)))
    assert view.drift is not None
    (curve,) = view.drift.curves
    assert len(curve.at_s) <= 301 and curve.at_s[0] == 0.0 and curve.at_s[-1] == pytest.approx(11997.0)


@pytest.mark.parametrize("rate_arcsec_min", [0.0, 1.2, -3.0])
def test_the_step_of_a_nudge_does_not_hide_the_drift(rate_arcsec_min: float) -> None:
    at_s, rate = np.arange(0.0, 300.0, 3.0), rate_arcsec_min / 60.0
    seen = rate * at_s + 60.0 * (at_s > 100.0) + np.random.default_rng(2).normal(0.0, 0.3, at_s.size)
    drawn = _without_nudge(seen, at_s, rate, DriftWatch(nudged_s=100.0))
    assert np.abs(drawn - rate * (at_s - at_s.mean())).max() < 1.5
    assert np.ptp(_without_nudge(seen, at_s, rate, DriftWatch())) > 40.0
