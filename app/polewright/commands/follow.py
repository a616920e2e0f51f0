"""`polewright follow FRAME... --capture N`: the axis frame by frame, first N frames as capture."""

from __future__ import annotations

import argparse
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
    site_from,
)
from polewright.commands.output import json_text
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.axis.estimate import estimate_axis
from polewright.core.axis.following import AxisReading, FollowState, follow, start_following
from polewright.core.axis.lens_fit import Learned
from polewright.core.axis.lens_stars import Wide
from polewright.core.axis.shared_lens import frame_by, frames_by, learned_lens
from polewright.core.errors import FrameReadError, UsageError
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import Atmosphere, AxisEstimate, PlateSolution, Site, SkyFrame, TargetPole
from polewright.core.sky.places import default_target
from polewright.services.catalogue import load_catalogue
from polewright.services.measuring import MeasuredFrame, place_in_sky
from polewright.words.axis import doubt_words, follow_words, refusal_words
from polewright.words.frames import frame_words
from polewright.words.numbers import offset_words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """FRAME..., --capture, the camera and the site options."""
    parser.add_argument("frames", type=Path, nargs="+", metavar="FRAME", help="frames in the order they were taken")
    parser.add_argument(
        "--capture", type=int, required=True, metavar="N", help="the first N frames were taken turning the RA axis"
    )
    add_camera_options(parser)
    add_site_options(parser)


def run(args: argparse.Namespace) -> int:
    """One line a frame, printed as soon as the frame is measured."""
    if args.capture < 2:
        raise UsageError(f"--capture must be at least 2, not {args.capture}.")
    if len(args.frames) < args.capture:
        raise UsageError(f"--capture {args.capture} needs at least {args.capture} frames; {len(args.frames)} given.")
    first, each = measured_one_by_one(frame_measurer(args), args.frames)
    site, _ = site_from(args, first)
    session = FollowSession(
        site, air_from(args, site, first), TARGETS[args.target] if args.target else default_target(site), args.capture
    )
    for path, item in each:
        line = session.unreadable(path.name, str(item)) if isinstance(item, FrameReadError) else session.take(item)
        print(json_text(line) if args.json else sentence(line), flush=True)
    return EXIT_OK if session.measured_something else EXIT_NOT_MEASURABLE


