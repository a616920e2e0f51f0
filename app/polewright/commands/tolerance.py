"""`polewright tolerance`: what accuracy a plan needs, or how long one may expose with the error there is."""

from __future__ import annotations

import argparse
import re
from typing import Any

from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.options import TARGETS
from polewright.commands.output import json_text
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import UsageError
from polewright.core.model import Site, TargetPole
from polewright.core.plan.imaging_plan import ImagingPlan, elongation
from polewright.core.plan.sky_objects import sky_object
from polewright.core.plan.tolerance import (
    CAP_RAD,
    TargetTooLow,
    Tolerance,
    longest_exposure_s,
    needed_accuracy,
    worst_blur_px,
)
from polewright.core.sky.places import default_target
from polewright.words.kinds import told_facts
from polewright.words.numbers import angle_text, duration_text, number_text
from polewright.words.plan import POLE_WORDS, too_low_words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The plan, and the error that there is."""
    add = parser.add_argument
    add("--lat", type=float, required=True, metavar="DEG", help="latitude in degrees, north positive")
    add("--focal-length", type=float, required=True, metavar="MM", help="focal length of the imaging telescope in mm")
    add("--pixel-size", type=float, required=True, metavar="UM", help="pixel size in micrometres, before binning")
    add("--binning", type=int, default=1, metavar="N", help="pixels joined in each direction (default 1)")
    add("--sensor", default="6000x4000", metavar="WxH", help="sensor in pixels before binning (default 6000x4000)")
    add("--sub", type=float, required=True, metavar="S", help="length of one exposure in seconds")
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--dec", type=float, metavar="DEG", help="declination of the target")
    where.add_argument("--object", metavar="NAME", help="a well-known target, such as M31 or 'NGC 7000'")
    add(
        "--ha-from",
        type=float,
        metavar="H",
        help="first hour angle, west positive (default: centred on the meridian)",
    )
    add("--hours", type=float, default=2.0, metavar="H", help="length of the whole series in hours (default 2)")
    add("--unguided", action="store_true", help="no guiding: the drive runs at the sidereal rate")
    add("--guide-offset", type=float, default=0.5, metavar="DEG", help="guide star to picture centre (default 0.5)")
    add("--seeing", type=float, default=2.5, metavar="ARCSEC", help="width of the star discs (default 2.5)")
    add("--blur", type=float, default=0.5, metavar="PX", help="longest trail allowed (default 0.5)")
    add("--target", choices=sorted(TARGETS), help="pole to aim at (default: by latitude)")
    add("--error", type=float, metavar="ARCMIN", help="the error there is now: say how long one may expose with it")
    add("--json", action="store_true", help="print JSON instead of sentences")


def run(args: argparse.Namespace) -> int:
    """Print what the plan needs, or why nothing can be said."""
    plan = plan_from(args)
    target = TARGETS[args.target] if args.target else default_target(Site(plan.latitude_deg, 0.0))
    facts = needed_accuracy(plan, target)
    if isinstance(facts, TargetTooLow):
        said = too_low_words(facts)
        answer = {"possible": False, **told_facts(facts, said)}
        print(json_text(answer) if args.json else "\n".join(said))
        return EXIT_NOT_MEASURABLE
    lines, plain = sentences(plan, facts), plain_facts(plan, facts)
    if args.error is not None:
        more_lines, more = _with_error(plan, target, args.error)
        lines, plain = lines + more_lines, plain | more
    print(json_text(plain) if args.json else "\n".join(lines))
    return EXIT_OK


def plan_from(args: argparse.Namespace) -> ImagingPlan:
    """The plan that the options describe; UsageError when they make no sense."""
    size = re.fullmatch(r"(\d{1,6})[xX](\d{1,6})", args.sensor)
    if size is None:
        raise UsageError(f"--sensor must be like 6000x4000, not '{args.sensor}'.")
    start = -0.5 * args.hours if args.ha_from is None else args.ha_from
    return ImagingPlan(
        latitude_deg=args.lat,
        declination_deg=args.dec if args.object is None else sky_object(args.object).dec_deg,
        focal_length_mm=args.focal_length,
        pixel_um=args.pixel_size * args.binning,
        width_px=int(size[1]) // args.binning,
        height_px=int(size[2]) // args.binning,
        sub_s=args.sub,
        hour_angle_from_h=start,
        hour_angle_to_h=start + args.hours,
        guided=not args.unguided,
        guide_offset_deg=args.guide_offset,
        seeing_arcsec=args.seeing,
        allowed_blur_px=args.blur,
    )


def plain_facts(plan: ImagingPlan, facts: Tolerance) -> dict[str, Any]:
    """The answer as plain values, under the names that the JSON output promises."""
    return {
        "possible": True,
        "target": facts.target.name.lower(),
        "advised_arcmin": facts.advised_rad * ARCMIN_PER_RAD,
        "limit_arcmin": facts.limit_rad * ARCMIN_PER_RAD,
        "floor_arcmin": facts.floor_rad * ARCMIN_PER_RAD,
        "closed_form_arcmin": facts.closed_form_rad * ARCMIN_PER_RAD,
        "feasible": facts.feasible,
        "allowed_blur_px": plan.allowed_blur_px,
        "scale_arcsec_px": plan.scale_arcsec_px,
        "blur_of_air_px": facts.air_blur_px,
        "blur_advised_px": worst_blur_px(plan, facts.target, facts.advised_rad),
        "field_turn_of_series_arcmin": facts.session_rotation_rad * ARCMIN_PER_RAD,
        "best_pole": facts.best.name.lower(),
        "poles": {
            p.target.name.lower(): {"blur_px": p.blur_px, "limit_arcmin": p.limit_rad * ARCMIN_PER_RAD}
            for p in facts.poles
        },
    }


def sentences(plan: ImagingPlan, facts: Tolerance) -> list[str]:
    """The same for a person."""
    trail = worst_blur_px(plan, facts.target, facts.advised_rad)
    kind = "guided" if plan.guided else "unguided"
    lines = [
        f"Plan: {plan.focal_length_mm:g} mm, {plan.scale_arcsec_px:.2f}″ per pixel, {duration_text(plan.sub_s)}"
        f" {kind}, declination {plan.declination_deg:+.1f}°, hour angle {plan.hour_angle_from_h:+.1f} to"
        f" {plan.hour_angle_to_h:+.1f} h",
        f"Align to {angle_text(facts.advised_rad)} of {POLE_WORDS[facts.target]}.",
        f"  With it no star trails by more than {number_text(trail)} px"
        f" ({number_text(100.0 * (elongation(plan, trail) - 1.0))} % longer than wide).",
    ]
    if facts.limit_rad > 0.0:
        lines.append(
            f"  The allowed {plan.allowed_blur_px:g} px is reached at {angle_text(facts.limit_rad)}"
            f" (textbook formula, no air: {angle_text(facts.closed_form_rad)})."
            f" Half of that is advised, never more than {angle_text(CAP_RAD)}."
        )
    if not facts.feasible:
        lines += _too_much_asked(plan, facts)
    lines.append(f"  With no error at all the air still makes {number_text(facts.air_blur_px)} px.")
    return lines + _poles(facts)


def _poles(facts: Tolerance) -> list[str]:
    """A line for each pole; the best is named only where a figure of it is better to read."""
    figures = {
        p.target: f"{number_text(p.blur_px)} px, "
        + (f"room for {angle_text(p.limit_rad)}" if p.limit_rad > 0.0 else "no room for an error")
        for p in facts.poles
    }
    rooms = {angle_text(p.limit_rad) for p in facts.poles}
    best = facts.best if len(rooms) > 1 else None
    return [
        f"  Axis on {POLE_WORDS[pole]}: {text}{' (best)' if pole is best else ''}" for pole, text in figures.items()
    ]


def _too_much_asked(plan: ImagingPlan, facts: Tolerance) -> list[str]:
    shorter = longest_exposure_s(plan, facts.target, facts.advised_rad)
    cure = (
        f"expose {duration_text(shorter)}"
        if isinstance(shorter, float) and shorter >= 1.0
        else "a shorter focal length"
    )
    return [
        f"  This plan would need better, but better than {angle_text(facts.floor_rad)} can hardly be measured and"
        f" kept. Instead: {cure}{'' if plan.guided else ', or guide'}."
    ]


def _with_error(plan: ImagingPlan, target: TargetPole, error_arcmin: float) -> tuple[list[str], dict[str, Any]]:
    error = error_arcmin / ARCMIN_PER_RAD
    longest = longest_exposure_s(plan, target, error)
    trail = worst_blur_px(plan, target, error)
    lines = [f"With an error of {angle_text(error)}: {number_text(trail)} px in {duration_text(plan.sub_s)}."]
    more: dict[str, Any] = {"error_arcmin": error_arcmin, "blur_px": trail}
    if isinstance(longest, float):
        lines.append(f"  Exposures of up to {duration_text(longest)} stay within {plan.allowed_blur_px:g} px.")
        more["longest_exposure_s"] = longest
    return lines, more
