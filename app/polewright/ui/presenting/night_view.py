"""One view of the running night: every panel from state, advice and extras."""

from __future__ import annotations

from polewright.core.night.advice import Advice
from polewright.core.night.states import NightState, Stage
from polewright.ui.presenting.actions import actions
from polewright.ui.presenting.drift_page import drift_numbers, drift_picture, drifting
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.numbers import numbers
from polewright.ui.presenting.proof_page import proof_page
from polewright.ui.presenting.rail import rail
from polewright.ui.presenting.screw_strips import strips
from polewright.ui.presenting.sentence import instruction
from polewright.ui.presenting.stand_page import stand_page
from polewright.ui.presenting.troubles import trouble
from polewright.ui.presenting.turning_dial import dial
from polewright.ui.presenting.well import well
from polewright.ui.view_model import FramePicture, Page, View
from polewright.words.numbers import duration_text

PAGES = {
    Stage.ORIENTATION: Page.ORIENTATION,
    Stage.CAPTURE: Page.CAPTURE,
    Stage.ROUGH: Page.ROUGH,
    Stage.FINE: Page.FINE,
    Stage.PROOF: Page.PROOF,
}


def present(state: NightState, advice: Advice, extras: Extras) -> View:
    """What the window shows. While the proof still turns the RA axis, it looks like the capture that it repeats."""
    return View(
        page=Page.CAPTURE if state.turning_axis else PAGES[state.stage],
        rail=rail(state),
        instruction=instruction(advice),
        reticle=well(state, advice, extras),
        strips=strips(state, advice),
        numbers=drift_numbers(state) if drifting(state) else numbers(state, advice),
        frame=frame_picture(extras),
        timeline=extras.timeline if state.stage is not Stage.ORIENTATION else None,
        trouble=trouble(state, advice, extras),
        work=extras.work,
        actions=actions(state, advice, extras.rehearsal is not None, extras.read_off),
        orientation=stand_page(state, extras) if state.stage is Stage.ORIENTATION else None,
        capture=dial(state, advice) if state.turning_axis and state.plan is not None else None,
        drift=drift_picture(state),
        proof=proof_page(state, extras),
        rehearsal=extras.rehearsal,
        replay=extras.replay,
        title=extras.title,
    )


def frame_picture(extras: Extras) -> FramePicture | None:
    """The latest frame with its age."""
    picture = extras.picture
    if picture is None:
        return None
    age_s = max(0.0, extras.now_s - extras.picture_s)
    return FramePicture(
        picture.name,
        picture.pixels,
        picture.stars_px,
        picture.matched,
        f"{duration_text(age_s)} old",
        picture.stars_text,
        picture.width_text,
        age_s > extras.stale_after_s,
    )
