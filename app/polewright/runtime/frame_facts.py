"""What a frame told, as plain values for the record and as events for the night."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from polewright.core.axis import sky_frame
from polewright.core.errors import RecordingError
from polewright.core.events import FrameSolved, FrameUnsolved
from polewright.core.measured import FrameTrouble, PlacedFrame
from polewright.core.model import (
    Attitude,
    Camera,
    MatchedStars,
    PlateSolution,
    Site,
    StarFlag,
    StarList,
    Unsolved,
    Utc,
)
from polewright.core.places import standard_atmosphere
from polewright.core.plain import from_plain, to_plain
from polewright.services.measuring import MeasuredFrame

FEW_STARS = 8  # below this a frame that matches nothing simply has too few
WIDE_FWHM_PX = 9.0
VERDICT_WORDS = {  # what the verdict on the frame (core/detection/verdict.py) says
    "trailed": FrameTrouble.TRAILED,
    "out of focus": FrameTrouble.OUT_OF_FOCUS,
    "pixels are full": FrameTrouble.SATURATED,
    "pixel is full": FrameTrouble.SATURATED,
}
NO_TIME = "The frame does not say when it was taken."
NO_TIME_CURE = "Let the camera software write the time (DATE-OBS) into its files, or give the time zone."

FrameEvent = FrameSolved | FrameUnsolved


def frame_event(at_s: float, name: str, measured: MeasuredFrame, site: Site) -> FrameEvent:
    """What a measured frame means for the night."""
    outcome = measured.outcome
    if isinstance(outcome, Unsolved):
        trouble = trouble_of(measured.stars)
        return FrameUnsolved(at_s, name, outcome.reason, outcome.cure, trouble, outcome.stars_detected)
    utc = measured.frame.utc_mid
    if utc is None:
        return FrameUnsolved(at_s, name, NO_TIME, NO_TIME_CURE, FrameTrouble.NO_TIME, outcome.stars_detected)
    return FrameSolved(at_s, place(name, utc.value, site, outcome))


def place(name: str, utc_mid: Utc, site: Site, solution: PlateSolution) -> PlacedFrame:
    """The frame in the observed sky over the site."""
    return PlacedFrame.of(sky_frame(name, utc_mid, site, standard_atmosphere(site), solution))


def trouble_of(stars: StarList) -> FrameTrouble:
    """What is wrong with the stars of a frame that could not be placed."""
    count = len(stars)
    told = next((kind for words, kind in VERDICT_WORDS.items() if words in stars.reason), None)
    if told is not None:
        return told
    if count and np.mean((stars.flags & StarFlag.ELONGATED) != 0) > 0.5:
        return FrameTrouble.TRAILED
    if count and float(np.median(stars.fwhm_px)) > WIDE_FWHM_PX:
        return FrameTrouble.OUT_OF_FOCUS
    return FrameTrouble.TOO_FEW_STARS if count < FEW_STARS else FrameTrouble.NO_MATCH


# the record


def measured_to_plain(name: str, kept_as: str, measured: MeasuredFrame) -> dict[str, Any]:
    """Stars and solution of a frame, exact; `kept_as` says where the frame itself is."""
    utc = measured.frame.utc_mid
    outcome = measured.outcome
    return {
        "name": name,
        "file": kept_as,
        "utc_mid": None if utc is None else to_plain(utc.value),
        "utc_source": None if utc is None else utc.source,
        "exposure_s": None if measured.frame.exposure_s is None else measured.frame.exposure_s.value,
        "seconds": dict(measured.seconds),
        "warnings": list(measured.warnings),
        "stars": stars_to_plain(measured.stars),
        "solution": solution_to_plain(outcome) if isinstance(outcome, PlateSolution) else None,
        "unsolved": to_plain(outcome) if isinstance(outcome, Unsolved) else None,
    }


def stars_to_plain(stars: StarList) -> dict[str, Any]:
    """A star list with its arrays as lists."""
    columns = ("x_px", "y_px", "sigma_px", "flux_adu", "snr", "fwhm_px", "flags")
    return {
        "width_px": stars.width_px,
        "height_px": stars.height_px,
        **{name: getattr(stars, name) for name in columns},
        "background_adu": stars.background_adu,
        "noise_adu": stars.noise_adu,
        "rejected": dict(stars.rejected),
        "reason": stars.reason,
        "cure": stars.cure,
    }


def solution_to_plain(solution: PlateSolution) -> dict[str, Any]:
    """A plate solution with its matched stars."""
    matched = solution.matched
    columns = ("x_px", "y_px", "sigma_px", "icrs", "catalogue_index", "magnitude", "residual_arcsec")
    return {
        "camera_to_icrs": solution.attitude_icrs.camera_to_sky,
        "covariance_rad2": solution.attitude_icrs.covariance_rad2,
        "camera": to_plain(solution.camera),
        "matched": {name: getattr(matched, name) for name in columns},
        "stars_detected": solution.stars_detected,
        "rms_arcsec": solution.rms_arcsec,
        "log_odds": solution.log_odds,
        "path": solution.path,
        "warnings": list(solution.warnings),
    }


def solution_from_plain(data: Mapping[str, Any]) -> PlateSolution:
    """The plate solution of a record; RecordingError when it is damaged."""
    try:
        matched = {
            k: np.array(v, dtype=np.int64 if k == "catalogue_index" else float) for k, v in data["matched"].items()
        }
        return PlateSolution(
            attitude_icrs=Attitude(np.array(data["camera_to_icrs"]), np.array(data["covariance_rad2"])),
            camera=from_plain(Camera, data["camera"]),
            matched=MatchedStars(**matched),
            stars_detected=int(data["stars_detected"]),
            rms_arcsec=float(data["rms_arcsec"]),
            log_odds=float(data["log_odds"]),
            path=str(data["path"]),
            warnings=tuple(data["warnings"]),
        )
    except (KeyError, TypeError, ValueError) as exc:
        raise RecordingError(f"The record of a frame's solution is damaged: {exc!r}.") from exc
