"""What is said about a plan: what it photographs, what it needs, and whether an axis serves it."""

from __future__ import annotations

import math

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import Site, TargetPole
from polewright.core.plan.sky_choice import USEFUL_SPAN_DEG, SkyChoice
from polewright.core.plan.sky_objects import SKY_OBJECTS
from polewright.core.plan.tolerance import TargetTooLow, Tolerance, longest_exposure_s
from polewright.core.plan.tonight import Planned, ToleranceOrigin, TonightsPlan
from polewright.words.numbers import angle_text, duration_text, number_text
from polewright.words.said import Said

POLE_WORDS = {
    TargetPole.TRUE: "the true pole",
    TargetPole.BETWEEN: "the point halfway between the poles",
    TargetPole.REFRACTED: "the refracted pole",
}
SHORT_POLES = {TargetPole.TRUE: "true", TargetPole.BETWEEN: "between", TargetPole.REFRACTED: "refracted"}
BESIDE_H = 0.25  # nearer than this is on the meridian
MATTERS = 0.1  # a pole that leaves so much more room, as a share, is worth a word
ORIGINS = {
    ToleranceOrigin.USUAL: "usual tolerance",
    ToleranceOrigin.PLAN: "for tonight's plan",
    ToleranceOrigin.HAND: "as you set it",
}


def against_words(target: TargetPole) -> str:
    """What a number is told against: `from the true pole`."""
    return f"from {POLE_WORDS[target]}"


def aim_words(target: TargetPole) -> str:
    """The key that changes the target says to which."""
    return f"Align to {POLE_WORDS[target]}"


def aimed_words(target: TargetPole, moved_rad: float) -> Said:
    """The target has been changed; the new one lies so much higher than the one before."""
    higher = f"{angle_text(abs(moved_rad))} {'higher' if moved_rad > 0.0 else 'lower'} than the one before"
    return Said(
        f"The target is {POLE_WORDS[target]} from now on, {higher}.",
        "All numbers are measured from it. T moves on to the next; Ctrl+Z undoes it.",
    )


def allowed_words(tolerance_rad: float) -> Said:
    """Tonight's tolerance has been changed by hand."""
    return Said(f"Tonight {angle_text(tolerance_rad)} is near enough.", "[ allows less, ] allows more.")


def tolerance_words(origin: ToleranceOrigin, tolerance_rad: float) -> str:
    """`for tonight's plan: 1.8′`."""
    return f"{ORIGINS[origin]}: {angle_text(tolerance_rad)}"


def plan_words(plan: TonightsPlan) -> str:
    """`M31, 2 min guided at 400 mm`."""
    where = plan.target or f"declination {plan.declination_deg:+.1f}°".replace("-", "−")
    return f"{where}, {exposure_words(plan)} {guiding_words(plan)} at {plan.focal_length_mm:g} mm"


def exposure_words(plan: TonightsPlan) -> str:
    """One sub-exposure: `2 min`, `0.5 s`."""
    return duration_text(plan.sub_s) if plan.sub_s >= 1.0 else f"{number_text(plan.sub_s)} s"


def guiding_words(plan: TonightsPlan) -> str:
    """Guided or not."""
    return "guided" if plan.guided else "unguided"


def pixels_text(blur_px: float) -> str:
    """`0.3 px`; nothing smaller than a hundredth is told."""
    return "under 0.01 px" if blur_px < 0.01 else f"{number_text(blur_px, 0.01)} px"


def pole_words(needs: Tolerance) -> str:
    """How much the choice of the pole matters for a plan."""
    room = {pole.target: pole.limit_rad for pole in needs.poles}
    here, best = room[needs.target], room[needs.best]
    if needs.best is needs.target or best <= here:
        return "leaves most room for this plan"
    if here <= 0.0:
        return f"leaves no room for an error; {POLE_WORDS[needs.best]} does"
    more = best / here - 1.0
    if more < MATTERS:
        return f"it hardly matters: {POLE_WORDS[needs.best]} leaves {number_text(100.0 * more, 1.0)} % more room"
    return f"{POLE_WORDS[needs.best]} leaves {number_text(100.0 * more, 1.0)} % more room"


