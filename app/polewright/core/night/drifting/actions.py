"""What the events of a drift do to the night: watched instead of a turn of the RA axis, or as the proof of one.

Watched in the capture stage it takes the turn's place: its axis is what the screws are then followed from. In the
proof stage it has a word beside the turn's: where both put the axis inside the tolerance it is proved; where it puts
the axis outside, the person decides (see core/night/drifting/coach.py): what came between may be a tube that sags.
"""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.budget import Budget, Chance, Part
from polewright.core.drift.compare import Comparison, compare_with_turn, words_agree
from polewright.core.drift.live import with_frame
from polewright.core.drift.reading import CREEP_RAD_S, DriftReading, rest_needed_s, wanted_rad
from polewright.core.night.actions import Outcome, begin_following, see_frame
from polewright.core.night.drift_watch import DriftWatch, anew
from polewright.core.night.drifting.reach import joined, least_rad, sought_rad
from polewright.core.night.effects import Effect, FitDrift, KeepDrift, KeepNight, Objection, Refused
from polewright.core.night.events import (
    DeclinationNudged,
    DriftAsked,
    DriftMeasured,
    DriftRefused,
    FrameSolved,
    GuidingTold,
)
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.states import Capture, Running, Stage
from polewright.core.offset import (
    PROVED,
    SURE_ENOUGH,
    WORTH_SHARE,
    Offset,
    good_enough,
    probability_inside,
)

EVERY_FRAME = 150  # so many frames are fitted one by one; of more, sixty fits a doubling
REST_SHARE = 0.5  # of the tolerance is what creep is compared with where tube and air count too (chosen)
EVEN = 0.5  # more likely outside than inside
CLOCK_SET_BACK_S = 60.0  # a frame so much older than the last one comes by another clock
SET_ASIDE = Refused(Objection.DRIFT_SET_ASIDE)


# guards


def by_drift(state: Running) -> bool:
    """The drift is being watched."""
    return state.drift is not None and not (state.proved or state.accepted)


def may_leave_drift(state: Running) -> bool:
    """The drift is watched where the RA axis could be turned instead."""
    return by_drift(state) and not (state.stage is Stage.PROOF and state.capture.by_drift)


def known_by_drift(state: Running) -> bool:
    """The drift tells both components, and what it tells is not proved already."""
    return _known(state) is not None and by_drift(state)


def sure_by_drift(state: Running) -> bool:
    """The drift is as sure as it is watched for, and by its frames nothing guided the mount."""
    reading = _known(state)
    return reading is not None and reading.complete and not reading.held and not reading.open


def drift_confirms(state: Running) -> bool:
    """The drift is complete, and by all that is known the axis is inside the tolerance."""
    both = both_offset(state)
    return (
        sure_by_drift(state)
        and both is not None
        and not opposed(state)
        and good_enough(both, state.plan.tolerance_rad, sure=SURE_ENOUGH if state.capture.by_drift else PROVED)
        and drift_offset(state).sigma_rad <= WORTH_SHARE * state.plan.tolerance_rad
    )


def drift_contradicts(state: Running) -> bool:
    """The drift is complete, and puts the axis rather outside the tolerance than inside; or inside, against what was
    known before."""
    both = both_offset(state)
    if not sure_by_drift(state) or both is None or drift_confirms(state):
        return False
    return probability_inside(both, state.plan.tolerance_rad) < EVEN or opposed(state)


def opposed(state: Running) -> bool:
    """Whether what was known before contradicts the drift and puts the axis outside.

    Declination guiding left on makes any drift look like that of an aligned mount.
    """
    reading, before, plan = _known(state), state.offset, state.plan
    if reading is None or before is None or _agree(reading, before):
        return False
    return probability_inside(before, plan.tolerance_rad) < EVEN


def _agree(reading: DriftReading, before: Offset) -> bool:
    return words_agree(reading, before.east_rad, before.up_rad, before.covariance_rad2)


def guiding_unsaid(state: Running) -> bool:
    """Nobody has said yet that guiding is off: frames are only seen. Records of before did not ask."""
    watch = state.drift
    return watch is not None and watch.ask and watch.guiding_off is not True


# what it says


def _known(state: Running) -> DriftReading | None:
    reading = state.drift.reading if state.drift is not None else None
    return reading if reading is not None and reading.known else None


