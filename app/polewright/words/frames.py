"""Why a frame could not be used, and what to do about it: one sentence or two, and the cure."""

from __future__ import annotations

import math
from typing import assert_never

from polewright.core.star_trouble import (
    CapOn,
    OutOfFocus,
    Smeared,
    StarTrouble,
    TooBright,
    TooFewStars,
    TooSmall,
    Trailed,
)
from polewright.core.unsolved import (
    AxisLeapt,
    BelowHorizon,
    Daylight,
    Elongated,
    Fault,
    FrameReason,
    FrameTrouble,
    NoMatch,
    NoMatchAnywhere,
    NoTime,
    OtherCamera,
    RecordedReason,
    ScaleUnknown,
    ThinCatalogue,
    TooWide,
    Unreadable,
    exposure_factor,
    trouble_of,
)
from polewright.words.said import Said

MANY_HOT_PIXELS = 50
WIDE_PX = 5.0  # wider stars are worth a look at the focus
SITE_AND_CLOCK = (
    "Check the site (latitude south and longitude west are negative), the camera program's clock, its time zone and"
    " summer time."
)


def frame_words(why: FrameReason) -> Said:
    """Why a frame could not be used."""
    match why:
        case NoMatch() | NoMatchAnywhere() | ScaleUnknown():
            return _unmatched_words(why)
        case ThinCatalogue(objects, field_deg, in_catalogue, needed):
            return Said(
                f"{objects} objects found, but the star catalogue has {in_catalogue} stars in a field of"
                f" {field_deg:.2g} degrees there; {needed} are needed.",
                "Point where there are more bright stars, or use a shorter focal length or the whole sensor.",
            )
        case TooWide(objects, field_deg, widest_deg):
            return Said(
                f"{objects} objects found, but no star pattern: without distortion the field would be {field_deg:.0f}"
                f" degrees wide, and beyond {widest_deg:.0f} degrees lenses distort it too much.",
                "Let stars show in the middle of the picture, clear of clouds and trees, or use a longer lens.",
            )
        case Elongated(objects):
            return Said(
                f"Most of the {objects} objects are elongated.",
                "Hands off while frames are taken; shelter from wind.",
            )
        case NoTime():
            return Said(
                "The frame does not say when it was taken.",
                "Set the camera program to write the time into its files; on the command line give --utc-offset.",
            )
        case BelowHorizon(frame, depth_deg):
            return Said(
                f"For this site and time {frame} shows sky {depth_deg:.0f} degrees below the horizon.", SITE_AND_CLOCK
            )
        case Daylight(frame, sun_deg):
            return Said(
                f"For this site and time the Sun is {sun_deg:.0f} degrees high, but {frame} shows stars.",
                SITE_AND_CLOCK,
            )
        case OtherCamera(frame):
            return Said(
                f"{frame} was not taken with the camera of the capture (other scale or mirrored).",
                "Use the same camera, or take the capture again.",
            )
        case AxisLeapt(step_rad):
            return Said(
                f"By this frame the axis would have moved by {math.degrees(step_rad):.0f} degrees, more than screws"
                " do: the declination or the camera was moved.",
                "Take the capture again.",
            )
        case Unreadable(problem):
            return Said(problem, "Check the camera program; waiting for the next frame.")
        case Fault(frame):
            return Said(
                f"{frame} could not be measured: a fault in the program.",
                "If the next frames fail too, close the program and start it again: the night goes on where it was.",
            )
        case RecordedReason(_, reason, cure):
            return Said(reason, cure)
        case _:
            return star_words(why)


def frame_headline(why: FrameReason) -> str:
    """The instruction, in eight words at most, that goes with the reason and its cure."""
    if isinstance(why, Fault):
        return "Wait for the next frame."
    match trouble_of(why):
        case FrameTrouble.COVERED:
            return "Take the cap off."
        case FrameTrouble.NO_STARS:
            return "Look for clouds, dew or a cap."
        case FrameTrouble.TOO_FEW_STARS:
            return "Expose longer."
        case FrameTrouble.OUT_OF_FOCUS:
            return "Refocus the camera."
        case FrameTrouble.TRAILED:
            return "Hands off while frames are taken."
        case FrameTrouble.SATURATED:
            return "Shorten the exposure."
        case FrameTrouble.NO_MATCH:
            return "Check clouds, focus and focal length."
        case FrameTrouble.NO_TIME:
            return "Set the camera program's clock."
        case FrameTrouble.WRONG_SKY:
            return "Check the site and the clock."
        case FrameTrouble.UNREADABLE:
            return "Check the camera program's file format."
        case FrameTrouble.NOT_FOLLOWED:
            return "Go back and measure the axis again."
        case kind:
            assert_never(kind)


