"""One view of the running night: what every page shares, and each page from its own presenter."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import assert_never

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.advice import (
    Advice,
    Clouds,
    Do,
    DriftWatched,
    Ended,
    FieldWanted,
    FolderGone,
    FramesFail,
    Mood,
    NudgeWanted,
    Point,
    Reason,
    RotateAxis,
    ScrewLeft,
    SetUp,
    TripodSettles,
    Turn,
    TurnBegins,
    Wait,
    Walking,
)
from polewright.core.night.advise import SPOILED_BY_TURNING, off_to_the_proof, spoiled_by_a_rotation
from polewright.core.night.rest import SETTLE_S
from polewright.core.night.states import NightState, Running, Stage, Waiting
from polewright.core.unsolved import FrameTrouble
from polewright.ui.presenting.actions import actions
from polewright.ui.presenting.capture import capture_sigma_rad, dial, turn_numbers
from polewright.ui.presenting.correction import NO_WELL, axis_numbers, strips, total_fact, well
from polewright.ui.presenting.drift import drift_numbers, drift_picture, drifting
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.proof import after_facts, proof_page
from polewright.ui.presenting.stand import clock_to_set_s, stand_page
from polewright.ui.view_model import Fact, FramePicture, Instruction, Page, Step, StepMark, Trouble, View
from polewright.words.cautions import caution_words
from polewright.words.coach import say
from polewright.words.folder import CHOOSE
from polewright.words.frames import frame_words
from polewright.words.numbers import (
    angle_text,
    duration_text,
    sigma_text,
)
from polewright.words.objections import refused_words
from polewright.words.window import LOST_FOLDER, NO_FREE_SKY, NUDGE_TOLD_FIRST, OTHER_SIDE, SKIP_THE_REST


def present(state: NightState, advice: Advice, extras: Extras) -> View:
    """What the window shows."""
    return _before(state, advice, extras) if isinstance(state, Waiting) else _night(state, advice, extras)


def _before(state: Waiting, advice: Advice, extras: Extras) -> View:
    """The site is awaited."""
    return View(Page.ORIENTATION, rail(state), instruction(advice), NO_WELL, work=extras.work, title=extras.title)


def _night(state: Running, advice: Advice, extras: Extras) -> View:
    """While the proof still turns the RA axis, it looks like the capture that it repeats."""
    tolerance = state.plan.tolerance_rad * ARCMIN_PER_RAD
    return View(
        page=_page(state),
        rail=rail(state),
        instruction=instruction(advice, extras.by_day),
        reticle=well(state, advice, extras),
        strips=strips(state, advice),
        numbers=drift_numbers(state) if drifting(state) else numbers(state, advice),
        frame=frame_picture(extras),
        timeline=None if state.stage is Stage.ORIENTATION else extras.history.timeline(tolerance, extras.position_s),
        trouble=trouble(state, advice, extras),
        work=extras.work,
        actions=actions(state, advice, extras.rehearsal, extras.read_off, clock_to_set_s(state.plan, extras)),
        orientation=stand_page(state, extras) if state.stage is Stage.ORIENTATION else None,
        capture=dial(state, advice) if state.turning_axis else None,
        drift=drift_picture(state),
        proof=proof_page(state, extras),
        after=after_facts(state, extras),
        total=None if state.stage is Stage.ORIENTATION else total_fact(state),
        rehearsal=extras.rehearsal,
        replay=extras.replay,
        title=extras.title,
    )


def _page(state: Running) -> Page:
    if state.turning_axis:
        return Page.CAPTURE
    match state.stage:
        case Stage.ORIENTATION:
            return Page.ORIENTATION
        case Stage.CAPTURE:
            return Page.CAPTURE
        case Stage.ROUGH:
            return Page.ROUGH
        case Stage.FINE:
            return Page.FINE
        case Stage.PROOF:
            return Page.PROOF
        case _:
            assert_never(state.stage)


def frame_picture(extras: Extras) -> FramePicture | None:
    """The latest frame with its age."""
    news = extras.news
    if news is None or news.picture is None:
        return None
    age_s = max(0.0, extras.now_s - news.at_s)
    return replace(news.picture, age_text=f"{duration_text(age_s)} old", stale=age_s > extras.stale_after_s)


def rail(state: NightState) -> tuple[Step, ...]:
    """The five stages at the top of the window, and what each has brought."""
    order = tuple(Stage)
    now = order.index(state.stage)
    steps = []
    for index, stage in enumerate(order):
        mark = StepMark.DONE if index < now or state.aligned else StepMark.NOW if index == now else StepMark.AHEAD
        steps.append(Step(stage_name(stage), mark, _outcome(state, stage) if index <= now else ""))
    return tuple(steps)


def _end(state: Running) -> str:
    if not state.aligned:
        return ""
    return "confirmed" if state.proved else "accepted"


def stage_name(stage: Stage) -> str:
    """In one word."""
    match stage:
        case Stage.ORIENTATION:
            return "Stand"
        case Stage.CAPTURE:
            return "Measure"
        case Stage.ROUGH:
            return "Rough"
        case Stage.FINE:
            return "Fine"
        case Stage.PROOF:
            return "Proof"
        case _:
            assert_never(stage)


def _outcome(state: NightState, stage: Stage) -> str:
    """What a stage has brought, as far as it has."""
    if isinstance(state, Waiting):
        return ""
    axis = state.capture.axis
    match stage:
        case Stage.ORIENTATION:
            return ""
        case Stage.CAPTURE:
            sigma_rad = capture_sigma_rad(state.capture)
            return "" if sigma_rad is None else sigma_text(sigma_rad)
        case Stage.ROUGH:
            if axis is None or state.stage is Stage.ROUGH or state.proved:
                return ""
            return f"from {angle_text(math.hypot(axis.east_rad, axis.up_rad))}"
        case Stage.FINE:
            shown = total_fact(state)
            return "" if shown is None else shown.value
        case Stage.PROOF:
            return _end(state)
        case _:
            assert_never(stage)


def instruction(advice: Advice, by_day: bool = False) -> Instruction:
    """What the coach says, as the window shows it; its sentences are short enough to be read from afar."""
    told = say(advice)
    gain = f"{told.gain} {_key_words(advice.reason)}".strip()
    caution = caution_words(advice, by_day)
    return Instruction(told.instruction, told.why, gain, told.instruction, _mood(advice), _waited(advice), caution)


def _mood(advice: Advice) -> Mood:
    """To point the telescope is a thing to do, though the night itself only waits for a frame."""
    pointing = isinstance(advice.reason, TurnBegins) and advice.reason.sky is not None
    return Mood.DO if pointing else advice.mood


def _key_words(reason: Reason) -> str:
    """The key that helps where the instruction may not suit: the coach knows no keys."""
    match reason:
        case FolderGone():
            return CHOOSE
        case DriftWatched():
            return OTHER_SIDE
        case FieldWanted(component="altitude"):
            return NO_FREE_SKY
        case TripodSettles():
            return SKIP_THE_REST
        case NudgeWanted(said=False):
            return NUDGE_TOLD_FIRST
        case _:
            return ""


def _waited(advice: Advice) -> float | None:
    """How much of a wait of known length is over, 0 to 1."""
    if not isinstance(advice.action, Wait) or advice.action.seconds is None:
        return None
    return min(1.0, max(0.0, 1.0 - advice.action.seconds / (advice.action.of_s or SETTLE_S)))


JUST_TOUCHED_S = 10.0


def trouble(state: Running, advice: Advice, extras: Extras) -> Trouble | None:
    """What to show: a refused click first, then notices, the lost folder, a frame that could not be used."""
    if extras.refused is not None:
        return Trouble(*refused_words(extras.refused))
    if extras.notices:
        notice = extras.notices[-1]
        return Trouble(notice.cause, notice.cure, repeat=notice.count)
    if isinstance(advice.reason, FolderGone):
        return None  # the instruction says so itself
    if state.folder_lost and not extras.lost_read:
        return Trouble(state.folder_reason or LOST_FOLDER.reason, f"{LOST_FOLDER.cure} {CHOOSE}")
    return _frame(state, advice, extras)


def _hands_on(state: Running, advice: Advice, extras: Extras) -> bool:
    """Whether somebody is, or has just been, at the mount: a turn asked for smears frames at once."""
    handling = state.handling
    if state.stage in (Stage.CAPTURE, Stage.PROOF):
        return spoiled_by_a_rotation(state)
    if state.plan.walking and isinstance(advice.reason, ScrewLeft | Walking):
        return True
    moving = handling.opened_at is not None or bool(handling.reports)
    return moving or extras.now_s - handling.touched_s < JUST_TOUCHED_S


def _in_hand(advice: Advice) -> bool:
    """Whether the instruction itself asks for hands at the mount."""
    match advice.action:
        case Turn() | RotateAxis() | Point() | SetUp() | Do.LOCK | Do.UNLOCK | Do.TIGHTEN_CLUTCH:
            return True
        case _:
            return _mood(advice) is Mood.DO and isinstance(advice.reason, TurnBegins)


def _frame(state: Running, advice: Advice, extras: Extras) -> Trouble | None:
    found = state.trouble
    if found is None or found.since_s == extras.trouble_read_s:
        return None
    if isinstance(advice.reason, FramesFail | Clouds | Ended):
        return None
    if off_to_the_proof(state):
        return None
    if found.cause in SPOILED_BY_TURNING and _hands_on(state, advice, extras):
        return None  # a hand on the mount smears the frames: that is as it should be
    if found.cause is FrameTrouble.TRAILED and _in_hand(advice):
        return None  # its cure is to keep the hands off: never two orders at once
    since = duration_text(max(0.0, extras.now_s - found.since_s)) if found.count > 1 else ""
    return Trouble(*frame_words(found.why), f"for {since}" if since else "", found.count)


def numbers(state: Running, advice: Advice) -> tuple[Fact, ...]:
    """What the stage has to tell in numbers."""
    if state.stage is Stage.ORIENTATION:
        return ()
    if state.turning_axis:
        return turn_numbers(state, advice)
    return axis_numbers(state)
