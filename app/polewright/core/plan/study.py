"""A plan seen from all sides: its blur by sub-exposure, by polar error and by declination, tabulated once.

The tables come from the exact simulation; between their nodes the logarithm of the blur is taken as straight in the
logarithms of error and time. The error counts in its worst direction.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import FloatArray, TargetPole
from polewright.core.plan.exposure_blur import axes_around, blur_px
from polewright.core.plan.imaging_plan import ImagingPlan
from polewright.core.plan.tolerance import LONGEST_S, unreachable

# chosen: the errors that the curves span
SMALLEST_RAD, LARGEST_RAD = 3.0 / ARCSEC_PER_RAD, float(np.radians(1.0))
SMALLEST_PX = 1e-6  # keeps the logarithm finite where nothing trails
# points of the tables: errors, coarse errors, directions of the error, hour angles; chosen for a smooth curve
_ERRORS, _COARSE, _DIRECTIONS, _HOURS = 13, 7, 16, 5
_TIMES, _TIME_RANGE = 10, 20.0  # exposures in the table, and how far the shortest lies below the planned one
_DECLINATIONS_DEG = np.array(
    [-88.0, -85.0, -80.0, -72.0, -60.0, -45.0, -25.0, -10.0, 0.0, 10.0, 25.0, 45.0, 60.0, 72.0, 80.0, 85.0, 88.0]
)


@dataclass(frozen=True, eq=False)
class PlanStudy:
    """Blur of a plan with the axis off `target`.

    `by_time` (T, E): pixels at `seconds` (T,) and `errors_rad` (E,). `by_declination` (D, C): pixels at
    `declinations_deg` (D,) and `coarse_rad` (C,), with the plan's own sub-exposure. Errors below 3" count as 3".
    """

    plan: ImagingPlan
    target: TargetPole
    seconds: FloatArray
    errors_rad: FloatArray
    by_time: FloatArray
    declinations_deg: FloatArray
    coarse_rad: FloatArray
    by_declination: FloatArray

    def blur_px(self, error_rad: float, seconds: float | None = None) -> float:
        """Longest trail of a sub-exposure of that length (the plan's when None)."""
        wanted = self.plan.sub_s if seconds is None else seconds
        return float(_at(self.seconds, self.along_time(error_rad), wanted))

    def along_time(self, error_rad: float) -> FloatArray:
        """Blur at each of `seconds` (T,)."""
        return np.array([float(_at(self.errors_rad, row, error_rad)) for row in self.by_time])

    def along_declination(self, error_rad: float) -> FloatArray:
        """Blur at each of `declinations_deg` (D,)."""
        return np.array([float(_at(self.coarse_rad, row, error_rad)) for row in self.by_declination])

    def longest_s(self, error_rad: float) -> float:
        """The longest sub-exposure whose blur stays within the allowed one; ends at the table's ends."""
        blur = np.maximum.accumulate(self.along_time(error_rad))
        allowed = self.plan.allowed_blur_px
        if blur[0] >= allowed:
            return float(self.seconds[0])
        if blur[-1] <= allowed:
            return float(self.seconds[-1])
        rising = blur * (1.0 + 1e-9 * np.arange(len(blur)))
        return float(np.exp(np.interp(np.log(allowed), np.log(rising), np.log(self.seconds))))

    @property
    def longest_of_all_s(self) -> float:
        """The end of the table: the whole series, at most six hours."""
        return float(self.seconds[-1])


def study(plan: ImagingPlan, target: TargetPole) -> PlanStudy:
    """The tables of a plan whose target is high enough; about 2 s of computing."""
    errors = np.geomspace(SMALLEST_RAD, LARGEST_RAD, _ERRORS)
    coarse = np.geomspace(SMALLEST_RAD, LARGEST_RAD, _COARSE)
    seconds, by_time = blur_by_exposure(plan, target, errors)
    elsewhere = [replace(plan, declination_deg=float(d)) for d in _DECLINATIONS_DEG]
    seen = [other for other in elsewhere if unreachable(other) is None]
    return PlanStudy(
        plan,
        target,
        seconds,
        errors,
        by_time,
        np.array([other.declination_deg for other in seen]),
        coarse,
        np.array([_worst(other, target, coarse, plan.sub_s) for other in seen]).reshape(len(seen), _COARSE),
    )


def blur_by_exposure(plan: ImagingPlan, target: TargetPole, errors_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lengths of a sub-exposure (T,), s, about the plan's own, and pixels (T, E) at each and at `errors_rad` (E,)."""
    longest = min(max(plan.total_s, plan.sub_s), LONGEST_S)
    seconds = np.geomspace(plan.sub_s / _TIME_RANGE, max(longest, 1.01 * plan.sub_s), _TIMES)
    seconds = np.sort(np.append(seconds, plan.sub_s))
    return seconds, np.array([_worst(plan, target, errors_rad, float(s)) for s in seconds])


def _worst(plan: ImagingPlan, target: TargetPole, errors_rad: FloatArray, seconds: float) -> FloatArray:
    """Longest trail (E,) over hour angles and directions of the error."""
    toward = np.linspace(0.0, 2.0 * np.pi, _DIRECTIONS, endpoint=False)
    east, up = (np.outer(errors_rad, part(toward)).ravel() for part in (np.cos, np.sin))
    axes = axes_around(float(np.radians(plan.latitude_deg)), plan.atmosphere, target, east, up)
    trails = blur_px(plan.shot(seconds), axes, plan.mid_hour_angles_rad(seconds, _HOURS))
    longest = trails.max(axis=1).reshape(len(errors_rad), _DIRECTIONS).max(axis=1)
    return np.asarray(np.maximum(longest, SMALLEST_PX))


def _at(nodes: FloatArray, values: FloatArray, wanted: float) -> FloatArray:
    """Straight in the logarithms; the ends hold beyond themselves."""
    return np.asarray(np.exp(np.interp(np.log(max(wanted, 1e-12)), np.log(nodes), np.log(values))))
