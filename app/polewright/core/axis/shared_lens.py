"""One lens for all frames of a capture: where each points, fitted together with how the lens bends.

Decided 2026-11-29. A lens of 90 degrees bends by more than its stars scatter. Fitted frame by frame, its bend is
another one in every frame, and the attitudes take up the difference: five frames of a camera that stands still gave
the pole to 6 arcmin. The lens is the same in all of them, so it is fitted once, with its centre free, in the observed
sky, where refraction does not pass for bend. The radius on the sensor is an odd polynomial of the angle from the
boresight (Kannala & Brandt, IEEE PAMI 28, 1335 (2006)), which serves a straight drawing as well as a fisheye of 180
degrees; tilted elements as usual (Brown, Photogramm. Eng. 32, 444 (1966)). More terms of the tangent plane were
rejected: a tangent ends at 90 degrees.
Only captures of three and more frames wider than 35 degrees are fitted so; others keep what they have, wide ones as
unsure as sky_frame() makes them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD, rotation_about
from polewright.core.axis.sky_frame import is_bent
from polewright.core.camera import pixel_to_vector
from polewright.core.model import (
    Atmosphere,
    Attitude,
    Camera,
    FloatArray,
    PlateSolution,
    Site,
    SkyFrame,
    StarList,
)
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.places import observed_enu
from polewright.core.sky.timescales import julian_epoch_year

FEWEST_FRAMES = 3  # with two the lens takes up what the axis should
_FEWEST_STARS = 6  # of a frame
_ROUNDS, _CLIPS = 8, 4
_CLIP_SIGMAS = 4.0
_CENTRE_SIGMA = 0.02  # of the width: how far off the middle of the sensor a lens is mounted (chosen)
_TILT_SIGMA = (
    0.01  # of the two terms of tilted elements; ordinary lenses stay below 0.002 (common practice, no source)
)
# of the polynomial's terms, about twice those of the straight drawing, 1/3, 2/15 and 17/315, which has the strongest:
# without them the last term runs away where only the middle has been matched yet
_BEND_SIGMA = (0.7, 0.2, 0.1)
# of an attitude, in px: what no lens of this kind explains. With it the five frames of the fixed camera in the shared
# frames agree among themselves nearly as well as they should (chi-square 9 for 6 degrees of freedom, 13 without)
_FLOOR_PX = 0.015
_MOST_SPREAD_PX = 2.0  # residuals beyond this are no lens of this kind
_STEADY = 1e-7  # steps, rad, that move no star
_REACH_STEP = 1.15  # so much farther out with each round: a bend known to a radius holds a little beyond it (chosen)
_TRUSTED = (0.4, 1.0)  # of the half diagonal: near the middle the lens of one frame is right, or else all over it
_GATE_PX = 5.0  # between drawn and seen, beyond which a star is another one
_SIGMA_FLOOR_PX = 0.1  # bright wide-lens stars are not measured better than that
_CATALOGUE_STARS = 9000  # of the whole sky, to magnitude 6.5: more than such a frame shows (measured: 220 detections)
_LOWEST_SINE, _BEHIND = 0.09, -0.2  # above 5 degrees, where refraction holds; up to 102 degrees off the boresight
_LENS = 8  # ln focal length, three of the bend, two of the centre, two of the tilt


@dataclass(frozen=True, eq=False)
class Lens:
    """`values` (8,): ln focal length (px), b1, b2, b3 of r = f (t + b1 t^3 + b2 t^5 + b3 t^7), centre off the middle
    of the sensor (x, y, in focal lengths, x un-mirrored), tilt p1, p2."""

    values: FloatArray

    @property
    def focal_px(self) -> float:
        """Pixels to a radian on the boresight."""
        return float(np.exp(self.values[0]))

    def drawn(self, v: FloatArray) -> FloatArray:
        """(N, 2) pixels from the middle of the sensor, un-mirrored, of unit vectors (N, 3) in camera axes."""
        _, b1, b2, b3, cx, cy, p1, p2 = self.values
        across = np.hypot(v[:, 0], v[:, 1])
        t = np.arctan2(across, v[:, 2])
        t2 = t * t
        radius = t * (1.0 + t2 * (b1 + t2 * (b2 + t2 * b3)))
        u = v[:, :2] * (radius / np.maximum(across, 1e-12))[:, None]
        x, y, r2 = u[:, 0], u[:, 1], radius * radius
        tilt = np.stack(
            [p1 * (r2 + 2.0 * x * x) + 2.0 * p2 * x * y, p2 * (r2 + 2.0 * y * y) + 2.0 * p1 * x * y], axis=1
        )
        return np.asarray((u + tilt + np.array([cx, cy])) * self.focal_px)


@dataclass(frozen=True, eq=False)
class Wide:
    """A frame of a capture: in the observed sky, the solution that rests on, and all its stars."""

    sky: SkyFrame
    solution: PlateSolution
    stars: StarList


@dataclass(frozen=True, eq=False)
class _State:
    """A lens and the attitude of each frame; after a fit their covariances (N, 3, 3), how many stars each has, and
    what the stars scatter by."""

    lens: Lens
    attitudes: Sequence[FloatArray]
    covariances: Sequence[FloatArray] | FloatArray = ()
    stars: Sequence[int] = ()
    rms_px: float = np.inf


@dataclass(frozen=True, eq=False)
class _Seen:
    """Stars of one frame: `pixels` (N, 2) from the middle, un-mirrored, their sigma (N,) and place `enu` (N, 3)."""

    pixels: FloatArray
    sigma_px: FloatArray
    enu: FloatArray

    def take(self, which: NDArray[np.bool_]) -> _Seen:
        return _Seen(self.pixels[which], self.sigma_px[which], self.enu[which])


def with_shared_lens(
    frames: Sequence[Wide], catalogue: Catalogue, site: Site, atmosphere: Atmosphere
) -> list[SkyFrame]:
    """The frames (N,) with attitudes that one lens explains, by all their stars that the catalogue knows; each alone
    where they are not wide, too few, of several cameras, or no lens explains them."""
    if not is_wide([frame.solution for frame in frames]):
        return [frame.sky for frame in frames]
    lists = [_Listed.of(frame, catalogue, site, atmosphere) for frame in frames]
    states = [_grown(frames, lists, share) for share in _TRUSTED]
    state = max(filter(None, states), key=lambda state: sum(state.stars), default=None)
    if state is None:
        return [frame.sky for frame in frames]
    return [
        _placed(frame.sky, attitude, covariance, state, count)
        for frame, attitude, covariance, count in zip(frames, state.attitudes, state.covariances, state.stars)
    ]


def _grown(frames: Sequence[Wide], lists: Sequence[_Listed], share: float) -> _State | None:
    """From what the solutions matched within a share of the half diagonal out to the corners; None where no lens of
    this kind explains even that."""
    camera = frames[0].solution.camera
    seen = [each.first(frame.solution, share) for frame, each in zip(frames, lists)]
    start = _State(_first_lens(camera, seen), [frame.sky.attitude_enu.camera_to_sky for frame in frames])
    state = _clipped(start, seen, camera)
    for reach in _reaches(seen, camera) if state is not None else ():
        assert state is not None
        seen = [each.matched(state.lens, attitude, reach) for each, attitude in zip(lists, state.attitudes)]
        further = _clipped(state, seen, camera)
        if further is None:
            break
        state = further
    return state


def _reaches(seen: Sequence[_Seen], camera: Camera) -> list[float]:
    """Pixels from the middle, from where the first stars end out to the corner, and there once more."""
    corner = 0.5 * float(np.hypot(camera.width_px, camera.height_px))
    reach = max(float(np.hypot(*each.pixels.T).max()) for each in seen)
    steps = max(0, int(np.ceil(np.log(corner / reach) / np.log(_REACH_STEP))))
    return [reach * _REACH_STEP**k for k in range(steps)] + [corner, corner]


def _clipped(state: _State, seen: Sequence[_Seen], camera: Camera) -> _State | None:
    """Fitted, with the stars that do not belong left out; None where no lens of this kind explains the frames."""
    fitted = state
    for _ in range(_CLIPS):
        if min(len(each.sigma_px) for each in seen) < _FEWEST_STARS:
            return None
        fitted, residuals = _fitted(fitted, seen, camera)
        kept = [np.abs(r).max(axis=1) < _CLIP_SIGMAS for r in _in_spreads(residuals)]
        if all(k.all() for k in kept):
            break
        seen = [each.take(k) for each, k in zip(seen, kept)]
    return fitted if fitted.rms_px < _MOST_SPREAD_PX else None


def is_wide(solutions: Sequence[PlateSolution]) -> bool:
    """Are these frames enough, of one camera, and so wide that their lens is worth a fit of its own?"""
    if len(solutions) < FEWEST_FRAMES:
        return False
    first = solutions[0].camera
    alike = all(
        (s.camera.width_px, s.camera.height_px, s.camera.mirrored)
        == (first.width_px, first.height_px, first.mirrored)
        for s in solutions
    )
    return alike and is_bent(first)


def _from_middle(camera: Camera, x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """(N, 2) pixels from the middle of the sensor, un-mirrored."""
    sign = -1.0 if camera.mirrored else 1.0
    return np.stack([sign * (x_px - 0.5 * (camera.width_px - 1)), y_px - 0.5 * (camera.height_px - 1)], axis=1)


@dataclass(frozen=True, eq=False)
class _Listed:
    """All stars of a frame, `pixels` (N, 2) and sigma (N,), and `enu` (K, 3) of the catalogue above the horizon,
    brightest first; `matched_enu` (M, 3) of those that its own solution matched."""

    pixels: FloatArray
    sigma_px: FloatArray
    enu: FloatArray
    camera: Camera
    matched_enu: FloatArray

    @staticmethod
    def of(frame: Wide, catalogue: Catalogue, site: Site, atmosphere: Atmosphere) -> _Listed:
        stars, camera, utc = frame.stars, frame.solution.camera, frame.sky.utc_mid
        icrs = catalogue.vectors_at(julian_epoch_year(utc), slice(0, _CATALOGUE_STARS))
        enu = observed_enu(icrs, utc, site, atmosphere)
        sigma = np.maximum(stars.sigma_px, _SIGMA_FLOOR_PX)
        pixels = _from_middle(camera, stars.x_px, stars.y_px)
        matched = observed_enu(frame.solution.matched.icrs, utc, site, atmosphere)
        return _Listed(pixels, sigma, enu[enu[:, 2] > _LOWEST_SINE], camera, matched)

    def first(self, solution: PlateSolution, share: float) -> _Seen:
        """What the solution of the frame matched within a share of the half diagonal; or all of it."""
        matched = solution.matched
        seen = _Seen(_from_middle(self.camera, matched.x_px, matched.y_px), matched.sigma_px, self.matched_enu)
        corner = 0.5 * float(np.hypot(self.camera.width_px, self.camera.height_px))
        inner = seen.take(np.hypot(*seen.pixels.T) < share * corner)
        return inner if len(inner.sigma_px) >= _FEWEST_STARS else seen

    def matched(self, lens: Lens, attitude: FloatArray, reach_px: float) -> _Seen:
        """The stars within reach of the middle that lie where the lens draws one of the catalogue, each other's
        nearest; of the catalogue so many as the frame has stars."""
        v = self.enu @ attitude
        v_index = np.flatnonzero(v[:, 2] > _BEHIND)
        drawn = lens.drawn(v[v_index])
        half = np.array([0.5 * self.camera.width_px, 0.5 * self.camera.height_px])
        inside = np.flatnonzero((np.abs(drawn) < half).all(axis=1))[: len(self.pixels)]
        inside = inside[np.hypot(*drawn[inside].T) < reach_px]
        if inside.size == 0:
            return _Seen(np.zeros((0, 2)), np.zeros(0), np.zeros((0, 3)))
        gap = np.hypot(*(np.subtract.outer(drawn[inside, k], self.pixels[:, k]) for k in (0, 1)))
        star = gap.argmin(axis=1)
        mutual = (gap.argmin(axis=0)[star] == np.arange(inside.size)) & (gap.min(axis=1) < _GATE_PX)
        return _Seen(self.pixels[star[mutual]], self.sigma_px[star[mutual]], self.enu[v_index[inside[mutual]]])


def _first_lens(camera: Camera, seen: Sequence[_Seen]) -> Lens:
    """The lens of one frame's solution, as far out as it has stars."""
    reach = max(float(np.hypot(*each.pixels.T).max()) for each in seen)
    radius = np.linspace(0.02, 1.0, 60) * reach
    x = radius + 0.5 * (camera.width_px - 1)
    v = pixel_to_vector(replace(camera, mirrored=False), x, np.full(60, 0.5 * (camera.height_px - 1)))
    t = np.arctan2(v[:, 0], v[:, 2])
    terms = np.linalg.lstsq(np.stack([t, t**3, t**5, t**7], axis=1), radius, rcond=None)[0]
    return Lens(np.array([np.log(terms[0]), *(terms[1:] / terms[0]), 0.0, 0.0, 0.0, 0.0]))


