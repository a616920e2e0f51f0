"""The coach: a pure function from the state of the night to the one thing to do now.

Every sentence is calm, short, second person, verb first; every refusal carries its cure.
"""

from __future__ import annotations

import math
from typing import assert_never

from polewright.core.night.advice import (
    Action,
    Advice,
    Done,
    EnterSite,
    Expose,
    GoBack,
    Mood,
    Refocus,
    RestoreFolder,
    Resume,
    SetUp,
    Wait,
)
from polewright.core.night.correction.coach import advise_correction
from polewright.core.night.drifting.coach import advise_drift
from polewright.core.night.states import NightState, Running, Stage, Waiting
from polewright.core.night.turning.coach import advise_capture, advise_proof
from polewright.core.night.watch.coach import advise_watch
from polewright.core.unsolved import FrameReason, FrameTrouble, exposure_factor, trouble_of
from polewright.words.frames import clouded_words, frame_gain, frame_headline, frame_words
from polewright.words.numbers import angle_text, duration_text

PATIENT_FRAMES = 2  # a single frame that cannot be used is no trouble yet
PATIENT_WHILE_TURNING = 6  # while a screw is turned, spoiled frames are to be expected
PATIENT_TURN_S = 45.0  # turning the RA axis by 130 degrees at 3 degrees a second spoils every frame for so long
PATIENT_AT_A_SCREW = 20  # a hand on a screw smears the frames for as long as it turns
SPOILED_BY_TURNING = (
    FrameTrouble.TRAILED,
    FrameTrouble.OUT_OF_FOCUS,  # what a long smear may look like
    FrameTrouble.NO_MATCH,
    FrameTrouble.TOO_FEW_STARS,
    FrameTrouble.NO_STARS,
)
LIKE_CLOUDS = (FrameTrouble.NO_STARS, FrameTrouble.TOO_FEW_STARS, FrameTrouble.NO_MATCH)


def advise(state: NightState) -> Advice:
    """The one instruction for this moment."""
    if isinstance(state, Waiting):
        return Advice(
            "Enter your site to begin.",
            "Latitude and longitude say where the pole stands.",
            "",
            EnterSite(),
            Mood.DO,
            "site",
        )
    return _overlaid(state) or _stage(state)


def _overlaid(state: Running) -> Advice | None:
    """What comes before any stage: pause, a lost folder, clouds, frames that cannot be used."""
    if state.aligned:
        return None
    if state.paused:
        return Advice(
            "Resume when you are ready.", "Frames are put aside until then.", "", Resume(), Mood.WAIT, "paused"
        )
    if state.folder_lost:
        reason = state.folder_reason or "The frame folder cannot be reached."
        return Advice(
            "Reconnect the frame folder.",
            f"{reason} Everything measured so far is kept.",
            "",
            RestoreFolder(),
            Mood.TROUBLE,
            "folder",
        )
    return _frame_trouble(state)


def _frame_trouble(state: Running) -> Advice | None:
    trouble = state.trouble
    if trouble is None or trouble.count < _patience(state, trouble.cause):
        return None
    if _axis_may_be_turning(state) and state.now_s - trouble.since_s < PATIENT_TURN_S:
        return None
    if state.clouded and trouble.cause in LIKE_CLOUDS:
        since = duration_text(state.now_s - trouble.since_s)
        return Advice("Wait for the clouds to pass.", clouded_words(since), "", Wait(), Mood.WAIT, "clouds")
    key = f"trouble:{trouble.cause.name}"
    if trouble.cause is FrameTrouble.NOT_FOLLOWED:
        key = f"{key}:{state.stage.name}"
    why = trouble.why
    mood = Mood.TROUBLE
    return Advice(frame_headline(why), frame_words(why).whole, frame_gain(why), trouble_action(why), mood, key)


