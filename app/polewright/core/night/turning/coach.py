"""The coach while the RA axis is turned: for the capture, and for the proof.

Frames at three places, 80 degrees or more apart, or until the axis is as sure as tonight needs; the proof asks for
the same once more, over fresh frames.
"""

from __future__ import annotations

import math

from polewright.core.axis_reasons import FramesApart, is_disagreement
from polewright.core.night.advice import DoesNotFit, NoRoom, NotOneCapture, PlaceWanted, TurnBegins, Turning
from polewright.core.night.states import Capture, Running, Stage
from polewright.core.night.turning.places import contradicted, places
from polewright.core.night.turning.room import SMALLEST_STEP_RAD, next_rotation_rad
from polewright.core.plan.sky_choice import choose_sky

ENOUGH_PLACES = 3  # three fix an axis, with nothing left to contradict
OTHER_SKY_DEG = 10.0  # of declination: less bends the tube alike (chosen)


def advise_turn(state: Running, capture: Capture) -> Turning:
    """The next step of the turn that `capture` keeps."""
    done = places(capture)
    if not done:
        choices = choose_sky(state.plan.site, state.plan.obstacles) if state.stage is Stage.CAPTURE else ()
        return TurnBegins(state.stage, choices[0] if choices else None)
    doubt = _doubt(state, capture, len(done))
    if doubt is not None:
        return doubt
    step = next_rotation_rad(state, capture)
    return NoRoom(state.stage) if abs(step) < SMALLEST_STEP_RAD else _place_wanted(state, capture, step)


def _doubt(state: Running, capture: Capture, count: int) -> DoesNotFit | NotOneCapture | None:
    """One frame is to blame, or none by itself: something gives at every turn, and more frames do not mend it."""
    if isinstance(capture.refusal, FramesApart):
        return NotOneCapture(state.stage, capture.refusal)
    if contradicted(capture):
        return DoesNotFit(state.stage, None, count)
    axis = capture.axis
    if axis is None:
        return None
    if axis.suspect is not None and count >= ENOUGH_PLACES:
        return DoesNotFit(state.stage, axis.suspect, count)
    all_of_them = count > ENOUGH_PLACES and any(map(is_disagreement, axis.warnings))
    return DoesNotFit(state.stage, None, count) if all_of_them else None


def _place_wanted(state: Running, capture: Capture, step_rad: float) -> PlaceWanted:
    axis, count = capture.axis, len(places(capture))
    sigma_rad = None if axis is None else axis.sigma_rad
    return PlaceWanted(
        state.stage,
        math.degrees(step_rad),
        count,
        state.plan.tolerance_rad,
        sigma_rad,
        _sigma_after_rad(capture, abs(step_rad)),
        capture.refusal if axis is None else None,
        _other_sky(state),
        capture.left_out,
    )


def _sigma_after_rad(capture: Capture, step_rad: float) -> float | None:
    """What the step would bring; None where that is nothing."""
    axis = capture.axis
    if axis is None or not axis.gains:
        return None
    gain = min(axis.gains, key=lambda g: abs(g.rotation_rad - step_rad))
    gains = math.isfinite(gain.sigma_rad) and gain.sigma_rad < axis.chance_sigma_rad
    return axis.sigma_with_rad(gain.sigma_rad) if gains else None


def _has_budget(state: Running) -> bool:
    return state.capture.axis is not None and state.capture.axis.budget is not None


def _other_sky(state: Running) -> bool:
    """A proof at the capture's declination shares its flexure and its refraction; another one does not."""
    first, second = state.capture.frames, state.proof.frames
    if state.stage is not Stage.PROOF or not first or len(places(state.proof)) != 1 or _has_budget(state):
        return False
    return abs(first[0].centre.dec_deg - second[0].centre.dec_deg) < OTHER_SKY_DEG
