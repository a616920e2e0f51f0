"""The coach while the drift of the stars is watched: where to point, how long to watch, and what it says."""

from __future__ import annotations

import math

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.nudge import HOLD_S, LEAST_RAD, MOST_RAD, MOVING_S
from polewright.core.drift.plan import predicted_seconds
from polewright.core.drift.reading import CLEARLY, DriftReading, place_rad, tells, wanted_rad
from polewright.core.drift.reasons import DriftDoubt, Jumped, Sign
from polewright.core.drift.reasons import NotTracking as StarsRun
from polewright.core.night.advice import (
    DriftDisturbed,
    DriftGuided,
    DriftTold,
    DriftUnsure,
    DriftWatched,
    FieldWanted,
    GuidingAsked,
    NudgeWanted,
    Plainly,
    Reason,
    ShortReach,
    TripodSettles,
)
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.actions import (
    compared,
    drift_contradicts,
    drift_offset,
    guiding_unsaid,
    opposed,
    reach_rad,
    rest_s,
    settling_s,
)
from polewright.core.night.drifting.places import position_for
from polewright.core.night.drifting.reach import outset_reach_rad, sought_rad
from polewright.core.night.states import Running, Stage

USUAL_NOISE_RAD, USUAL_CADENCE_S = 0.5 / ARCSEC_PER_RAD, 3.0  # of a solved frame, before its own scatter is known
STEADY_S = 15.0  # so long at least is a field watched before another one is asked for
MISPOINTED_FRAMES = 2  # so many frames show where the camera really looks


def advise_drift(state: Running, watch: DriftWatch) -> Reason:
    """Two fields, one after the other, as long as they need; then the word of the drift."""
    return _in_the_way(state, watch) or _next_field(state, watch)


def _in_the_way(state: Running, watch: DriftWatch) -> Reason | None:
    reading, left_s = watch.reading, settling_s(state)
    if guiding_unsaid(state):
        return GuidingAsked(watch.guiding_off is False, _short_of_tonight(state, watch))
    if left_s > 0.0:
        return TripodSettles(left_s, rest_s(state))
    if reading is not None and reading.disturbed:
        return DriftDisturbed(reading.warnings[0], _like_a_nudge(watch, reading.warnings[0]))
    if reading is not None and reading.held:
        return DriftGuided(reading.sign or Sign.STILL)
    return Plainly.NOT_TRACKING if isinstance(watch.refusal, StarsRun) else None


def _short_of_tonight(state: Running, watch: DriftWatch) -> ShortReach | None:
    """What a drift can prove here, where tonight needs more."""
    reach, needed = outset_reach_rad(state, watch.stood), state.plan.tolerance_rad
    if reach is None or reach <= CLEARLY * needed:
        return None
    firm = None if watch.stood else outset_reach_rad(state, stood=True)
    return ShortReach(reach, needed, firm)


def _like_a_nudge(watch: DriftWatch, doubt: DriftDoubt) -> bool:
    """Whether that jump may be a nudge of which nobody has told."""
    told = watch.nudged_s is not None or not watch.ask
    return not told and isinstance(doubt, Jumped) and LEAST_RAD <= abs(doubt.size_rad) <= MOST_RAD


def _next_field(
    state: Running, watch: DriftWatch
) -> NudgeWanted | DriftUnsure | DriftTold | FieldWanted | DriftWatched:
    if watch.reading is not None and watch.reading.complete:
        return _nudge_wanted(state, watch, watch.reading) or _complete(state)
    wanted = field_wanted(state, watch)
    if wanted:
        place = position_for(state.plan, watch.side, wanted)
        return FieldWanted(wanted, watch.side, place, _expected_s(state, watch))
    left_s = left_here_s(state, watch)
    return DriftWatched(left_s, left_s + _watched_s(watch), watch.reading, watch.refusal)


