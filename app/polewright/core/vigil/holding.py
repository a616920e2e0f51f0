"""Does anything hold the mount on its star during the imaging run? Read off the frames, so that nobody must say.

A mount that runs free wanders in right ascension by its periodic error, arcseconds within minutes, and hardly in
declination. One that is guided wanders in neither; dithering jumps in both, again and again.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import FloatArray
from polewright.core.vigil.watch import Look

LATEST_S, FEWEST_LOOKS = 300.0, 12  # more than half a turn of any worm in use (common practice, no source)
WANDERS_RAD = 1.0 / ARCSEC_PER_RAD
UNLIKE = 3.0
JUMP_RAD, JUMP_TIMES, JUMPS = 0.3 / ARCSEC_PER_RAD, 5.0, 2  # a kick makes one, a gust two, dithering many
LEFT_OUT = 4


def runs_free(looks: Sequence[Look]) -> bool | None:
    """Whether the latest looks show a mount that nothing holds or dithers; None while they are too few."""
    if not looks:
        return None
    first = next(i for i, look in enumerate(looks) if look.at_s >= looks[-1].at_s - LATEST_S)
    latest = looks[min(first, max(0, len(looks) - FEWEST_LOOKS)) :]
    if len(latest) < FEWEST_LOOKS or latest[-1].at_s - latest[0].at_s < 0.8 * LATEST_S:
        return None
    at_s = np.array([look.at_s for look in latest])
    ascension = np.array([look.along_u_rad for look in latest])
    declination = np.array([look.along_d_rad for look in latest])
    sizes = _steps(at_s, declination)
    typical = float(np.median(sizes))
    jumps = int(np.count_nonzero(sizes > max(JUMP_RAD, JUMP_TIMES * typical)))
    if typical > JUMP_RAD or jumps > JUMPS:
        return False
    return _spread(at_s, ascension) >= max(WANDERS_RAD, UNLIKE * _spread(at_s, declination))


def _steps(at_s: FloatArray, places_rad: FloatArray) -> FloatArray:
    """Sizes (N - 1,) of the steps from look to look, the usual drift left out."""
    return np.asarray(np.abs(_undrifted(at_s, places_rad)))


def _spread(at_s: FloatArray, places_rad: FloatArray) -> float:
    """How far the middle four fifths lie apart, without the usual drift and the few largest steps."""
    steps = _undrifted(at_s, places_rad)
    steps[np.argsort(np.abs(steps))[-LEFT_OUT:]] = 0.0
    level = np.concatenate([[0.0], np.cumsum(steps)])
    return float(np.subtract(*np.quantile(level, (0.9, 0.1))))


def _undrifted(at_s: FloatArray, places_rad: FloatArray) -> FloatArray:
    steps, seconds = np.diff(places_rad), np.diff(at_s)
    return np.asarray(steps - np.median(steps / seconds) * seconds)
