"""The coach: a pure function from the state of the night to the one thing to do now, and why.

First what lies over every stage, then the stage's own coach. What is said about it: words/coach.py.
"""

from __future__ import annotations

import math
from typing import assert_never

from polewright.core.night.advice import (
    Advice,
    Clouds,
    Ended,
    FolderGone,
    FramesFail,
    Near,
    NoFrames,
    NothingThere,
    NotUpYet,
    Plainly,
    Reason,
)
from polewright.core.night.correction.coach import advise_correction
from polewright.core.night.drifting.coach import advise_drift
from polewright.core.night.proof.coach import advise_proof
from polewright.core.night.states import NightState, Running, Stage, Waiting
from polewright.core.night.turning.blocked import PATIENT_TURN_S, dark_since_turning_s, way_back
from polewright.core.night.turning.coach import advise_turn
from polewright.core.night.turning.places import places
from polewright.core.night.watch.coach import advise_watch
from polewright.core.night.witness import told_offset
from polewright.core.unsolved import LIKE_CLOUDS, AxisLeapt, FrameTrouble

LONGEST_BEHIND_S = 90.0  # chosen: three times what a first start was seen to take; a read that hangs hides no camera
SILENT_INTERVALS, SILENT_S = 3.0, 8.0  # without a frame, whichever is longer: two late frames are no silence (chosen)
PATIENT_FRAMES = 2  # a single frame that cannot be used is no trouble yet
PATIENT_WHILE_TURNING = 6  # while a screw is turned, spoiled frames are to be expected
PATIENT_AT_A_SCREW = 20  # a hand on a screw smears the frames for as long as it turns
SPOILED_BY_TURNING = (
    FrameTrouble.TRAILED,
    FrameTrouble.OUT_OF_FOCUS,  # what a long smear may look like
    FrameTrouble.NO_MATCH,
    FrameTrouble.TOO_FEW_STARS,
    FrameTrouble.NO_STARS,
)


def advise(state: NightState) -> Advice:
    """The one instruction for this moment."""
    return Advice(Plainly.SITE_UNKNOWN if isinstance(state, Waiting) else _over_all(state) or _stage(state))


def _over_all(state: Running) -> Reason | None:
    """What comes before any stage: pause, a lost folder, clouds, frames that cannot be used."""
    if state.aligned:
        return None
    if state.paused:
        return Plainly.PAUSED
    return FolderGone(state.folder_reason) if state.folder_lost else _silence(state) or _frame_trouble(state)


def _silence(state: Running) -> Reason | None:
    """Nothing new for far longer than usual: an old instruction over an old picture helps nobody.

    A mount is set up without frames.
    """
    if state.stage is Stage.ORIENTATION or not state.plan.walking or state.arrived_s is None or not state.interval_s:
        return None
    since_s = state.now_s - state.arrived_s
    if since_s <= max(SILENT_INTERVALS * state.interval_s, SILENT_S):
        return None
    behind = state.measuring and since_s <= LONGEST_BEHIND_S
    return Plainly.MEASURING if behind else NoFrames(since_s, state.interval_s)


def _frame_trouble(state: Running) -> Reason | None:
    trouble = state.trouble
    if trouble is None:
        return None
    since_s = state.shown_s - trouble.since_s
    if state.plan.walking and trouble.smeared and spoiled_by_a_rotation(state):
        return Plainly.ROTATING if _has_a_post(state) else None
    if trouble.count < _patience(state, trouble.cause):
        return None
    if spoiled_by_a_rotation(state) or off_to_the_proof(state):
        return None
    back = way_back(state)
    if back is not None:
        return NothingThere(back)
    clouds = state.clouded and trouble.cause in LIKE_CLOUDS
    return Clouds(since_s, dark_since_turning_s(state) > 0.0) if clouds else FramesFail(trouble.why, state.stage)


def off_to_the_proof(state: Running) -> bool:
    """Whether the telescope was pointed elsewhere after the word that the axis is to be proved, before the key was
    pressed: nothing is lost, and nothing to go back for. For longer than that takes, it may have been knocked."""
    trouble, at_the_screws = state.trouble, state.stage in (Stage.ROUGH, Stage.FINE)
    if trouble is None or not isinstance(trouble.why, AxisLeapt) or state.shown_s - trouble.since_s >= PATIENT_TURN_S:
        return False
    return at_the_screws and isinstance(advise_correction(state), Near)


def _has_a_post(state: Running) -> bool:
    """Whether the turn has begun: before that the camera is on its way to a place that is still to be read."""
    return state.second_sky is None and bool(places(state.turn))


def spoiled_by_a_rotation(state: Running) -> bool:
    """Whether the frames fail as they do while a hand turns the RA axis, and for no longer than that takes."""
    if not state.turning_axis or state.last_frame is None or state.trouble is None:
        return False
    return state.trouble.cause in SPOILED_BY_TURNING and state.shown_s - state.trouble.since_s < PATIENT_TURN_S


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
    if state.walking and state.handling.asked is not None:  # a screw that is spun leaves no star to be found
        at_a_screw |= dict.fromkeys((FrameTrouble.TOO_FEW_STARS, FrameTrouble.NO_STARS), PATIENT_WHILE_TURNING)
    return at_a_screw.get(cause, PATIENT_FRAMES) if state.stage in (Stage.ROUGH, Stage.FINE) else PATIENT_FRAMES


def _stage(state: Running) -> Reason:
    match state.stage:
        case Stage.ORIENTATION:
            return NotUpYet(math.degrees(state.plan.pole_altitude_rad), state.plan.southern)
        case Stage.CAPTURE:
            return advise_drift(state, state.drift) if state.drift else advise_turn(state, state.capture)
        case Stage.ROUGH | Stage.FINE:
            return advise_correction(state)
        case Stage.PROOF:
            return _proof(state)
        case _:
            assert_never(state.stage)


def _proof(state: Running) -> Reason:
    if state.aligned:
        ended = Ended(state.proved, state.drift is not None, told_offset(state), state.plan.tolerance_rad)
        return advise_watch(state) or ended
    if state.drift:
        return advise_drift(state, state.drift)
    return advise_proof(state) or advise_turn(state, state.proof)
