"""The drift as the window shows it: points, fitted line and band, the numbers, and what can be pressed."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.nudge import nudge_in
from polewright.core.drift.reading import DriftReading, places_rad
from polewright.core.model import FloatArray
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.coach import left_here_s
from polewright.core.night.drifting.places import free_side
from polewright.core.night.events import NOW, DriftAsked
from polewright.core.night.states import NightPlan, Running, Stage
from polewright.ui.view_model import Action, Drift, DriftCurve, Fact, Weight
from polewright.words.drift import drift_refusal_words
from polewright.words.numbers import angle_text, duration_text, sigma_text, size_and_side

VAGUE_RAD = math.radians(10.0 / 60.0)  # less sure, a component is not named (chosen)
SHOWN_FIELDS, SHOWN_FRAMES = 2, 300  # more frames than that are thinned out: the dots touch


def drifting(state: Running) -> bool:
    """Whether the drift is being watched now."""
    return state.drift is not None and state.stage in (Stage.CAPTURE, Stage.PROOF) and not state.aligned


def drift_picture(state: Running) -> Drift | None:
    """The latest fields, oldest first; None while nothing drifts."""
    watch = state.drift
    if watch is None or not drifting(state):
        return None
    counts = Counter(s.position for s in watch.samples)
    usable = [number for number in sorted(counts) if counts[number] >= 3]
    fields = () if watch.reading is None else watch.reading.fields
    shown = list(enumerate(usable))[-SHOWN_FIELDS:]
    curves = [_curve(state, watch, number, order if order < len(fields) else None) for order, number in shown]
    return Drift(tuple(curves))


def _curve(state: Running, watch: DriftWatch, number: int, order: int | None) -> DriftCurve:
    plan = state.plan
    whole = [s for s in watch.samples if s.position == number]
    here = whole[:: -(-len(whole) // SHOWN_FRAMES)]
    if here[-1] is not whole[-1]:
        here.append(whole[-1])
    places = places_rad([s.direction_enu for s in here], plan.pole_altitude_rad, plan.site)
    at_s = np.array([s.at_s for s in here]) - here[0].at_s
    title = _title(math.degrees(float(np.median(places[:, 0]))) / 15.0)
    rate, sigma = 0.0, 0.0
    if order is not None and watch.reading is not None:
        field = watch.reading.fields[order]
        rate, sigma = field.dec_drift_rad_s * ARCSEC_PER_RAD, field.sigma_rad_s * ARCSEC_PER_RAD
    dec = _without_nudge(-places[:, 1] * ARCSEC_PER_RAD, at_s, rate, watch)  # stars drift against the boresight
    present = number == watch.samples[-1].position
    ahead_s = left_here_s(state, watch) if present else 0.0
    words = "" if order is None else f"{rate * 60.0:+.2f}″ a minute, ± {sigma * 60.0:.2f}″".replace("-", "−")
    return DriftCurve(title, words, tuple(at_s), tuple(dec), rate, sigma, float(at_s[-1]) + ahead_s)


def _without_nudge(dec: FloatArray, at_s: FloatArray, rate: float, watch: DriftWatch) -> FloatArray:
    """The drift (N,), arcsec, about its mean, without the step of a nudge: it would hide the drift."""
    nudge = nudge_in(at_s, dec / ARCSEC_PER_RAD) if watch.nudged_s is not None else None
    if nudge is None or nudge.after.all():
        return np.asarray(dec - dec.mean())
    left = dec - rate * at_s
    joined = dec - nudge.after * (left[nudge.after].mean() - left[~nudge.after].mean())
    return np.asarray(joined - joined.mean())


def _title(hour_angle_h: float) -> str:
    if abs(hour_angle_h) < 0.3:
        return "near the meridian"
    return f"{abs(hour_angle_h):.1f} h {'west' if hour_angle_h > 0.0 else 'east'} of the meridian"


def drift_numbers(state: Running) -> tuple[Fact, ...]:
    """Both components with their sigmas, the time left."""
    watch = state.drift
    if watch is None:
        return ()
    reading = watch.reading
    if reading is None:
        return (
            Fact(
                "drift",
                "not yet",
                "two fields are watched, one after the other"
                if watch.refusal is None
                else drift_refusal_words(watch.refusal).cure,
            ),
        )
    (ee, _), (_, uu) = reading.covariance_rad2
    return (
        _component("azimuth", reading, ee, "east"),
        _component("altitude", reading, uu, "up"),
        Fact("time left", _left(state, watch, reading), f"one frame {sigma_text(reading.noise_rad)}"),
    )


def _component(name: str, reading: DriftReading, variance: float, direction: str) -> Fact:
    sigma = math.sqrt(max(variance, 0.0))
    if sigma > VAGUE_RAD:
        return Fact(
            name,
            "not yet",
            "a nudge tells, when asked for" if _nudge_tells(reading, direction) else "needs the other field",
        )
    value = reading.east_rad if direction == "east" else reading.up_rad
    size, side = size_and_side(value, sigma) if direction == "east" else size_and_side(value, sigma, "up")
    return Fact(name, size, f"{side}, {sigma_text(sigma)}, by drift")


def _nudge_tells(reading: DriftReading, direction: str) -> bool:
    """Whether this component would be known if nothing guided."""
    free, k = reading.free_rad2, 0 if direction == "east" else 1
    return free is not None and math.sqrt(max(free[k][k], 0.0)) <= VAGUE_RAD


def _left(state: Running, watch: DriftWatch, reading: DriftReading) -> str:
    if reading.complete:
        return "none"
    total = left_here_s(state, watch) + (reading.there_s if math.isfinite(reading.there_s) else 0.0)
    return duration_text(total)


def drift_actions(state: Running) -> tuple[Action, ...]:
    """The way into the drift, and what may be said while it is watched."""
    if state.aligned or state.stage not in (Stage.CAPTURE, Stage.PROOF):
        return ()
    if state.drift is None:
        label = "I cannot turn the RA axis" if state.stage is Stage.CAPTURE else "Prove by drift"
        return (Action(label, "D", drift_asked(state.plan, None), Weight.MENU),)
    return (
        Action(
            "The other side of the meridian", "D", drift_asked(state.plan, state.drift, other_side=True), Weight.MENU
        ),
        Action("Stood half an hour, firm ground", "H", drift_asked(state.plan, state.drift, stood=True), Weight.MENU),
    )


def drift_asked(
    plan: NightPlan, watch: DriftWatch | None, other_side: bool = False, stood: bool = False
) -> DriftAsked:
    """Let the stars drift; while they do: on the other side of the meridian, or because the tripod has stood."""
    side = free_side(plan) if watch is None else watch.side
    if other_side:
        side = "west" if side == "east" else "east"
    return DriftAsked(NOW, side, stood or (watch is not None and watch.stood), ask=True)


def drift_fact(state: Running) -> Fact | None:
    """The line of a drift on the page that ends the night."""
    reading = state.drift.reading if state.drift is not None else None
    if reading is None or not reading.known:
        return None
    total = math.hypot(reading.east_rad, reading.up_rad)
    return Fact("by drift", angle_text(total, reading.sigma_rad), sigma_text(reading.sigma_rad))
