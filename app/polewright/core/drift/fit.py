"""The mount axis from frames taken while the drive runs: least squares on the drift of the boresight, exact.

A mount turns about one axis, whatever its drive does: in observed ENU (refraction left as it is) the boresight of an
untouched tube keeps its distance from the axis, sin(dec) = s . p. The drift in declination that the textbook reads as
d(dec_p)/dt = -w (a cos H + b sin H) is what p must be moved by to make it so. No small angles, no pole, both
hemispheres. The same frames seen along right ascension tell the other combination, w sin(dec) (a sin H - b cos H), as
far as the drive can be trusted: its rate is fitted, and periodic error apart, as smooth waves of likely size. The
turning of the field about its centre tells that one too, whatever drive and guider do: turns about the mount axis and
about the declination axis leave the angle between the camera and the direction of the mount axis as it is.

Angle h is counted about the axis from "up" toward "east"; the hour angle is -h. Units: rad and s.
Source: Covington, Astrophotography for the Amateur, 2nd ed. (1999), appendix B.

Decided 2026-11-25. A drift is doubted by what a base may creep. A base that settles by 8" in ten minutes faked 137"
of axis error in a rehearsal. The covariance of a drift grows by 2" an hour and by 4" in ten minutes dying away (no
published source); on soil 12" an hour last (2026-11-30: a good axis was turned away by a base that crept by 0.46" a
minute all night, which fakes 104"); a proof waits until the tripod has stood; a drift that leaves it open is watched
again; one that contradicts is laid before the person. Fitting the creep was rejected: one field cannot tell it from
the axis, and two cannot either.
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
_UNHEARD = np.array([1e5, 1.0, 1.0])  # times its noise: declination has no say
_TWIST = 10.0 / ARCSEC_PER_RAD  # of the camera in its tube, rad a radian of the sky's turn: as pull (chosen)
_HIGHEST_RAD = np.radians(80.0)  # declination: nearer to the axis its direction turns with the noise (chosen)


@dataclass(frozen=True, eq=False)
class DriftData:
    """Frames in the order of time: s from the first, boresight (N, 3) in observed ENU, sigma (N,) of the pointing
    along one axis, and the number (N,) of the position that each belongs to, 0, 1, ...

    `leak_sigma`: sigma of the share of the motion in right ascension that shows as declination, because the camera's
    orientation is known only so well (its error in rad); 0 for solved frames. `camera_x_enu` (N, 3), `roll_sigma_rad`
    (N,): the camera's x axis and sigma of its turn about the boresight; None where nobody measured it."""

    at_s: FloatArray
    direction_enu: FloatArray
    sigma_rad: FloatArray
    position: IntArray
    leak_sigma: float = 0.0
    camera_x_enu: FloatArray | None = None
    roll_sigma_rad: FloatArray | None = None

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
    noise, relative = _expected(data)
    sideways = _sideways(data, start_enu, up_enu)
    for _ in range(_ROUNDS):
        rows = _Rows(data, axis, up_enu, sideways)
        solved = _solve(rows, noise, relative)
        axis = moved(axis, solved.step, up_enu)
        noise = np.maximum(solved.scatter, 0.3 * noise)
    rows = _Rows(data, axis, up_enu, sideways)
    solved = _solve(rows, noise, relative)
    growth = correlation_growth(solved.dec_left, data.position)
    return DriftFit(
        axis_enu=axis,
        covariance_rad2=solved.covariance * growth,
        dec_rad=rows.dec,
        angle_rad=rows.angle,
        dec_residual_rad=solved.dec_left,
        noise_rad=float(noise[0]),
        inflation=growth,
        wave_rad=rows.waves @ solved.wave_sizes,
        rate_error=solved.rate,
    )


