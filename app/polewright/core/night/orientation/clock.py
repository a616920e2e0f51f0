"""What no frame of a capture can show: that all their times are wrong alike. The files' own times may show it.

A wrong clock, like a wrong longitude, turns the measured axis about the pole: the size of the error stays, its
direction does not. It vanishes as the axis comes to the pole.

A wrong date is another matter: the pole itself moves among the stars, and a good alignment is missed by so much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.axis_reasons import ClocksDiffer
from polewright.core.budget import Part
from polewright.core.covariance import covariance_of
from polewright.core.model import AxisEstimate, Utc
from polewright.core.sky.places import hemisphere_sign, offset_from_pole
from polewright.core.sky.timescales import julian_epoch_year

LATENCY_S = 8.0  # a frame is read out and written within this time (common practice, no source)
SAME_LATENCY_S = 20.0  # the files' times belong to the exposures when they follow them this evenly
SHORTEST_SPAN_S = 30.0  # between two frames: shorter, latency looks like a wrong clock
REFRACTION_SHARE = 0.05  # of the turn: stars computed at a wrong altitude are refracted wrongly
AHEAD_S, BEHIND_S = 5.0, 90.0  # chosen: no frame comes from the future; a slow share may be late
ZONE_STEP_S, ZONE_DOUBT_S = 900.0, 30.0  # the doubt is chosen: clocks set by hand are rarely nearer
DAY_S, YEAR_S = 86400.0, 365.25 * 86400.0
EARLIEST_YEAR = 1990.0  # no camera that writes such files is older (common practice, no source)
# the pole's way among the stars in a year: IAU precession, n = 2004.3109" a century
# (Meeus, Astronomical Algorithms, 2nd ed. 1998, chapter 21)
PRECESSION_RAD_YEAR = 20.043109 / ARCSEC_PER_RAD


@dataclass(frozen=True)
class WrongDate:
    """A frame's date is off the other witness by so much, s (positive: ahead), which moves the pole by `effect_rad`;
    `too_old`: it lies before the time of such cameras."""

    ahead_s: float
    effect_rad: float
    too_old: bool = False


def doubted_date(taken: Utc, written: Utc | None) -> WrongDate | None:
    """What is wrong with a frame's date, beside the moment at which its file was written; None when nothing is."""
    ahead_s = 0.0 if written is None else taken.seconds_since(written)
    too_old = julian_epoch_year(taken) < EARLIEST_YEAR
    if abs(ahead_s) <= DAY_S and not too_old:
        return None
    return WrongDate(ahead_s, precession_rad(ahead_s), too_old)


def precession_rad(seconds: float) -> float:
    """How far the pole moves among the stars in that time."""
    return abs(seconds) / YEAR_S * PRECESSION_RAD_YEAR


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

    @property
    def late_at_most(self) -> bool:
        """Whether a slow share or disk explains the difference: then nothing need be set."""
        return self.agrees or -BEHIND_S <= self.ahead_s <= AHEAD_S


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
    if abs(beyond) > DAY_S:
        return ClockCheck(ahead, ClocksDiffer(beyond, offset_rad, precession_rad(beyond)))
    effect = clock_effect_rad(math.radians(1.0) if offset_rad is None else offset_rad, beyond)
    return ClockCheck(ahead, ClocksDiffer(beyond, offset_rad, effect))


def offset_to_set_s(ahead_s: float) -> float:
    """What to take off the frames' times, s, by how far they are ahead of a right clock when they land.

    A wrong time zone is a whole number of quarter hours (common practice, no source); anything else is known to the
    seconds that a frame takes to land, which turn an axis error of one degree by an arcsecond.
    """
    ahead_s += 0.5 * LATENCY_S
    zones_s = round(ahead_s / ZONE_STEP_S) * ZONE_STEP_S
    near = abs(ahead_s) < DAY_S and zones_s and abs(ahead_s - zones_s) < ZONE_DOUBT_S
    return float(zones_s if near else round(ahead_s))


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
    if abs(ahead_s) > DAY_S:
        doubt = doubt + precession_rad(ahead_s) ** 2 * np.eye(2)
    return replace(
        estimate,
        covariance_rad2=estimate.covariance_rad2 + doubt,
        budget=None if estimate.budget is None else estimate.budget.with_chance(Part.DRIVE, covariance_of(doubt)),
        warnings=(*estimate.warnings, replace(check.doubt, widened=True)),
    )
