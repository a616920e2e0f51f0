"""How the stars of one frame have moved and turned against those of another: no catalogue, no solution.

The shift is found by the vote of all pairs of bright stars, then refined to a shift and a small turn by weighted
least squares on the pairs that agree. Scale is taken as the same. Pixels, y down; the turn is positive from x to y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.drift.reasons import NoCommonShift, ShiftRefusal, TooFewAgree, TooFewClean
from polewright.core.model import FloatArray, IntArray, StarFlag, StarList

BRIGHTEST = 40  # stars of each frame that vote (bound of time: 1,600 pairs)
LEAST_PAIRS = 3  # two may agree by chance
_BIN_PX = 4.0  # side of a vote: twice the wander of a bad centroid, a turn of the field within it
_UNFIT = int(StarFlag.SATURATED | StarFlag.BLENDED | StarFlag.EDGE)


@dataclass(frozen=True)
class FieldShift:
    """Stars at `p` in the first frame stand at centre + turn (p - centre) + (x, y) in the second.

    `sigma_px` is the standard deviation of the shift along one axis, from the scatter; `pairs` how many stars agree.
    """

    x_px: float
    y_px: float
    turn_rad: float
    sigma_px: float
    pairs: int


def field_shift(
    first: StarList, second: StarList, near: tuple[float, float] = (0.0, 0.0), reach_px: float = 60.0
) -> FieldShift | ShiftRefusal:
    """The shift from `first` to `second`, looked for within `reach_px` of `near`.

    Two stars show the shift but not the turn; three that agree within the noise are needed.
    """
    a, b = _bright(first), _bright(second)
    if min(a.shape[0], b.shape[0]) < LEAST_PAIRS:
        count = min(a.shape[0], b.shape[0])
        return TooFewClean(count, LEAST_PAIRS)
    steps = (b[None, :, :2] - a[:, None, :2]) - np.asarray(near)
    close = np.abs(steps).max(axis=2) <= reach_px
    rough = _vote(steps[close])
    if rough is None:
        return NoCommonShift(reach_px)
    centre = np.array([0.5 * (first.width_px - 1), 0.5 * (first.height_px - 1)])
    return _refine(a, b, centre, np.asarray(near) + rough)


def _bright(stars: StarList) -> FloatArray:
    """x, y and sigma (N, 3) of the brightest clean stars."""
    clean = (stars.flags & _UNFIT) == 0
    index = np.flatnonzero(clean)[:BRIGHTEST]
    return np.stack([stars.x_px[index], stars.y_px[index], np.maximum(stars.sigma_px[index], 0.02)], axis=1)


def _vote(steps: FloatArray) -> FloatArray | None:
    """The step (2,) that most pairs have in common; None when fewer than three agree."""
    if steps.shape[0] < LEAST_PAIRS:
        return None
    apart = np.abs(steps[:, None, :] - steps[None, :, :]).max(axis=2) <= _BIN_PX
    votes = apart.sum(axis=1)
    best = int(np.argmax(votes))
    if votes[best] < LEAST_PAIRS:
        return None
    return np.asarray(np.median(steps[apart[best]], axis=0))


def _refine(a: FloatArray, b: FloatArray, centre: FloatArray, shift: FloatArray) -> FieldShift | ShiftRefusal:
    turn, window = 0.0, _BIN_PX
    fitted: tuple[FloatArray, FloatArray, FloatArray] | None = None
    for _ in range(5):
        rotated = (a[:, :2] - centre) @ np.array(
            [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
        ) + centre
        i, j = _pairs(rotated + shift, b[:, :2], window)
        if i.size < LEAST_PAIRS:
            return TooFewAgree(int(i.size), LEAST_PAIRS)
        weight = 1.0 / np.square(np.hypot(a[i, 2], b[j, 2]))
        arm = rotated[i] - centre
        left = b[j, :2] - rotated[i] - shift
        design = np.zeros((2 * i.size, 3))
        design[0::2, 0] = design[1::2, 1] = 1.0
        design[0::2, 2], design[1::2, 2] = -arm[:, 1], arm[:, 0]
        heavy = np.repeat(weight, 2)
        covariance = np.linalg.inv((design * heavy[:, None]).T @ design)
        step = covariance @ (design.T @ (heavy * left.ravel()))
        shift, turn = shift + step[:2], turn + float(step[2])
        residual = left - (design @ step).reshape(-1, 2)
        scatter = max(1.4826 * float(np.median(np.abs(residual))), 0.03)
        window = max(4.0 * scatter, 0.5)
        fitted = covariance, residual, weight
    assert fitted is not None
    covariance, residual, weight = fitted
    dof = max(2 * residual.shape[0] - 3, 1)
    scale = float(np.sum(weight[:, None] * np.square(residual))) / dof
    sigma = float(np.sqrt(max(scale, 0.1) * 0.5 * (covariance[0, 0] + covariance[1, 1])))
    return FieldShift(float(shift[0]), float(shift[1]), turn, sigma, int(residual.shape[0]))


def _pairs(a: FloatArray, b: FloatArray, window_px: float) -> tuple[IntArray, IntArray]:
    """Indices of stars that are each other's nearest, closer than the window."""
    distance = np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])
    forth, back = distance.argmin(axis=1), distance.argmin(axis=0)
    i = np.flatnonzero((back[forth] == np.arange(a.shape[0])) & (distance.min(axis=1) <= window_px))
    return i.astype(np.int64), forth[i].astype(np.int64)
