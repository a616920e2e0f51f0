"""The end of a night: what proves it, the watch over the imaging run, and the score of a rehearsal."""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night import events
from polewright.core.night.advice import Mood
from polewright.core.night.events import NOW
from polewright.core.night.states import Running
from polewright.core.night.watch.coach import FIRST_LOOKS
from polewright.core.night.witness import proof_offset, told_offset
from polewright.core.offset import probability_inside
from polewright.core.vigil.watch import Shift
from polewright.core.vigil.watching import Watching
from polewright.practice.world import TrueOffset
from polewright.ui import intents as want
from polewright.ui.intents import OfTheWindow
from polewright.ui.presenting.correction import stars_fact
from polewright.ui.presenting.drift import drift_fact
from polewright.ui.presenting.extras import Extras
from polewright.ui.view_model import Action, Fact, Instruction, Page, Proof, View, Weight
from polewright.words.numbers import (
    angle_text,
    chance_text,
    counted,
    duration_text,
    offset_words,
    sigma_text,
    total_text,
)
from polewright.words.plan import against_words, exposure_words, pixels_text
from polewright.words.practice import next_night
from polewright.words.vigil import NO_FRAME_SINCE, NO_STARS_SINCE
from polewright.words.window import aligned_words, truth_words


def proof_page(state: Running, extras: Extras) -> Proof | None:
    """The lines that prove it; None before the alignment is proved or accepted."""
    if not state.aligned:
        return None
    if state.watching is not None and watch_begun(state):
        return watch_page(state, extras)
    offset, plan = told_offset(state), state.plan
    if offset is None:
        return None
    handling, second = state.handling, proof_offset(state)
    chance = probability_inside(offset, plan.tolerance_rad)
    facts = []
    if (before_rad := extras.history.first_total_rad) is not None:
        facts.append(Fact("before", angle_text(before_rad), "when first measured"))
    sigma = f"{sigma_text(offset.sigma_rad)} {against_words(plan.target)}"
    facts.append(Fact("after", total_text(offset.total_rad, offset.sigma_rad), sigma))
    facts += stars_fact(offset)
    facts.append(Fact("screws", counted(handling.turns_made, "move"), f"in {counted(handling.goes, 'adjustment')}"))
    if second is not None:
        first = state.offset
        apart = 0.0 if first is None else math.hypot(second.east_rad - first.east_rad, second.up_rad - first.up_rad)
        facts.append(
            Fact("second turn", total_text(second.total_rad, second.sigma_rad), f"{angle_text(apart)} apart")
        )
    drift = drift_fact(state)
    if drift is not None:
        facts.append(drift)
    verdict = Mood.GOOD if state.proved else None
    facts.append(Fact("certainty", chance_text(chance), f"to be within {angle_text(plan.tolerance_rad)}", verdict))
    if plan.imaging is not None:
        blur = plan.imaging.most_blur_px(plan.target, offset.total_rad)
        serves = blur <= plan.imaging.plan.allowed_blur_px
        words = f"of blur at most in {exposure_words(plan.imaging.plan)} exposures"
        facts.append(Fact("plan", pixels_text(blur), words, Mood.GOOD if serves else Mood.TROUBLE))
    facts.append(Fact("time", duration_text(state.now_s), f"{counted(state.frames_used, 'frame')} used"))
    return Proof(tuple(facts))


def after_facts(state: Running, extras: Extras) -> tuple[Fact, ...]:
    """Since when it is aligned, what was seen to move since, and when the next look is due; () before that."""
    if not state.aligned:
        return ()
    since_s = extras.history.aligned_s
    ago = "just now" if since_s is None else f"{duration_text(max(0.0, extras.now_s - since_s))} ago"
    return (Fact("proved" if state.proved else "accepted", ago), _drifted(state.watching), _next_look(state, extras))


def _drifted(watching: Watching | None) -> Fact:
    """What the watch has seen the mount do."""
    if watching is None or not (watching.vigil.frames >= FIRST_LOOKS or watching.vigil.shifts):
        return Fact("moved since", "not known", "once the run begins")
    if not watching.vigil.shifts:
        return Fact("moved since", "no", f"{SEES_GUIDED if watching.held else SEES_FREE} would show")
    last = watching.vigil.shifts[-1]
    if last.sudden:
        return Fact("moved since", angle_text(last.size_rad), "or more", Mood.TROUBLE)
    return Fact("sinks by", f"{angle_text(last.rate_rad_h)}", "an hour", Mood.TROUBLE)


def _next_look(state: Running, extras: Extras) -> Fact:
    """With the next frame: when that is due, as frames usually come."""
    if state.paused:
        return Fact("next look", "paused")
    if state.last_frame_s is None or not state.interval_s:
        return Fact("next look", "soon", "with the next frame")
    due_s = state.last_frame_s + state.interval_s - extras.now_s
    if due_s < -2.0 * state.interval_s:
        return Fact("next look", "overdue", f"no frame for {duration_text(extras.now_s - state.last_frame_s)}")
    return Fact("next look", f"in {duration_text(due_s)}" if due_s >= 1.0 else "due", "with the next frame")


SHIFTS_SHOWN = 2
SEES_FREE, SEES_GUIDED = "5″ and more", "10″ and more"  # tests/bench/vigil_nights_bench.py
QUIET_FOR_S = 300.0  # without a look for so long, nothing can be said about the mount


