"""The quiet panel: one trouble at a time, with its cause and its cure; what the instruction says is not repeated."""

from __future__ import annotations

from polewright.core.advice import Advice
from polewright.core.formatting import duration_text
from polewright.core.measured import FrameTrouble
from polewright.core.states import NightState, Stage
from polewright.ui.presenting.extras import Extras
from polewright.ui.view_model import Trouble

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


def _frame(state: NightState, advice: Advice, extras: Extras) -> Trouble | None:
    found = state.trouble
    if found is None or found.since_s == extras.trouble_read_s:
        return None
    if advice.key.startswith(("trouble:", "clouds", "done")):
        return None
    if found.cause is FrameTrouble.TRAILED and state.stage in (Stage.ROUGH, Stage.FINE):
        return None  # a hand on a screw smears the frames: that is as it should be
    since = duration_text(max(0.0, extras.now_s - found.since_s)) if found.count > 1 else ""
    return Trouble(found.reason, found.cure, f"for {since}" if since else "", found.count)
