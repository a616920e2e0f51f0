"""Why frames do not support an axis, and what is to be doubted about one."""

from __future__ import annotations

import math
from typing import assert_never

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.axis_reasons import (
    AxisDoubt,
    AxisRefusal,
    AxisTurned,
    ClocksDiffer,
    FarFromPole,
    FollowDoubt,
    FramesDisagree,
    LongApart,
    Look,
    LowPole,
    MirroredAndNot,
    Mishap,
    MishapFound,
    OlderFrame,
    OtherField,
    RecordedDoubt,
    SameExposure,
    SameInstant,
    SkyImpossible,
    TakenInMotion,
    TooAlike,
    TooFewPlaced,
    TooFewPlaces,
    TooUnsure,
    TrackingSeemsSwitched,
    TurnedUpright,
    TwoFrames,
    Unsure,
    WeakView,
)
from polewright.core.budget import Budget, Part, part_sigmas_rad
from polewright.core.night.orientation.clock import DAY_S
from polewright.core.not_measurable import RecordedRefusal
from polewright.words.clock import apart_text
from polewright.words.flexure import IF_USUAL
from polewright.words.frames import frame_words
from polewright.words.numbers import angle_text, number_text, sigma_text
from polewright.words.said import Said

ENOUGH_FRAMES = 5  # from here on one more frame does not tell which of them is wrong


def refusal_words(why: AxisRefusal) -> Said:
    """Why there is no axis, and what to do."""
    match why:
        case TooFewPlaces(frames):
            told = "One frame says nothing about the axis" if frames else "There is no frame to measure the axis by"
            return Said(
                f"{told}: 2 are needed, 3 are better.",
                "Turn the RA axis by 45 degrees, declination untouched, and take another frame.",
            )
        case TooFewPlaced(placed, frames, frame, cause):
            first = frame_words(cause)
            return Said(
                f"{placed} of {frames} frames could be placed on the sky; 2 are needed, 3 are better."
                f" {frame}: {first.reason}",
                first.cure,
            )
        case SkyImpossible(cause):
            return frame_words(cause)
        case MirroredAndNot(frame, first_name):
            return Said(
                f"{frame} and {first_name} are not both mirrored.",
                "Use the same camera, diagonal and flip setting for all frames of one capture.",
            )
        case OtherField(frame, width_rad, first_name, first_width_rad):
            return Said(
                f"{frame} shows a field of {math.degrees(width_rad):.2f} degrees,"
                f" {first_name} of {math.degrees(first_width_rad):.2f}.",
                "Use the same camera, optics and region of the sensor for all frames of one capture.",
            )
        case TurnedUpright(frame, first_name):
            return Said(
                f"{frame} is turned by a quarter against {first_name}: its pixels were turned, not the camera.",
                "Switch off the automatic turning of pictures, and use the frames as the camera wrote them.",
            )
        case LongApart(first_name, last, hours):
            return Said(
                f"{first_name} and {last} were taken {hours:.0f} hours apart: not in one capture.",
                "Use frames that were taken one after the other with nothing but the RA axis turned; check the"
                " clock.",
            )
        case SameInstant(first_name, second):
            return Said(
                f"{first_name} and {second} carry the same time but show different sky.",
                "One time must be wrong. Use files with the time in their header (a copied file may lose its own"
                " time), or take the capture again.",
            )
        case TooAlike(span_rad, turn_rad):
            return Said(
                "The frames are too much alike: the RA axis turned by only"
                f" {math.degrees(span_rad):.1f} degrees between them.",
                _turn_on(turn_rad),
            )
        case FarFromPole(offset_rad):
            return Said(
                f"The frames turn about a point {math.degrees(offset_rad):.0f} degrees from the celestial pole: not"
                " a polar axis.",
                "Turn only the RA axis between the frames, not the declination; check latitude (and its sign),"
                " longitude and clock.",
            )
        case TooUnsure(sigma_rad, turn_rad):
            return Said(
                f"The axis would be uncertain by {math.degrees(sigma_rad):.1f} degrees: these frames say next to"
                " nothing about it.",
                _turn_on(turn_rad),
            )
        case RecordedRefusal(reason, cure):
            return Said(reason, cure)
        case _:
            assert_never(why)


