"""The mount axis from frames taken while the drive runs: least squares on the drift of the boresight, exact.

A mount turns about one axis, whatever its drive does: in observed ENU (refraction left as it is) the boresight of an
untouched tube keeps its distance from the axis, sin(dec) = s . p. The drift in declination that the textbook reads as
d(dec_p)/dt = -w (a cos H + b sin H) is what p must be moved by to make it so. No small angles, no pole, both
hemispheres. The same frames seen along right ascension tell the other combination, w sin(dec) (a sin H - b cos H), as
far as the drive can be trusted: its rate is fitted, and periodic error apart, as smooth waves of likely size.

Angle h is counted about the axis from "up" toward "east"; the hour angle is -h. Units: rad and s.
Source: Covington, Astrophotography for the Amateur, 2nd ed. (1999), appendix B.

Decided 2026-11-25. A drift is doubted by what a base may creep. A base that settles by 8" in ten minutes faked 137"
of axis error in a rehearsal. The covariance of a drift grows by 2" an hour and by 4" in ten minutes dying away (no
published source); a proof waits until the tripod has stood; a drift that leaves it open is watched again; one that
contradicts is laid before the person. Fitting the creep was rejected: one field cannot tell it from the axis, and
two cannot either.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, unit, wrap_pi
from polewright.core.model import FloatArray, IntArray

RATE_DOUBT = 3e-4  # of the sidereal rate: a drive set to King's rate is 2.8e-4 slower
# worm turns of usual gears, sidereal day over 576 to 90 teeth (common practice, no source)
WAVE_PERIODS_S = (150.0, 240.0, 360.0, 480.0, 640.0, 960.0)
WAVE_SIZE_RAD = 12.0 / ARCSEC_PER_RAD  # of each of these waves; together they bend like any worm
WEAK_PRIOR_RAD = np.radians(3.0)  # on the axis: says nothing against a drift, keeps the sums finite
_ROUNDS = 4  # of refitting the weights (chosen)


@dataclass(frozen=True, eq=False)
class DriftData:
    """Frames in the order of time: s from the first, boresight (N, 3) in observed ENU, sigma (N,) of the pointing
    along one axis, and the number (N,) of the position that each belongs to, 0, 1, ...

    `leak_sigma`: sigma of the share of the motion in right ascension that shows as declination, because the camera's
    orientation is known only so well (its error in rad); 0 for solved frames."""

    at_s: FloatArray
    direction_enu: FloatArray
    sigma_rad: FloatArray
    position: IntArray
    leak_sigma: float = 0.0

    @property
    def positions(self) -> int:
        return int(self.position.max()) + 1


@dataclass(frozen=True, eq=False)
class DriftFit:
    """The axis (3,) and what was found on the way.

    `covariance_rad2` (2, 2) belongs to (east, up) at the axis. `dec_rad`, `angle_rad` (N,): declination about the
    axis and angle about it. `dec_residual_rad` (N,): what is left, on the sky. `noise_rad`: sigma
    of one frame in declination, from the scatter. `inflation`: by how much variances grew because the noise is not
    white. `wave_rad` (N,): the drive's own error about the axis, as fitted. `rate_error`: of the drive, as a share.
    """

    axis_enu: FloatArray
    covariance_rad2: FloatArray
    dec_rad: FloatArray
    angle_rad: FloatArray
    dec_residual_rad: FloatArray
    noise_rad: float
    inflation: float
    wave_rad: FloatArray
    rate_error: float


def fit_drift(data: DriftData, start_enu: FloatArray, up_enu: FloatArray) -> DriftFit:
    """The axis that keeps every declination still; `start_enu` (3,) is the target pole, `up_enu` (3,) up there.

    Needs three frames at one position at the least; a single position leaves one direction all but unknown, and the
    covariance says so.
    """
    axis = start_enu
    noise = np.array([np.sqrt(np.mean(np.square(data.sigma_rad)))] * 2)
    relative = data.sigma_rad / noise[0]
    sideways = _sideways(data, start_enu, up_enu)
    for _ in range(_ROUNDS):
        dec, angle = about(axis, up_enu, data)
        rows = _Rows(data, dec, angle, sideways)
        solved = _solve(rows, noise, relative)
        axis = moved(axis, solved.step, up_enu)
        noise = np.maximum(solved.scatter, 0.3 * noise)
    dec, angle = about(axis, up_enu, data)
    rows = _Rows(data, dec, angle, sideways)
    solved = _solve(rows, noise, relative)
    growth = correlation_growth(solved.dec_left, data.position)
    return DriftFit(
        axis_enu=axis,
        covariance_rad2=solved.covariance * growth,
        dec_rad=dec,
        angle_rad=angle,
        dec_residual_rad=solved.dec_left,
        noise_rad=float(noise[0]),
        inflation=growth,
        wave_rad=rows.waves @ solved.wave_sizes,
        rate_error=solved.rate,
    )


def moved(axis_enu: FloatArray, step: FloatArray, up_enu: FloatArray) -> FloatArray:
    """The axis moved by (east, up), rad, by small angles; `up_enu` (3,) is up at the pole beside it."""
    return unit(axis_enu + step @ _directions(axis_enu, up_enu))


def _directions(axis: FloatArray, up: FloatArray) -> FloatArray:
    """East and up (2, 3) at the axis, like those at the pole beside it."""
    along = unit(up - (up @ axis) * axis)
    east = np.cross(along, axis)
    return np.stack([east if east[0] > 0.0 else -east, along])


def about(axis: FloatArray, up: FloatArray, data: DriftData) -> tuple[FloatArray, FloatArray]:
    """Declination (N,) and angle (N,) about the axis."""
    east, along = _directions(axis, up)
    s = data.direction_enu
    x, y, z = s @ along, s @ east, s @ axis
    return np.arctan2(z, np.hypot(x, y)), np.arctan2(y, x)


def _sideways(data: DriftData, pole: FloatArray, up: FloatArray) -> FloatArray:
    """How far (N,) each frame has moved among the stars along right ascension since its position began, rad on the
    sky: this, turned by a wrong orientation of the camera, looks like declination."""
    dec, angle = about(pole, up, data)
    _, first, position = np.unique(data.position, return_index=True, return_inverse=True)
    turned = angle - angle[first][position] + SIDEREAL_RATE_RAD_S * (data.at_s - data.at_s[first][position])
    return np.asarray(np.cos(dec) * wrap_pi(turned))


class _Rows:
    """The linear problem about the present axis: what is seen, and how it answers to each unknown."""

    def __init__(self, data: DriftData, dec: FloatArray, angle: FloatArray, sideways: FloatArray) -> None:
        self.dec = dec
        self.position = data.position
        self.members = [np.flatnonzero(data.position == k) for k in range(data.positions)]
        first = np.array([m[0] for m in self.members])[data.position]
        since = data.at_s - data.at_s[first]
        self.drive = wrap_pi(angle - angle[first] + SIDEREAL_RATE_RAD_S * since)
        self.cos_dec = np.cos(dec)
        self.dec_slopes = np.stack([np.sin(angle), np.cos(angle)], axis=1)
        self.ra_slopes = np.sin(dec)[:, None] * np.stack([-np.cos(angle), np.sin(angle)], axis=1)
        self.elapsed = data.at_s - data.at_s.mean()
        self.waves = _waves(since, data.position)
        self.leak_sigma = data.leak_sigma
        self.sideways = sideways


@dataclass(frozen=True, eq=False)
class _Solved:
    step: FloatArray
    covariance: FloatArray
    scatter: FloatArray
    dec_left: FloatArray
    wave_sizes: FloatArray
    rate: float


def _solve(rows: _Rows, noise: FloatArray, relative: FloatArray) -> _Solved:
    """Weighted least squares for the step of the axis.

    Columns: east, up, per position dec and RA zero, rate, waves, per position the leak (a mount that is not square
    turns the camera a little from one position to the next). Seen, with x the step:
    dec_i + dec_slopes . x = dec zero + leak sideways_i;
    cos dec drive_i + ra_slopes . x = cos dec (RA zero + rate t + waves).
    """
    n, k, w = rows.dec.size, len(rows.members), rows.waves.shape[1]
    zero = np.asarray(rows.position[:, None] == np.arange(k), dtype=float)
    leak = rows.sideways[:, None] * zero * (rows.leak_sigma > 0.0)
    dec_block = np.concatenate([-rows.dec_slopes, zero, np.zeros((n, k + 1 + w)), leak], axis=1)
    rate = (SIDEREAL_RATE_RAD_S * rows.elapsed)[:, None]
    drive = rows.cos_dec[:, None] * np.concatenate([zero, rate, rows.waves], axis=1)
    ra_block = np.concatenate([-rows.ra_slopes, np.zeros((n, k)), drive, np.zeros((n, k))], axis=1)
    design = np.concatenate([dec_block, ra_block])
    middle = np.array([rows.dec[m].mean() for m in rows.members])
    seen = np.concatenate([rows.dec - middle[rows.position], rows.cos_dec * rows.drive])
    weight = 1.0 / np.concatenate([noise[0] * relative, noise[1] * relative])
    doubts = [1.0 / RATE_DOUBT, *[1.0 / WAVE_SIZE_RAD] * w, *[1.0 / (rows.leak_sigma or 1.0)] * k]
    prior = np.concatenate([[1.0 / WEAK_PRIOR_RAD] * 2, np.zeros(2 * k), doubts])
    stacked = np.concatenate([design * weight[:, None], np.diag(prior)])
    information = stacked.T @ stacked
    scale = 1.0 / np.sqrt(np.diag(information))
    inverse = np.linalg.inv(information * scale[:, None] * scale[None, :]) * scale[:, None] * scale[None, :]
    solution = inverse @ (design.T @ (seen * weight**2))
    left = seen - design @ solution
    dec_left, ra_left = left[:n], left[n:]
    used_ra = min(float(np.trace(inverse[2 + k :, 2 + k :] @ information[2 + k :, 2 + k :])), 0.7 * n)
    scatter = np.array([_rms(dec_left / relative, n - k - 1.0), _rms(ra_left / relative, n - used_ra)])
    return _Solved(
        step=solution[:2],
        covariance=inverse[:2, :2],
        scatter=scatter,
        dec_left=dec_left,
        wave_sizes=solution[2 * k + 3 : 2 * k + 3 + w],
        rate=float(solution[2 * k + 2]),
    )


def _rms(residual: FloatArray, dof: float) -> float:
    return float(np.sqrt(np.sum(np.square(residual)) / max(dof, 1.0)))


def _waves(since_s: FloatArray, position: IntArray) -> FloatArray:
    """Columns (N, W): sine and cosine of every period; each position has its own, for the worm has moved on."""
    phase = 2.0 * np.pi * since_s[:, None] / np.array(WAVE_PERIODS_S)
    waves = np.concatenate([np.sin(phase), np.cos(phase)], axis=1)
    here = np.asarray(position[:, None] == np.arange(position.max() + 1), dtype=float)
    return np.asarray((here[:, :, None] * waves[:, None, :]).reshape(position.size, -1))


def correlation_growth(residual: FloatArray, position: IntArray) -> float:
    """Factor on the variance for noise in which neighbours resemble each other: (1 + r) / (1 - r), at least 1."""
    same = position[1:] == position[:-1]
    if same.sum() < 8:
        return 1.0
    r = float(np.sum((residual[1:] * residual[:-1])[same]) / np.sum(np.square(residual)))
    r += (1.0 + 3.0 * r) / residual.size  # a short series shows too little of it (Marriott & Pope 1954)
    r = float(np.clip(r, 0.0, 0.8))
    return (1.0 + r) / (1.0 - r)
