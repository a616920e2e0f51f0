"""A nudge in declination shows whether anything guides it: on a free mount it stays, a guider takes it back.

The frames of an aligned mount and of one guided in declination are the same until the guider is given something to
do. A short press on the hand controller, a minute of arc or so, is left there. Where it stays and the stars drift
after it as before, declination is free. Where it is taken back, or the drift is another one afterwards (a guider that
pulls slowly, or has lost its star and lets go, or corrects one way only), it was guided.

Decided 2026-11-29. No rule on noise: a quiet guider leaves less than the air does. A nudge is looked for where the
person says that there was one; else a jump is a mishap, for a push at the tripod looks the same and moves the axis.
Known limits: a guider that picks a new star within seconds holds the nudged place as if free, and so does a guider
that makes the nudge itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.stillness import DRIFT_RAD_S, SURE, wander_rad_s
from polewright.core.model import FloatArray

LEAST_RAD = 15.0 / ARCSEC_PER_RAD  # smaller ones may be wind or a gear (chosen)
MOST_RAD = 180.0 / ARCSEC_PER_RAD  # larger ones nobody takes for the minute of arc asked for (chosen)
USUAL_RAD = 60.0 / ARCSEC_PER_RAD  # asked for: within what a guider follows (chosen)
HOLD_S = 90.0  # so long it must stay: a guider takes a minute of arc back in 8 to 60 s (common practice, no source)
MOVING_S = 10.0  # frames so near to it may be smeared (chosen)
LEAST_FRAMES = 5  # before it and after it
STAYS = 0.8  # of it, at the end (chosen)


class Nudge(Enum):
    """What became of it."""

    STAYED = "stayed"
    TAKEN_BACK = "taken back"
    DRIFTS_OTHERWISE = "it stayed, and the stars drift otherwise since"
    TOO_EARLY = "too early to say"


@dataclass(frozen=True, eq=False)
class Nudged:
    """`after` (N,): the frames since; `moving` (N,): those in which it happened.

    `what` became of it: None where it came too soon in the field to be judged by; `left_s`: until that can be told.
    """

    after: NDArray[np.bool_]
    moving: NDArray[np.bool_]
    what: Nudge | None
    left_s: float = 0.0


def nudge_in(at_s: FloatArray, dec_rad: FloatArray) -> Nudged | None:
    """The nudge in one field, given its declinations (N,) about the pole; None where there is none."""
    far = _displaced(dec_rad)
    if far is None:
        return None
    first = int(np.argmax(far))
    begun_s = 0.5 * (at_s[first - 1] + at_s[first])
    moving = np.abs(at_s - begun_s) < MOVING_S
    before, after = ~moving & (at_s < begun_s), ~moving & (at_s > begun_s)
    if before.sum() < LEAST_FRAMES:
        return _without_beginning(at_s, dec_rad, begun_s)
    what = Nudge.TOO_EARLY if after.sum() < LEAST_FRAMES else _became(at_s, dec_rad, before, after)
    return Nudged(at_s > begun_s, moving, what, _left_s(at_s, begun_s + MOVING_S, HOLD_S))


def _without_beginning(at_s: FloatArray, dec_rad: FloatArray, begun_s: float) -> Nudged:
    """Nothing shows how the stars drifted before it: the field begins anew once a guider would have taken it back."""
    rest = at_s > begun_s + HOLD_S
    if rest.sum() < LEAST_FRAMES:
        left_s = _left_s(at_s, begun_s + HOLD_S, 0.0)
        return Nudged(at_s > begun_s, np.abs(at_s - begun_s) < MOVING_S, Nudge.TOO_EARLY, left_s)
    after, moving = rest.copy(), ~rest
    later = nudge_in(at_s[rest], dec_rad[rest])
    if later is not None:
        after[rest], moving[rest] = later.after, later.moving
    return Nudged(after, moving, *((None,) if later is None else (later.what, later.left_s)))


def _left_s(at_s: FloatArray, since_s: float, least_s: float) -> float:
    """Until frames enough, and for so long, have followed."""
    frames_s = LEAST_FRAMES * float(np.median(np.diff(at_s)))
    return max(float(since_s + max(least_s, frames_s) - at_s[-1]), 1.0)


def _displaced(dec_rad: FloatArray) -> NDArray[np.bool_] | None:
    """Frames (N,) that lie a nudge away from where the field began, from the first of two in a row on."""
    if dec_rad.size < 2 * LEAST_FRAMES:
        return None
    steps = np.diff(dec_rad)
    usual = 6.0 * float(np.median(np.abs(steps))) + LEAST_RAD
    begun = [np.median(dec_rad[: k + 1]) for k in range(4)]
    level = np.concatenate([begun, np.median(sliding_window_view(dec_rad[:-1], 5), axis=1)])  # of the latest five
    away = dec_rad[1:] - level
    twice = np.minimum(np.abs(away[:-1]), np.abs(dec_rad[2:] - level[:-1])) > usual
    same = away[:-1] * (dec_rad[2:] - level[:-1]) > 0.0
    found = np.concatenate([[False], twice & same, [False]])
    return found if found.any() else None


def _became(at_s: FloatArray, dec_rad: FloatArray, before: NDArray[np.bool_], after: NDArray[np.bool_]) -> Nudge:
    line = _line_before(at_s, dec_rad, before, after)
    gone = dec_rad[after] - np.polyval(line, at_s[after])
    begun, ended = float(np.median(gone[:3])), float(np.median(gone[-3:]))
    if abs(ended) < (1.0 - STAYS) * max(abs(begun), LEAST_RAD):
        return Nudge.TAKEN_BACK
    if np.ptp(at_s[after]) < HOLD_S:
        return Nudge.TOO_EARLY
    return Nudge.STAYED if _drifts_alike(at_s, dec_rad, before, after) else Nudge.DRIFTS_OTHERWISE


def _line_before(
    at_s: FloatArray, dec_rad: FloatArray, before: NDArray[np.bool_], after: NDArray[np.bool_]
) -> FloatArray:
    """(slope, level) of the drift before; where that was watched for too short a time, sloped as it is since: a drift
    against the nudge is no guider that takes it back."""
    if np.ptp(at_s[before]) >= HOLD_S:
        return np.polyfit(at_s[before], dec_rad[before], 1)
    last = np.flatnonzero(after)[2 * after.sum() // 3 :]  # a slow guider takes it back meanwhile
    slope = np.polyfit(at_s[last], dec_rad[last], 1)[0] if last.size >= LEAST_FRAMES else 0.0
    return np.array([slope, dec_rad[before].mean() - slope * at_s[before].mean()])


def _drifts_alike(at_s: FloatArray, dec_rad: FloatArray, before: NDArray[np.bool_], after: NDArray[np.bool_]) -> bool:
    (one, sigma_one), (two, sigma_two) = (_rate(at_s[part], dec_rad[part]) for part in (before, after))
    return abs(one - two) < 0.5 * DRIFT_RAD_S + SURE * float(np.hypot(sigma_one, sigma_two))


def _rate(at_s: FloatArray, dec_rad: FloatArray) -> tuple[float, float]:
    """Slope and its sigma, slow wander included."""
    since = at_s - at_s.mean()
    slope, level = np.polyfit(since, dec_rad, 1)
    left = dec_rad - slope * since - level
    white = np.sqrt(np.sum(np.square(left)) / (left.size - 2) / np.sum(np.square(since)))
    return float(slope), max(float(white), wander_rad_s(at_s, left))