def _turn_on(turn_rad: float) -> str:
    turn = math.degrees(turn_rad)
    return f"Turn the RA axis by another {turn:.0f} degrees, declination untouched, and take a frame there."


def doubt_words(doubt: AxisDoubt) -> str:
    """What is to be doubted about an axis, and what has been done about it."""
    match doubt:
        case SameExposure(frame, twin):
            return f"{frame} is the same exposure as {twin} and was counted once."
        case LowPole(sigma_rad):
            size = angle_text(sigma_rad) if sigma_rad else "arcminutes"
            return (
                f"So near the horizon refraction is uncertain by {size}: aim at the true pole here."
                " The uncertainty includes it."
            )
        case TwoFrames():
            return (
                "Two frames cannot check each other: a slipped declination, a turned screw or a moved tripod would go"
                " unnoticed. Take a third."
            )
        case Unsure(sigma_rad, turn_rad, after_rad):
            return (
                f"The axis is uncertain by {sigma_rad * ARCMIN_PER_RAD:.1f}′. Another frame after turning the RA axis"
                f" a further {math.degrees(turn_rad):.0f} degrees would bring it to about"
                f" {after_rad * ARCMIN_PER_RAD:.1f}′."
            )
        case FramesDisagree():
            return _disagree_words(doubt)
        case ClocksDiffer():
            widened = " The uncertainty has been widened to cover both." if doubt.widened else ""
            return f"{clock_words(doubt)}{widened}"
        case RecordedDoubt(text):
            return text
        case MishapFound():
            return _mishap_words(doubt)
        case _:
            assert_never(doubt)


def _mishap_words(found: MishapFound) -> str:
    name, size = found.frame, _angle(found.size_rad)
    match found.mishap:
        case Mishap.TIME:
            return _time_words(found)
        case Mishap.SLIPS:
            return (
                f"The declination slips whenever the RA axis is turned, by about {size} in all. The axis shown"
                " ignores the declination and is less certain for it. Tighten the clutch and take the capture again."
            )
        case Mishap.SLIP if found.stays:
            return (
                f"The declination slipped by about {size} {'after' if found.index == 1 else 'before'} {name}; it has"
                " been allowed for. Tighten the declination clutch and take the capture again to be sure."
            )
        case Mishap.SLIP:
            return (
                f"{name} does not fit: its declination is off by about {size} (a slipping clutch, a touched tube). It"
                " has been allowed for. Take this frame again."
            )
        case Mishap.KICK:
            return (
                f"The mount itself moved by about {size} before {name} (a kicked or sinking tripod, a screw). The"
                " axis shown is the one after it. Let the tripod settle and take the capture again."
            )
        case Mishap.ODD:
            last = found.index == found.frames - 1
            again = "Take another: if that one does not fit either, the mount has moved."
            return (
                f"{name} does not fit the other {found.frames - 1} frames and was left out (declination slip, turned"
                f" screw, kicked tripod, wind or a wrong time). {again if last else 'Take this frame again.'}"
            )
        case _:
            assert_never(found.mishap)


def _time_words(found: MishapFound) -> str:
    amount = _duration(found.size_rad / SIDEREAL_RATE_RAD_S)
    if found.undone:
        return (
            f"The time of {found.frame} seems wrong by {amount}; it has been allowed for. Check where the frame gets"
            " its time from."
        )
    which = f"from {found.frame} on" if found.stays else f"of {found.frame}"
    return (
        f"The time {which} seems wrong by about {amount} against the other frames. The uncertainty has been widened"
        " to cover it. Check clock and time zone of the camera program and take the capture again."
    )


def _disagree_words(doubt: FramesDisagree) -> str:
    few = doubt.frames < ENOUGH_FRAMES
    more = " One or two more frames would show which of them is wrong." if few else ""
    return (
        "The frames do not agree: the declination slipped, the tripod moved, a screw was turned, a time is wrong, or"
        f" the tube bends, by about {_angle(doubt.scatter_rad)}. The uncertainty has been widened to cover it.{more}"
    )


def clock_words(doubt: ClocksDiffer) -> str:
    """How far frame times are off this computer's clock, and what that does to the axis."""
    if abs(doubt.ahead_s) > DAY_S:
        return (
            f"{clock_apart(doubt)}: set the date. That moves the pole among the stars by"
            f" {angle_text(doubt.effect_rad)}, and a good alignment misses it by so much."
        )
    size = "one degree" if doubt.offset_rad is None else angle_text(doubt.offset_rad)
    return (
        f"{clock_apart(doubt)}: set both to the same time."
        f" At {size} off this shifts the result by {angle_text(doubt.effect_rad)}, and by nothing once the axis is on"
        " the pole."
    )


