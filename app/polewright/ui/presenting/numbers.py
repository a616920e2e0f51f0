"""The numbers beside the well: total, azimuth on the horizon and on the sky, altitude; sign in words."""

from __future__ import annotations

import math

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.advice import Advice, RotateAxis
from polewright.core.night.states import NightState, Stage
from polewright.ui.presenting.turning_dial import accuracy_after, capture_shown, capture_sigma_rad, turned_deg
from polewright.ui.presenting.well import shown_offset
from polewright.ui.presenting.wording import size_and_side
from polewright.ui.view_model import Fact
from polewright.words.numbers import angle_text, number_text, sigma_text


def numbers(state: NightState, advice: Advice) -> tuple[Fact, ...]:
    """What the stage has to tell in numbers."""
    if state.plan is None or state.stage is Stage.ORIENTATION:
        return ()
    if state.turning_axis:
        return _of_turn(state, advice)
    return of_axis(state)


def of_axis(state: NightState) -> tuple[Fact, ...]:
    """Total, azimuth, altitude."""
    offset = shown_offset(state)
    if offset is None:
        return ()
    angles = state.angles(offset)
    (ee, _), (_, uu) = offset.covariance_rad2
    horizon_rad = abs(angles.bearing_arcmin) / ARCMIN_PER_RAD
    horizon = angle_text(horizon_rad, angles.sigma_bearing_arcmin / ARCMIN_PER_RAD)
    sky, side = size_and_side(offset.east_rad, math.sqrt(max(ee, 0.0)))
    height_rad = math.copysign(abs(angles.height_arcmin) / ARCMIN_PER_RAD, angles.height_arcmin)
    height, high = size_and_side(height_rad, math.sqrt(max(uu, 0.0)), "up")
    return (
        Fact("total", angle_text(offset.total_rad, offset.sigma_rad), f"{sigma_text(offset.sigma_rad)} on the sky"),
        Fact("azimuth", horizon, f"{side}, at the screw; {sky} on the sky"),
        Fact("altitude", height, high),
    )


def _of_turn(state: NightState, advice: Advice) -> tuple[Fact, ...]:
    capture = capture_shown(state)
    taken = turned_deg(state)
    spread = max(taken) - min(taken) if taken else 0.0
    count = len(taken)
    facts = [Fact("turned", f"{number_text(round(spread), 1.0)}°", f"{count} {'place' if count == 1 else 'places'}")]
    sigma = capture_sigma_rad(capture)
    if sigma is None:
        facts.append(Fact("accuracy", "not yet", "two places are needed, three to check it"))
        return tuple(facts)
    step = advice.action.west_deg if isinstance(advice.action, RotateAxis) else 0.0
    after = accuracy_after(capture, abs(math.radians(step)))
    facts.append(Fact("accuracy", sigma_text(sigma), f"{after} after the next place" if after else ""))
    axis = capture.axis
    assert axis is not None
    total_rad = math.hypot(axis.east_rad, axis.up_rad)
    facts.append(Fact("axis", angle_text(total_rad, sigma), "off the pole, so far"))
    return tuple(facts)
