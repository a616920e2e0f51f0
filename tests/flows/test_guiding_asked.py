"""Whether guiding is off is asked before a drift is believed, and the frames are believed over the answer.

Frames of simulated mounts (tests/drift_nights.py) go one by one through the night, as the window takes them; the
truth is the simulator's own.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from drift_nights import AIR, Nudging, guided_mount, mount_off, plan_at, site_at, watched
from paper_night import PaperNight
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.drift.live import DriftProof, DriftSample
from polewright.core.drift.reading import DriftReading, read_drift, wanted_rad
from polewright.core.drift.reasons import Jumped, Sign
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import TargetPole, Utc
from polewright.core.night.advice import Do, DriftDisturbed, DriftGuided, GuidingAsked, NudgeWanted
from polewright.core.night.advise import advise
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.actions import drift_offset
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import (
    AnyEvent,
    DeclinationNudged,
    DriftAsked,
    FrameSolved,
    GuidingTold,
    RestartAsked,
    SkyMended,
    Ticked,
)
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.orientation.mending import mend_sky
from polewright.core.night.states import Running, Stage, begun
from polewright.core.plain import to_plain
from polewright.runtime.course import Course
from polewright.services.log_format import LoggedEvent, encode_line
from polewright.services.night_log import parse_night
from polewright.ui.presenting.drift import drift_asked
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.ui.view_model import Weight
from polewright.words.coach import say

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
OFF, SITE = (9.0, -9.4), site_at(50.0)  # arcmin: 13' in all
PLAN = plan_at(SITE)
BEGUN = Utc(2461000.5, 0.1)


def drifting() -> Course:
    """A night that measures by drift, on a pier."""
    course = Course()
    course.state = Running(stage=Stage.CAPTURE, now_s=4000.0, plan=PLAN, drift=DriftWatch(stood=True, ask=True))
    return course


def placed(sample: DriftSample) -> PlacedFrame:
    z, x = np.array(sample.direction_enu), np.array(sample.camera_x_enu)
    rows = np.stack([x, np.cross(z, x), z], axis=1)
    sigmas = np.diag([sample.sigma_rad, sample.sigma_rad, sample.roll_sigma_rad])
    return replace(
        PaperNight(3).placed(f"frame {sample.at_s:.0f}"),
        utc_mid=BEGUN.plus_seconds(sample.at_s),
        camera_to_enu=tuple(map(tuple, rows.tolist())),  # type: ignore[arg-type]
        covariance_rad2=tuple(map(tuple, (sigmas**2).tolist())),  # type: ignore[arg-type]
    )


def tell(course: Course, event: AnyEvent) -> None:
    for effect in course.take(event):
        answer = course.answer(effect, event.at_s)
        if answer is not None:
            tell(course, answer)


def see(course: Course, proof: DriftProof, nudge_said_s: float = math.inf) -> None:
    """All frames; the key is pressed `nudge_said_s` after the beginning of the last field."""
    last = next(s.at_s for s in proof.samples if s.position == proof.samples[-1].position)
    for sample in proof.samples:
        at_s = 4000.0 + sample.at_s
        if sample.at_s - last >= nudge_said_s and course.state.drift and course.state.drift.nudged_s is None:
            tell(course, DeclinationNudged(at_s))
        tell(course, FrameSolved(at_s, placed(sample)))


def free(seed: int, off: tuple[float, float] = (0.3, 0.3), nudge: Nudging | None = None) -> DriftProof:
    spec = mount_off(50.0, *off, periodic_error_arcsec=6.0)
    return watched(spec, 50.0, FIELDS, 300.0, 8.0, 0.5, np.random.default_rng(seed), nudge=nudge)


def guided_far_off(both_axes: bool, nudge: Nudging | None = None) -> DriftProof:
    """Its axis is 13' off, and it drifts like one on the pole."""
    spec = mount_off(50.0, *OFF, periodic_error_arcsec=6.0)
    return guided_mount(spec, 50.0, FIELDS, 300.0, 8.0, 0.5, np.random.default_rng(1), 0.5, 0.5, both_axes, nudge)


def in_the_last_field(proof: DriftProof, nudge: Nudging | None, nudged: DriftProof) -> DriftProof:
    """The first field untouched, the last one nudged."""
    first = [s for s in proof.samples if s.position == 0]
    return replace(nudged, samples=(*first, *(s for s in nudged.samples if s.position == 1)))


def keys(course: Course) -> dict[str, str]:
    view = present(course.state, course.advice, Extras(course.state.now_s))
    return {a.key: a.label for a in view.actions if a.weight is Weight.PRIMARY}


def test_it_is_asked_outright_and_no_frame_counts_before_the_answer() -> None:
    course = drifting()
    assert course.advice.reason == GuidingAsked(on=False) and course.advice.action is Do.ANSWER
    assert say(course.advice).instruction == "Say whether guiding is off in both axes."
    assert keys(course) == {"Return": "Guiding is off", "G": "Guiding is on"}
    see(course, replace(free(1), samples=free(1).samples[:12]))
    assert begun(course.state).drift.samples == () and course.advice.reason == GuidingAsked(on=False)


