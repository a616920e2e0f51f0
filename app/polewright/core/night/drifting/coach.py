"""The coach while the drift of the stars is watched: where to point, how long to watch, and what it says."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.drift.live import NOT_TRACKING
from polewright.core.drift.plan import DriftPosition, best_positions, predicted_seconds
from polewright.core.drift.rates import star_enu
from polewright.core.drift.reading import DriftReading, Side, place_rad, rest_needed_s, tells, wanted_rad
from polewright.core.drift.stillness import HELD
from polewright.core.model import Atmosphere, Site
from polewright.core.night.advice import Advice, GoOn, Mood, Point, StartAgain, Wait
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.actions import compared, drift_contradicts, drift_offset, opposed, settling_s
from polewright.core.night.states import NightPlan, Running, Stage
from polewright.core.plan.sky_choice import Obstacle, behind
from polewright.words.numbers import angle_text, duration_text, number_text, offset_words, sigma_text

USUAL_NOISE_RAD, USUAL_CADENCE_S = 0.5 / ARCSEC_PER_RAD, 3.0  # of a solved frame, before its own scatter is known
STEADY_S = 15.0  # so long at least is a field watched before another one is asked for
MISPOINTED_FRAMES = 2  # so many frames show where the camera really looks
GUIDED = " Declination guiding left on would look like this too."
HOPELESS = "With so much scatter hours would not do: expose longer, or wait for steadier air."
QUIET = "Leave the mount alone: tracking on, guiding off in both axes."


def advise_drift(state: Running) -> Advice:
    """Two fields, one after the other, as long as they need; then the word of the drift."""
    watch, plan = state.drift, state.plan
    assert watch is not None
    reading = watch.reading
    rest_s = settling_s(state)
    if rest_s > 0.0:
        return Advice(
            f"Hands off. The tripod settles, {duration_text(rest_s)}.",
            "A tripod that still settles moves the stars as a wrong axis does. Not on a pier, nor when it has stood"
            " for half an hour: then skip this.",
            "",
            Wait(rest_s, rest_needed_s(plan.tolerance_rad)),
            Mood.WAIT,
            "drift:settle",
        )
    if reading is not None and reading.disturbed:
        return Advice(
            "Begin the drift again.", reading.warnings[0], "", StartAgain(), Mood.TROUBLE, "drift:disturbed"
        )
    if reading is not None and reading.held:
        return Advice(
            "Switch guiding off, then begin again.",
            HELD,
            "A drive without periodic error looks like this too: then turn the RA axis, or take it as it is.",
            StartAgain(),
            Mood.TROUBLE,
            "drift:held",
        )
    if watch.reason == NOT_TRACKING:
        return Advice(
            "Switch tracking on.", f"{watch.reason} {watch.cure}", "", Wait(), Mood.TROUBLE, "drift:tracking"
        )
    if reading is not None and reading.complete:
        return _complete(state, reading)
    wanted = field_wanted(state)
    if wanted:
        return _point(state, wanted)
    return _watch(state)


def _complete(state: Running, reading: DriftReading) -> Advice:
    """Only where the drift does not simply confirm: it puts the axis outside, or leaves it open."""
    offset = drift_offset(state)
    total = angle_text(offset.total_rad, offset.sigma_rad)
    told = compared(state)
    if state.stage is Stage.PROOF and not drift_contradicts(state):
        return Advice(
            "Watch the drift once more.",
            f"By this drift the axis is {total} off, {sigma_text(offset.sigma_rad)}: not sure enough."
            " A tripod that still settles moves the stars as well.",
            "It settles while you watch.",
            StartAgain(),
            Mood.DO,
            "drift:again",
        )
    reason = told.sentence if told is not None else "Both components are known."
    inside = offset.total_rad <= state.plan.tolerance_rad
    if state.stage is Stage.PROOF and inside and opposed(state):
        reason += GUIDED
    sentence = f"By drift {total} off: go on." if state.stage is Stage.PROOF else "Go on: the axis is known."
    return Advice(sentence, reason, "The correction goes on from the drift.", GoOn(), Mood.DO, "drift:complete")


def field_wanted(state: Running) -> str:
    """What the next field is to tell, "azimuth" or "altitude"; "" while the present one is to be watched."""
    watch, plan = state.drift, state.plan
    if watch is None:
        return ""
    if not watch.samples:
        return "" if _useful_already(state) else "azimuth"
    here = watch.here
    kind = tells(*place_rad(here[-1].direction_enu, plan.pole_altitude_rad, plan.site))
    reading = watch.reading
    if watch.fresh_field or reading is None:
        first = len({s.position for s in watch.samples}) == 1
        return ("azimuth" if first else _missing(reading)) if not kind and len(here) >= MISPOINTED_FRAMES else ""
    if here[-1].at_s - here[0].at_s < STEADY_S or not reading.component or reading.here_s > 0.0:
        return ""
    return reading.component


def _useful_already(state: Running) -> bool:
    """Whether the camera looks at a field worth watching before the first frame of the drift."""
    frame, plan = state.last_frame, state.plan
    if frame is None:
        return False
    direction = [row[2] for row in frame.camera_to_enu]
    return bool(tells(*place_rad(direction, plan.pole_altitude_rad, plan.site)))


def _missing(reading: DriftReading | None) -> str:
    if reading is None:
        return "azimuth"
    (ee, _), (_, uu) = reading.covariance_rad2
    return "azimuth" if ee >= uu else "altitude"


def _point(state: Running, component: str) -> Advice:
    watch, plan = state.drift, state.plan
    assert watch is not None
    place = position_for(plan, watch.side, component)
    seconds = _expected_s(state, component)
    air = abs(place.refraction_arcmin)
    airy = f" The air alone fakes {air:.1f}′ there; it is taken out." if air >= 0.1 else ""
    return Advice(
        f"Point {place_words(place.hour_angle_h)}, declination {place.declination_deg:+.0f}°.",
        f"This field tells the {component}; {place.altitude_deg:.0f}° high. {QUIET}{airy}",
        f"Watching takes about {duration_text(seconds)}.",
        Point(place.hour_angle_h, place.declination_deg),
        Mood.DO,
        f"drift:point:{component}:{watch.side}",
    )


def place_words(hour_angle_h: float) -> str:
    """`to the meridian`, `5 h east of meridian`: short, for a sentence of eight words."""
    if abs(hour_angle_h) < 0.05:
        return "to the meridian"
    return f"{number_text(abs(hour_angle_h))} h {'west' if hour_angle_h > 0.0 else 'east'} of meridian"


def _expected_s(state: Running, component: str) -> float:
    watch = state.drift
    assert watch is not None
    reading = watch.reading
    if reading is not None and reading.there_s > 0.0 and math.isfinite(reading.there_s):
        return reading.there_s
    return usual_seconds(state)


def usual_seconds(state: Running) -> float:
    """How long each of two fields takes, from the scatter so far or the usual one."""
    plan = state.plan
    reading = state.drift.reading if state.drift is not None else None
    noise, cadence = (USUAL_NOISE_RAD, USUAL_CADENCE_S) if reading is None else (reading.noise_rad, reading.cadence_s)
    return predicted_seconds([0.0, -6.0], wanted_rad(plan.tolerance_rad), max(noise, 1e-8), max(cadence, 0.1))


def left_here_s(state: Running) -> float:
    """How much longer to watch the present field."""
    watch = state.drift
    assert watch is not None
    watched = _watched_s(watch)
    reading = watch.reading
    if watch.fresh_field or reading is None:
        first = len({s.position for s in watch.samples}) <= 1
        whole = usual_seconds(state) if reading is None or first else _expected_s(state, "")
        return max(whole - watched, 1.0)
    left = reading.here_s if math.isfinite(reading.here_s) else usual_seconds(state)
    return max(left - max(state.now_s - watch.read_s, 0.0), 1.0)


def _watched_s(watch: DriftWatch) -> float:
    here = watch.here if watch.samples else ()
    return here[-1].at_s - here[0].at_s if here else 0.0


def _watch(state: Running) -> Advice:
    watch = state.drift
    assert watch is not None
    reading = watch.reading
    left = left_here_s(state)
    whole = left + _watched_s(watch)
    if reading is None:
        reason = f"{watch.reason} {watch.cure}".strip() or "The first frames show how much they scatter."
        return Advice(
            f"Hands off, guiding off: {duration_text(left)}.",
            f"{reason} {QUIET}",
            "",
            Wait(left, whole),
            Mood.WAIT,
            "drift:watch",
        )
    so_far = _so_far(reading)
    hopeless = () if math.isfinite(reading.here_s + reading.there_s) else (HOPELESS,)
    warnings = " ".join((*hopeless, *reading.warnings))
    after = f"Then a field for the {reading.component}." if reading.component else ""
    return Advice(
        f"Hands off, guiding off: {duration_text(left)}.",
        f"{so_far} {warnings}".strip(),
        after,
        Wait(left, whole),
        Mood.WAIT,
        "drift:watch",
    )


def _so_far(reading: DriftReading) -> str:
    """What is known, component by component."""
    (ee, _), (_, uu) = reading.covariance_rad2
    parts = []
    for value, variance, direction in ((reading.east_rad, ee, "east"), (reading.up_rad, uu, "up")):
        sigma = math.sqrt(max(variance, 0.0))
        if sigma * ARCMIN_PER_RAD < 5.0:
            words = offset_words(value, sigma, "east" if direction == "east" else "up", with_sigma=False)
            parts.append(f"{words}, {sigma_text(sigma)}")
    return f"So far: {'; '.join(parts)}." if parts else "The drift is not clear yet."


# where to point


def position_for(plan: NightPlan, side: Side, component: str) -> DriftPosition:
    """The field for a component, on that side of the meridian."""
    azimuth, altitude = _positions(plan.site, plan.air, side)
    return azimuth if component == "azimuth" else altitude


@lru_cache(maxsize=16)
def _positions(site: Site, air: Atmosphere, side: Side) -> tuple[DriftPosition, DriftPosition]:
    return best_positions(site, air, side)


def free_side(plan: NightPlan) -> Side:
    """East, unless something stands in front of its field."""
    return "east" if not _hidden(plan, "east") or _hidden(plan, "west") else "west"


def _hidden(plan: NightPlan, side: Side) -> bool:
    place = position_for(plan, side, "altitude")
    sign = -1.0 if plan.southern else 1.0
    x, y, z = star_enu(plan.site, math.radians(15.0 * place.hour_angle_h), sign * math.radians(place.declination_deg))
    azimuth = np.array(math.degrees(math.atan2(x, y)) % 360.0)
    altitude = np.array(math.degrees(math.asin(z)))
    obstacles: tuple[Obstacle, ...] = plan.obstacles
    return any(bool(behind(obstacle, altitude, azimuth)) for obstacle in obstacles)
