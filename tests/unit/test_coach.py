"""The coach: one short instruction with its reason, and always a cure."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from frame_reasons import reason_of
from paper_night import PaperNight
from polewright.core.axis_reasons import LongApart
from polewright.core.model import Site, TargetPole
from polewright.core.night import advice as says
from polewright.core.night.advise import advise
from polewright.core.night.correction.coach import advise_correction
from polewright.core.night.correction.handling import AT_THE_LOCKS_S
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    BackAsked,
    BaseLocked,
    FolderLost,
    FrameSolved,
    FrameUnsolved,
    NextAsked,
    NightStarted,
    PauseAsked,
    RestartAsked,
    Ticked,
)
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, RotationGain
from polewright.core.night.proof.coach import advise_proof
from polewright.core.night.states import Capture, NightState, SecondSky, Stage, Waiting, begun
from polewright.core.night.table import step
from polewright.core.plan.sky_choice import Obstacle
from polewright.core.screws.angles import Screw
from polewright.core.screws.doable import doable_turns
from polewright.core.screws.memory import ScrewMemory, ScrewPrior
from polewright.core.unsolved import AxisLeapt, FrameTrouble
from polewright.words.coach import say
from polewright.words.frames import frame_headline, frame_words

ARCSEC = math.radians(1.0 / 3600.0)


def start(latitude: float = 52.0, obstacles: tuple[Obstacle, ...] = ()) -> NightStarted:
    return NightStarted(
        0.0,
        Site(latitude, 10.0),
        TargetPole.TRUE,
        math.radians(abs(latitude)),
        30.0 * ARCSEC,
        obstacles,
        ScrewMemory(ScrewPrior(60.0, 2.0, 0.1, 0.02)),
        ScrewMemory(ScrewPrior(-40.0, 2.0, 0.05, 0.02)),
    )


def after(state: NightState, *events: AnyEvent) -> NightState:
    for event in events:
        state, _ = step(state, event)
    return state


def capture(
    state: NightState, sigma_arcsec: float, places: int = 3, east: float = 0.0, up: float = 0.0
) -> NightState:
    night = PaperNight(3)
    for index in range(places):
        night.theta = math.radians(-30.0 - 40.0 * index)
        state = after(state, FrameSolved(10.0 + index, night.placed(f"c{index}")))
    variance = (sigma_arcsec * ARCSEC) ** 2 / 2.0
    gains = (RotationGain(math.radians(20.0), 20 * ARCSEC), RotationGain(math.radians(40.0), 6 * ARCSEC))
    names = tuple(f.name for f in state.capture.frames)
    axis = MeasuredAxis(east, up, ((variance, 0.0), (0.0, variance)), frames=names, gains=gains)
    return after(state, AxisMeasured(20.0, axis))


def rest(state: NightState, east_arcsec: float, up_arcsec: float, count: int = 3, sigma: float = 3.0) -> NightState:
    variance = (sigma * ARCSEC) ** 2
    for index in range(count):
        reading = FollowedAxis(east_arcsec * ARCSEC, up_arcsec * ARCSEC, ((variance, 0.0), (0.0, variance)))
        state = after(state, AxisFollowed(state.now_s + 2.0, f"r{state.now_s}{index}", reading))
    return state


def test_before_the_night() -> None:
    assert advise(Waiting()).action is says.Do.ENTER_SITE


@pytest.mark.parametrize(
    ("latitude", "sentence"),
    [
        (52.0, "Point the axis north, inclined 52°."),
        (-31.0, "Point the axis south, inclined 31°."),
        (0.0, "Lay the axis level, pointing north."),
        (90.0, "Set the axis upright."),
    ],
)
def test_stand_it_up(latitude: float, sentence: str) -> None:
    advice = advise(after(Waiting(), start(latitude)))
    assert say(advice).instruction == sentence
    assert isinstance(advice.action, says.SetUp)


def test_rotation_says_what_it_will_buy() -> None:
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 40.0, places=2)
    advice = advise(state)
    assert isinstance(advice.action, says.RotateAxis)
    assert say(advice).instruction == "Rotate the RA axis 40° east."
    assert say(advice).gain == "The uncertainty shrinks from 40″ to 6″."
    assert isinstance(advice.reason, says.PlaceWanted)
    hardly = replace(advice.reason, sigma_rad=12.4 * ARCSEC, sigma_after_rad=12.2 * ARCSEC)
    assert "shrinks" not in say(says.Advice(hardly)).gain, "from 12″ to 12″ is nothing"


@pytest.mark.parametrize("latitude", [52.0, -31.0])
def test_rotation_goes_where_there_is_room_and_no_obstacle(latitude: float) -> None:
    night = PaperNight(3, latitude_deg=latitude)
    for theta, open_way in (
        (-30.0, -1.0),
        (30.0, 1.0),
    ):  # 2 h east, 2 h west: away from the meridian, as no flip is due
        night.theta = math.radians(theta)
        state = after(Waiting(), start(latitude), NextAsked(1.0), FrameSolved(2.0, night.placed("a")))
        action = advise(state).action
        assert isinstance(action, says.RotateAxis) and math.copysign(1.0, action.west_deg) == open_way
    wall = (Obstacle(200.0, 359.0, 80.0),)
    blocked = after(Waiting(), start(latitude, wall), NextAsked(1.0), FrameSolved(2.0, night.placed("a")))
    action = advise(blocked).action
    assert action is says.Do.START_AGAIN, "no way is clear from here"


def test_suspect_frame_names_its_cure() -> None:
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 40.0)
    axis = state.capture.axis
    assert axis is not None
    state = replace(begun(state), capture=replace(state.capture, axis=replace(axis, suspect="c1")))
    advice = advise(state)
    assert advice.action is says.Do.TIGHTEN_CLUTCH and "c1" in say(advice).why


def test_frames_of_two_captures_stop_the_turn_also_once_there_is_an_axis() -> None:
    """A frame of another month among good ones: the capture is refused with it, and no further turn mends that."""
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 40.0)
    assert state.capture.axis is not None
    state = after(state, AxisRefused(30.0, LongApart("old.fits", "c2", 815.8)))
    advice = advise(state)
    assert advice.action is says.Do.START_AGAIN and advice.mood is says.Mood.TROUBLE
    told = say(advice)
    assert told.instruction == "Begin this stage again." and "816 hours apart" in told.why
    assert after(state, NextAsked(31.0)).stage is Stage.CAPTURE, "screws would be followed from the old frame as well"
    assert isinstance(advise(after(state, RestartAsked(31.0))).reason, says.TurnBegins)


def test_turn_is_in_eighths_with_direction_and_gain() -> None:
    state = rest(capture(after(Waiting(), start(), NextAsked(1.0)), 4.0, east=math.radians(0.5)), 1800.0, 5.0)
    advice = advise(state)
    assert isinstance(advice.action, says.Turn)
    assert (
        advice.action.screw is Screw.AZIMUTH
        and advice.action.turns < 0.0
        and advice.action.turns == -doable_turns(advice.action.turns)
    )
    assert say(advice).instruction.startswith("Turn azimuth") and say(advice).instruction.endswith("anticlockwise.")
    assert "30′ too far east" in say(advice).why
    assert say(advice).gain.startswith("Leaves about")


def test_hands_off_while_it_settles_then_lock_then_good_enough() -> None:
    from polewright.core.night.events import BaseLocked

    state = rest(capture(after(Waiting(), start(), NextAsked(1.0)), 4.0), 5.0, 5.0)
    assert state.stage is Stage.FINE
    assert advise(state).action is says.Do.LOCK
    state = after(state, BaseLocked(state.now_s + 1.0))
    assert say(advise(state)).instruction == "Hands off. Settling, 4 s."
    good = rest(state, 6.0, 6.0)
    assert advise(good).action is says.Do.GO_ON and advise(good).mood is says.Mood.GOOD
    shifted = rest(state, 6.0, 45.0)
    assert advise(shifted).action is says.Do.UNLOCK
    assert "Tightening moved the axis by 40″" in say(advise(shifted)).why


def test_uncertain_capture_sends_back() -> None:
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 60.0)
    state = rest(after(state, NextAsked(30.0)), 1.0, 1.0, count=12, sigma=45.0)
    advice = advise(state)
    assert advice.action is says.Do.GO_BACK and "60″" in say(advice).why


def test_no_screw_is_turned_by_an_axis_less_sure_than_what_is_left() -> None:
    """A tripod kicked between two places of the proof: the axis, known to 8', stood 5' from the pole, and the screws
    went to and fro by it for 90 minutes. What is surely far is turned all the same, as is what is known better."""
    for sigma, east, turned in ((500.0, 280.0, False), (500.0, 1800.0, True), (40.0, 280.0, True)):
        state = capture(after(Waiting(), start(), NextAsked(1.0)), sigma, east=east * ARCSEC)
        action = advise(rest(after(state, NextAsked(30.0)), east, -90.0)).action
        assert isinstance(action, says.Turn) is turned and (action is says.Do.GO_BACK) is not turned


def test_going_back_from_the_fine_correction_leads_to_a_fresh_capture() -> None:
    """Rough correction would only send forward again: the axis is near the pole, the night went in circles."""
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 60.0)
    state = rest(after(state, NextAsked(30.0)), 1.0, 1.0, count=12, sigma=45.0)
    assert state.stage is Stage.FINE and advise(state).action is says.Do.GO_BACK
    state = after(state, BackAsked(state.now_s + 1.0))
    assert state.stage is Stage.CAPTURE and state.capture.frames == ()


def test_a_long_turn_of_the_ra_axis_is_no_cloud() -> None:
    """Frames are trailed or cannot be matched for half a minute while a hand control turns by a hundred degrees."""
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 60.0)
    asked = say(advise(state)).instruction
    for number in range(10):
        spoiled = FrameTrouble.TRAILED if number % 2 else FrameTrouble.TOO_FEW_STARS
        state = after(state, FrameUnsolved(state.now_s + 3.0, f"t{number}", reason_of(spoiled)))
        assert say(advise(state)).instruction == asked
    for number in range(10):
        late = FrameUnsolved(state.now_s + 3.0, f"u{number}", reason_of(FrameTrouble.NO_STARS))
        state = after(state, late)
    told = say(advise(state))
    assert told.instruction == "Rotate the RA axis 116° east.", "a house, or a cloud: turning back tells which"
    assert "turn back" in told.why
    for number in range(30):
        state = after(state, FrameUnsolved(state.now_s + 3.0, f"v{number}", reason_of(FrameTrouble.NO_STARS)))
    assert say(advise(state)).instruction == "Wait for the clouds to pass."


def test_a_rotation_seen_is_not_asked_for_again_while_it_lasts() -> None:
    """Some frames of a rotation are trails, others show too few stars: it is still the same rotation."""
    state = capture(after(Waiting(), replace(start(), walking=True), NextAsked(1.0)), 60.0)
    asked = say(advise(state)).instruction
    told = []
    for number, spoiled in enumerate(["TRAILED", "TOO_FEW_STARS", "NO_STARS", "TRAILED", "TOO_FEW_STARS"]):
        failed = FrameUnsolved(state.now_s + 1.5, f"t{number}", reason_of(FrameTrouble[spoiled]))
        state = after(state, failed)
        told.append(say(advise(state)).instruction)
    assert asked.startswith("Rotate the RA axis") and set(told) == {"Rotating. Stop near the post."}


def test_the_place_to_point_at_stays_while_the_camera_is_moved_there() -> None:
    """Nobody keeps hour angle and declination in mind for half a minute; and there is no post to stop at yet."""
    first = capture(after(Waiting(), replace(start(), walking=True), NextAsked(1.0)), 60.0)
    state: NightState = replace(
        begun(first), stage=Stage.PROOF, proof=Capture(), second_sky=SecondSky(0.5, 25.0, 45.0, 0.0)
    )
    asked = say(advise(state)).instruction
    assert asked.startswith("Point ")
    for number in range(6):
        state = after(state, FrameUnsolved(state.now_s + 1.5, f"t{number}", reason_of(FrameTrouble.TRAILED)))
        assert say(advise(state)).instruction == asked


def test_weak_geometry_is_turned_to_the_meridian() -> None:
    state = capture(after(Waiting(), start(), NextAsked(1.0)), 4.0, east=math.radians(0.2))
    night = PaperNight(3)
    night.theta = math.radians(80.0)  # due west
    state = rest(replace(state, last_frame=night.placed("w")), 700.0, 0.0, sigma=200.0)
    advice = advise(state)
    assert isinstance(advice.action, says.RotateAxis) and advice.action.west_deg == pytest.approx(-80.0, abs=1.0)


@pytest.mark.parametrize(
    ("trouble", "action"),
    [
        (FrameTrouble.TOO_FEW_STARS, says.Expose),
        (FrameTrouble.NO_STARS, says.Expose),
        (FrameTrouble.COVERED, says.Wait),
        (FrameTrouble.OUT_OF_FOCUS, says.Do),
        (FrameTrouble.SATURATED, says.Expose),
        (FrameTrouble.NO_TIME, says.Wait),
        (FrameTrouble.UNREADABLE, says.Wait),
        (FrameTrouble.NO_MATCH, says.Wait),
    ],
)
def test_frame_trouble_passes_its_cure_on(trouble: FrameTrouble, action: type) -> None:
    state = after(Waiting(), start(), NextAsked(1.0))
    failed = [FrameUnsolved(2.0 + i, f"u{i}", reason_of(trouble), 3) for i in range(2)]
    assert advise(after(state, failed[0])).mood is not says.Mood.TROUBLE
    advice = advise(after(state, *failed))
    assert isinstance(advice.action, action) and advice.mood is says.Mood.TROUBLE
    assert say(advice).why == frame_words(reason_of(trouble)).whole
    assert say(advice).instruction == frame_headline(reason_of(trouble))


def test_who_points_elsewhere_before_the_key_of_the_proof_is_not_sent_back() -> None:
    """ "Go back and measure the axis again" stood there in turn with "Good enough: go on to prove it"."""
    state = rest(capture(after(Waiting(), start(), NextAsked(1.0)), 2.0, east=300.0 * ARCSEC), 300.0, 5.0, sigma=1.0)
    leapt = FrameUnsolved(state.now_s + 4.0, "u1", AxisLeapt(0.4), 40)
    sent_back = advise(after(state, leapt)).reason
    assert isinstance(sent_back, says.FramesFail), "in the middle of the correction it is no way to the proof"
    near = rest(capture(after(Waiting(), start(), NextAsked(1.0)), 2.0), 2.0, 2.0, sigma=1.0)
    near = after(near, BaseLocked(near.now_s + 1.0))
    near = rest(near, 2.0, 2.0, count=4, sigma=1.0)
    assert isinstance(advise(near).reason, says.Near)
    pointed = after(near, replace(leapt, at_s=near.now_s + 4.0))
    assert advise(pointed).reason == advise(near).reason
    assert not isinstance(advise(after(pointed, NextAsked(near.now_s + 5.0))).reason, says.FramesFail), "obeyed"
    knocked = after(pointed, *(replace(leapt, at_s=near.now_s + 4.0 + 5.0 * i) for i in range(1, 12)))
    assert isinstance(advise(knocked).reason, says.FramesFail), "nobody takes a minute to point"


def test_clouds_pause_and_lost_folder_come_first() -> None:
    state = rest(capture(after(Waiting(), start(), NextAsked(1.0)), 4.0), 5.0, 5.0)
    state = after(state, FrameSolved(50.0, PaperNight(3).placed("x")))
    gone = [FrameUnsolved(60.0 + i, f"u{i}", reason_of(FrameTrouble.NO_STARS)) for i in range(3)]
    assert say(advise(after(state, *gone))).instruction == "Wait for the clouds to pass."
    assert advise(after(state, FolderLost(70.0, "The share is gone."))).action is says.Do.RESTORE_FOLDER
    assert advise(after(state, PauseAsked(70.0))).action is says.Do.RESUME


def test_accepted_without_proof_says_so() -> None:
    state = rest(capture(after(Waiting(), start(), NextAsked(1.0)), 4.0), 5.0, 5.0)
    state = after(state, NextAsked(50.0), Accepted(51.0))
    assert advise(state).action == says.Done(False)
    assert "No second turn" in say(advise(state)).why


def test_whole_nights_are_short_sentences_with_a_verb_first() -> None:
    verbs = {"Point", "Hands", "Rotate", "Turn", "Nudge", "Tighten", "Loosen", "Good", "Wait", "Go", "Enter"}
    for seed in range(4):
        night = PaperNight(seed)
        night.run()
        state: NightState = Waiting()
        for event in night.log:
            state, _ = step(state, event)
            advice = advise(state)
            assert say(advice).instruction.split()[0] in verbs
            assert len(say(advice).instruction.split()) <= 8
            assert "!" not in say(advice).instruction + say(advice).why
        assert state == night.state, "the recorded events end in the same state"


# locks that are tightened move the axis before the key can be pressed: hands come before words

SHIFTED = (14.0, -20.0)  # arcsec: what tightening does to the axis


def asked_to_lock() -> NightState:
    state = rest(capture(after(Waiting(), replace(start(), walking=True), NextAsked(1.0)), 4.0), 5.0, 5.0)
    assert isinstance(advise_correction(begun(state)), says.LocksWanted)
    return state


def seen(state: NightState, east_arcsec: float, up_arcsec: float, after_s: float = 1.5) -> NightState:
    variance = (3.0 * ARCSEC) ** 2
    axis = FollowedAxis(east_arcsec * ARCSEC, up_arcsec * ARCSEC, ((variance, 0.0), (0.0, variance)))
    return after(state, AxisFollowed(state.now_s + after_s, f"s{state.now_s}", axis))


def test_while_the_locks_are_tightened_the_order_stays_and_its_key_with_it() -> None:
    state = asked_to_lock()
    for number in range(20):
        state = seen(state, 5.0 + SHIFTED[0] * min(number, 4), 5.0 + SHIFTED[1] * min(number, 4))
        reason = advise_correction(begun(state))
        assert isinstance(reason, says.LocksWanted), f"frame {number} after the tightening began: {reason}"


def test_the_shift_is_measured_from_before_the_locks_whenever_the_key_comes() -> None:
    state = asked_to_lock()
    for number in range(20):
        state = seen(state, 5.0 + SHIFTED[0] * min(number, 1), 5.0 + SHIFTED[1] * min(number, 1))
    state = after(state, BaseLocked(state.now_s + 1.0))
    for _ in range(5):
        state = seen(state, 5.0 + SHIFTED[0], 5.0 + SHIFTED[1])
    shift = begun(state).locks.shift_rad
    assert shift is not None
    assert [s / ARCSEC for s in shift] == pytest.approx(SHIFTED, abs=3.0)


def test_a_hand_that_still_turned_as_the_locks_were_asked_for_is_no_lock() -> None:
    """Its last touch was taken for what tightening does: 63" instead of 25", and the locks were opened twice more."""
    state = asked_to_lock()
    for _ in range(4):
        state = seen(state, 5.0, 65.0)
    assert isinstance(advise_correction(begun(state)), says.ScrewLeft)
    assert begun(state).locks.ready is None


def test_an_axis_moved_long_ago_is_brought_back_by_a_screw() -> None:
    """Whoever was at the locks has long said so: it was no lock that moved the axis."""
    state = seen(asked_to_lock(), 300.0, 5.0)
    for _ in range(math.ceil(AT_THE_LOCKS_S / 5.0) + 2):
        state = seen(state, 300.0, 5.0, after_s=5.0)
    state = after(state, Ticked(state.now_s + 1.0))
    assert isinstance(advise_correction(begun(state)), says.ScrewLeft | says.LocksTrial)


# the proof in a third sky


@pytest.mark.parametrize(
    ("combined", "refuted", "third"), [(False, False, False), (True, False, True), (True, True, False)]
)
def test_who_is_sent_to_a_third_sky_is_told_why(combined: bool, refuted: bool, third: bool) -> None:
    state = begun(rest(capture(after(Waiting(), start(), NextAsked(1.0)), 4.0), 5.0, 5.0))
    turned = replace(state.capture, combined=combined)
    state = replace(
        state, stage=Stage.PROOF, capture=turned, refuted=refuted, second_sky=SecondSky(2.5, 51.0, 36.0, 0.0)
    )
    reason = advise_proof(state)
    assert reason is not None
    told = say(says.Advice(reason))
    assert ("a third decides" in told.why) is third
    assert "Hold the telescope" not in told.why, "the line of cautions says that already"