class FollowSession:
    """Turns measured frames into lines: the capture first, then every frame against it."""

    def __init__(self, site: Site, atmosphere: Atmosphere, target: TargetPole, capture_frames: int) -> None:
        self._site = site
        self._target = target
        self._atmosphere = atmosphere
        self._left = capture_frames
        self._captured: list[Wide] = []
        self._lens: Learned | None = None  # the one of all frames of the capture
        self._following: FollowState | None = None
        self.measured_something = False

    def unreadable(self, name: str, message: str) -> dict[str, object]:
        """The line for a file that is no frame; it still counts as one of the capture frames."""
        capturing = self._left > 0
        self._left = max(0, self._left - 1)
        return self._line(name, "capture" if capturing else "adjust", None, "unknown", [message])

    def take(self, measured: MeasuredFrame) -> dict[str, object]:
        """The line for a measured frame."""
        placed = place_in_sky(measured.frame, measured.outcome, self._site, self._atmosphere)
        warnings = list(measured.warnings)
        if not isinstance(placed, SkyFrame):
            warnings.append(frame_words(placed.why).whole)
        seen = None
        if isinstance(placed, SkyFrame) and isinstance(measured.outcome, PlateSolution):
            seen = Wide(placed, measured.outcome, measured.stars)
        if self._left > 0:
            return self._capture_line(measured.frame.name, seen, warnings)
        return self._adjust_line(measured.frame.name, seen, warnings)

    def _by_one_lens(self) -> list[SkyFrame]:
        """The frames of the capture; their lens is kept for those that follow."""
        self._lens = learned_lens(self._captured, load_catalogue(), self._site, self._atmosphere)
        if self._lens is None:
            return [each.sky for each in self._captured]
        return frames_by(self._lens, self._captured)

    def _by_that_lens(self, seen: Wide) -> SkyFrame:
        """A frame after the capture; by itself where it does not fit the lens of the capture."""
        if self._lens is None:
            return seen.sky
        placed = frame_by(self._lens, seen, load_catalogue(), self._site, self._atmosphere)
        return placed or seen.sky

    def _capture_line(self, name: str, placed: Wide | None, warnings: list[str]) -> dict[str, object]:
        self._left -= 1
        if placed is not None:
            self._captured.append(placed)
        reading: tuple[float, float, np.ndarray] | None = None
        if len(self._captured) >= 2:
            frames = self._by_one_lens()
            estimate = estimate_axis(frames, self._site, self._atmosphere, self._target, FLEXURE_PRIOR)
            if isinstance(estimate, AxisEstimate):
                reading = (estimate.east_rad, estimate.up_rad, estimate.covariance_rad2)
                warnings += map(doubt_words, estimate.warnings)
                if self._left == 0:
                    self._following = start_following(estimate, frames)
            elif self._left == 0:
                warnings.append(refusal_words(estimate).whole)
        elif self._left == 0:
            warnings.append("Fewer than two capture frames could be solved: take the capture again.")
        return self._line(name, "capture", reading, "unknown", warnings)

    def _adjust_line(self, name: str, placed: Wide | None, warnings: list[str]) -> dict[str, object]:
        if self._following is None or placed is None:
            return self._line(name, "adjust", None, "unknown", warnings)
        self._following, reading = follow(self._following, self._by_that_lens(placed))
        return self._reading_line(name, reading, warnings)

    def _reading_line(self, name: str, reading: AxisReading, warnings: list[str]) -> dict[str, object]:
        values = (reading.east_rad, reading.up_rad, reading.covariance_rad2)
        return self._line(name, "adjust", values, reading.tracking, [*warnings, *_told(reading)])

    def _line(
        self,
        name: str,
        stage: str,
        reading: tuple[float, float, np.ndarray] | None,
        tracking: str,
        warnings: list[str],
    ) -> dict[str, object]:
        line: dict[str, object] = {
            "file": name,
            "stage": stage,
            "east_arcmin": None,
            "up_arcmin": None,
            "sigma_east_arcmin": None,
            "sigma_up_arcmin": None,
            "tracking": tracking,
            "warnings": warnings,
        }
        if reading is not None:
            east, up, covariance = reading
            sigma = np.sqrt(np.diag(covariance)) * ARCMIN_PER_RAD
            line |= {
                "east_arcmin": east * ARCMIN_PER_RAD,
                "up_arcmin": up * ARCMIN_PER_RAD,
                "sigma_east_arcmin": float(sigma[0]),
                "sigma_up_arcmin": float(sigma[1]),
            }
            self.measured_something = True
        return line


def sentence(line: dict[str, object]) -> str:
    """The same for a person."""
    text = f"{line['file']}: {line['stage']}"
    east, up = line["east_arcmin"], line["up_arcmin"]
    sigma_east, sigma_up = line["sigma_east_arcmin"], line["sigma_up_arcmin"]
    if isinstance(east, float) and isinstance(up, float) and isinstance(sigma_east, float):
        assert isinstance(sigma_up, float)
        text += (
            f", axis {offset_words(east / ARCMIN_PER_RAD, sigma_east / ARCMIN_PER_RAD, 'east')},"
            f" {offset_words(up / ARCMIN_PER_RAD, sigma_up / ARCMIN_PER_RAD, 'up')}"
        )
    if line["tracking"] != "unknown":
        text += f", tracking {line['tracking']}"
    warnings = line["warnings"]
    assert isinstance(warnings, list)
    return "\n".join([text, *(f"  note: {warning}" for warning in warnings)])


def _told(reading: AxisReading) -> list[str]:
    """What is to be known about a reading; why the frame could not be used."""
    refused = [] if reading.refused is None else [frame_words(reading.refused).whole]
    return [*refused, *map(follow_words, reading.warnings)]