def trouble_action(why: FrameReason) -> Action:
    """What is to be done about frames that cannot be used."""
    match trouble_of(why):
        case FrameTrouble.NOT_FOLLOWED:
            return GoBack()
        case FrameTrouble.OUT_OF_FOCUS:
            return Refocus()
        case FrameTrouble.NO_STARS | FrameTrouble.TOO_FEW_STARS | FrameTrouble.SATURATED:
            return Expose(exposure_factor(why))
        case (
            FrameTrouble.COVERED
            | FrameTrouble.TRAILED
            | FrameTrouble.NO_MATCH
            | FrameTrouble.NO_TIME
            | FrameTrouble.WRONG_SKY
            | FrameTrouble.UNREADABLE
        ):
            return Wait()
        case kind:
            assert_never(kind)


def _axis_may_be_turning(state: Running) -> bool:
    """Whether a hand may be turning the RA axis just now, after a frame that was good."""
    turning = state.stage in (Stage.CAPTURE, Stage.PROOF) and state.last_frame is not None
    return turning and state.trouble is not None and state.trouble.cause in SPOILED_BY_TURNING


def _patience(state: Running, cause: FrameTrouble) -> int:
    """How many frames in a row may fail before it counts as trouble: motion spoils them for a while."""
    if cause is FrameTrouble.NOT_FOLLOWED:
        return 1
    if state.last_frame is None or cause not in SPOILED_BY_TURNING:
        return PATIENT_FRAMES
    at_a_screw = {
        FrameTrouble.TRAILED: PATIENT_AT_A_SCREW,
        FrameTrouble.OUT_OF_FOCUS: PATIENT_WHILE_TURNING,
        FrameTrouble.NO_MATCH: PATIENT_WHILE_TURNING,
    }
    return at_a_screw.get(cause, PATIENT_FRAMES) if state.stage in (Stage.ROUGH, Stage.FINE) else PATIENT_FRAMES


def _stage(state: Running) -> Advice:
    if state.stage is Stage.ORIENTATION:
        return _stand_up(state)
    if state.stage is Stage.CAPTURE:
        return advise_capture(state) if state.drift is None else advise_drift(state)
    if state.stage is Stage.PROOF:
        return _proof(state)
    return advise_correction(state)


def _stand_up(state: Running) -> Advice:
    plan = state.plan
    inclination = math.degrees(plan.pole_altitude_rad)
    side = "south" if plan.southern else "north"
    if inclination > 88.0:
        sentence, reason = "Stand the axis upright.", "The pole stands overhead: level the axis with a spirit level."
    elif inclination < 2.0:
        sentence = f"Lay the axis level, pointing {side}."
        reason = "The pole lies on the horizon: this mount needs its lowest altitude setting."
    else:
        sentence = f"Point the axis {side}, inclined {inclination:.0f}°."
        reason = f"Within two degrees is enough. The pole stands {inclination:.1f}° high."
    return Advice(
        sentence,
        f"{reason} Then go on.",
        "The screws do the rest.",
        SetUp(180.0 if plan.southern else 0.0, inclination),
        Mood.DO,
        "stand up",
    )


def _proof(state: Running) -> Advice:
    if not state.aligned:
        return advise_proof(state) if state.drift is None else advise_drift(state)
    watched = advise_watch(state)
    if watched is not None:
        return watched
    offset = state.offset
    needed = angle_text(state.plan.tolerance_rad)
    now = angle_text(offset.total_rad, offset.sigma_rad) if offset else "unknown"
    if state.proved:
        return Advice(
            f"Good enough for tonight: {now}, needed {needed}.",
            f"{_witness(state)} confirms it. Leave the mount alone now.",
            "",
            Done(True),
            Mood.GOOD,
            "done",
        )
    return Advice(
        f"Accepted as it is: {now}.",
        f"Needed {needed}. No second turn has confirmed it.",
        "",
        Done(False),
        Mood.GOOD,
        "done",
    )


def _witness(state: Running) -> str:
    return "A second turn of the RA axis" if state.drift is None else "The drift of the stars"
