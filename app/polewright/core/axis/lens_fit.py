"""Least squares of a lens and the attitudes of the frames that it took. Why so: core/axis/shared_lens.py."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import rotation_about
from polewright.core.axis.lens import LENS_TERMS, Lens
from polewright.core.axis.lens_stars import FEWEST_STARS, Seen
from polewright.core.model import Camera, FloatArray

_ROUNDS, _CLIPS = 8, 4
_CLIP_SIGMAS = 4.0
_CENTRE_SIGMA = 0.02  # of the width: how far off the middle of the sensor a lens is mounted (chosen)
_TILT_SIGMA = 0.01  # of tilted elements; ordinary lenses stay below 0.002 (common practice, no source)
# of the polynomial's terms, about twice those of the straight drawing, 1/3, 2/15 and 17/315, which has the strongest:
# without them the last term runs away where only the middle has been matched yet
_BEND_SIGMA = (0.7, 0.2, 0.1)
# of an attitude, in px: what no lens of this kind explains. With it the five frames of the fixed camera in the shared
# frames agree among themselves nearly as well as they should (chi-square 9 for 6 degrees of freedom, 13 without)
_FLOOR_PX = 0.015
_MOST_SPREAD_PX = 2.0  # residuals beyond this are no lens of this kind
_STEADY = 1e-7  # steps, rad, that move no star


@dataclass(frozen=True, eq=False)
class Learned:
    """A lens, and the frames (N) it was fitted to: their attitudes in its own axes and their stars; after a fit the
    covariances of the attitudes (N, 3, 3) against their mean, by how much the stars scatter, in px and in their own
    sigmas, and `turn` (3, 3) from its axes to those in which the frames stand as each alone says."""

    lens: Lens
    attitudes: Sequence[FloatArray]
    seen: Sequence[Seen] = ()
    covariances: Sequence[FloatArray] | FloatArray = ()
    rms_px: float = np.inf
    spread: float = np.inf
    turn: FloatArray = field(default_factory=lambda: np.eye(3))

    @property
    def stars(self) -> int:
        """How many it rests on."""
        return sum(len(each.sigma_px) for each in self.seen)


def turned(lens: Lens, attitude: FloatArray, seen: Seen) -> tuple[FloatArray, Seen, float] | None:
    """The attitude by its stars alone, those that belong, and their scatter in sigmas; None with too few of them."""
    spread = np.inf
    for _ in range(_CLIPS):
        if len(seen.sigma_px) < FEWEST_STARS:
            return None
        error, slope = _linearised(lens, attitude, seen)
        for _ in range(_ROUNDS):
            step = np.linalg.lstsq(slope[:, LENS_TERMS:], error, rcond=None)[0]
            attitude = attitude @ turn_by(step)
            error, slope = _linearised(lens, attitude, seen)
            if float(np.abs(step).max()) < _STEADY:
                break
        residual = error.reshape(-1, 2)
        spread = _spread([residual])
        kept = np.abs(residual).max(axis=1) < _CLIP_SIGMAS * max(1.0, spread)
        if kept.all():
            break
        seen = seen.take(kept)
    return attitude, seen, spread


def clipped(start: Learned, seen: Sequence[Seen], camera: Camera) -> Learned | None:
    """Fitted, with the stars that do not belong left out; None where no lens of this kind explains the frames."""
    fitted = start
    for _ in range(_CLIPS):
        if min(len(each.sigma_px) for each in seen) < FEWEST_STARS:
            return None
        fitted, residuals = _fitted(fitted, seen, camera)
        limit = _CLIP_SIGMAS * max(1.0, fitted.spread)
        kept = [np.abs(r).max(axis=1) < limit for r in residuals]
        if all(k.all() for k in kept):
            break
        seen = [each.take(k) for each, k in zip(seen, kept)]
    return fitted if fitted.rms_px < _MOST_SPREAD_PX else None


def _fitted(start: Learned, seen: Sequence[Seen], camera: Camera) -> tuple[Learned, list[FloatArray]]:
    """Least squares of the lens and every attitude, and the residuals (N, 2) in sigmas."""
    lens, attitudes = start.lens, list(start.attitudes)
    prior = prior_of(camera, lens.focal_px)
    for _ in range(_ROUNDS):
        normal, right, residuals = equations(lens, attitudes, seen, prior)
        step = np.linalg.solve(normal, right)
        lens = Lens(lens.values + step[:LENS_TERMS])
        attitudes = [c @ turn_by(eps) for c, eps in zip(attitudes, step[LENS_TERMS:].reshape(-1, 3))]
        if float(np.abs(step).max()) < _STEADY:
            break
    in_px = [r * e.sigma_px[:, None] for r, e in zip(residuals, seen)]
    rms_px = float(np.sqrt(np.mean(np.square(np.concatenate(in_px)))))
    covariances = covariances_of(normal, residuals, lens)
    return Learned(lens, attitudes, seen, covariances, rms_px, _spread(residuals)), residuals


def equations(
    lens: Lens, attitudes: Sequence[FloatArray], seen: Sequence[Seen], prior: FloatArray
) -> tuple[FloatArray, FloatArray, list[FloatArray]]:
    """Normal matrix and right side of lens and attitudes together, and the residuals (N, 2) of each frame, in
    sigmas."""
    size = LENS_TERMS + 3 * len(seen)
    normal, right, residuals = np.zeros((size, size)), np.zeros(size), []
    normal[:LENS_TERMS, :LENS_TERMS] = np.diag(prior)
    right[:LENS_TERMS] = -prior * lens.values
    for k, (attitude, each) in enumerate(zip(attitudes, seen, strict=True)):
        error, slope = _linearised(lens, attitude, each)
        residuals.append(error.reshape(-1, 2))
        rows = np.r_[0:LENS_TERMS, LENS_TERMS + 3 * k : LENS_TERMS + 3 * k + 3]
        normal[np.ix_(rows, rows)] += slope.T @ slope
        right[rows] += slope.T @ error
    return normal, right, residuals


def covariances_of(normal: FloatArray, residuals: Sequence[FloatArray], lens: Lens) -> FloatArray:
    """(N, 3, 3) of the attitudes, widened by what the residuals say and by what no lens explains."""
    chi2 = float(sum(np.sum(np.square(r)) for r in residuals))
    dof = sum(r.size for r in residuals) - len(normal)
    apart = _between_frames(normal, len(residuals), chi2 / max(dof, 1))
    return apart + np.eye(3) * (_FLOOR_PX / lens.focal_px) ** 2


def prior_of(camera: Camera, focal_px: float) -> FloatArray:
    """(8,) inverse variances about zero; the focal length is free."""
    centre = _CENTRE_SIGMA * camera.width_px / focal_px
    return np.array([0.0, *np.power(_BEND_SIGMA, -2.0), centre**-2, centre**-2, _TILT_SIGMA**-2, _TILT_SIGMA**-2])


def _linearised(lens: Lens, attitude: FloatArray, each: Seen) -> tuple[FloatArray, FloatArray]:
    """Errors (2 N,) seen minus drawn, in sigmas, and the slopes (2 N, 11) of what is drawn."""
    v = each.enu @ attitude
    drawn = lens.drawn(v)
    steps = np.full(LENS_TERMS, 1e-6)
    columns = [(Lens(lens.values + row).drawn(v) - drawn) / 1e-6 for row in np.diag(steps)]
    columns += [(lens.drawn(v + 1e-6 * np.cross(v, axis)) - drawn) / 1e-6 for axis in np.eye(3)]  # d v = v x eps
    weight = 1.0 / each.sigma_px[:, None]
    slope = np.stack([(c * weight).reshape(-1) for c in columns], axis=1)
    return ((each.pixels - drawn) * weight).reshape(-1), slope


def turn_by(eps: NDArray[np.floating]) -> FloatArray:
    angle = float(np.linalg.norm(eps))
    return rotation_about(np.asarray(eps / angle), angle) if angle > 0.0 else np.eye(3)


def _spread(residuals: Sequence[FloatArray]) -> float:
    """What most of them scatter by."""
    return float(np.median(np.abs(np.concatenate(residuals)))) / 0.6745


def _between_frames(normal: FloatArray, frames: int, noise: float) -> FloatArray:
    """(N, 3, 3) covariance of each attitude against the mean of all, `noise` being the variance of the residuals.

    What the frames share turns each alike in camera axes, as a camera that sits askew does, and moves no axis.
    """
    covariance = np.linalg.inv(normal)[LENS_TERMS:, LENS_TERMS:] * noise
    apart = np.kron(np.eye(frames) - 1.0 / frames, np.eye(3))
    own = apart @ covariance @ apart.T * (frames / (frames - 1.0))
    return np.stack([own[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] for k in range(frames)])
