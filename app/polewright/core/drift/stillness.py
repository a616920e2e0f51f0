"""Does something hold the mount while its drift is watched? A guided mount looks like an aligned one.

A drive that runs free wanders in right ascension by its periodic error, arcseconds within minutes (common practice,
no source). Where neither right ascension nor declination moves by more than the air and the scatter of the frames
allow, for minutes and in every field, nothing runs free. Guiding in declination alone leaves the same stars as a good
alignment does, and no frame tells the two apart: there the person must be asked.

Decided 2026-11-25. A drift in which nothing moves proves nothing. Declination guiding left on makes any mount drift
like an aligned one. With both axes guided the periodic error is missing as well: fields of 150 s and more in which
right ascension and declination stay still, five minutes in all, are refused (tests/bench/guided_drift.py: every
guided drift is caught; of the free ones 2 % at most with a periodic error of 3", none with 5"). The instruction
asks for guiding off while it is watched. Asking for a click was rejected: it would be pressed unread. Guiding in
declination alone leaves the stars of an aligned mount; no frame shows it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.model import FloatArray

LEAST_S, IN_ALL_S, BLOCKS, LEAST_FRAMES = 150.0, 300.0, 5, 20
AIR_RAD_S = 0.3 / ARCSEC_PER_RAD / 60.0  # refraction turns a star's rate by up to 2.8e-4 of the sidereal one
DRIFT_RAD_S = 0.6 / ARCSEC_PER_RAD / 60.0  # and its declination by twice that, four hours and more from the meridian
WANDER_RAD = 0.5 / ARCSEC_PER_RAD  # a guider's own corrections
SURE = 3.0
UNSEEN_RAD = 0.4 / ARCSEC_PER_RAD  # blocks less sure than this hide a small periodic error


def field_is_still(
    at_s: FloatArray, along_rad: FloatArray, dec_drift_rad_s: float, sigma_rad_s: float
) -> bool | None:
    """Whether nothing moves in one field; None where it is too short, or scatters too much, to tell.

    `along_rad` (N,): right ascension about the axis against a drive that runs at the sidereal rate, on the sky;
    `dec_drift_rad_s`: the drift in declination and its sigma.
    """
    if at_s.size < LEAST_FRAMES or np.ptp(at_s) < LEAST_S:
        return None
    since = at_s - at_s.mean()
    slope, level = np.polyfit(since, along_rad, 1)
    left = along_rad - level - slope * since
    noise = float(np.sqrt(np.mean(np.square(np.diff(left))) / 2.0))  # neighbours share the wander: it drops out
    means = np.array([block.mean() for block in np.array_split(left, BLOCKS)])
    block_sigma = noise * np.sqrt(BLOCKS / at_s.size)
    slope_sigma = noise / float(np.sqrt(np.sum(np.square(since))))
    if block_sigma > UNSEEN_RAD:
        return None
    return bool(
        abs(slope) < AIR_RAD_S + SURE * slope_sigma
        and np.ptp(means) < WANDER_RAD + SURE * block_sigma
        and abs(dec_drift_rad_s) < DRIFT_RAD_S + SURE * sigma_rad_s
    )


def nothing_moves(fields: Sequence[tuple[bool | None, float]]) -> bool:
    """Whether every field that can tell is still, given (still, seconds) of each, and together for long enough."""
    told = [(still, seconds) for still, seconds in fields if still is not None]
    return bool(told) and all(still for still, _ in told) and sum(seconds for _, seconds in told) >= IN_ALL_S


def along_ra(at_s: FloatArray, angle_rad: FloatArray, dec_rad: FloatArray) -> FloatArray:
    """Motion (N,) in right ascension on the sky against a perfect drive; angle and declination are about the axis."""
    turned = np.unwrap(angle_rad) - angle_rad[0] + SIDEREAL_RATE_RAD_S * (at_s - at_s[0])
    return np.asarray(np.cos(dec_rad) * turned)
