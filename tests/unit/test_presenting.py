"""What the window is told at every moment of whole nights: words, signs, senses, keys.

The nights are rehearsed (invented); the signs are those of core/model.py: east and up are positive, and the azimuth
screw turns the base clockwise seen from above, which moves the axis east in the north and west in the south.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import pytest

from frame_reasons import reason_of
from night_kit import rehearsed
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.model import Site, TargetPole
from polewright.core.night import events
from polewright.core.night.advice import (
    Advice,
    Do,
    Ended,
    GuidingAsked,
    Mood,
    Near,
    NotUpYet,
    RotateAxis,
    Turn,
    TurnBegins,
    Wait,
)
from polewright.core.night.advise import advise
from polewright.core.night.effects import Objection, Refused
from polewright.core.night.orientation.clock import FrameArrival
from polewright.core.night.rest import Reading, Rest
from polewright.core.night.states import Handling, Locks, NightPlan, NightState, Running, Stage, Trouble, Waiting
from polewright.core.night.witness import proof_offset
from polewright.core.plan.sky_choice import choose_sky
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewMemory, ScrewPrior
from polewright.core.sky.places import standard_atmosphere
from polewright.core.unsolved import SMEARED, AxisLeapt, FrameTrouble
from polewright.practice.world import TrueOffset
from polewright.runtime.course import Course
from polewright.runtime.notices import Notice
from polewright.runtime.retrace import recorded_events
from polewright.ui import intents as want
from polewright.ui.keys import REHEARSAL_KEYS, WINDOW_ACTIONS
from polewright.ui.presenting.actions import actions
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.history import NightHistory
from polewright.ui.presenting.night import instruction, present
from polewright.ui.presenting.proof import after_facts, score_page
from polewright.ui.view_model import Page, Rehearsal, Sense, StepMark, View, Weight
from polewright.words.numbers import angle_text, duration_text

NIGHTS = (("calm", 3), ("southern-sky", 2))


@dataclass(frozen=True)
class Moment:
    state: NightState
    advice: Advice
    view: View

    @property
    def asks_for_a_rotation(self) -> bool:
        return isinstance(self.advice.action, RotateAxis)


@cache
def moments(scenario: str, seed: int) -> tuple[Moment, ...]:
    """Every state of a rehearsed night, presented."""
    course, history, found = Course(), NightHistory(), []
    for _, event in recorded_events(rehearsed(scenario, seed).log):
        course.take(event)
        history.take(course.state)
        extras = Extras(course.state.now_s, history=history)
        found.append(Moment(course.state, course.advice, present(course.state, course.advice, extras)))
    return tuple(found)


@pytest.fixture(params=NIGHTS, ids=[name for name, _ in NIGHTS])
def night(request: pytest.FixtureRequest) -> tuple[Moment, ...]:
    return moments(*request.param)


def test_every_stage_is_shown_and_says_something_short(night: tuple[Moment, ...]) -> None:
    assert {m.view.page for m in night} == {Page.ORIENTATION, Page.CAPTURE, Page.ROUGH, Page.FINE, Page.PROOF}
    for moment in night:
        said = moment.view.instruction
        assert said.sentence and said.short
        assert len(said.short.split()) <= 8, said.short
        assert "_" not in said.sentence + said.reason and "None" not in said.sentence + said.reason


def test_the_rail_walks_forward_and_ends_with_everything_done(night: tuple[Moment, ...]) -> None:
    for moment in night:
        assert [step.name for step in moment.view.rail] == ["Stand", "Measure", "Rough", "Fine", "Proof"]
        state = moment.state
        if isinstance(state, Running) and not state.aligned:
            now = list(Stage).index(state.stage)
            marks = [StepMark.DONE] * now + [StepMark.NOW] + [StepMark.AHEAD] * (4 - now)
            assert [step.mark for step in moment.view.rail] == marks
            assert all(step.note == "" for step in moment.view.rail[now + 1 :])
    assert all(step.mark is StepMark.DONE for step in night[-1].view.rail)
    assert night[-1].view.rail[-1].note == "confirmed"


def test_words_and_marker_agree_about_the_side(night: tuple[Moment, ...]) -> None:
    seen = set()
    for moment in night:
        facts = {fact.label: fact for fact in moment.view.numbers}
        axis = moment.view.reticle.axis
        if axis is None or "altitude" not in facts:
            continue
        for value, fact, words in (
            (axis.east_arcmin, facts["azimuth"], ("too far east", "too far west")),
            (axis.up_arcmin, facts["altitude"], ("too high", "too low")),
        ):
            if "neither" in fact.words:
                assert abs(value) < 0.2
            else:
                assert words[0 if value > 0.0 else 1] in fact.words
                seen.add(words[0 if value > 0.0 else 1])
    assert len(seen) >= 2


def test_the_strip_repeats_the_advice_and_the_other_one_rests(night: tuple[Moment, ...]) -> None:
    turned = 0
    for moment in night:
        active = [strip for strip in moment.view.strips if strip.active]
        if not isinstance(moment.advice.action, Turn):
            assert not active
            continue
        turned += 1
        (strip,) = active
        turn = moment.advice.action
        assert strip.screw.value == turn.screw.value
        assert strip.turns == pytest.approx(abs(turn.turns))
        assert strip.sense is (Sense.CLOCKWISE if turn.turns > 0.0 else Sense.ANTICLOCKWISE)
        assert strip.sense_text in moment.view.instruction.sentence
        assert not strip.stop
        axis = moment.view.reticle.axis
        assert axis is not None
        off = axis.east_arcmin if strip.screw is Screw.AZIMUTH else axis.up_arcmin
        assert math.copysign(1.0, strip.signed_turns) == math.copysign(1.0, off)
    assert turned >= 4


def test_the_path_leads_from_the_marker_to_a_gate_nearer_the_aim(night: tuple[Moment, ...]) -> None:
    drawn = 0
    for moment in night:
        path, axis = moment.view.reticle.path, moment.view.reticle.axis
        if not path:
            continue
        drawn += 1
        assert axis is not None
        assert path[0].east_arcmin == pytest.approx(axis.east_arcmin, abs=1e-6)
        assert path[0].up_arcmin == pytest.approx(axis.up_arcmin, abs=1e-6)
        (strip,) = [s for s in moment.view.strips if s.active]
        azimuth = strip.screw is Screw.AZIMUTH
        gone = path[-1].east_arcmin - path[0].east_arcmin if azimuth else path[-1].up_arcmin - path[0].up_arcmin
        assert math.copysign(1.0, gone) == -math.copysign(1.0, strip.signed_turns)
        steps = [math.hypot(b.east_arcmin - a.east_arcmin, b.up_arcmin - a.up_arcmin) for a, b in pairwise(path)]
        assert max(steps) < 1.5 * min(steps)  # one smooth curve
    assert drawn >= 3


def test_what_a_turn_did_is_what_its_path_had_promised(night: tuple[Moment, ...]) -> None:
    """The screw of the simulated mount is the outside truth: after the turn the marker lies on the promised side."""
    promised: View | None = None
    turns_made = kept = made = 0
    for moment in night:
        if moment.state.handling.turns_made > turns_made and promised is not None:
            before, after = promised.reticle, moment.view.reticle.axis
            assert after is not None and before.axis is not None
            gate = before.path[-1]
            way = gate.east_arcmin - before.axis.east_arcmin, gate.up_arcmin - before.axis.up_arcmin
            went = after.east_arcmin - before.axis.east_arcmin, after.up_arcmin - before.axis.up_arcmin
            if math.hypot(*went) < 0.05:
                continue  # lost in the slack of the screw
            made += 1
            kept += way[0] * went[0] + way[1] * went[1] > 0.0
            promised = None
        turns_made = moment.state.handling.turns_made
        if moment.view.reticle.path:
            promised = moment.view
    assert made >= 3
    assert kept >= 0.7 * made  # the simulated hand turns the wrong way now and then


def test_hands_are_told_what_to_take_care_of_each_time(night: tuple[Moment, ...]) -> None:
    """Before every loosening of a clutch or of the locks, and every turn of a screw: not the first alone."""
    wanted = {RotateAxis: "Hold the telescope", Turn: "opposite screw first", Do.UNLOCK: "head may drop"}
    seen = set()
    for moment in night:
        action = moment.advice.action
        if isinstance(moment.advice.reason, TurnBegins):
            assert "Hold the telescope" in moment.view.instruction.caution
        for kind, words in wanted.items():
            if action is kind or (isinstance(kind, type) and isinstance(action, kind)):
                assert words in moment.view.instruction.caution, moment.view.instruction
                seen.add(kind)
    assert {RotateAxis, Turn} <= seen


def test_to_point_the_telescope_is_shown_as_something_to_do() -> None:
    sky = choose_sky(Site(52.0, 9.0))[0]
    assert instruction(Advice(TurnBegins(Stage.CAPTURE, sky))).tone is Mood.DO
    assert instruction(Advice(TurnBegins(Stage.PROOF, None))).tone is Mood.WAIT


def test_by_day_the_sun_comes_first() -> None:
    advice = Advice(NotUpYet(52.0, False))
    assert instruction(advice).caution.startswith("Maker's manual and local rules")
    assert "find north by a shadow" in instruction(advice, by_day=True).caution


def test_headline_table_and_rail_tell_the_same_number(night: tuple[Moment, ...]) -> None:
    ended = [m for m in night if isinstance(m.advice.reason, Ended) and m.view.numbers]
    assert ended
    for moment in ended:
        total = next(fact for fact in moment.view.numbers if fact.label == "total")
        assert total.value in moment.view.instruction.sentence
        assert [step.note for step in moment.view.rail if step.name == "Fine"] == [total.value]
        assert total.words.endswith(("pole", "poles")), "a number says what it is told against"


def test_east_lies_on_the_side_of_the_hemisphere() -> None:
    assert not moments("calm", 3)[-1].view.reticle.southern
    assert moments("southern-sky", 2)[-1].view.reticle.southern
    orientation = next(m.view.orientation for m in moments("southern-sky", 2) if m.view.orientation)
    assert orientation.heading_true_deg == 180.0
    assert orientation.inclination_text == "30° 55′"  # latitude 30.9 and 1.5' of refraction


def test_keys_are_unique_and_enter_accepts_only_what_is_advised(night: tuple[Moment, ...]) -> None:
    window_keys = {action.key for action in WINDOW_ACTIONS} | {"M", "Tab", "Escape"}
    for moment in night:
        keys = [action.key for action in moment.view.actions]
        assert len(keys) == len(set(keys)), keys
        assert not set(keys) & window_keys
        for action in moment.view.actions:
            if action.key == "Return":
                advised = moment.advice.action is Do.ACCEPT  # nothing better can be had tonight
                assert advised or not isinstance(action.intent, events.Accepted)
        primary = [a for a in moment.view.actions if a.weight is Weight.PRIMARY]
        assert not primary or primary[0].key == "Return"
        asked = moment.advice.mood in (Mood.DO, Mood.GOOD) and not isinstance(moment.advice.action, RotateAxis)
        assert bool(primary) == asked or moment.advice.mood is Mood.TROUBLE


def test_in_a_rehearsal_every_request_can_be_carried_out(night: tuple[Moment, ...]) -> None:
    arrows = {key for pair in REHEARSAL_KEYS for key in pair[0].split()}
    for moment in night[:: max(1, len(night) // 60)]:
        extras = Extras(moment.state.now_s, rehearsal=Rehearsal(0.0, 0.0, 0.0))
        view = present(moment.state, moment.advice, extras)
        told = [a for a in view.actions if isinstance(a.intent, want.DoAsTold)]
        if moment.advice.mood is Mood.DO:
            assert [a.key for a in told] == ["Return"]
        assert not {a.key for a in view.actions} & arrows


def test_the_dial_runs_forward_from_the_first_place(night: tuple[Moment, ...]) -> None:
    dials = [m.view.capture for m in night if m.view.capture is not None and m.view.capture.taken_deg]
    assert dials
    for dial in dials:
        assert min(dial.taken_deg) == pytest.approx(0.0, abs=1e-9)
        assert dial.wanted_deg >= max(dial.taken_deg) - 1e-9
        assert dial.now_deg is None or dial.now_deg >= 0.0
    assert max(max(dial.taken_deg) for dial in dials) > 30.0
    assert any(dial.accuracy_now and dial.accuracy_next for dial in dials)


def test_the_arc_runs_with_the_sky_where_the_axis_is_turned_westward(night: tuple[Moment, ...]) -> None:
    """Seen from behind the mount, looking at its pole, the sky turns anticlockwise in the north, clockwise in the
    south: so does the arc of a turn westward."""
    seen = set()
    for moment in night:
        dial, action = moment.view.capture, moment.advice.action
        if dial is not None and isinstance(action, RotateAxis):
            clockwise = isinstance(moment.state, Running) and moment.state.plan.southern
            assert dial.southern is (clockwise if action.west_deg > 0.0 else not clockwise)
            seen.add(dial.southern)
    assert seen


def test_the_timeline_goes_down_and_marks_the_moves(night: tuple[Moment, ...]) -> None:
    timeline = night[-1].view.timeline
    assert timeline is not None
    assert list(timeline.time_s) == sorted(timeline.time_s)
    assert timeline.total_arcmin[-1] < 0.1 * timeline.total_arcmin[0]
    assert len(timeline.moves) == night[-1].state.handling.turns_made


def test_the_proof_tells_before_and_after(night: tuple[Moment, ...]) -> None:
    proof = night[-1].view.proof
    assert proof is not None
    facts = {fact.label: fact for fact in proof.facts}
    assert facts["certainty"].verdict is Mood.GOOD
    assert facts["screws"].value.endswith("moves")
    assert night[-1].view.strips == ()
    state = night[-1].state
    assert isinstance(state, Running) and state.offset is not None
    second = proof_offset(state)
    assert second is not None
    apart = math.dist((second.east_rad, second.up_rad), (state.offset.east_rad, state.offset.up_rad))
    assert facts["second turn"].words == f"{angle_text(apart)} apart" and apart > 0.0


def test_the_time_of_the_proof_is_that_of_the_first_state_that_is_proved(night: tuple[Moment, ...]) -> None:
    since = next(moment.state.now_s for moment in night if moment.state.aligned)
    proved = night[-1].view.after[0]
    assert proved.value == f"{duration_text(night[-1].state.now_s - since)} ago"


def test_once_aligned_the_strips_give_way_to_how_it_stands_since(night: tuple[Moment, ...]) -> None:
    """Since when it is proved, what moved since, when the next look is due; before that nothing of it."""
    proved, moved, look = night[-1].view.after
    assert proved.label == "proved" and proved.value.endswith("ago")
    assert (moved.label, moved.value) == ("moved since", "not known")
    assert look.label == "next look" and look.value == "in 3 s"
    state = night[-1].state
    assert isinstance(state, Running) and state.last_frame_s is not None
    assert after_facts(state, Extras(state.last_frame_s + state.interval_s))[2].value == "due"
    assert all(moment.view.after == () for moment in night if not moment.state.aligned)


def test_the_total_is_told_for_the_reading_mode(night: tuple[Moment, ...]) -> None:
    for moment in night:
        shown = [fact for fact in moment.view.numbers if fact.label == "total"]
        assert not shown or moment.view.total == shown[0]


# moments made by hand

SITE = Site(52.3, 3.0, 80.0)
AIR = standard_atmosphere(SITE)
PLAN = NightPlan(SITE, TargetPole.REFRACTED, math.radians(52.31), 30.0 / ARCSEC_PER_RAD, air=AIR)
KNOWN = ScrewMemory(ScrewPrior(60.0, 1.0, 0.1, 0.02))


def at_rest(east_arcmin: float, up_arcmin: float, sigma_arcsec: float = 2.0, **changes: object) -> NightState:
    """A fine correction at rest, both screws known from earlier nights, azimuth in hand."""
    own = (sigma_arcsec / ARCSEC_PER_RAD) ** 2
    covariance = ((own, 0.0), (0.0, own))
    readings = tuple(
        Reading(100.0 + 3.0 * i, east_arcmin / ARCMIN_PER_RAD, up_arcmin / ARCMIN_PER_RAD, covariance)
        for i in range(3)
    )
    state = Running(
        stage=Stage.FINE,
        now_s=107.0,
        plan=PLAN,
        frames_used=12,
        last_frame_s=106.0,
        rest=Rest(readings),
        azimuth=KNOWN,
        altitude=replace(KNOWN, bends=True),
        handling=Handling(working=Screw.AZIMUTH),
    )
    return replace(state, **changes)  # type: ignore[arg-type]


def shown(state: NightState, **extras: object) -> View:
    return present(state, advise(state), Extras(**{"now_s": state.now_s, **extras}))  # type: ignore[arg-type]


def test_a_fine_moment_word_for_word() -> None:
    view = shown(at_rest(9.17, -2.0))
    # 9.17' on the sky are 9.17' / cos 52.31 = 15.0' on the horizon: a quarter turn at 60' a turn
    facts = {fact.label: (fact.value, fact.words) for fact in view.numbers}
    assert facts["azimuth"] == ("15′", "too far east, at the screw; 9.2′ on the sky")
    assert facts["altitude"] == ("2.0′", "too low")
    assert facts["total"][0] == "9.4′"
    (azimuth, altitude) = view.strips
    assert azimuth.active and not altitude.active
    assert azimuth.sense_text == "anticlockwise"
    assert azimuth.note_text == "60′ a turn, ± 2 %"
    assert azimuth.signed_turns > 0.0
    assert view.reticle.tolerance_text == "usual tolerance: 30″"


def test_the_same_error_in_the_south_turns_the_other_way() -> None:
    north = shown(at_rest(9.17, -2.0))
    southern = replace(PLAN, site=Site(-52.3, 3.0, 80.0))
    south = shown(at_rest(9.17, -2.0, plan=southern))
    assert north.strips[0].sense_text == "anticlockwise"
    assert south.strips[0].sense_text == "clockwise"
    assert south.strips[0].signed_turns > 0.0
    assert south.strips[1].sense_text == north.strips[1].sense_text


def test_a_marker_wider_than_the_floor_is_unsure() -> None:
    assert not shown(at_rest(0.1, 0.1, 10.0)).reticle.unsure
    assert shown(at_rest(0.1, 0.1, 80.0)).reticle.unsure


def test_a_reading_goes_stale_after_two_intervals() -> None:
    state = at_rest(1.0, 1.0)
    assert shown(state, now_s=113.0, interval_s=4.0).reticle.stale_text == ""
    assert shown(state, now_s=115.0, interval_s=4.0).reticle.stale_text == "9 s old"
    assert shown(state, now_s=115.0, interval_s=8.0).reticle.stale_text == ""


def frames_failed(cause: FrameTrouble, count: int) -> Trouble:
    return Trouble(reason_of(cause), count, 100.0)


def test_one_bad_frame_is_told_beside_the_instruction_and_can_be_put_away() -> None:
    state = at_rest(1.0, 1.0, trouble=frames_failed(FrameTrouble.TOO_FEW_STARS, 1))
    told = shown(state).trouble
    assert told is not None
    assert (told.cause, told.cure) == ("3 stars found, 8 needed.", "Expose 2 s instead of 0.5 s, or look for clouds.")
    assert shown(state, trouble_read_s=100.0).trouble is None


def test_what_the_instruction_says_is_not_said_twice() -> None:
    state = at_rest(1.0, 1.0, trouble=frames_failed(FrameTrouble.TOO_FEW_STARS, 4))
    view = shown(state)
    said = view.instruction
    assert said.tone is Mood.TROUBLE and said.sentence == "Expose longer."
    assert said.reason == "3 stars found, 8 needed. Expose 2 s instead of 0.5 s, or look for clouds."
    assert view.trouble is None


def test_smeared_frames_while_a_screw_turns_are_no_trouble() -> None:
    smeared = frames_failed(FrameTrouble.TRAILED, 1)
    touched = Handling(working=Screw.AZIMUTH, touched_s=104.0)
    assert shown(at_rest(1.0, 1.0, trouble=smeared, handling=touched)).trouble is None
    asked = shown(at_rest(1.0, 1.0, trouble=smeared))
    assert asked.instruction.sentence.startswith("Turn")
    assert asked.trouble is None, "hands off would be a second order"
    near = shown(at_rest(0.02, 0.02, trouble=smeared, locks=Locks(tight=True)))
    assert near.trouble is not None and near.trouble.cure.startswith("Hands off while frames are taken.")


def test_no_notice_sends_back_who_points_elsewhere_for_the_proof() -> None:
    """The instruction says that the axis is good enough: a notice beneath it asked to take the capture again."""
    leapt = replace(frames_failed(FrameTrouble.NOT_FOLLOWED, 2), why=AxisLeapt(0.4))
    near = at_rest(0.02, 0.02, trouble=leapt, locks=Locks(tight=True))
    assert isinstance(advise(near).reason, Near)
    assert shown(near).trouble is None


def test_a_refused_click_comes_before_everything_else() -> None:
    notice = Notice("recording", "The disk is full.", "Make room.")
    view = shown(at_rest(1.0, 1.0), refused=Refused(Objection.SCREWS_REST_WHILE_PROVED), notices=(notice,))
    assert view.trouble is not None and view.trouble.cause == "Leave the screws alone during the proof."
    view = shown(at_rest(1.0, 1.0), notices=(notice,))
    assert view.trouble is not None and view.trouble.cure == "Make room."


def test_a_lost_folder_names_both_ways_out() -> None:
    view = shown(at_rest(1.0, 1.0, folder_lost=True, folder_reason="Stale file handle."))
    assert "Stale file handle." in view.instruction.reason
    assert "cable" in view.instruction.gain and "Ctrl+O" in view.instruction.gain
    assert view.trouble is None, "nothing is said twice, in a notice that cannot be put away"
    assert view.actions[0].intent == want.ChooseFolder()


def test_a_wait_of_known_length_shows_how_far_it_is() -> None:
    state = at_rest(1.0, 1.0, handling=Handling(touched_s=106.0), now_s=107.0)
    advice = advise(state)
    assert isinstance(advice.action, Wait)
    view = shown(state)
    assert view.instruction.tone is Mood.WAIT
    assert view.instruction.wait_fraction == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("make", "page"),
    [
        (lambda: Waiting(), Page.ORIENTATION),
        (lambda: Running(plan=PLAN), Page.ORIENTATION),
        (lambda: Running(plan=PLAN, stage=Stage.CAPTURE), Page.CAPTURE),
        (lambda: Running(plan=PLAN, stage=Stage.ROUGH), Page.ROUGH),
        (lambda: Running(plan=PLAN, stage=Stage.PROOF), Page.CAPTURE),
        (lambda: Running(plan=PLAN, stage=Stage.PROOF, accepted=True), Page.PROOF),
    ],
)
def test_a_night_that_knows_nothing_yet_can_be_shown(make: Callable[[], NightState], page: Page) -> None:
    view = shown(make())
    assert view.page is page
    assert view.instruction.sentence
    assert view.reticle.axis is None


def capture_moments(night: tuple[Moment, ...]) -> list[Moment]:
    """Every moment that asks for a turn of the RA axis, after the first place."""
    return [m for m in night if isinstance(m.state, Running) and m.state.turning_axis and m.asks_for_a_rotation]


def smeared_by_the_turn(moment: Moment, cause: FrameTrouble, count: int) -> Running:
    """The same moment, half a second into the turn: the frames are smeared."""
    state = moment.state
    assert isinstance(state, Running)
    plan = replace(state.plan, walking=True)
    trouble = Trouble(reason_of(cause), count, state.now_s, 0, cause in SMEARED)
    return replace(state, plan=plan, trouble=trouble, arrived_s=state.now_s)


def test_the_post_stands_while_the_axis_turns(night: tuple[Moment, ...]) -> None:
    asked = capture_moments(night)
    assert {m.state.stage for m in asked} == {Stage.CAPTURE, Stage.PROOF}
    for moment in asked:
        turning = shown(smeared_by_the_turn(moment, FrameTrouble.NO_MATCH, 1))
        assert turning.instruction.sentence == "Rotating. Stop near the post."
        before, now = moment.view.capture, turning.capture
        assert before is not None and now is not None
        assert (now.wanted_deg, now.southern, now.taken_deg) == (before.wanted_deg, before.southern, before.taken_deg)


def test_frames_smeared_by_a_turn_that_was_asked_for_are_no_trouble(night: tuple[Moment, ...]) -> None:
    moment = capture_moments(night)[0]
    for cause in (FrameTrouble.NO_MATCH, FrameTrouble.TOO_FEW_STARS, FrameTrouble.NO_STARS):
        for count in (1, 2, 8):
            assert shown(smeared_by_the_turn(moment, cause, count)).trouble is None
    spun = at_rest(1.0, 1.0, plan=replace(PLAN, walking=True), trouble=frames_failed(FrameTrouble.NO_MATCH, 2))
    assert shown(spun).trouble is None


def test_enter_on_the_score_begins_nothing(night: tuple[Moment, ...]) -> None:
    state = night[-1].state
    assert isinstance(state, Running)
    page = score_page(night[-1].view, state, TrueOffset(0.1, 0.1))
    assert page.page is Page.SCORE and "Return" not in {a.key for a in page.actions}
    assert {a.key for a in page.actions if isinstance(a.intent, want.StartRehearsal)} == {"Ctrl+P"}


def test_a_turn_that_was_another_one_is_reported_by_one_key() -> None:
    """Common amounts on the keys 4 to 7, each by its own words and in the sense that was asked for."""
    for east_arcmin, sense, sign in ((9.17, "anticlockwise", -1.0), (-9.17, "clockwise", 1.0)):
        keys = {action.key: action for action in shown(at_rest(east_arcmin, 0.0)).actions}
        amounts = {"4": ("1/4 turn", 0.25), "5": ("1/2 turn", 0.5), "6": ("1 turn", 1.0), "7": ("2 turns", 2.0)}
        for key, (words, turns) in amounts.items():
            assert keys[key].label == f"Turned {words} {sense}"
            assert keys[key].intent == events.ScrewTurned(0.0, Screw.AZIMUTH, sign * turns)
        assert keys["F"].label == "Finish here" and keys["F"].intent == events.Accepted(0.0)


def test_whether_guiding_is_off_is_answered_by_what_the_key_says() -> None:
    state = at_rest(0.0, 0.0)
    assert isinstance(state, Running)
    asked = {a.label: a.intent for a in actions(state, Advice(GuidingAsked(on=False)), None)}
    assert asked["Guiding is off"] == events.GuidingTold(0.0, off=True)
    assert asked["Guiding is on"] == events.GuidingTold(0.0, off=False)
    again = [a.label for a in actions(state, Advice(GuidingAsked(on=True)), None)]
    assert "Guiding is off" in again and "Guiding is on" not in again


@pytest.mark.parametrize("ahead_s, said, doubted", [(1.0, "agree", False), (-130.0, "behind", True)])
def test_the_clock_is_marked_where_it_is_doubted(ahead_s: float, said: str, doubted: bool) -> None:
    arrivals = tuple(FrameArrival(100.0 * i + ahead_s, 2.0, 100.0 * i + 4.0) for i in range(5))
    view = shown(at_rest(0.0, 0.0, stage=Stage.ORIENTATION), arrivals=arrivals)
    assert view.orientation is not None
    (clock,) = (fact for fact in view.orientation.facts if fact.label == "clock")
    assert said in clock.words and (clock.verdict is Mood.TROUBLE) is doubted