def drift_offset(state: Running) -> Offset:
    """What the drift says; only where it says something."""
    reading = state.drift.reading if state.drift is not None else None
    assert reading is not None
    return Offset(reading.east_rad, reading.up_rad, reading.covariance_rad2, reading.samples)


def compared(state: Running) -> Comparison | None:
    """The drift beside what was known before; None where one of them is missing or both are drifts."""
    reading, before, plan = _known(state), state.offset, state.plan
    if reading is None or before is None or state.stage is not Stage.PROOF or state.capture.by_drift:
        return None
    suspect = state.capture.axis.suspect if state.capture.axis is not None else None
    return compare_with_turn(
        reading, before.east_rad, before.up_rad, before.covariance_rad2, plan.site, plan.air, suspect
    )


def both_offset(state: Running) -> Offset | None:
    """Drift and what was known before together where they agree, the drift alone where they do not."""
    reading, before = _known(state), state.offset
    if reading is None or before is None:
        return None
    second = drift_offset(state)
    if not _agree(reading, before):
        return second
    return joined(before, second, correlated=state.plan.flexure is not None)


def reach_rad(state: Running) -> float | None:
    """The smallest tolerance that the drift could prove with the axis in its middle; None where nothing proves it, or
    in records that know of the stars alone."""
    both = both_offset(state)
    if both is None or state.plan.flexure is None:
        return None
    return least_rad(both, drift_offset(state), state.capture.by_drift)


def settling_s(state: Running) -> float:
    """How much longer a tripod must stand before the proof is worth beginning; frames are only seen until then."""
    watch = state.drift
    if watch is None or watch.stood or watch.samples or state.stage is not Stage.PROOF:
        return 0.0
    return max(rest_s(state) - stood_s(state), 0.0)


def rest_s(state: Running) -> float:
    """How long a tripod must have stood until a drift is worth watching."""
    plan = state.plan
    if plan.flexure is None:  # a record of before
        return rest_needed_s(plan.tolerance_rad, CREEP_RAD_S)
    return rest_needed_s(plan.tolerance_rad * REST_SHARE)


def stood_s(state: Running) -> float:
    """For how long the tripod has stood, as far as the night knows."""
    return state.now_s - state.set_down_s


# actions


def watch_drift(state: Running, event: DriftAsked) -> Outcome:
    """Begins to watch; while watching, only what the person says is changed."""
    if state.proved or state.accepted:
        return state, (Refused(Objection.NIGHT_OVER),)
    if state.drift is not None:
        return replace(state, drift=replace(state.drift, side=event.side, stood=event.stood)), ()
    capture = Capture() if state.stage is Stage.CAPTURE else state.capture
    return replace(state, capture=capture, drift=DriftWatch(event.side, event.stood, event.ask)), ()


def tell_guiding(state: Running, event: GuidingTold) -> Outcome:
    """Frames count from the moment on at which guiding is said to be off; where it is on, those before do not."""
    if not by_drift(state) or state.drift is None:
        return state, (Refused(Objection.DRIFT_ELSEWHERE),)
    if event.off:
        return replace(state, drift=replace(state.drift, guiding_off=True)), ()
    return replace(_without_axis(state), drift=replace(anew(state.drift), guiding_off=False)), ()


def tell_nudge(state: Running, event: DeclinationNudged) -> Outcome:
    """From now on a jump in declination is no mishap, nor was one before."""
    if not by_drift(state) or state.drift is None:
        return state, (Refused(Objection.DRIFT_ELSEWHERE),)
    reading = None if state.drift.reading is not None and state.drift.reading.disturbed else state.drift.reading
    state = replace(state, drift=replace(state.drift, nudged_s=state.now_s, reading=reading))
    return state, _fit(state)


def leave_drift(state: Running, event: object) -> Outcome:
    """Back to the turn of the RA axis."""
    capture = Capture() if state.capture.by_drift and state.stage is Stage.CAPTURE else state.capture
    return replace(state, drift=None, capture=capture), ()


def watch_anew(state: Running, event: object) -> Outcome:
    """Drops the frames; the way stays."""
    return replace(_without_axis(state), drift=anew(state.drift)), ()


def _without_axis(state: Running) -> Running:
    return replace(state, capture=Capture()) if state.stage is Stage.CAPTURE else state


