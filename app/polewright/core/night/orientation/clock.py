"""What no frame of a capture can show: that all their times are wrong alike. The files' own times may show it.

A wrong clock, like a wrong longitude, turns the measured axis about the pole: the size of the error stays, its
direction does not. It vanishes as the axis comes to the pole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.axis_reasons import ClocksDiffer
from polewright.core.model import AxisEstimate
from polewright.core.sky.places import hemisphere_sign, offset_from_pole

LATENCY_S = 8.0  # a frame is read out and written within this time (common practice, no source)
SAME_LATENCY_S = 20.0  # the files' times belong to the exposures when they follow them this evenly
SHORTEST_SPAN_S = 30.0
REFRACTION_SHARE = 0.05  # of the turn: stars computed at a wrong altitude are refracted wrongly


@dataclass(frozen=True)
class FrameArrival:
    """One frame: middle of the exposure by its own time, exposure, and the computer's clock when it had landed.

    Both times in seconds of UTC from any common zero.
    """

    mid_utc_s: float
    exposure_s: float
    landed_utc_s: float


@dataclass(frozen=True)
class ClockCheck:
    """How far the frames' times are ahead of this computer's clock, s, and what that does; None where they agree."""

    ahead_s: float
    doubt: ClocksDiffer | None

    @property
    def agrees(self) -> bool:
        """Whether the two clocks go alike."""
        return self.doubt is None


def check_clock(arrivals: Sequence[FrameArrival], offset_rad: float | None = None) -> ClockCheck | None:
    """Compares frame times with the computer's clock; None without frames. A frame lands 0 to 8 s after its exposure.

    `offset_rad` is the size of the axis error, when known: a wrong clock turns it about the pole, nothing else.
    """
    if not arrivals:
        return None
    ahead = median(a.mid_utc_s + 0.5 * a.exposure_s - a.landed_utc_s for a in arrivals)
    beyond = ahead if ahead > 0.0 else min(ahead + LATENCY_S, 0.0)
    if abs(beyond) <= 2.0:
        return ClockCheck(ahead, None)
    effect = clock_effect_rad(math.radians(1.0) if offset_rad is None else offset_rad, beyond)
    return ClockCheck(ahead, ClocksDiffer(beyond, offset_rad, effect))


def clock_effect_rad(offset_rad: float, clock_error_s: float) -> float:
    """How far a wrong clock displaces an axis error of this size: it turns it about the pole, E w dt."""
    return abs(2.0 * math.sin(0.5 * SIDEREAL_RATE_RAD_S * clock_error_s) * offset_rad)


def check_file_times(arrivals: Sequence[FrameArrival], offset_rad: float | None = None) -> ClockCheck | None:
    """Frame times against the times at which their files were written.

    None when the files cannot tell: too few, or their times are those of a copy (all alike, or in no step with the
    exposures).
    """
    ahead = [a.mid_utc_s - a.landed_utc_s for a in arrivals]
    times = [a.mid_utc_s for a in arrivals]
    if len(arrivals) < 2 or max(times) - min(times) < SHORTEST_SPAN_S or max(ahead) - min(ahead) > SAME_LATENCY_S:
        return None
    return check_clock(arrivals, offset_rad)


def doubting_clock(estimate: AxisEstimate, arrivals: Sequence[FrameArrival]) -> AxisEstimate:
    """The estimate, its covariance widened to where the axis would lie by the other clock, if the clocks disagree."""
    check = check_file_times(arrivals, estimate.total_rad)
    if check is None or check.doubt is None:
        return estimate
    ahead_s = median(a.mid_utc_s + 0.5 * a.exposure_s - a.landed_utc_s for a in arrivals)
    north = hemisphere_sign(estimate.site) * estimate.target_enu
    other = rotation_about(north, SIDEREAL_RATE_RAD_S * ahead_s) @ estimate.axis_enu
    east, up = offset_from_pole(other, estimate.target_enu, estimate.site)
    shift = np.array([east - estimate.east_rad, up - estimate.up_rad])
    doubt = np.outer(shift, shift) + (REFRACTION_SHARE**2 * float(shift @ shift)) * np.eye(2)
    return replace(
        estimate,
        covariance_rad2=estimate.covariance_rad2 + doubt,
        warnings=(*estimate.warnings, replace(check.doubt, widened=True)),
    )
