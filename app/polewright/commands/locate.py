"""`polewright locate FRAME`: where one frame points."""

from __future__ import annotations

import argparse
from pathlib import Path

from polewright.bootstrap import frame_measurer
from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.options import add_camera_options
from polewright.commands.output import json_text
from polewright.core.model import PlateSolution
from polewright.services.measuring import MeasuredFrame
from polewright.words.frames import frame_words
from polewright.words.kinds import told_facts


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """FRAME and the camera options."""
    parser.add_argument("frame", type=Path, metavar="FRAME", help="FITS, TIFF, PNG, JPEG, BMP or raw file")
    add_camera_options(parser)


def run(args: argparse.Namespace) -> int:
    """Print the plate solution, or why there is none."""
    measured = frame_measurer(args).measure(args.frame)
    facts = located(measured)
    print(json_text(facts) if args.json else "\n".join(sentences(measured)))
    return EXIT_OK if facts["solved"] else EXIT_NOT_MEASURABLE


def located(measured: MeasuredFrame) -> dict[str, object]:
    """The facts as plain values, under the names that the JSON output promises."""
    seconds = sum(measured.seconds.values())
    outcome = measured.outcome
    if not isinstance(outcome, PlateSolution):
        return {
            "solved": False,
            **told_facts(outcome.why, frame_words(outcome.why)),
            "stars_detected": len(measured.stars),
            "seconds": seconds,
            "warnings": list(measured.warnings),
        }
    return {
        "solved": True,
        "ra_deg": outcome.centre.ra_deg,
        "dec_deg": outcome.centre.dec_deg,
        "position_angle_deg": outcome.position_angle_deg,
        "scale_arcsec_px": outcome.scale_arcsec_px,
        "mirrored": outcome.mirrored,
        "stars_detected": len(measured.stars),
        "stars_matched": len(outcome.matched),
        "rms_arcsec": outcome.rms_arcsec,
        "seconds": seconds,
        "warnings": list(measured.warnings),
    }


def sentences(measured: MeasuredFrame) -> list[str]:
    """The same for a person."""
    outcome = measured.outcome
    lines = [f"{measured.frame.name}: {measured.frame.width_px} x {measured.frame.height_px} px"]
    if isinstance(outcome, PlateSolution):
        camera = outcome.camera
        width_deg = camera.width_px * camera.scale_arcsec_px / 3600.0
        height_deg = camera.height_px * camera.scale_arcsec_px / 3600.0
        lines += [
            f"  centre          RA {outcome.centre.ra_deg:.4f} deg, Dec {outcome.centre.dec_deg:+.4f} deg (ICRS)",
            f"  image up        position angle {outcome.position_angle_deg:.2f} deg"
            + (", mirrored" if outcome.mirrored else ""),
            f"  scale           {outcome.scale_arcsec_px:.3f} arcsec/px,"
            f" field {width_deg:.2f} x {height_deg:.2f} deg",
            f"  stars           {len(outcome.matched)} matched of {len(measured.stars)} detected,"
            f" residual {outcome.rms_arcsec:.2f} arcsec",
        ]
    else:
        said = frame_words(outcome.why)
        lines += [f"  not solved: {said.reason}", f"  do this: {said.cure}"]
    lines += [f"  note: {warning}" for warning in measured.warnings]
    return lines
