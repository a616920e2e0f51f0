"""A path of light with a rest at either end: a mount that stood, moved evenly and stood again within one exposure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.model import FloatArray

_ROUNDS = 12  # of the descent, at most (chosen)
_STARTS = ((0.05, 0.05), (0.5, 0.05), (0.05, 0.5))  # shares at rest to begin the descent from
_FITS = 0.06  # rms of what is left, as a share of the highest light, up to which the picture is believed
_RESTS = 0.15  # of the light: it stood for a while
_SHARE = 0.003  # how well the half of the light is known: shutter, transparency
_SWINGS = 0.08  # at rest at both ends for longer than this share each: more likely a mount that swings
_CREEP_SHARE = 0.018  # of the path: what seems to rest creeps a little before it goes and after it stops
_NO_FIT_SHARE = 0.15  # of the path: a fit that knows nothing of a short one
_SWING_PX = 6.0  # so long a path may be a swing that dies away, which looks like an even motion
_SWING_SHARE = 0.03  # of the path: then the median is no time


@dataclass(frozen=True)
class Ramp:
    """Rest at `first_px` for a share of the light, even motion to `last_px`, rest there for another share.

    `middle_px`: where it was at half of the light, and one sigma of that.
    """

    first_px: float
    last_px: float
    first_share: float
    last_share: float
    middle_px: float
    middle_sigma_px: float


def fit_ramp(u_px: FloatArray, light: FloatArray, width_px: float) -> Ramp | None:
    """Least squares of light (U,), sum 1, at u (evenly spaced), blurred by a Gaussian of about `width_px`; None where
    the light tells another story. What light the fit puts elsewhere counts in the sigma."""
    step = float(u_px[1] - u_px[0])
    density = light / step
    summed = np.cumsum(light)
    first, last = (float(v) for v in np.interp([0.03, 0.97], summed, u_px))
    best: tuple[float, FloatArray] | None = None
    for shares in _STARTS:
        start = np.array([first + 0.7 * width_px, last - 0.7 * width_px, *shares, width_px])
        found = _descend(u_px, density, start, width_px)
        if best is None or found[0] < best[0]:
            best = found
        if found[0] < 0.1 * _FITS * float(density.max()):
            break
    assert best is not None
    rest, p = best
    if rest > _FITS * float(density.max()):
        return None
    return _ramp(u_px, density, p, rest)


def _descend(u: FloatArray, density: FloatArray, start: FloatArray, width: float) -> tuple[float, FloatArray]:
    """Levenberg and Marquardt's descent; rms of what is left and the parameters."""
    p, damping = start, 1e-2
    cost = _cost(u, density, p)
    for _ in range(_ROUNDS):
        slopes, rest = _slopes(u, density, p)
        normal, right = slopes.T @ slopes, slopes.T @ rest
        trial = _bounded(p + np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-9), right), width)
        new = _cost(u, density, trial)
        if new < cost:
            done = cost - new < 1e-4 * cost
            p, cost, damping = trial, new, 0.3 * damping
            if done:
                break
        else:
            damping *= 5.0
            if damping > 1e4:
                break
    return float(np.sqrt(cost / u.size)), p


def _bounded(p: FloatArray, width: float) -> FloatArray:
    first, last = min(p[0], p[1]), max(p[0], p[1] + 1e-3)
    shares = np.clip(p[2:4], 0.0, 0.98)
    if shares.sum() > 0.99:
        shares *= 0.99 / shares.sum()
    return np.array([first, last, *shares, np.clip(p[4], 0.6 * width, 1.6 * width)])


def _cost(u: FloatArray, density: FloatArray, p: FloatArray) -> float:
    return float(np.square(density - _light(u, p)).sum())


def _slopes(u: FloatArray, density: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes (U, 5) of the light against the parameters, and what is left."""
    first, last, rest_first, rest_last, width = p
    long, moving = max(last - first, 1e-3), 1.0 - rest_first - rest_last
    even, bell, (z_first, z_last) = _parts(u, p)
    light = moving * even + rest_first * bell[0] + rest_last * bell[1]
    slopes = np.empty((u.size, 5))
    slopes[:, 0] = moving * (even - bell[0]) / long + rest_first * bell[0] * z_first / width
    slopes[:, 1] = moving * (bell[1] - even) / long + rest_last * bell[1] * z_last / width
    slopes[:, 2] = bell[0] - even
    slopes[:, 3] = bell[1] - even
    slopes[:, 4] = moving * (bell[1] * z_last - bell[0] * z_first) / long
    slopes[:, 4] += (rest_first * bell[0] * (z_first**2 - 1.0) + rest_last * bell[1] * (z_last**2 - 1.0)) / width
    return slopes, density - light


def _light(u: FloatArray, p: FloatArray) -> FloatArray:
    """Density of the light; `p`: the two ends, the shares at rest there, the blur."""
    even, bell, _ = _parts(u, p)
    return np.asarray((1.0 - p[2] - p[3]) * even + p[2] * bell[0] + p[3] * bell[1])


def _parts(u: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Density while it moves (U,), at rest at either end (2, U), distances from the ends in widths (2, U)."""
    z = (u - p[:2, None]) / p[4]
    below = np.interp(z, _GRID, _TABLE)
    bell = np.exp(-0.5 * z * z) / (np.sqrt(2.0 * np.pi) * p[4])
    return np.asarray((below[0] - below[1]) / max(p[1] - p[0], 1e-3)), bell, z


_GRID = np.linspace(-6.0, 6.0, 1201)
_BELL = np.exp(-0.5 * _GRID**2)
_TABLE = np.concatenate([[0.0], np.cumsum(0.5 * (_BELL[1:] + _BELL[:-1]))])
_TABLE = _TABLE / _TABLE[-1]


def _ramp(u: FloatArray, density: FloatArray, p: FloatArray, rest: float) -> Ramp:
    slopes, _ = _slopes(u, density, p)
    correlated = max(1.0, p[4] * 2.5 / float(u[1] - u[0]))  # neighbours on the grid share their noise
    covariance = np.linalg.pinv(slopes.T @ slopes) * rest**2 * correlated
    middle = _middle(p)
    steps = np.array([0.02, 0.02, 5e-3, 5e-3, 0.01])
    change = np.array([(_middle(p + np.eye(5)[k] * steps[k]) - middle) / steps[k] for k in range(5)])
    unlike = float(np.abs(np.cumsum(density - _light(u, p))).max()) * float(u[1] - u[0])
    share = float(np.hypot(_SHARE, 0.5 * unlike))
    around = [_middle(p, 0.5 + part) for part in (-share, share)]
    long = float(p[1] - p[0])
    fitted = min(float(np.sqrt(max(change @ covariance @ change, 0.0))), _NO_FIT_SHARE * long)
    sigma = float(np.hypot(fitted, 0.5 * (around[1] - around[0])))
    sigma = float(np.hypot(sigma, _SWING_SHARE * min(long, _SWING_PX)))
    if max(p[2], p[3]) > _RESTS:
        sigma = float(np.hypot(sigma, _CREEP_SHARE * long))
    if min(p[2], p[3]) > _SWINGS:
        sigma = float(np.hypot(sigma, _SWING_SHARE * long))
    return Ramp(float(p[0]), float(p[1]), float(p[2]), float(p[3]), middle, sigma)


def _middle(p: FloatArray, half: float = 0.5) -> float:
    """Where it is when so much of the light has fallen."""
    first, last, rest_first, rest_last, _ = p
    moving = max(1.0 - rest_first - rest_last, 1e-6)
    return float(first + (last - first) * np.clip((half - rest_first) / moving, 0.0, 1.0))
