"""The coach while the RA axis is turned: for the capture, and for the proof."""

from __future__ import annotations

import math

from polewright.core.night.advice import Advice, GoBack, Mood, RotateAxis, StartAgain, TightenClutch, Wait
from polewright.core.night.states import Capture, Running
from polewright.core.night.turning.places import places
from polewright.core.night.turning.room import SMALLEST_STEP_RAD, next_rotation_rad
from polewright.core.plan.sky_choice import choose_sky
from polewright.words.numbers import angle_text, sigma_text

ENOUGH_PLACES = 3
DISAGREE = "do not agree"  # what core/axis/suspects.py says when no single mishap explains the frames
OTHER_SKY_DEG = 10.0


def advise_capture(state: Running) -> Advice:
    """Frames at three places, 80 degrees or more apart, or until the axis is as sure as tonight needs."""
    return _advise_turn(state, state.capture, "capture")


def advise_proof(state: Running) -> Advice:
    """The same once more, over fresh frames."""
    return _advise_turn(state, state.proof, "proof")


def _advise_turn(state: Running, capture: Capture, name: str) -> Advice:
    done = places(capture)
    if not done:
        choices = choose_sky(state.plan.site, state.plan.obstacles) if name == "capture" else ()
        reason = choices[0].words if choices else "The mount stays as it is; this is where the turn begins."
        return Advice("Hands off. Waiting for a frame.", reason, "", Wait(), Mood.WAIT, f"{name}:first")
    axis = capture.axis
    if axis is not None and axis.suspect is not None and len(done) >= 3:
        return _suspect(axis.suspect, name)
    if axis is not None and len(done) > ENOUGH_PLACES and any(DISAGREE in text for text in axis.warnings):
        return _all_suspect(name, len(done))
    step = next_rotation_rad(state, capture)
    if abs(step) < SMALLEST_STEP_RAD:
        return _no_room(name)
    west = "west" if step > 0.0 else "east"
    degrees = abs(math.degrees(step))
    return Advice(
        f"Rotate the RA axis {degrees:.0f}° {west}.",
        _why(state, capture, len(done)),
        _gain(capture, abs(step)) or _other_sky(state, name),
        RotateAxis(math.degrees(step)),
        Mood.DO,
        f"{name}:{len(done)}:{west}",
    )


def _why(state: Running, capture: Capture, count: int) -> str:
    axis = capture.axis
    if capture.refusal is not None and axis is None:
        return f"{capture.refusal.reason} {capture.refusal.cure}"
    if axis is None:
        return "Then hands off. Hold the telescope before you loosen a clutch; leave declination alone."
    sigma = math.sqrt(axis.covariance_rad2[0][0] + axis.covariance_rad2[1][1])
    if count < 3:
        return f"Known to {sigma_text(sigma)} so far; a third place checks the other two. Leave declination alone."
    tolerance = state.plan.tolerance_rad
    return (
        f"Known to {sigma_text(sigma)} so far; tonight's {angle_text(tolerance)} need {sigma_text(tolerance / 3.0)}."
    )


def _gain(capture: Capture, step_rad: float) -> str:
    axis = capture.axis
    if axis is None or not axis.gains:
        return ""
    sigma = math.sqrt(axis.covariance_rad2[0][0] + axis.covariance_rad2[1][1])
    gain = min(axis.gains, key=lambda g: abs(g.rotation_rad - step_rad))
    if not math.isfinite(gain.sigma_rad) or gain.sigma_rad >= sigma:
        return ""
    return f"The uncertainty shrinks from {angle_text(sigma, sigma)} to {angle_text(gain.sigma_rad, gain.sigma_rad)}."


def _other_sky(state: Running, name: str) -> str:
    """A proof at the capture's declination shares its flexure and its refraction; another one does not."""
    first, second = state.capture.frames, state.proof.frames
    if name != "proof" or not first or len(places(state.proof)) != 1:
        return ""
    if abs(first[0].centre.dec_deg - second[0].centre.dec_deg) >= OTHER_SKY_DEG:
        return ""
    return "Other sky proves more: move declination by 20°, then begin this stage again."


def _suspect(frame: str, name: str) -> Advice:
    return Advice(
        "Tighten the declination clutch, then start again.",
        f"Frame {frame} does not fit the others: declination slipped, or the tripod was moved.",
        "",
        TightenClutch(),
        Mood.TROUBLE,
        f"{name}:suspect:{frame}",
    )


def _all_suspect(name: str, count: int) -> Advice:
    """No single frame is to blame: something gives at every turn, and more frames do not mend it."""
    return Advice(
        "Tighten the declination clutch, then start again.",
        f"{count} places do not agree with each other: declination slips, or the tripod gives.",
        "",
        TightenClutch(),
        Mood.TROUBLE,
        f"{name}:suspect:all",
    )


def _no_room(name: str) -> Advice:
    if name == "proof":
        return Advice(
            "Go back: no sky is left.",
            "The RA axis has no room to turn.",
            "",
            GoBack(),
            Mood.TROUBLE,
            "proof:no room",
        )
    return Advice(
        "Point elsewhere, then start again.",
        "The RA axis has no room left: begin with the camera two hours east of the meridian.",
        "",
        StartAgain(),
        Mood.TROUBLE,
        f"{name}:no room",
    )
