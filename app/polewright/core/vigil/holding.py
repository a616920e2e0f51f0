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
# periodic error is larger than that in any five minutes of a free mount (chosen; simulate/ draws 4 to 20")
WANDERS_RAD = 1.0 / ARCSEC_PER_RAD
UNLIKE = 3.0  # times as much in right ascension as in declination; guiding makes both alike (chosen)
JUMP_RAD, JUMP_TIMES, JUMPS = 0.3 / ARCSEC_PER_RAD, 5.0, 2  # a kick makes one, dithering many
LEFT_OUT = 4  # the largest steps of a stretch: gusts and kicks, which say nothing about guiding


def runs_free(looks: Sequence[Look]) -> bool | None:
    """Whether the latest looks show a mount that nothing holds or dithers; None while they are too few.

    It must show twice, in the latest stretch and in the one before: a few dithers may look like a worm by chance.
    """
    latest = _stretch(looks)
    before = _stretch(looks[: len(looks) - len(latest)])
    if not latest or not before:
        return None
    return _wanders(latest) and _wanders(before)


def _stretch(looks: Sequence[Look]) -> Sequence[Look]:
    """The last five minutes, or as many more as make enough looks; empty when there are not so many."""
    if len(looks) < FEWEST_LOOKS:
        return ()
    first = next(i for i, look in enumerate(looks) if look.at_s >= looks[-1].at_s - LATEST_S)
    stretch = looks[min(first, len(looks) - FEWEST_LOOKS) :]
    return stretch if stretch[-1].at_s - stretch[0].at_s >= 0.8 * LATEST_S else ()


def _wanders(looks: Sequence[Look]) -> bool:
    """Smoothly in right ascension, hardly in declination."""
    at_s = np.array([look.at_s for look in looks])
    ascension = _without_gusts(np.array([look.along_u_rad for look in looks]))
    declination = _without_gusts(np.array([look.along_d_rad for look in looks]))
    sizes = _steps(at_s, declination)
    typical = float(np.median(sizes))
    jumps = int(np.count_nonzero(sizes > max(JUMP_RAD, JUMP_TIMES * typical)))
    if typical > JUMP_RAD or jumps > JUMPS:
        return False
    return _spread(at_s, ascension) >= max(WANDERS_RAD, UNLIKE * _spread(at_s, declination))


def _without_gusts(places_rad: FloatArray) -> FloatArray:
    """Each reading the median of itself and its neighbours: what lasts for one frame only is gone."""
    inner = np.median(np.stack([places_rad[:-2], places_rad[1:-1], places_rad[2:]]), axis=0)
    return np.concatenate([places_rad[:1], inner, places_rad[-1:]])


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
