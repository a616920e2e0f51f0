"""`polewright measure FRAME...`: where the mount axis points."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from polewright.bootstrap import frame_measurer
from polewright.commands.frames_given import measured_one_by_one
from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.options import (
    TARGETS,
    add_camera_options,
    add_site_options,
    air_from,
    other_site,
    site_from,
)
from polewright.commands.output import json_text
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.axis.estimate import estimate_axis
from polewright.core.axis.lens_stars import Wide
from polewright.core.axis.screw_offsets import screw_offsets
from polewright.core.axis.shared_lens import with_shared_lens
from polewright.core.axis_reasons import AxisRefusal, SkyImpossible, TooFewPlaced
from polewright.core.budget import Budget, part_sigmas_rad
from polewright.core.errors import FrameReadError
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import Atmosphere, AxisEstimate, PlateSolution, Site, SkyFrame, TargetPole
from polewright.core.night.orientation.clock import clock_effect_rad, doubting_clock
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.places import default_target
from polewright.core.unsolved import ImpossibleSky, Unsolved
from polewright.services.catalogue import load_catalogue
from polewright.services.measuring import MeasuredFrame, arrivals_of, place_in_sky
from polewright.words.axis import budget_words, doubt_words, refusal_words
from polewright.words.frames import frame_words
from polewright.words.kinds import told_facts
from polewright.words.numbers import arcmin_text, offset_words


@dataclass(frozen=True, eq=False)
class Capture:
    """Frames placed on the sky, ready for the axis estimator, and the ones that were not."""

    measured: tuple[MeasuredFrame, ...]
    sky_frames: tuple[SkyFrame, ...]
    site: Site
    site_source: str
    target: TargetPole
    warnings: tuple[str, ...]
    atmosphere: Atmosphere


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """FRAME..., the camera and the site options."""
    parser.add_argument("frames", type=Path, nargs="+", metavar="FRAME", help="frames, the RA axis turned in between")
    add_camera_options(parser)
    add_site_options(parser)


def run(args: argparse.Namespace) -> int:
    """Print the offset of the axis, or why it cannot be measured."""
    capture = take_capture(args, args.frames)
    estimate = estimate_of(capture)
    facts = measured_facts(capture, estimate)
    print(json_text(facts) if args.json else "\n".join(sentences(capture, estimate)))
    return EXIT_OK if isinstance(estimate, AxisEstimate) else EXIT_NOT_MEASURABLE


def take_capture(args: argparse.Namespace, paths: Sequence[Path]) -> Capture:
    """Read, solve and place every frame; the site comes from the options or the first header that can be read.

    FrameReadError when no frame is usable.
    """
    catalogue = load_catalogue()
    measurer = frame_measurer(args, catalogue)
    first, each = measured_one_by_one(measurer, paths)
    site, site_source = site_from(args, first)
    came = [outcome for _, outcome in each]
    measured = [measurer.again(item) for item in came if isinstance(item, MeasuredFrame)]
    unread = [error for error in came if isinstance(error, FrameReadError)]
    if not measured:
        raise unread[0]
    atmosphere = air_from(args, site, first)
    each_by_itself = [place_in_sky(item.frame, item.outcome, site, atmosphere) for item in measured]
    placed = one_lens(measured, each_by_itself, catalogue, site, atmosphere)
    target = TARGETS[args.target] if args.target else default_target(site)
    warnings = [f"{item.frame.name}: {text}" for item in measured for text in item.warnings]
    return Capture(
        measured=tuple(replace(item, outcome=outcome_of(item, sky)) for item, sky in zip(measured, placed)),
        sky_frames=tuple(sky for sky in placed if isinstance(sky, SkyFrame)),
        site=site,
        site_source=site_source,
        target=target,
        warnings=(*map(str, unread), *other_site(args, first), *warnings),
        atmosphere=atmosphere,
    )


def one_lens(
    measured: Sequence[MeasuredFrame],
    placed: Sequence[SkyFrame | Unsolved],
    catalogue: Catalogue,
    site: Site,
    atmosphere: Atmosphere,
) -> list[SkyFrame | Unsolved]:
    """What was placed, with one lens for all frames where they are wide."""
    wide = [
        Wide(sky, item.outcome, item.stars)
        for item, sky in zip(measured, placed)
        if isinstance(sky, SkyFrame) and isinstance(item.outcome, PlateSolution)
    ]
    fitted = iter(with_shared_lens(wide, catalogue, site, atmosphere))
    return [next(fitted) if isinstance(sky, SkyFrame) else sky for sky in placed]


def outcome_of(item: MeasuredFrame, placed: SkyFrame | Unsolved) -> PlateSolution | Unsolved:
    """What came of a frame: its solution, or why it says nothing here."""
    return placed if isinstance(placed, Unsolved) else item.outcome


def estimate_of(capture: Capture) -> AxisEstimate | AxisRefusal:
    """The axis; refused when a frame cannot come from this site and time, for then none of them can be trusted."""
    for item in capture.measured:
        if isinstance(item.outcome, Unsolved) and isinstance(item.outcome.why, ImpossibleSky):
            return SkyImpossible(item.outcome.why)
    unplaced = [item for item in capture.measured if isinstance(item.outcome, Unsolved)]
    if len(capture.sky_frames) < 2 and unplaced and isinstance(unplaced[0].outcome, Unsolved):
        name, why = unplaced[0].frame.name, unplaced[0].outcome.why
        return TooFewPlaced(len(capture.sky_frames), len(capture.measured), name, why)
    estimate = estimate_axis(capture.sky_frames, capture.site, capture.atmosphere, capture.target, FLEXURE_PRIOR)
    if not isinstance(estimate, AxisEstimate):
        return estimate
    return doubting_clock(estimate, arrivals_of([item.frame for item in capture.measured]))


def with_their_places(capture: Capture) -> list[tuple[MeasuredFrame, SkyFrame | None]]:
    """Each frame (N,) beside what the axis rests on: one lens for all may know more of its stars."""
    places = iter(capture.sky_frames)
    return [(item, next(places) if isinstance(item.outcome, PlateSolution) else None) for item in capture.measured]


def frame_facts(item: MeasuredFrame, placed: SkyFrame | None) -> dict[str, object]:
    """One entry of the `frames` list in the JSON output."""
    outcome = item.outcome
    utc = item.frame.utc_mid
    facts: dict[str, object] = {
        "file": item.frame.name,
        "solved": isinstance(outcome, PlateSolution),
        "utc_mid_source": utc.source if utc is not None else None,
        "stars_detected": len(item.stars),
    }
    if isinstance(outcome, PlateSolution) and placed is not None:
        facts |= {
            "ra_deg": outcome.centre.ra_deg,
            "dec_deg": outcome.centre.dec_deg,
            "stars_matched": placed.stars_matched,
            "rms_arcsec": placed.rms_arcsec,
        }
    elif isinstance(outcome, Unsolved):
        facts |= told_facts(outcome.why, frame_words(outcome.why))
    return facts


def budget_facts(budget: Budget | None) -> dict[str, float] | None:
    """One sigma of every part, arcsec, in all."""
    if budget is None:
        return None
    return {part.value: sigma * ARCSEC_PER_RAD for part, sigma in part_sigmas_rad(budget).items()}


def measured_facts(capture: Capture, estimate: AxisEstimate | AxisRefusal) -> dict[str, object]:
    """The facts as plain values, under the names that the JSON output promises."""
    frames = [frame_facts(*frame) for frame in with_their_places(capture)]
    if not isinstance(estimate, AxisEstimate):
        return {
            "axis": None,
            **told_facts(estimate, refusal_words(estimate)),
            "target": capture.target.name.lower(),
            "frames": frames,
            "warnings": list(capture.warnings),
        }
    screws = screw_offsets(estimate)
    return {
        "axis": {
            "east_arcmin": estimate.east_rad * ARCMIN_PER_RAD,
            "up_arcmin": estimate.up_rad * ARCMIN_PER_RAD,
            "total_arcmin": estimate.total_rad * ARCMIN_PER_RAD,
            "covariance_arcmin2": (estimate.covariance_rad2 * ARCMIN_PER_RAD**2).tolist(),
            "budget": budget_facts(estimate.budget),
        },
        "azimuth_screw_arcmin": screws.azimuth_rad * ARCMIN_PER_RAD,
        "altitude_screw_arcmin": screws.altitude_rad * ARCMIN_PER_RAD,
        "chi2": estimate.chi2,
        "dof": estimate.dof,
        "target": capture.target.name.lower(),
        "turn_per_clock_minute_arcmin": clock_effect_rad(estimate.total_rad, 60.0) * ARCMIN_PER_RAD,
        "suspect": estimate.suspect,
        "frames": frames,
        "warnings": [*capture.warnings, *map(doubt_words, estimate.warnings)],
    }


def sentences(capture: Capture, estimate: AxisEstimate | AxisRefusal) -> list[str]:
    """The same for a person."""
    lines = []
    for item, placed in with_their_places(capture):
        outcome = item.outcome
        if isinstance(outcome, PlateSolution) and placed is not None:
            centre = outcome.centre
            lines.append(
                f"{item.frame.name}: RA {centre.ra_deg:.3f}, Dec {centre.dec_deg:+.3f} deg,"
                f" {placed.stars_matched} stars, {placed.rms_arcsec:.2f} arcsec"
            )
        elif isinstance(outcome, Unsolved):
            lines.append(f"{item.frame.name}: not solved: {frame_words(outcome.why).whole}")
    lines.append("")
    if not isinstance(estimate, AxisEstimate):
        said = refusal_words(estimate)
        lines += [f"Not measurable: {said.reason}", f"Do this: {said.cure}"]
    else:
        lines += axis_sentences(capture, estimate)
    warnings = [
        *capture.warnings,
        *(map(doubt_words, estimate.warnings) if isinstance(estimate, AxisEstimate) else ()),
    ]
    return lines + [f"Note: {text}" for text in warnings]


def consistency(estimate: AxisEstimate) -> str:
    """What the frames say against each other, if they can."""
    if not estimate.dof:
        return "not checked: two frames fix the axis and leave nothing over"
    return f"chi-square {estimate.chi2:.1f} for {estimate.dof} degrees of freedom"


def axis_sentences(capture: Capture, estimate: AxisEstimate) -> list[str]:
    """Offset, certainty and what the screws have to undo."""
    sigma_east, sigma_up = np.sqrt(np.diag(estimate.covariance_rad2))
    screws = screw_offsets(estimate)
    site = capture.site
    return [
        f"Site {site.lat_deg:+.3f}, {site.lon_deg:+.3f} deg, {site.elev_m:.0f} m ({capture.site_source});"
        f" target: {capture.target.name.lower()} pole",
        "",
        f"The axis lies {offset_words(estimate.east_rad, sigma_east, 'east', with_sigma=False)}"
        f" and {offset_words(estimate.up_rad, sigma_up, 'up', with_sigma=False)}.",
        f"  east         {arcmin_text(estimate.east_rad, sigma_east)} on the sky",
        f"  up           {arcmin_text(estimate.up_rad, sigma_up)} on the sky",
        f"  in all       {arcmin_text(estimate.total_rad, float(np.hypot(sigma_east, sigma_up)))}",
        *([] if estimate.budget is None else [f"  uncertain    {budget_words(estimate.budget)}"]),
        f"  azimuth      {arcmin_text(screws.azimuth_rad, screws.sigma_azimuth_rad)}"
        " along the horizon, east positive (azimuth screw)",
        f"  altitude     {arcmin_text(screws.altitude_rad, screws.sigma_altitude_rad)} (altitude screw)",
        f"  consistency  {consistency(estimate)}",
        "  as stated    clock and longitude: a minute, or a quarter of a degree, turns this about the pole by"
        f" {clock_effect_rad(estimate.total_rad, 60.0) * ARCMIN_PER_RAD:.2f}′",
    ]