def serves_words(planned: Planned, site: Site, target: TargetPole, east_rad: float, up_rad: float) -> str:
    """Whether an axis (east, up) off the pole serves the plan, by exact simulation of its exposures."""
    plan, error_rad = planned.plan, (east_rad**2 + up_rad**2) ** 0.5
    blur = planned.blur_px(site, target, east_rad, up_rad)
    said = (
        f"With the measured error of {angle_text(error_rad)} your {exposure_words(plan)} exposures"
        f" blur by {pixels_text(blur)}"
    )
    if blur <= plan.allowed_blur_px:
        return f"{said}, of {plan.allowed_blur_px:g} px allowed: the alignment is good enough for the plan."
    longest = longest_exposure_s(plan.at(site), target, error_rad)
    cure = (
        f" Expose no longer than {duration_text(longest)}." if isinstance(longest, float) and longest >= 1.0 else ""
    )
    return f"{said}, more than the {plan.allowed_blur_px:g} px allowed.{cure}"


def too_low_words(why: TargetTooLow) -> Said:
    """That nothing can be said about a plan, because its target stands too low for a while."""
    reason = (
        f"The target is {_height_text(why.altitude_rad)} at hour angle {why.hour_angle_h:+.1f} h: at least 10 above"
        " it are needed."
    )
    if why.high_h is None:
        return Said(reason, "Choose a target farther toward the pole, or other hours.")
    return Said(reason, f"Keep to hour angles from {why.high_h[0]:+.1f} h to {why.high_h[1]:+.1f} h.")


def _height_text(altitude_rad: float) -> str:
    """`9 degrees above the horizon`: never rounded up to what would be enough."""
    degrees = math.floor(math.degrees(altitude_rad))
    side = "above" if degrees >= 0 else "below"
    return f"{abs(degrees)} {'degree' if abs(degrees) == 1 else 'degrees'} {side} the horizon"


LOW_DEG, HIGH_DEG, OVERHEAD_DEG = 35.0, 60.0, 80.0  # what people call low, high and overhead (chosen)
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def sky_words(choice: SkyChoice) -> str:
    """Where a turn of the RA axis begins, its room, and whence the screws are watched: no second order."""
    first = choice.first
    found = f"Azimuth {first.azimuth_deg:.0f}°, {first.altitude_deg:.0f}° high"
    circles = f"{_from_meridian(first.hour_angle_h)} of the meridian, declination {first.declination_deg:+.0f}°"
    few = choice.span_deg < USEFUL_SPAN_DEG
    less = " Less than 60° is free: expect a less certain axis, or take more frames." if few else ""
    there = choice.adjust.hour_angle_h
    beside = abs(there) < BESIDE_H
    from_there = "on the meridian" if beside else f"from {_from_meridian(there)} of it"
    room = f"From there the axis has {choice.span_deg:.0f}° of room to the west."
    return f"{found}: {circles}. {room}{less} Later the screws are best watched {from_there}."


def sky_direction(azimuth_deg: float, altitude_deg: float) -> str:
    """A place in the sky as one finds it without circles: `low in the south-east`."""
    if altitude_deg > OVERHEAD_DEG:
        return "overhead"
    high = "low" if altitude_deg < LOW_DEG else "high" if altitude_deg > HIGH_DEG else "mid-height"
    return f"{high} in the {COMPASS[round(azimuth_deg / 45.0) % 8]}"


def _from_meridian(hour_angle_h: float) -> str:
    return f"{abs(hour_angle_h):.1f} h {'east' if hour_angle_h < 0.0 else 'west'}"


def picture_words(plan: TonightsPlan) -> str:
    """What a plan means: the target, the hours, the picture; a line each."""
    found = SKY_OBJECTS.get(plan.target)
    first = -0.5 * plan.hours if plan.first_hour_angle_h is None else plan.first_hour_angle_h
    hours = f"Hour angle {first:+.1f} to {first + plan.hours:+.1f} h, west positive".replace("-", "−")
    scale = ARCSEC_PER_RAD * 1e-3 * plan.pixel_um * plan.binning / plan.focal_length_mm
    wide, high = (scale * size / plan.binning / 3600.0 for size in (plan.width_px, plan.height_px))
    lines = [] if found is None else [f"{plan.target}: {found[0]}."]
    lines.append(f"{hours}{', about the meridian' if plan.first_hour_angle_h is None else ''}.")
    lines.append(f"{scale:.2f}″ per pixel, {number_text(wide)}° × {number_text(high)}°.")
    return "\n".join(lines)


def needs_words(needs: Tolerance) -> str:
    """`This plan needs 30″.`"""
    if not needs.feasible:
        return "This plan asks for more than can be held."
    return f"This plan needs {angle_text(needs.advised_rad)}."


def in_force_words(origin: ToleranceOrigin, tolerance_rad: float, this: bool) -> str:
    """Which tolerance holds tonight; `this`: that of the plan on the page."""
    whose = ("this plan" if this else "another plan") if origin is ToleranceOrigin.PLAN else ORIGINS[origin]
    return f"In use: {angle_text(tolerance_rad)}, {whose}."
