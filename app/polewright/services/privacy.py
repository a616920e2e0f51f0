"""Leaves out of a bug report what is nobody's business: where the mount stands, who its owner is, where files lie.

Numbers are let through by name and not struck out by name: what a later version records is private until listed here.

Decided 2026-11-25. What a bug report may tell. A night's record says where the mount stands in many ways: the site,
attitudes against the horizon, the refraction between two poles. The doctor's bundle lets recorded values through by
name (services/privacy.py), so that what a later version records stays private until somebody lists it. Striking out
private names was rejected: it forgets.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

LEFT_OUT = "<left out>"

HARMLESS = frozenset(
    {
        # what happened
        "kind", "at_s", "format", "version", "program", "events_lost", "where", "error", "traceback",
        # what the person did and asked for
        "target", "tolerance_rad", "screw", "turns", "on", "reason", "cure", "trouble", "why", "azimuth", "altitude",
        "prior", "moves", "bends", "sigma", "backlash", "backlash_turns", "rad_per_turn",
        # frames: nothing that ties the sky to the horizon
        "name", "frame", "exposure_s", "utc_source", "seconds", "read", "detect", "solve", "warnings",
        "stars_detected", "solution", "unsolved", "rms_arcsec", "log_odds", "path", "camera",
        "value_adu", "share", "rings", "found", "needed", "count", "length_px", "hot_pixels", "objects", "least_px",
        "step_rad", "learned", "others_too", "narrowest_deg", "widest_deg", "problem",
        "width_px", "height_px", "focal_px", "mirrored", "scale_arcsec_px",
        # the axis
        "axis", "east_rad", "up_rad", "covariance_rad2", "chi2", "dof", "rotation_rad", "frames", "suspect",
        "gains", "tracking", "sigma_rad", "text", "disagree", "placed", "first", "last", "twin", "span_rad",
        "turn_rad", "after_rad", "scatter_rad", "size_rad", "stays", "mishap", "index", "undone", "widened",
        "screws_too", "look", "ahead_s", "hours", "unknown", "cause", "agree", "comparison", "needed_s", "stars",
        "reach_px",
    }
)  # fmt: skip
"""Names of recorded values that tell nothing about the place: angles of the axis against the pole, times, counts.

Not among them: the offset from the other pole, whose distance is refraction: it tells the latitude.
"""

DEGREES = re.compile(
    r"(?i)\b(lat(?:itude)?|lon(?:gitude)?|elev(?:ation)?|sitelat|sitelong|siteelev)(_deg|_m)?"
    r"([\"']?\s*[=:]?\s*[\"']?)([-+]?\d[\d.,:°'\"′″ ]*)"
)


@dataclass(frozen=True)
class Privacy:
    """`home`: the path of the person's folder; `names`: of person and computer. Empty texts are ignored."""

    home: str
    names: tuple[str, ...] = ()

    def text(self, text: str) -> str:
        """Free text without home path, names, and numbers that follow a word for a place."""
        for spelling in {self.home, self.home.replace("\\", "/"), self.home.replace("\\", "\\\\")}:
            if len(spelling) > 1:
                text = text.replace(spelling, "~")
        for name in self.names:
            if name:
                text = re.sub(rf"(?i)(?<![A-Za-z0-9]){re.escape(name)}(?![A-Za-z0-9])", LEFT_OUT, text)
        return DEGREES.sub(lambda found: f"{found[1]}{found[2] or ''}{found[3]}{LEFT_OUT}", text)

    def recorded(self, value: Any) -> Any:
        """A recorded value with everything left out that is not known to be harmless."""
        if isinstance(value, Mapping):
            return {name: self.recorded(item) if name in HARMLESS else LEFT_OUT for name, item in value.items()}
        if isinstance(value, list):
            return [self.recorded(item) for item in value]
        return self.text(value) if isinstance(value, str) else value
