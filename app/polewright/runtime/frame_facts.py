"""What a frame told, as plain values for the record and as events for the night."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from polewright.core.axis.estimate import sky_frame
from polewright.core.axis.plausible import impossible_sky
from polewright.core.errors import RecordingError
from polewright.core.model import (
    NO_SHARED_ERROR,
    Atmosphere,
    Attitude,
    Camera,
    FloatArray,
    MatchedStars,
    PlateSolution,
    SharedError,
    Site,
    SkyPosition,
    StarList,
    Utc,
)
from polewright.core.night.events import FrameSolved, FrameUnsolved
from polewright.core.night.measured import PlacedFrame
from polewright.core.plain import from_plain, to_plain
from polewright.core.unsolved import NoTime, Unsolved
from polewright.services.measuring import MeasuredFrame

LARGEST_SIDE_PX = 100_000

FrameEvent = FrameSolved | FrameUnsolved


def frame_event(at_s: float, name: str, measured: MeasuredFrame, site: Site, air: Atmosphere) -> FrameEvent:
    """What a measured frame means for the night."""
    outcome = measured.outcome
    if isinstance(outcome, Unsolved):
        return FrameUnsolved(at_s, name, outcome.why, outcome.stars_detected)
    utc = measured.frame.utc_mid
    if utc is None:
        return FrameUnsolved(at_s, name, NoTime(), outcome.stars_detected)
    placed = place(name, utc.value, site, air, outcome)
    impossible = impossible_sky(placed.sky_frame(), site)
    if impossible is not None:
        return FrameUnsolved(at_s, name, impossible, outcome.stars_detected)
    return FrameSolved(at_s, placed)


def place(name: str, utc_mid: Utc, site: Site, air: Atmosphere, solution: PlateSolution) -> PlacedFrame:
    """The frame in the observed sky over the site."""
    return PlacedFrame.of(sky_frame(name, utc_mid, site, air, solution))


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
        "trouble": to_plain(stars.trouble),
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
        "shared_error": list(solution.shared_error),
        "inherited_rad2": solution.inherited_rad2,
        "anchor": to_plain(solution.anchor),
    }


def solution_from_plain(data: Mapping[str, Any]) -> PlateSolution:
    """The plate solution of a record; RecordingError when it is damaged."""
    try:
        matched = {
            k: np.array(v, dtype=np.int64 if k == "catalogue_index" else float) for k, v in data["matched"].items()
        }
        solution = PlateSolution(
            attitude_icrs=Attitude(np.array(data["camera_to_icrs"]), np.array(data["covariance_rad2"])),
            camera=from_plain(Camera, data["camera"]),
            matched=MatchedStars(**matched),
            stars_detected=int(data["stars_detected"]),
            rms_arcsec=float(data["rms_arcsec"]),
            log_odds=float(data["log_odds"]),
            path=str(data["path"]),
            warnings=tuple(data["warnings"]),
            shared_error=_shared(data),
            inherited_rad2=_inherited(data),
            anchor=from_plain(SkyPosition, data["anchor"]) if data.get("anchor") is not None else None,
        )
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as exc:
        raise RecordingError(f"The record of a frame's solution is damaged: {exc!r}.") from exc
    if not _fits_together(solution):
        raise RecordingError("The record of a frame's solution is damaged: its numbers do not fit together.")
    return solution


def _shared(data: Mapping[str, Any]) -> SharedError:
    """Older records have none."""
    x, y, turn, own_turn = (float(v) for v in data.get("shared_error", NO_SHARED_ERROR))
    return x, y, turn, own_turn


def _inherited(data: Mapping[str, Any]) -> FloatArray | None:
    """None where the catalogue placed the frame, and in older records."""
    inherited = data.get("inherited_rad2")
    return None if inherited is None else np.array(inherited, dtype=float)


def _fits_together(solution: PlateSolution) -> bool:
    """Whether shapes and sizes are those that a plate solution can have."""
    matched, attitude, camera = solution.matched, solution.attitude_icrs, solution.camera
    count = matched.x_px.shape[:1]
    columns = (matched.x_px, matched.y_px, matched.sigma_px, matched.catalogue_index, matched.magnitude)
    shapes = all(column.shape == count for column in columns) and matched.icrs.shape == (*count, 3)
    rotation = attitude.camera_to_sky.shape == attitude.covariance_rad2.shape == (3, 3)
    size = 0 < camera.width_px <= LARGEST_SIDE_PX and 0 < camera.height_px <= LARGEST_SIDE_PX
    inherited = np.zeros((3, 3)) if solution.inherited_rad2 is None else solution.inherited_rad2
    shapes = shapes and inherited.shape == (3, 3)
    if not (shapes and rotation and size and 0.0 < camera.focal_px < math.inf):
        return False
    shared = np.array(solution.shared_error)
    numbers = (matched.x_px, matched.y_px, matched.sigma_px, matched.icrs, attitude.camera_to_sky, shared, inherited)
    return bool(
        all(np.isfinite(values).all() for values in numbers)
        and np.allclose(attitude.camera_to_sky @ attitude.camera_to_sky.T, np.eye(3), atol=1e-6)
        and np.allclose(np.linalg.norm(matched.icrs, axis=1), 1.0, atol=1e-6)
        and (matched.sigma_px > 0.0).all()
    )
