"""The quiet panel: one trouble at a time, with its cause and its cure; what the instruction says is not repeated."""

from __future__ import annotations

from polewright.core.night.advice import Advice
from polewright.core.night.advise import SPOILED_BY_TURNING
from polewright.core.night.states import NightState, Stage
from polewright.ui.presenting.extras import Extras
from polewright.ui.view_model import Trouble
from polewright.words.numbers import duration_text

JUST_TOUCHED_S = 10.0
LOST_CURE = "Check the cable or the network; the night goes on by itself. Or choose another folder (Ctrl+O)."


def trouble(state: NightState, advice: Advice, extras: Extras) -> Trouble | None:
    """What to show: a refused click first, then notices, the lost folder, a frame that could not be used."""
    if extras.refused is not None:
        return Trouble(extras.refused.reason, extras.refused.cure)
    if extras.notices:
        notice = extras.notices[-1]
        return Trouble(notice.cause, notice.cure, repeat=notice.count)
    if state.folder_lost:
        return Trouble(state.folder_reason or "The frame folder cannot be reached.", LOST_CURE)
    return _frame(state, advice, extras)


def _hands_on(state: NightState, extras: Extras) -> bool:
    """Whether somebody is, or has just been, at the mount."""
    handling = state.handling
    if state.stage in (Stage.CAPTURE, Stage.PROOF):
        return state.trouble is not None and state.trouble.count == 1 and state.last_frame is not None
    moving = handling.opened_at is not None or bool(handling.reports)
    return moving or extras.now_s - handling.touched_s < JUST_TOUCHED_S


def _frame(state: NightState, advice: Advice, extras: Extras) -> Trouble | None:
    found = state.trouble
    if found is None or found.since_s == extras.trouble_read_s:
        return None
    if advice.key.startswith(("trouble:", "clouds", "done")):
        return None
    if found.cause in SPOILED_BY_TURNING and _hands_on(state, extras):
        return None  # a hand on the mount smears the frames: that is as it should be
    since = duration_text(max(0.0, extras.now_s - found.since_s)) if found.count > 1 else ""
    return Trouble(found.reason, found.cure, f"for {since}" if since else "", found.count)