def keep_drift_frame(state: Running, event: FrameSolved) -> Outcome:
    """One more frame of the drift; asks for the fit. Once the night is over frames are only seen."""
    state, _ = see_frame(state, event)
    watch, plan, frame = state.drift, state.plan, event.frame
    if watch is None or state.proved or state.accepted or settling_s(state) > 0.0 or guiding_unsaid(state):
        return state, ()
    begun = watch.begun or frame.utc_mid
    if watch.samples and frame.utc_mid.seconds_since(begun) < watch.samples[-1].at_s - CLOCK_SET_BACK_S:
        watch, begun = anew(watch), frame.utc_mid  # by the clock that was wrong, all places were wrong
    at_s = frame.utc_mid.seconds_since(begun)
    samples = with_frame(watch.samples, plan.site, at_s, frame.sky_frame().attitude_enu)
    if samples is watch.samples:
        return state, ()
    state = replace(state, drift=replace(watch, begun=begun, samples=samples, frame=frame))
    return state, _fit(state) if _due(len(samples)) else ()


def _due(count: int) -> bool:
    return count <= EVERY_FRAME or count % max(count // 60, 1) == 0


def _fit(state: Running) -> tuple[Effect, ...]:
    watch, plan = state.drift, state.plan
    if watch is None or not watch.samples:
        return ()
    rested_s = math.inf if watch.stood else stood_s(state) - 0.5 * (watch.samples[-1].at_s - watch.samples[0].at_s)
    nudged, wanted = watch.nudged_s is not None, wanted_rad(sought_rad(state))
    return (FitDrift(watch.samples, plan.target, wanted, rested_s, nudged),)


def take_drift(state: Running, event: DriftMeasured) -> Outcome:
    """What the drift says so far; in the capture stage it is the axis, as soon as both components are known."""
    watch, reading = state.drift, event.reading
    if watch is None or reading.samples > len(watch.samples) or watch.frame is None or state.proved or state.accepted:
        return state, (SET_ASIDE,)
    kept = watch.kept and watch.reading is not None and watch.reading.complete and reading.complete
    state = replace(state, drift=replace(watch, reading=reading, read_s=state.now_s, refusal=None, kept=kept))
    if state.stage is not Stage.CAPTURE:
        return state, ()
    return replace(state, capture=_capture_of(reading, watch, state) if reading.known else Capture()), ()


def _capture_of(reading: DriftReading, watch: DriftWatch, state: Running) -> Capture:
    """A capture whose axis the drift has told; its frame is the one that the screws are followed from.

    Frames that follow the screws make no drift surer: all of its doubt is hidden from them.
    """
    doubt = Budget((Chance(Part.DRIVE, reading.covariance_rad2),))
    assert watch.frame is not None
    axis = MeasuredAxis(
        reading.east_rad,
        reading.up_rad,
        reading.covariance_rad2,
        companion_east_rad=reading.east_rad,
        companion_up_rad=reading.up_rad,
        frames=(watch.frame.name,),
        budget=None if state.plan.flexure is None else doubt,
    )
    return Capture((watch.frame,), (0.0,), axis, by_drift=True)


def note_drift_refusal(state: Running, event: DriftRefused) -> Outcome:
    """The frames do not tell an axis yet, or no longer; then what they told before is nothing to go on from."""
    watch = state.drift
    if watch is None:
        return state, (SET_ASIDE,)
    watch = replace(watch, reading=None, refusal=event.why)
    return replace(_without_axis(state), drift=watch), ()


def keep_drift(state: Running, event: object) -> Outcome:
    """Writes what the drift says into the record, once."""
    watch = state.drift
    if watch is None or watch.reading is None or watch.kept:
        return state, ()
    return replace(state, drift=replace(watch, kept=True)), (KeepDrift(watch.reading, compared(state)),)


def follow_from_drift(state: Running, event: object) -> Outcome:
    """The drift has given the axis: the screws are followed from it."""
    state, effects = keep_drift(state, event)
    state, more = begin_following(state, event)
    return state, (*effects, *more)


def prove_by_drift(state: Running, event: object) -> Outcome:
    """The drift confirms what was known: the night's alignment is proved."""
    state, effects = keep_drift(state, event)
    return replace(state, proved=True), (*effects, KeepNight())


def believe_drift(state: Running, event: object) -> Outcome:
    """The person goes by the drift: the correction goes on from its axis."""
    watch = state.drift
    assert watch is not None and watch.reading is not None
    capture = _capture_of(watch.reading, watch, state)
    state, effects = keep_drift(state, event)
    state, more = begin_following(replace(state, capture=capture, proof=Capture()), event)
    return replace(state, drift=anew(watch)), (*effects, *more)