def _nudge_wanted(state: Running, watch: DriftWatch, reading: DriftReading) -> NudgeWanted | None:
    """The frames alone cannot tell whether the declination is free; a nudge taken up by backlash never shows."""
    if reading.free_rad2 is None:
        return None
    free_rad = math.sqrt(reading.free_rad2[0][0] + reading.free_rad2[1][1])
    told = watch.nudged_s is not None
    waiting = watch.nudged_s is not None and state.now_s - watch.nudged_s < HOLD_S + MOVING_S
    return NudgeWanted(reading.sigma_rad, free_rad, waiting, again=told and not waiting)


def _complete(state: Running) -> DriftUnsure | DriftTold:
    """Only where the drift does not simply confirm: it puts the axis outside, or leaves it open."""
    offset, proof = drift_offset(state), state.stage is Stage.PROOF
    if proof and not drift_contradicts(state):
        return DriftUnsure(offset, state.plan.tolerance_rad, reach_rad(state))
    guided_too = proof and offset.total_rad <= state.plan.tolerance_rad and opposed(state)
    return DriftTold(offset, compared(state), proof, guided_too)


def field_wanted(state: Running, watch: DriftWatch) -> str:
    """What the next field is to tell, "azimuth" or "altitude"; "" while the present one is to be watched."""
    if not watch.samples:
        return "" if _useful_already(state) else "azimuth"
    here, reading = watch.here, watch.reading
    kind = tells(*place_rad(here[-1].direction_enu, state.plan.pole_altitude_rad, state.plan.site))
    if watch.fresh_field or reading is None:
        return _missing(watch) if not kind and len(here) >= MISPOINTED_FRAMES else ""
    if here[-1].at_s - here[0].at_s < STEADY_S or not reading.component or reading.here_s > 0.0:
        return ""
    return reading.component


def _useful_already(state: Running) -> bool:
    """Whether the camera looks at a field worth watching before the first frame of the drift."""
    frame, plan = state.last_frame, state.plan
    if frame is None:
        return False
    return bool(tells(*place_rad(frame.boresight, plan.pole_altitude_rad, plan.site)))


def _missing(watch: DriftWatch) -> str:
    """The component that is known less: that of the azimuth in the first field."""
    if watch.reading is None or _first_field(watch):
        return "azimuth"
    (ee, _), (_, uu) = watch.reading.covariance_rad2
    return "azimuth" if ee >= uu else "altitude"


def _first_field(watch: DriftWatch) -> bool:
    return len({s.position for s in watch.samples}) <= 1


def _expected_s(state: Running, watch: DriftWatch) -> float:
    reading = watch.reading
    if reading is not None and reading.there_s > 0.0 and math.isfinite(reading.there_s):
        return reading.there_s
    return usual_seconds(state, reading)


def usual_seconds(state: Running, reading: DriftReading | None) -> float:
    """How long each of two fields takes, from the scatter so far or the usual one."""
    noise, cadence = (USUAL_NOISE_RAD, USUAL_CADENCE_S) if reading is None else (reading.noise_rad, reading.cadence_s)
    wanted = wanted_rad(sought_rad(state))
    return predicted_seconds([0.0, -6.0], wanted, max(noise, 1e-8), max(cadence, 0.1))


def left_here_s(state: Running, watch: DriftWatch) -> float:
    """How much longer to watch the present field."""
    reading = watch.reading
    if watch.fresh_field or reading is None:
        first = reading is None or _first_field(watch)
        whole = usual_seconds(state, reading) if first else _expected_s(state, watch)
        return max(whole - _watched_s(watch), 1.0)
    left = reading.here_s if math.isfinite(reading.here_s) else usual_seconds(state, reading)
    return max(left - max(state.now_s - watch.read_s, 0.0), 1.0)


def _watched_s(watch: DriftWatch) -> float:
    here = watch.here if watch.samples else ()
    return here[-1].at_s - here[0].at_s if here else 0.0