def watch_begun(state: Running) -> bool:
    """Whether the watch has looked often enough to say something, or has found something."""
    watching = state.watching
    return watching is not None and (watching.vigil.frames >= FIRST_LOOKS or bool(watching.vigil.shifts))


def watch_page(state: Running, extras: Extras) -> Proof:
    """The lines of the watch, the latest shift first."""
    watching = state.watching
    assert watching is not None
    shifts = watching.vigil.shifts
    facts = [*_aligned(state), _looks(state, watching, extras), _sees(watching)]
    facts += [_shift(shift, watching, extras) for shift in reversed(shifts[-SHIFTS_SHOWN:])]
    if not shifts:
        facts.append(Fact("shifts", "none", f"in {duration_text(extras.now_s - watching.zero_s)}"))
    return Proof(tuple(facts), len(watching.unread))


def _aligned(state: Running) -> list[Fact]:
    offset, plan = told_offset(state), state.plan
    if offset is None:
        return []
    chance = chance_text(probability_inside(offset, plan.tolerance_rad))
    words = f"{sigma_text(offset.sigma_rad)}; {chance} within {angle_text(plan.tolerance_rad)}"
    return [Fact("axis", total_text(offset.total_rad, offset.sigma_rad), words)]


def _looks(state: Running, watching: Watching, extras: Extras) -> Fact:
    """The latest look, and why there is none if it was long ago."""
    ago = duration_text(max(0.0, extras.now_s - watching.checked_s))
    since = extras.now_s - watching.checked_s
    if state.paused:
        return Fact("last look", f"{ago} ago", "paused")
    if state.folder_lost:
        return Fact("last look", f"{ago} ago", "the folder cannot be reached", Mood.TROUBLE)
    if state.trouble is not None and since > QUIET_FOR_S:
        return Fact("last look", f"{ago} ago", NO_STARS_SINCE, Mood.TROUBLE)
    if since > QUIET_FOR_S:
        return Fact("last look", f"{ago} ago", NO_FRAME_SINCE, Mood.TROUBLE)
    return Fact("last look", f"{ago} ago", f"{watching.vigil.frames} looks so far")


def _sees(watching: Watching) -> Fact:
    if watching.guided is None and watching.free is None:
        return Fact("sees", "large shifts", "guided or not: not yet known")
    if watching.held:
        return Fact("sees", SEES_GUIDED, "guiding hides small ones")
    return Fact("sees", SEES_FREE, "the mount runs unguided")


def _shift(shift: Shift, watching: Watching, extras: Extras) -> Fact:
    ago = duration_text(max(0.0, extras.now_s - watching.night_s(shift.onset_s)))
    if shift.sudden:
        return Fact("moved", angle_text(shift.size_rad), f"or more, {ago} ago", Mood.TROUBLE)
    return Fact("sinking", f"{angle_text(shift.rate_rad_h)} an hour", f"since {ago}", Mood.TROUBLE)


def watch_actions(watching: Watching) -> tuple[Action, ...]:
    """What can be done about it: measure again or image on; and what holds the mount."""
    guiding = Action(
        "It is unguided" if watching.held else "It is guided", "G", events.GuidingSwitched(NOW, not watching.held)
    )
    if watching.unread:
        return (
            Action("Measure again", "Return", events.TripodBumped(NOW), Weight.PRIMARY),
            Action("Keep imaging", "F", events.ShiftPutAway(NOW), Weight.PRIMARY),
            guiding,
        )
    return (
        Action("Done for tonight", "Return", want.LeaveNight(), Weight.PRIMARY),
        Action("Align more closely", "F", events.BackAsked(NOW), Weight.PRIMARY),
        guiding,
    )


def score_page(view: View, state: Running, truth: TrueOffset, next_name: str = "") -> View:
    """The finished night's view with the score in place of the proof."""
    plan, offset = state.plan, told_offset(state)
    if offset is None:
        return view
    handling = state.handling
    true_rad = truth.total_arcmin / ARCMIN_PER_RAD
    inside = true_rad <= plan.tolerance_rad
    east, up = truth.east_arcmin / ARCMIN_PER_RAD, truth.up_arcmin / ARCMIN_PER_RAD
    sentence, short = aligned_words(state.now_s, handling.turns_made, true_rad)
    mood = Mood.GOOD if inside else Mood.TROUBLE
    said = Instruction(sentence, truth_words(true_rad, plan.tolerance_rad), "", short, mood)
    facts = (
        Fact("time", duration_text(state.now_s), f"{state.frames_used} frames used"),
        Fact("moves", str(handling.turns_made), f"in {counted(handling.goes, 'adjustment')}"),
        Fact(
            "true error",
            angle_text(true_rad),
            f"{offset_words(east)}, {offset_words(up, None, 'up')}",
            mood,
        ),
        Fact("measured", total_text(offset.total_rad, offset.sigma_rad), sigma_text(offset.sigma_rad)),
    )
    onward = Action(next_night(next_name), "Return", want.StartRehearsal(next_name, 1), Weight.PRIMARY)
    actions = (
        *((onward,) if next_name else ()),
        Action("Rehearse again", "Ctrl+P", want.StartRehearsal(view.rehearsed), Weight.PRIMARY),
        Action("Choose another", "C", OfTheWindow.REHEARSALS, Weight.PRIMARY),
        Action("To the first page", "Escape", want.LeaveNight(), Weight.PRIMARY),
    )
    return replace(
        view, page=Page.SCORE, instruction=said, proof=Proof(facts), actions=actions, rehearsal=None, trouble=None
    )
