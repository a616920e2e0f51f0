"""What a drift does not tell, what is to be doubted about it, and what it makes of a turn."""

from __future__ import annotations

import math
from typing import assert_never

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis_reasons import RecordedDoubt, SkyImpossible
from polewright.core.drift.compare import Cause, Comparison
from polewright.core.drift.reading import CLEARLY
from polewright.core.drift.reasons import (
    AllLeftOut,
    DriftDoubt,
    DriftRefusal,
    Guided,
    GuidingRefusal,
    Held,
    Jumped,
    MaybeGuided,
    MayBeHeld,
    NoCommonShift,
    NoFramesYet,
    NotTracking,
    OddRate,
    PartsDisagree,
    ShiftRefusal,
    Sign,
    TooFewAgree,
    TooFewClean,
    TooFewFrames,
    TooShort,
    TooShortToTell,
    Unknown,
    Wanders,
)
from polewright.core.not_measurable import RecordedRefusal
from polewright.words.frames import frame_words
from polewright.words.numbers import angle_text, duration_text, offset_words, sigma_text, spread_text
from polewright.words.said import Said

FOCUS = "Expose longer or check the focus."
NUDGE = (
    "in each field, after a minute, move the declination by about 1′ with the hand controller, leave it there, watch"
    " for two minutes more, and say --nudged."
)


def drift_refusal_words(why: DriftRefusal) -> Said:
    """Why the drift tells nothing yet."""
    match why:
        case NoFramesYet():
            return Said("No frames yet.", "Switch tracking on and take frames.")
        case AllLeftOut(frames):
            return Said(f"All {frames} frames were left out.", "See what is said of each, and put that right first.")
        case TooFewFrames(frames, needed):
            return Said(f"{frames} frames, {needed} needed.", "Keep tracking and take more frames.")
        case TooShort(seconds, needed_s):
            return Said(f"{seconds:.0f} s of drift, {needed_s:.0f} s needed.", "Keep tracking for a minute.")
        case NotTracking():
            return Said("The camera does not follow the stars.", "Switch tracking on, at the sidereal rate.")
        case SkyImpossible(cause):
            return frame_words(cause)
        case RecordedRefusal(reason, cure):
            return Said(reason, cure)
        case _:
            assert_never(why)


def guiding_words(why: GuidingRefusal) -> Said:
    """Why a drift that tells an axis is not believed."""
    match why:
        case Guided(sign):
            smooth = f" A drive without periodic error looks like this too: {NUDGE}" if sign is Sign.UNTOLD else ""
            leads = "Nothing shows that the mount runs free" if sign is Sign.UNTOLD else "Something guides"
            return Said(
                f"{leads}: {_sign_words(sign)}. That says nothing about the axis.",
                f"Switch guiding off in both axes and watch again.{smooth}",
            )
        case MaybeGuided():
            return Said(
                "The declination stands still, as on a good alignment and as on a guided mount;"
                " the frames do not show which.",
                "If guiding was off in both axes, say --guiding off; otherwise switch it off and watch again.",
            )
        case TooShortToTell(needed_s):
            return Said(
                "The frames are too few to show that nothing guides.",
                f"Watch each field for {duration_text(needed_s)} or longer, guiding off in both axes.",
            )
        case _:
            assert_never(why)


def _sign_words(sign: Sign) -> str:
    match sign:
        case Sign.SAID:
            return "so you say"
        case Sign.STILL:
            return "nothing moves, not even in right ascension"
        case Sign.TAKEN_BACK:
            return "the declination was nudged, and went back"
        case Sign.DRIFTS_OTHERWISE:
            return "since the declination was nudged the stars drift otherwise than before"
        case Sign.TURNS:
            return "the declination stands still, and the field turns as on an axis elsewhere"
        case Sign.UNTOLD:
            return "for minutes nothing drifts, and the drive shows no periodic error"
        case _:
            assert_never(sign)


def shift_words(why: ShiftRefusal) -> Said:
    """Why the shift between two frames that cannot be solved is not known."""
    match why:
        case TooFewClean(stars, needed):
            return Said(f"{stars} clean stars, {needed} needed.", FOCUS)
        case TooFewAgree(stars, needed):
            return Said(f"{stars} stars agree, {needed} needed.", FOCUS)
        case NoCommonShift(reach_px):
            return Said(
                f"No common shift within {reach_px:.0f} px.", "Look at the same field in every frame, tracking on."
            )
        case _:
            assert_never(why)


def unknown_words(unknown: Unknown | None) -> str:
    """What the fields so far do not tell, and which one would; empty when they tell all."""
    match unknown:
        case None:
            return ""
        case Unknown.AZIMUTH:
            return "The azimuth is not known yet: watch a field near the meridian."
        case Unknown.ALTITUDE:
            return "The altitude is not known yet: watch a field four to six hours from the meridian."
        case Unknown.ONE_DIRECTION:
            return "One field shows one direction only: watch a second field, four hours or more away in hour angle."
        case _:
            assert_never(unknown)