def _fitted(start: _State, seen: Sequence[_Seen], camera: Camera) -> tuple[_State, list[FloatArray]]:
    """Least squares of the lens and every attitude, and the residuals (N, 2) in sigmas."""
    lens, turned, count = start.lens, list(start.attitudes), len(seen)
    prior = _prior(camera, lens.focal_px)
    for _ in range(_ROUNDS):
        normal, right = np.diag(np.concatenate([prior, np.zeros(3 * count)])), np.zeros(_LENS + 3 * count)
        right[:_LENS] = -prior * lens.values
        residuals = []
        for k, each in enumerate(seen):
            error, slope = _linearised(lens, turned[k], each)
            residuals.append(error.reshape(-1, 2))
            rows = np.r_[0:_LENS, _LENS + 3 * k : _LENS + 3 * k + 3]
            normal[np.ix_(rows, rows)] += slope.T @ slope
            right[rows] += slope.T @ error
        step = np.linalg.solve(normal, right)
        lens = Lens(lens.values + step[:_LENS])
        turned = [c @ _turn(step[_LENS + 3 * k : _LENS + 3 * k + 3]) for k, c in enumerate(turned)]
        if float(np.abs(step).max()) < _STEADY:
            break
    chi2 = float(sum(np.sum(np.square(r)) for r in residuals))
    dof = sum(r.size for r in residuals) - _LENS - 3 * count
    rms_px = float(
        np.sqrt(np.mean(np.square(np.concatenate([r * e.sigma_px[:, None] for r, e in zip(residuals, seen)]))))
    )
    covariances = _between_frames(normal, count, chi2 / max(dof, 1)) + np.eye(3) * (_FLOOR_PX / lens.focal_px) ** 2
    return _State(lens, turned, covariances, [len(each.sigma_px) for each in seen], rms_px), residuals