def frame_gain(why: FrameReason) -> str:
    """What following the instruction brings; empty where that goes without saying."""
    factor = exposure_factor(why)
    return f"{_times(factor).capitalize()} as long shows fainter stars." if factor > 1.0 else ""


def clouded_words(since: str) -> str:
    """Why to wait, when the stars were there before; `since` is how long they have been gone."""
    return f"No stars to measure by for {since}. They were there before: clouds, or dew on the lens."


def star_words(why: StarTrouble) -> Said:
    """What is wrong with the stars of a frame."""
    match why:
        case TooSmall(least_px):
            return Said(f"The frame is smaller than {least_px} pixels.", "Use the whole sensor of the camera.")
        case CapOn(value_adu):
            return Said(
                f"Every pixel has the value {value_adu:.0f}: no light reached the camera.",
                "Take the cap off, check that the shutter opens and that the camera delivers real frames.",
            )
        case TooBright(_, share):
            full = "Every pixel is full: nothing can be seen."
            return Said(full if share >= 1.0 else f"{100.0 * share:.0f} % of the pixels are full.", _shorter(why))
        case Trailed():
            return _trailed_words(why)
        case Smeared(length_px):
            return Said(
                f"The stars are smeared over about {length_px:.0f} px: the mount moved during the exposure.",
                "Hands off while frames are taken.",
            )
        case OutOfFocus(stars, width_px, rings):
            who = "The star is" if stars == 1 else "The stars are"
            what = f"rings, about {width_px:.0f} px wide" if rings else f"{width_px:.0f} px wide"
            return Said(
                f"{who} {what}: the camera is {'far ' if rings else ''}out of focus.",
                "Focus until the stars are 2 to 4 px wide.",
            )
        case TooFewStars():
            return _few_words(why)
        case _:
            assert_never(why)


def _unmatched_words(why: NoMatch | NoMatchAnywhere | ScaleUnknown) -> Said:
    if isinstance(why, ScaleUnknown):
        return Said(
            f"{stars_text(why.found)} found; without a known scale at least {why.needed} are needed.",
            "Give the focal length and the pixel size, or expose longer.",
        )
    return Said(
        f"{why.objects} objects found, but they match no star pattern {_where(why)}.",
        "If the stars are sharp, check focal length and pixel size; otherwise look for clouds, trees, or a lamp.",
    )


def _where(why: NoMatch | NoMatchAnywhere) -> str:
    if isinstance(why, NoMatchAnywhere):
        return f"at any scale for fields {why.narrowest_deg:g} to {why.widest_deg:g} degrees wide"
    scale = f"{why.scale_arcsec_px:.2f} arcsec/px"
    if why.learned:
        return f"at the scale of the last frame ({scale})"
    return f"at {scale}, nor at any other scale" if why.others_too else f"at {scale}"


def _trailed_words(why: Trailed) -> Said:
    better, now = why.better_s, why.exposure_s
    shorter = (
        f"expose {seconds_text(better)} instead of {seconds_text(now)}" if better and now else "expose for less time"
    )
    return Said(
        f"The stars are trailed, about {why.length_px:.0f} px long ({why.count} of them).",
        f"Hands off while frames are taken. If nobody touched it, switch tracking on, or {shorter}.",
    )


def _few_words(why: TooFewStars) -> Said:
    longer, hot = _longer(why), _hot(why.hot_pixels)
    if not why.found:
        return Said(f"No stars found{hot}.", f"Look for clouds, dew or a cap; then {longer}.")
    width = f"check the focus: star width {why.width_px:.0f} px"
    other = width if why.width_px > WIDE_PX else "look for clouds"
    reason = f"{stars_text(why.found)} found, {why.needed} needed{hot}."
    return Said(reason, f"{longer[0].upper()}{longer[1:]}, or {other}.")


def _hot(count: int) -> str:
    return f" ({count} hot pixels set aside)" if count > MANY_HOT_PIXELS else ""


def _longer(why: TooFewStars) -> str:
    if why.better_s is None or why.exposure_s is None:
        return f"expose {_times(why.exposure_factor)} as long"
    return f"expose {seconds_text(why.better_s)} instead of {seconds_text(why.exposure_s)}"


def _shorter(why: TooBright) -> str:
    if why.better_s is None or why.exposure_s is None:
        return "Expose a tenth as long, lower the gain, or wait until it is dark."
    return f"Expose {seconds_text(why.better_s)} instead of {seconds_text(why.exposure_s)}, or wait until it is dark."


def _times(factor: float) -> str:
    return "four times" if factor == 4.0 else f"{factor:.2g} times"


def seconds_text(value: float) -> str:
    """Two digits are enough for an exposure: "2 s", "0.25 s"."""
    return f"{float(f'{value:.2g}'):g} s"


def stars_text(stars: int) -> str:
    """ "1 star", "3 stars"."""
    return "1 star" if stars == 1 else f"{stars} stars"
