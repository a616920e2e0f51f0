"""Does something hold the mount while its drift is watched? A guided mount looks like an aligned one.

A drive that runs free wanders in right ascension by its periodic error, arcseconds within minutes (common practice,
no source). Where neither right ascension nor declination moves by more than the air and the scatter of the frames
allow, for minutes and in every field, nothing runs free. Guiding in declination alone leaves the same stars as a good
alignment does, and no frame tells the two apart: there the person must be asked.

Decided 2026-11-25. A drift in which nothing moves proves nothing. Declination guiding left on makes any mount drift
like an aligned one. With both axes guided the periodic error is missing as well: fields of 110 s and more in which
right ascension and declination stay still, 220 s in all, are refused (tests/bench/guided_drift.py: every
guided drift is caught; of a hundred free ones three with a periodic error of 3" at 160 s a field, none with 5"). The
instruction asks for guiding off while it is watched. Asking for a click was rejected: it would be pressed unread.
Guiding in declination alone leaves the stars of an aligned mount; no frame shows it.

Decided 2026-11-29. A still declination is no alignment by itself. `polewright drift` gives no axis where every field
is still in declination to within what guiding does, unless the person says that guiding was off; a periodic error
frees right ascension alone, and does not count. Frames in which right ascension is still as well are believed over
the person; where fields are too short to show it, nobody is, and the cure is to watch for four minutes
(tests/bench/guided_claims.py). What counts as still grows with the wander of the declination itself, which a guider
leaves in both axes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.model import FloatArray

LEAST_S, IN_ALL_S, BLOCKS, LEAST_FRAMES = 110.0, 220.0, 5, 12
FIELD_S = 240.0  # of one field, so that it can show by itself whether anything guides: half a usual worm's turn
AIR_RAD_S = 0.3 / ARCSEC_PER_RAD / 60.0  # refraction turns a star's rate by up to 2.8e-4 of the sidereal one
DRIFT_RAD_S = 0.6 / ARCSEC_PER_RAD / 60.0  # and its declination by twice that, four hours and more from the meridian
WANDER_RAD = 0.5 / ARCSEC_PER_RAD  # a guider's own corrections
SURE = 3.0  # sigmas; a free mount is refused in 1 of 370 (normal distribution)
FREE = 1.6  # times what a held field may show: of 300 guided ones 1 does, of 300 free ones of 240 s and more all
UNSEEN_RAD = 0.4 / ARCSEC_PER_RAD  # blocks less sure than this hide a small periodic error


@dataclass(frozen=True)
class FieldMotion:
    """What one field shows. `still`: nothing moves; None where it is too short, or scatters too much, to tell.
    `runs`: right ascension moves by so much more than a held one may that the drive must be free. `dec_still`:
    declination drifts no faster than a guider, the air and the scatter may let it."""

    still: bool | None
    dec_still: bool
    runs: bool = False


def field_motion(
    at_s: FloatArray, along_rad: FloatArray, dec_left_rad: FloatArray, dec_drift_rad_s: float, sigma_rad_s: float
) -> FieldMotion:
    """Whether anything moves in one field.

    `along_rad` (N,): right ascension about the axis against a drive that runs at the sidereal rate, on the sky;
    `dec_left_rad` (N,): declination without its drift, its slow part is the wander; `dec_drift_rad_s`: that drift and
    its sigma.
    """
    wander = wander_rad_s(at_s, dec_left_rad)  # what a guider leaves in declination it leaves in right ascension
    dec_still = abs(dec_drift_rad_s) < DRIFT_RAD_S + SURE * max(sigma_rad_s, wander)
    if at_s.size < LEAST_FRAMES or np.ptp(at_s) < LEAST_S:
        return FieldMotion(None, dec_still)
    since = at_s - at_s.mean()
    slope, level = np.polyfit(since, along_rad, 1)
    left = along_rad - level - slope * since
    noise = float(np.sqrt(np.mean(np.square(np.diff(left))) / 2.0))  # neighbours share the wander: it drops out
    block_sigma = noise * np.sqrt(BLOCKS / at_s.size)
    slope_sigma = noise / float(np.sqrt(np.sum(np.square(since))))
    swing = wander * float(np.sqrt(np.sum(np.square(_middles(since)))))
    shown = max(
        abs(slope) / (AIR_RAD_S + SURE * max(slope_sigma, wander)),
        float(np.ptp(_middles(left))) / (WANDER_RAD + SURE * max(block_sigma, swing)),
    )
    still = shown < 1.0 and dec_still
    return FieldMotion(None if still and block_sigma > UNSEEN_RAD else still, dec_still, shown > FREE)


def wander_rad_s(at_s: FloatArray, left_rad: FloatArray) -> float:
    """Sigma of a rate when the means of five blocks of a field, not its frames, are independent of each other."""
    if at_s.size < 2 * BLOCKS:
        return 0.0
    line = np.polyfit(at_s, left_rad, 1)
    bare = left_rad - np.polyval(line, at_s)
    scatter = np.sqrt(np.sum(np.square(_middles(bare))) / (BLOCKS - 2))
    return float(scatter / np.sqrt(np.sum(np.square(_middles(at_s - at_s.mean())))))


def _middles(values: FloatArray) -> FloatArray:
    return np.array([block.mean() for block in np.array_split(values, BLOCKS)])


def nothing_moves(fields: Sequence[tuple[bool | None, float]]) -> bool:
    """Whether every field that can tell is still, given (still, seconds) of each, and together for long enough."""
    told = [(still, seconds) for still, seconds in fields if still is not None]
    return bool(told) and all(still for still, _ in told) and sum(seconds for _, seconds in told) >= IN_ALL_S


def along_ra(at_s: FloatArray, angle_rad: FloatArray, dec_rad: FloatArray) -> FloatArray:
    """Motion (N,) in right ascension on the sky against a perfect drive; angle and declination are about the axis."""
    turned = np.unwrap(angle_rad) - angle_rad[0] + SIDEREAL_RATE_RAD_S * (at_s - at_s[0])
    return np.asarray(np.cos(dec_rad) * turned)