def step_without_declination(
    data: DriftData, axis_enu: FloatArray, up_enu: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far (2,), (east, up) in rad, right ascension and the turning of the field would have the axis away from
    `axis_enu` (3,), and the covariance (2, 2) of that, both to first order there.

    Over minutes they leave one direction open by degrees. Were the axis sought out there, what they tell of the other
    direction would be told where it is another one.
    """
    noise, relative = _expected(data)
    rows = _Rows(data, axis_enu, up_enu, _sideways(data, axis_enu, up_enu))
    for _ in range(_ROUNDS):
        solved = _solve(rows, noise * _UNHEARD, relative)
        noise = np.maximum(solved.scatter, 0.3 * noise)
    return solved.step, solved.covariance * correlation_growth(solved.ra_left, data.position)


def _expected(data: DriftData) -> tuple[FloatArray, FloatArray]:
    """Sigma (3,) of a usual frame in declination, right ascension and turn; of each frame, in units of it (N,)."""
    noise = np.array([np.sqrt(np.mean(np.square(data.sigma_rad)))] * 2 + [_roll_noise(data)])
    return noise, data.sigma_rad / noise[0]


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

    def __init__(self, data: DriftData, axis: FloatArray, up: FloatArray, sideways: FloatArray) -> None:
        dec, angle = about(axis, up, data)
        self.dec, self.angle = dec, angle
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
        self.turn, self.turn_slopes = _turned(data, axis, up)
        if self.turn.size:
            self.turn = wrap_pi(self.turn - self.turn[first])
        self.turned = wrap_pi(angle - angle[first])


def _roll_noise(data: DriftData) -> float:
    return 1.0 if data.roll_sigma_rad is None else float(np.sqrt(np.mean(np.square(data.roll_sigma_rad))))


def _turned(data: DriftData, axis: FloatArray, up: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Angle (N,) from the direction of the axis to the camera's x axis, and how it follows (N, 2) that, (east, up);
    nothing where no camera's turn is known or a field lies too near to the axis."""
    x, s = data.camera_x_enu, data.direction_enu
    if x is None or bool(np.any(np.abs(s @ axis) > np.sin(_HIGHEST_RAD))):
        return np.zeros(0), np.zeros((0, 2))

    def turn(beside: FloatArray) -> FloatArray:
        return np.asarray(np.arctan2(np.einsum("ij,ij->i", x, np.cross(s, beside)), x @ beside))

    small = 1e-5
    ends = [turn(moved(axis, small * step, up)) for step in np.eye(2)]
    here = turn(axis)
    return here, np.stack([wrap_pi(end - here) / small for end in ends], axis=1)


@dataclass(frozen=True, eq=False)
class _Solved:
    step: FloatArray
    covariance: FloatArray
    scatter: FloatArray
    dec_left: FloatArray
    ra_left: FloatArray
    wave_sizes: FloatArray
    rate: float


def _solve(rows: _Rows, noise: FloatArray, relative: FloatArray) -> _Solved:
    """Weighted least squares for the step of the axis.

    Columns: east, up, per position dec and RA zero, rate, waves, per position the leak (a mount that is not square
    turns the camera a little from one position to the next), per position turn zero, twist. Seen, with x the step:
    dec_i + dec_slopes . x = dec zero + leak sideways_i;
    cos dec drive_i + ra_slopes . x = cos dec (RA zero + rate t + waves);
    turn_i + turn_slopes . x = turn zero + twist angle_i.
    """
    n, k, w = rows.dec.size, len(rows.members), rows.waves.shape[1]
    m = rows.turn.size
    zero = np.asarray(rows.position[:, None] == np.arange(k), dtype=float)
    leak = rows.sideways[:, None] * zero * (rows.leak_sigma > 0.0)
    dec_block = np.concatenate([-rows.dec_slopes, zero, np.zeros((n, k + 1 + w)), leak], axis=1)
    rate = (SIDEREAL_RATE_RAD_S * rows.elapsed)[:, None]
    drive = rows.cos_dec[:, None] * np.concatenate([zero, rate, rows.waves], axis=1)
    ra_block = np.concatenate([-rows.ra_slopes, np.zeros((n, k)), drive, np.zeros((n, k))], axis=1)
    own = k + 1 if m else 0  # unknowns of the turn by itself
    twist = rows.turned[:m, None]
    turn_block = np.concatenate([-rows.turn_slopes, np.zeros((m, 3 * k + 1 + w)), zero[:m], twist], axis=1)
    by_stars = np.pad(np.concatenate([dec_block, ra_block]), ((0, 0), (0, own)))
    design = np.concatenate([by_stars, turn_block]) if m else by_stars
    middle = np.array([rows.dec[m].mean() for m in rows.members])
    seen = np.concatenate([rows.dec - middle[rows.position], rows.cos_dec * rows.drive, rows.turn])
    weight = 1.0 / np.concatenate([noise[0] * relative, noise[1] * relative, noise[2] * relative[:m]])
    doubts = [1.0 / RATE_DOUBT, *[1.0 / WAVE_SIZE_RAD] * w, *[1.0 / (rows.leak_sigma or 1.0)] * k]
    prior = np.concatenate(
        [[1.0 / WEAK_PRIOR_RAD] * 2, np.zeros(2 * k), doubts, [0.0] * k + [1.0 / _TWIST] if m else []]
    )
    stacked = np.concatenate([design * weight[:, None], np.diag(prior)])
    inverse, solution = _least_squares(stacked, np.concatenate([seen * weight, np.zeros(prior.size)]))
    information = stacked.T @ stacked
    left = seen - design @ solution
    dec_left, ra_left, roll_left = left[:n], left[n : 2 * n], left[2 * n :]
    last = design.shape[1] - own
    used_ra = min(
        float(np.trace(inverse[2 + k : last, 2 + k : last] @ information[2 + k : last, 2 + k : last])), 0.7 * n
    )
    scatter = np.array(
        [
            _rms(dec_left / relative, n - k - 1.0),
            _rms(ra_left / relative, n - used_ra),
            _rms(roll_left / relative, n - k - 1.0) if m else noise[2],
        ]
    )
    return _Solved(
        step=solution[:2],
        covariance=inverse[:2, :2],
        scatter=scatter,
        dec_left=dec_left,
        ra_left=ra_left,
        wave_sizes=solution[2 * k + 3 : 2 * k + 3 + w],
        rate=float(solution[2 * k + 2]),
    )


def _least_squares(design: FloatArray, seen: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Covariance and solution by orthogonal factors: the sums of squares of a drift that has hardly begun are so
    ill-conditioned that their inverse is another one on another processor."""
    scale = 1.0 / np.sqrt(np.sum(np.square(design), axis=0))
    factors = np.asarray(np.linalg.qr(np.column_stack([design * scale, seen]), mode="r"), dtype=np.float64)
    root = scale[:, None] * np.linalg.inv(factors[:-1, :-1])
    return root @ root.T, root @ factors[:-1, -1]


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
