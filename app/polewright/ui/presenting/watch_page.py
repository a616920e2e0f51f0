"""The imaging run while it is watched: since when, the latest look, what can be seen, what was moved and when."""

from __future__ import annotations

from polewright.core.night import events
from polewright.core.night.advice import Mood
from polewright.core.night.states import NightState
from polewright.core.night.watch.coach import FIRST_LOOKS
from polewright.core.offset import probability_inside
from polewright.core.vigil.watch import Shift
from polewright.core.vigil.watching import Watching
from polewright.ui import intents as want
from polewright.ui.intents import NOW
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.well import shown_offset
from polewright.ui.view_model import Action, Fact, Proof, Weight
from polewright.words.numbers import angle_text, duration_text, percent_text, sigma_text

SHIFTS_SHOWN = 2
QUIET_FOR_S = 300.0  # without a look for so long, nothing can be said about the mount


def watch_begun(state: NightState) -> bool:
    """Whether the watch has looked often enough to say something, or has found something."""
    watching = state.watching
    return watching is not None and (watching.vigil.frames >= FIRST_LOOKS or bool(watching.vigil.shifts))


def watch_page(state: NightState, extras: Extras) -> Proof:
    """The lines of the watch, the latest shift first."""
    watching = state.watching
    assert watching is not None
    shifts = watching.vigil.shifts
    facts = [*_aligned(state), _looks(state, watching, extras), _sees(watching)]
    facts += [_shift(shift, watching, extras) for shift in reversed(shifts[-SHIFTS_SHOWN:])]
    if not shifts:
        facts.append(Fact("shifts", "none", f"in {duration_text(extras.now_s - watching.zero_s)}"))
    return Proof(tuple(facts), len(watching.unread))


def _aligned(state: NightState) -> list[Fact]:
    offset, plan = shown_offset(state), state.plan
    if offset is None or plan is None:
        return []
    chance = percent_text(probability_inside(offset, plan.tolerance_rad))
    words = f"{sigma_text(offset.sigma_rad)}; {chance} within {angle_text(plan.tolerance_rad)}"
    return [Fact("axis", angle_text(offset.total_rad, offset.sigma_rad), words)]


def _looks(state: NightState, watching: Watching, extras: Extras) -> Fact:
    """The latest look, and why there is none if it was long ago."""
    ago = duration_text(max(0.0, extras.now_s - watching.checked_s))
    since = extras.now_s - watching.checked_s
    if state.paused:
        return Fact("last look", f"{ago} ago", "paused")
    if state.folder_lost:
        return Fact("last look", f"{ago} ago", "the folder cannot be reached", Mood.TROUBLE)
    if state.trouble is not None and since > QUIET_FOR_S:
        return Fact("last look", f"{ago} ago", "no stars since: clouds?", Mood.TROUBLE)
    if since > QUIET_FOR_S:
        return Fact("last look", f"{ago} ago", "no frame since: is the camera running?", Mood.TROUBLE)
    return Fact("last look", f"{ago} ago", f"{watching.vigil.frames} looks so far")


def _sees(watching: Watching) -> Fact:
    if watching.guided is None and watching.free is None:
        return Fact("sees", "large shifts", "guided or not: not yet known")
    if watching.held:
        return Fact("sees", "10″ and more", "guiding hides small ones")
    return Fact("sees", "5″ and more", "the mount runs unguided")


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
            Action("Image on", "F", events.ShiftPutAway(NOW), Weight.PRIMARY),
            guiding,
        )
    return (
        Action("Done for tonight", "Return", want.LeaveNight(), Weight.PRIMARY),
        Action("Make it finer", "F", events.BackAsked(NOW), Weight.PRIMARY),
        guiding,
    )
