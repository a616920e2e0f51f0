"""The turn of the RA axis: the dial with the places taken, and how accurate the axis is by now."""

from __future__ import annotations

import math

from polewright.core.night.advice import Advice, PlaceWanted, RotateAxis
from polewright.core.night.measured import MeasuredAxis, PlacedFrame
from polewright.core.night.states import Capture, Running, Stage
from polewright.core.night.turning.coach import advise_turn
from polewright.core.night.turning.places import WANTED_SPAN_RAD, places
from polewright.core.night.turning.room import turned_west_rad
from polewright.ui.view_model import Capture as Dial
from polewright.ui.view_model import Fact
from polewright.words.axis import by_stars_words
from polewright.words.numbers import angle_text, number_text, sigma_text


def capture_shown(state: Running) -> Capture:
    """The capture, or its repetition that proves it."""
    return state.proof if state.stage is Stage.PROOF else state.capture


def dial(state: Running, advice: Advice) -> Dial:
    """The arc begins at the first place and runs the way the axis is turned."""
    capture, southern = capture_shown(state), state.plan.southern
    taken = turned_deg(state)
    now = _now_deg(state)
    step = _step_deg(state, advice)
    west = step > 0.0 or (step == 0.0 and (not taken or taken[-1] >= taken[0]))
    way = 1.0 if west else -1.0
    marks = [way * angle for angle in taken]
    zero = min(marks, default=0.0)
    wanted = marks[-1] + abs(step) - zero if marks and step else max(marks, default=0.0) - zero
    if not marks or (not step and len(marks) < 2):
        wanted = math.degrees(WANTED_SPAN_RAD)
    sigma = capture_sigma_rad(capture)
    return Dial(
        taken_deg=tuple(mark - zero for mark in marks),
        now_deg=None if now is None else max(0.0, way * now - zero),
        wanted_deg=wanted,
        accuracy_now="" if sigma is None else sigma_text(sigma),
        accuracy_next=accuracy_after(capture, math.radians(abs(step))),
        southern=southern == west,  # an arc toward the east runs against the sky
    )


def _step_deg(state: Running, advice: Advice) -> float:
    """The turn asked for, west positive; it stands while frames are smeared by it, until the next place is taken."""
    if isinstance(advice.action, RotateAxis):
        return advice.action.west_deg
    capture = capture_shown(state)
    wanted = advise_turn(state, capture) if capture.frames else None
    return wanted.west_deg if isinstance(wanted, PlaceWanted) else 0.0


def turned_deg(state: Running) -> tuple[float, ...]:
    """How far each place is turned from the first, west positive, in the order taken."""
    found = places(capture_shown(state))
    return tuple(_west_deg(state, found[0], frame) for frame in found)


def _now_deg(state: Running) -> float | None:
    found = places(capture_shown(state))
    if not found or state.last_frame is None:
        return None
    return _west_deg(state, found[0], state.last_frame)


def _west_deg(state: Running, first: PlacedFrame, frame: PlacedFrame) -> float:
    """Turn about the pole, which stands in for the axis here: good enough to draw."""
    return math.degrees(turned_west_rad(first, frame, state))


def capture_sigma_rad(capture: Capture) -> float | None:
    """Total sigma of the axis of the capture; None before there is one."""
    return None if capture.axis is None else capture.axis.sigma_rad


def accuracy_after(capture: Capture, step_rad: float) -> str:
    """What one more place will bring, as "± 6″"; "" while that is not known, or no gain."""
    axis = capture.axis
    if axis is None or not axis.gains or not step_rad:
        return ""
    gain = min(axis.gains, key=lambda g: abs(g.rotation_rad - step_rad))
    after = sigma_text(axis.sigma_with_rad(gain.sigma_rad)) if gain.sigma_rad < axis.chance_sigma_rad else ""
    return after if after != sigma_text(axis.sigma_rad) else ""


def _of_it(axis: MeasuredAxis, after: str) -> str:
    """What of it the stars leave open, and what the next place makes of it."""
    stars = "" if axis.budget is None else by_stars_words(axis.budget)
    return "; ".join(text for text in (stars, f"{after} after the next place" if after else "") if text)


def turn_numbers(state: Running, advice: Advice) -> tuple[Fact, ...]:
    """How far it was turned, how accurate that is, and the axis so far."""
    capture = capture_shown(state)
    taken = turned_deg(state)
    spread = max(taken) - min(taken) if taken else 0.0
    count = len(taken)
    facts = [Fact("turned", f"{number_text(round(spread), 1.0)}°", f"{count} {'place' if count == 1 else 'places'}")]
    sigma = capture_sigma_rad(capture)
    if sigma is None:
        facts.append(Fact("accuracy", "not yet", "two places are needed, three to check it"))
        return tuple(facts)
    step = _step_deg(state, advice)
    after = accuracy_after(capture, abs(math.radians(step)))
    axis = capture.axis
    assert axis is not None
    facts.append(Fact("accuracy", sigma_text(sigma), _of_it(axis, after)))
    total_rad = math.hypot(axis.east_rad, axis.up_rad)
    which = "so far" if state.stage is Stage.CAPTURE else "by this turn alone"
    facts.append(Fact("axis", angle_text(total_rad, sigma), f"off the pole, {which}"))
    return tuple(facts)