def test_the_answer_no_sets_the_frames_aside_and_asks_for_it_to_be_switched_off() -> None:
    course, proof = drifting(), free(1, (9.0, 9.0))
    tell(course, GuidingTold(4000.0, off=True))
    see(course, replace(proof, samples=proof.samples[:12]))
    assert len(begun(course.state).drift.samples) == 12
    tell(course, GuidingTold(4200.0, off=False))
    assert begun(course.state).drift.samples == () and course.advice.reason == GuidingAsked(on=True)
    assert say(course.advice).instruction == "Switch guiding off, in both axes."
    assert keys(course) == {"Return": "Guiding is off"}, "what has been said is not offered again"
    tell(course, GuidingTold(4210.0, off=True))
    see(course, proof)
    assert course.state.stage is Stage.FINE


def test_the_answer_yes_is_enough_where_the_declination_drifts() -> None:
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, free(2, OFF))
    assert course.state.stage is Stage.FINE
    offset = drift_offset(begun(course.state))
    miss = np.array([offset.east_rad, offset.up_rad]) * ARCMIN_PER_RAD - np.array(OFF)
    assert np.hypot(*miss) < 3.0 * offset.sigma_rad * ARCMIN_PER_RAD


def test_guided_in_both_axes_in_truth_is_seen_through_whatever_the_answer() -> None:
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, guided_far_off(both_axes=True))
    assert course.state.stage is Stage.CAPTURE
    assert isinstance(course.advice.reason, DriftGuided) and course.advice.action is Do.START_AGAIN
    tell(course, RestartAsked(5000.0))
    assert begun(course.state).drift.guiding_off is True, "the answer stays; the frames are judged again"


def test_guided_in_declination_alone_is_not_believed_and_a_nudge_is_asked_for() -> None:
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, guided_far_off(both_axes=False))
    assert course.state.stage is Stage.CAPTURE and isinstance(course.advice.reason, NudgeWanted)
    assert course.advice.action is Do.NUDGE and keys(course)["Return"] == "I nudge it now"
    offset = drift_offset(begun(course.state))
    miss = np.array([offset.east_rad, offset.up_rad]) - np.array(OFF) / ARCMIN_PER_RAD
    assert np.linalg.norm(miss) * ARCMIN_PER_RAD > 10.0, "by the declination it looks aligned"
    assert miss @ np.linalg.solve(np.array(offset.covariance_rad2), miss) < 9.2, "what is stated reaches the truth"


@pytest.mark.parametrize("nudge", [Nudging(at_s=100.0, back_arcsec_s=4.0), Nudging(at_s=100.0, back_arcsec_s=0.5)])
def test_a_guider_that_takes_the_nudge_back_is_named(nudge: Nudging) -> None:
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, in_the_last_field(guided_far_off(False), nudge, guided_far_off(False, nudge)), 95.0)
    assert course.state.stage is Stage.CAPTURE and course.advice.reason == DriftGuided(Sign.TAKEN_BACK)
    assert "went back" in say(course.advice).why


def test_a_free_mount_that_is_nudged_is_known_in_full() -> None:
    """Before the nudge it is known to arcminutes, as if it were guided; afterwards to what a drift can tell."""
    course, nudge = drifting(), Nudging(at_s=150.0)
    tell(course, GuidingTold(4000.0, off=True))
    see(course, free(3))
    assert isinstance(course.advice.reason, NudgeWanted) and course.state.stage is Stage.CAPTURE
    guided_rad, free_rad = course.advice.reason.guided_rad, course.advice.reason.free_rad
    assert guided_rad > 3.0 * free_rad
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, in_the_last_field(free(3), nudge, free(3, nudge=nudge)), 145.0)
    assert course.state.stage is Stage.FINE
    offset = drift_offset(begun(course.state))
    assert offset.sigma_rad < 1.5 * free_rad
    assert math.hypot(offset.east_rad, offset.up_rad) * ARCMIN_PER_RAD < 1.5


def test_said_but_not_seen_it_says_so() -> None:
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, free(3))
    tell(course, DeclinationNudged(5000.0))
    assert course.state.stage is Stage.CAPTURE and "No frame shows the nudge yet" in say(course.advice).why


def test_a_nudge_that_no_frame_ever_shows_is_asked_for_again() -> None:
    """Declination backlash takes up a short press: nobody waits for ever for what will not come."""
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, free(3))
    tell(course, DeclinationNudged(5000.0))
    tell(course, Ticked(5120.0))
    advice = course.advice
    assert advice.action is Do.NUDGE and "backlash" in say(advice).why
    shown = present(course.state, advice, Extras(now_s=5120.0))
    assert "Press Enter, then nudge." in shown.instruction.gain


def nudged_untold() -> Course:
    """The nudge asked for was made, and its key not pressed."""
    course, nudge = drifting(), Nudging(at_s=150.0)
    tell(course, GuidingTold(4000.0, off=True))
    see(course, in_the_last_field(free(3), nudge, free(3, nudge=nudge)))
    return course