def _prior(camera: Camera, focal_px: float) -> FloatArray:
    """(8,) inverse variances about zero; the focal length is free."""
    centre = _CENTRE_SIGMA * camera.width_px / focal_px
    return np.array([0.0, *np.power(_BEND_SIGMA, -2.0), centre**-2, centre**-2, _TILT_SIGMA**-2, _TILT_SIGMA**-2])


def _linearised(lens: Lens, attitude: FloatArray, each: _Seen) -> tuple[FloatArray, FloatArray]:
    """Errors (2 N,) seen minus drawn, in sigmas, and the slopes (2 N, 11) of what is drawn."""
    v = each.enu @ attitude
    drawn = lens.drawn(v)
    steps = np.full(_LENS, 1e-6)
    columns = [(Lens(lens.values + row).drawn(v) - drawn) / 1e-6 for row in np.diag(steps)]
    columns += [(lens.drawn(v + 1e-6 * np.cross(v, axis)) - drawn) / 1e-6 for axis in np.eye(3)]  # d v = v x eps
    weight = 1.0 / each.sigma_px[:, None]
    slope = np.stack([(c * weight).reshape(-1) for c in columns], axis=1)
    return ((each.pixels - drawn) * weight).reshape(-1), slope


def _turn(eps: NDArray[np.floating]) -> FloatArray:
    angle = float(np.linalg.norm(eps))
    return rotation_about(np.asarray(eps / angle), angle) if angle > 0.0 else np.eye(3)