def axis_words(east_rad: float, up_rad: float, sigmas_rad: tuple[float, float], unknown: Unknown | None) -> str:
    """Where the axis lies, as far as the fields tell; empty when they tell one direction askew."""
    east = offset_words(east_rad, sigmas_rad[0], "east", with_sigma=False)
    up = offset_words(up_rad, sigmas_rad[1], "up", with_sigma=False)
    match unknown:
        case None:
            return f"The axis lies {east} and {up}."
        case Unknown.AZIMUTH:
            return f"The axis lies {up}; how far east or west is not known."
        case Unknown.ALTITUDE:
            return f"The axis lies {east}; how high is not known."
        case Unknown.ONE_DIRECTION:
            return ""
        case _:
            assert_never(unknown)


def hidden_words(lead: str, stars_rad: float, whole_rad: float, wanted_rad: float, stood: bool) -> str:
    """The uncertainty of `lead` by the scatter of the frames and in all, whether that is what was wanted, and what
    makes it smaller."""
    missed = math.sqrt(max(whole_rad**2 - stars_rad**2, 0.0)) > CLEARLY * wanted_rad
    short = (
        f": short of the {angle_text(wanted_rad)} wanted, and watching longer does not change that" if missed else ""
    )
    rest = "" if stood else " On a pier, or after half an hour on firm ground, say --stood."
    return (
        f"{lead} {sigma_text(stars_rad)} by the stars, {sigma_text(whole_rad)} with base, tube and air{short}.{rest}"
    )


def reach_words(reach_rad: float, wanted_rad: float, firm_rad: float | None) -> str:
    """What no watching makes surer than this, where that is more than what is wanted; `firm_rad`: on firm ground,
    None where it stands on that."""
    if reach_rad <= CLEARLY * wanted_rad:
        return ""
    best = f"{spread_text(reach_rad)} at best, however long you watch"
    if firm_rad is None:
        return f"Base, tube and air leave each known to {best}."
    stood = f"on a pier, or after half an hour on firm ground (--stood), to {spread_text(firm_rad)}"
    return f"A tripod just set down, tube and air leave each known to {best}; {stood}."


def drift_doubt_words(doubt: DriftDoubt) -> str:
    """What is to be doubted about a drift."""
    match doubt:
        case Jumped(size_rad, at_s):
            return (
                f"The declination jumped by {abs(size_rad) * ARCSEC_PER_RAD:.0f}″ after {duration_text(at_s)}:"
                " a clutch slipped or the mount was bumped."
            )
        case Wanders():
            return "The declination wanders slowly: wind, a loose clutch or poor seeing. Watch for longer."
        case PartsDisagree(apart_rad):
            return (
                f"Parts of this watch differ by {angle_text(apart_rad)}: the tube bends on its way across the sky,"
                " the base creeps, or something guides. The uncertainty covers it; a turn of the RA axis tells more."
            )
        case OddRate():
            return "The drive is not running at the sidereal rate: check that it is not set to the Moon or the Sun."
        case Held():
            return (
                "Nothing moves, not even in right ascension: is guiding switched on? Switch it off in both axes and"
                " begin again."
            )
        case MayBeHeld(free_rad):
            return (
                "The declination stands still. Guiding in declination alone would look the same; the uncertainty"
                f" allows for it. If nothing guided, each is known to {angle_text(free_rad)}. To show that: {NUDGE}"
            )
        case RecordedDoubt(text):
            return text
        case _:
            assert_never(doubt)


def comparison_words(told: Comparison, unknown: Unknown | None) -> str:
    """What to make of the drift beside the turn."""
    size = angle_text(math.hypot(told.east_rad, told.up_rad))
    if told.cause is Cause.NONE:
        return f"Drift and turn agree to {size}. {unknown_words(unknown)}".strip()
    return f"Drift and turn differ by {size}. {_cause_words(told.cause)}"


def _cause_words(cause: Cause) -> str:
    match cause:
        case Cause.NONE:
            return ""
        case Cause.DRIFT_DISTURBED:
            return "The mount was bumped or a clutch slipped while drifting: watch the drift again."
        case Cause.FLEXURE:
            return (
                "Only the height differs: the tube or the guide scope sags, more the nearer the pole it looks."
                " Trust the one that was measured nearer to where you will image."
            )
        case Cause.REFRACTION:
            return (
                "That is the refraction of the pole: check that both are measured from the same pole,"
                " and the height above sea level."
            )
        case Cause.SLIP:
            return "A clutch slipped in the turn, or the axis has moved since: tighten the clutches, turn again."
        case _:
            assert_never(cause)