def test_a_nudge_before_its_key_is_asked_about_and_nothing_is_lost() -> None:
    course = nudged_untold()
    assert isinstance(course.advice.reason, DriftDisturbed) and course.state.stage is Stage.CAPTURE
    assert keys(course) == {"Return": "Start again", "N": "That was my nudge"}
    frames = len(begun(course.state).drift.samples)
    tell(course, DeclinationNudged(5000.0))
    assert course.state.stage is Stage.FINE and len(begun(course.state).drift.samples) == frames
    assert drift_offset(begun(course.state)).total_rad * ARCMIN_PER_RAD < 1.5


def test_said_of_a_bump_it_does_not_ask_twice() -> None:
    """The jump is another one than the nudge: the drift begins again."""
    course = nudged_untold()
    watch = begun(course.state).drift
    assert watch is not None and watch.reading is not None
    for said_s, size_arcsec in ((5000.0, 60.0), (None, 10.0), (None, 400.0)):
        reading = replace(watch.reading, warnings=(Jumped(size_arcsec / ARCSEC_PER_RAD, 40.0),))
        state = replace(begun(course.state), drift=replace(watch, reading=reading, nudged_s=said_s))
        assert advise(state).reason == DriftDisturbed(reading.warnings[0], nudge=False)


def test_a_drift_of_a_record_that_did_not_ask_goes_on_without_the_question() -> None:
    """Before 2026-11-30 nights with a tube that may bend began to watch at once."""
    asked = event_from_plain({"kind": "DriftAsked", "at_s": 4000.0, "side": "east", "stood": True})
    assert isinstance(asked, DriftAsked)
    course = Course()
    course.state = Running(stage=Stage.CAPTURE, now_s=4000.0, plan=PLAN)
    tell(course, asked)
    see(course, free(2, OFF))
    assert course.state.stage is Stage.FINE


def test_a_record_of_before_in_which_somebody_answered_had_asked() -> None:
    """It was asked from 2026-11-29 on, and written down a day later that it was."""
    blob = b"".join(
        encode_line(LoggedEvent(seq, 0.0, Utc(2461100.5, 0.5), "event", data))
        for seq, data in enumerate(
            ({"kind": "DriftAsked", "at_s": 1.0, "side": "east"}, {"kind": "GuidingTold", "at_s": 2.0, "off": True})
        )
    )
    asked, _ = (event_from_plain(line.data) for line in parse_night(blob, "night").events)
    assert isinstance(asked, DriftAsked) and asked.ask


def test_a_clock_that_is_set_keeps_the_answers_of_who_cannot_turn_the_axis() -> None:
    watch = DriftWatch("west", stood=True, ask=True, guiding_off=True, samples=(), nudged_s=4100.0)
    state = Running(stage=Stage.CAPTURE, now_s=4200.0, plan=PLAN, drift=watch)
    stated = (PLAN.site, PLAN.pole_altitude_rad, PLAN.air)
    set_, _ = mend_sky(state, SkyMended(4200.0, *stated, stepped_s=40.0))
    assert set_.drift == DriftWatch("west", stood=True, ask=True, guiding_off=True)
    elsewhere, _ = mend_sky(state, SkyMended(4200.0, *stated))
    assert elsewhere.drift is None


def test_the_window_asks() -> None:
    assert drift_asked(PLAN, None).ask and drift_asked(PLAN, DriftWatch(), other_side=True).ask


def test_the_numbers_ask_for_the_nudge_where_another_field_would_not_help() -> None:
    course = drifting()
    tell(course, GuidingTold(4000.0, off=True))
    see(course, free(3))
    watch = begun(course.state).drift
    assert watch is not None and watch.reading is not None
    vague = replace(watch.reading, covariance_rad2=((1e-4, 0.0), (0.0, 1e-4)))
    state = replace(begun(course.state), drift=replace(watch, reading=vague))
    facts = {fact.label: fact for fact in present(state, course.advice, Extras(state.now_s)).numbers}
    assert facts["azimuth"].words == facts["altitude"].words == "a nudge tells, when asked for"


def test_guided_is_never_surer_than_free() -> None:
    """Base, tube and air deceive a guided mount as they deceive a free one, in fields of an hour as well."""
    spec = mount_off(50.0, 0.3, 0.3, periodic_error_arcsec=6.0)
    proof = watched(spec, 50.0, FIELDS, 3600.0, 30.0, 0.5, np.random.default_rng(1))
    wanted = wanted_rad(300.0 / ARCSEC_PER_RAD)
    reading = read_drift(proof.samples, SITE, AIR, TargetPole.REFRACTED, wanted, 600.0, FLEXURE_PRIOR)
    assert isinstance(reading, DriftReading) and reading.free_rad2 is not None
    more = np.array(reading.covariance_rad2) - np.array(reading.free_rad2)
    assert np.trace(more) > 0.0


def test_the_answers_are_kept_in_a_record() -> None:
    for event in (GuidingTold(3.0, off=False), DeclinationNudged(4.0)):
        assert event_from_plain({"kind": type(event).__name__, **to_plain(event)}) == event