def clock_apart(doubt: ClocksDiffer) -> str:
    """How far frame times are off this computer's clock."""
    way = "ahead of" if doubt.ahead_s > 0.0 else "behind"
    return f"Frame times are {apart_text(doubt.ahead_s)} {way} this computer's clock"


def follow_words(doubt: FollowDoubt) -> str:
    """What is to be known about one frame while the screws turn."""
    match doubt:
        case TrackingSeemsSwitched(on):
            return f"Tracking seems to have been switched {'on' if on else 'off'}."
        case AxisTurned(turn_rad, screws_too, sigma_rad):
            turn = math.degrees(turn_rad)
            amount = f"{turn:.0f} degrees" if turn >= 2.0 else f"{60.0 * turn:.0f}′"
            also = " and the screws turned" if screws_too else ""
            return (
                f"The RA axis moved by {amount}, not as a drive does{also}: this reading rests on the roll of the"
                f" camera alone (uncertain by {number_text(sigma_rad * ARCSEC_PER_RAD)}″). If the declination was"
                " touched, take the capture again."
            )
        case OlderFrame(frame):
            return (
                f"{frame} is older than the frame before it: frames are followed in the order in which they were"
                " taken. If they were, check the clock."
            )
        case TakenInMotion(frame):
            return f"{frame} seems to have been taken while something moved: wait until the mount is at rest."
        case WeakView():
            return _weak_words(doubt)
        case RecordedDoubt(text):
            return text
        case _:
            assert_never(doubt)


def _weak_words(doubt: WeakView) -> str:
    where = f"The camera looks {_where(doubt.look)}: a frame adds about {_arcsec(doubt.sigma_rad)} of its own."
    better = doubt.better
    if better is None:
        return f"{where} Take the capture again with the camera within 20 degrees of the pole."
    return (
        f"{where} Turn the RA axis by {abs(math.degrees(better.turn_rad)):.0f} degrees, declination untouched, to"
        f" azimuth {better.azimuth_deg:.0f}, altitude {better.altitude_deg:.0f}: there it would be about"
        f" {_arcsec(better.sigma_rad)}."
    )


def _where(look: Look) -> str:
    match look:
        case Look.ZENITH:
            return "near the zenith, where the azimuth screw only turns the field"
        case Look.EAST | Look.WEST:
            return f"far to the {look.name.lower()}, where both screws move the field along nearly one line"
        case Look.ELSEWHERE:
            return "where the screws hardly show"
        case _:
            assert_never(look)


def budget_words(budget: Budget) -> str:
    """`± 1″ by the stars, ± 11″ with mount and air`, of a rig that has never been measured before."""
    return both_words(budget, math.sqrt(sum(sigma**2 for sigma in part_sigmas_rad(budget).values())), supposed=True)


def both_words(budget: Budget, whole_rad: float, supposed: bool) -> str:
    """The same of an axis that rests on more than that budget: `whole_rad` is all that is stated of it, and
    `supposed` whether it is still open how the tube bends."""
    return f"{by_stars_words(budget)}, {with_all_words(whole_rad)}{f', {IF_USUAL}' if supposed else ''}"


def with_all_words(whole_rad: float) -> str:
    """`± 11″ with mount and air`."""
    return f"{sigma_text(whole_rad)} with mount and air"


def by_stars_words(budget: Budget) -> str:
    """`± 1″ by the stars`."""
    return f"{sigma_text(budget.sigma_rad(Part.STARS))} by the stars"


def _arcsec(sigma_rad: float) -> str:
    return f"{number_text(max(sigma_rad * ARCSEC_PER_RAD, 0.1))}″"


def _angle(size_rad: float) -> str:
    minutes = abs(size_rad) * ARCMIN_PER_RAD
    return f"{minutes:.1f}′" if minutes >= 1.0 else f"{60.0 * minutes:.0f}″"


def _duration(seconds: float) -> str:
    return f"{seconds / 60.0:.0f} min" if seconds >= 120.0 else f"{seconds:.0f} s"