def _in_spreads(residuals: Sequence[FloatArray]) -> list[FloatArray]:
    """The residuals in units of what most of them scatter by."""
    everything = np.abs(np.concatenate(residuals))
    usual = max(1.0, float(np.median(everything)) / 0.6745)
    return [r / usual for r in residuals]


def _between_frames(normal: FloatArray, frames: int, noise: float) -> FloatArray:
    """(N, 3, 3) covariance of each attitude against the mean of all, `noise` being the variance of the residuals.

    What the frames share turns each alike in camera axes, as a camera that sits askew does, and moves no axis.
    """
    covariance = np.linalg.inv(normal)[_LENS:, _LENS:] * noise
    apart = np.kron(np.eye(frames) - 1.0 / frames, np.eye(3))
    own = apart @ covariance @ apart.T * (frames / (frames - 1.0))
    return np.stack([own[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] for k in range(frames)])


def _placed(frame: SkyFrame, attitude: FloatArray, covariance: FloatArray, state: _State, stars: int) -> SkyFrame:
    u, _, vt = np.linalg.svd(attitude)
    focal = state.lens.focal_px
    camera = replace(frame.camera, focal_px=focal)
    rms_arcsec = state.rms_px / focal * ARCSEC_PER_RAD
    attitude_enu = Attitude(u @ vt, covariance)
    return replace(frame, attitude_enu=attitude_enu, camera=camera, stars_matched=stars, rms_arcsec=rms_arcsec)
