"""Stars that a moving mount has drawn out alike: their common shape, and where each stood at mid-exposure.

While the shutter is open every star draws the same path. Half of its light falls before mid-exposure and half after
it; as long as the mount goes one way along the path, however unsteadily, and also when it begins or stops meanwhile,
the median of the light along the path is the place at mid-exposure. So: stack the bright stars to the profile that
they share; fit that profile to every star; take its blur off and look up the median.

A camera that looks steeply up also turns about its own axis when the azimuth screw is turned: paths then grow longer
and swing round across the frame (`Path.twist_px`).

Decided 2026-11-29. The moment within an exposure is the median of the light. What that moment leaves open is one
error that all stars share (`StarList.shared_error`). Of frames with paths of 4, 8, 15, 30 and 60 px, 32 of each
length from two scenarios, 160 of 160 are read; error over stated sigma (rms, x and y) 1.9, 0.9, 1.1, 3.6 and 1.4: of
those that begin to move in mid-exposure some still pass for stars that stood (tests/bench/moving_frames.py
--frames 16 --seeds 1). Centroids of trails were
rejected: they are off by pixels where the motion begins or stops within the exposure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.measure import FLOOR_SIGMA_PX
from polewright.core.detection.ramp import Ramp, fit_ramp
from polewright.core.model import FloatArray, PixelArray

STEP_PX = 0.5  # of the profile
_TEACHERS = 16  # bright stars that the profile is learned from
_SHARPENING = 60  # rounds of taking the blur off (Richardson-Lucy); more amplify noise (chosen)
_FLUX_SHARE = 0.004  # how well the half of the light is known: shutter, transparency, the stack
_STOOD = 0.85  # of the light at one end: it moves no centroid by much
_ROUND_SHARE = 0.3  # of the path that was looked for
_END_PARTS = 16  # the ends of a strip (chosen)
_GOES_ON = 0.5  # light at the ends, of the usual one, that is more than noise (chosen)
_SAME_WAY = 0.17  # sine of the angle between two looks at one path: twice the rays of five degrees (chosen)
_DOUBLE = 0.95  # of the light at the two ends: two stars, or a knock
_SWING_SHARE = 0.03  # of the path: where it was swung along, the median is no time
_TWISTED = 20.0  # px: shorter paths do not show that they differ
_TWISTS = (-0.3, -0.15, 0.0, 0.15, 0.3)  # difference of paths at the side of the frame, as a share of the path
_MOST_CHANGE = 0.15  # of the path by the twist, from side to side of the frame (chosen)
_MOST_FIT = 70  # stars fitted: the brightest decide the pose (bound of time)
_FIT_STEPS = 4  # of the fit, each a linear one (chosen)
_CLIP_SIGMA = 4.0  # pixels further off belong to a neighbour or a cosmic ray


@dataclass(frozen=True)
class Path:
    """The straight line that stars have drawn: direction from +x towards +y, length, Gaussian width across.

    Those at the middle of the frame, (`x_px`, `y_px`); elsewhere the field has turned as well: `twist_px` is that
    turn (rad, from +x towards +y) over the length.
    """

    angle_rad: float
    length_px: float
    width_px: float
    x_px: float = 0.0
    y_px: float = 0.0
    twist_px: float = 0.0

    def along(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Direction (cosine, sine) of the path of stars at (x, y) and its length over that at the middle, (N,)."""
        east = np.cos(self.angle_rad) - self.twist_px * (y - self.y_px)
        south = np.sin(self.angle_rad) + self.twist_px * (x - self.x_px)
        stretch = np.hypot(east, south)
        return east / stretch, south / stretch, stretch

    def like(self, other: Path) -> bool:
        """Whether both lie in one direction, to and fro being the same."""
        return bool(abs(np.sin(self.angle_rad - other.angle_rad)) < _SAME_WAY)

    @property
    def reach_px(self) -> float:
        """How far from its middle a star's light is looked for."""
        return 0.65 * self.length_px + 4.0 * self.width_px + 2.0


@dataclass(frozen=True, eq=False)
class Profile:
    """Light along the path, sum 1, at `u_px` (steps of half a pixel) from where the stars stood at mid-exposure;
    `middle_sigma_px`: how well that is known, the same for all."""

    path: Path
    u_px: FloatArray
    light: FloatArray
    middle_sigma_px: float = 0.0

    @property
    def goes_on(self) -> bool:
        """Is there light at both ends as along the path: is the path longer than it was looked for?"""
        end = max(1, self.light.size // _END_PARTS)
        return bool(min(self.light[:end].mean(), self.light[-end:].mean()) > _GOES_ON * np.median(self.light))


@dataclass(frozen=True, eq=False)
class Drawn:
    """Fitted stars (N,): place at mid-exposure, sigmas along and across, flux (ADU), its significance, chi2 / dof."""

    x_px: FloatArray
    y_px: FloatArray
    along_sigma_px: FloatArray
    across_sigma_px: FloatArray
    flux_adu: FloatArray
    snr: FloatArray
    misfit: FloatArray

    def select(self, keep: NDArray[np.bool_] | NDArray[np.int64]) -> Drawn:
        """The stars where `keep` is true, or at its indices."""
        return Drawn(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def learn_profile(pixels: PixelArray, x: FloatArray, y: FloatArray, path: Path) -> Profile | None:
    """The profile that the stars at (x, y), brightest first, share.

    Only the leading stars teach. The places need not be good: the light of a star that began to move in the middle
    of the exposure lies anywhere along the path. None where they stood after all, or are double:
    nothing lies in between.
    """
    x, y = x[:_TEACHERS], y[:_TEACHERS]
    path = _twisted(pixels, x, y, path)
    shift = np.zeros(x.size)
    for _ in range(2):
        cx, cy, _ = path.along(x, y)
        strips, u, v = _strips(pixels, x + shift * cx, y + shift * cy, path)
        each, total = _each(strips, v, path)
        lag, shared, _ = _aligned(each)
        across = np.median(strips.sum(axis=2) / total[:, None], axis=0)
        path = replace(path, width_px=_width(across, v, path.width_px))
        shift = shift + lag
    shared = np.maximum(shared, 0.0)
    return with_middle(Profile(path, u, shared / max(float(shared.sum()), 1e-9)))


def _twisted(pixels: PixelArray, x: FloatArray, y: FloatArray, path: Path) -> Path:
    """The path with the twist under which the stars agree best."""
    if path.length_px < _TWISTED:
        return path
    reach = max(path.x_px, 1.0)
    trials = [replace(path, twist_px=share / reach) for share in _TWISTS]
    alike = np.array([_agreement(pixels, x, y, trial) for trial in trials])
    best = int(np.clip(alike.argmax(), 1, len(trials) - 2))
    bend = alike[best - 1] - 2.0 * alike[best] + alike[best + 1]
    part = 0.5 * (alike[best - 1] - alike[best + 1]) / bend if bend < 0.0 else 0.0
    step = _TWISTS[1] - _TWISTS[0]
    return replace(path, twist_px=(_TWISTS[best] + step * float(np.clip(part, -1.0, 1.0))) / reach)


def _agreement(pixels: PixelArray, x: FloatArray, y: FloatArray, path: Path) -> float:
    strips, _, v = _strips(pixels, x, y, path)
    _, _, alike = _aligned(_each(strips, v, path)[0])
    return alike


def _each(strips: FloatArray, v: FloatArray, path: Path) -> tuple[FloatArray, FloatArray]:
    """Light (N, U) along the path of each star, sum 1, and that sum."""
    light = strips[:, np.abs(v) <= 3.0 * path.width_px, :].sum(axis=1)
    total = np.maximum(light.sum(axis=1), 1e-6)
    return light / total[:, None], total


def _aligned(each: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """How far (N,) the light of each star lies along the path from what they share, px; that, centred on its light;
    how alike they are, 1 at most."""
    count, size = each.shape
    padded = np.fft.rfft(each, 2 * size, axis=1)
    pairs = np.fft.irfft(padded[:, None, :] * np.conj(padded[None, :, :]), axis=2)
    norm = np.sqrt(np.maximum(pairs[np.arange(count), np.arange(count), 0], 1e-12))
    alike = pairs.max(axis=2) / (norm[:, None] * norm)
    model = int(np.median(alike, axis=1).argmax())
    lag = _peak(pairs[:, model])
    grid = np.arange(size)
    lag -= np.median(lag)
    shared = np.zeros(size)
    for _ in range(2):
        moved = np.stack([np.interp(grid + k, grid, row) for k, row in zip(lag, each, strict=True)])
        shared = np.median(moved, axis=0)
        lag = _peak(np.fft.irfft(padded * np.conj(np.fft.rfft(shared, 2 * size)), axis=1))
    light = np.maximum(shared, 0.0)
    centre = float((light * grid).sum() / max(light.sum(), 1e-9)) - size // 2
    shared = np.interp(grid + centre, grid, shared)
    return (lag + centre) * STEP_PX, shared, float(np.median(alike))


def _peak(correlation: FloatArray) -> FloatArray:
    """The lag (N,) of the highest correlation (N, 2 size), by a parabola through its neighbours."""
    size = correlation.shape[1]
    top = correlation.argmax(axis=1)
    star = np.arange(top.size)
    left, here, right = (correlation[star, (top + k) % size] for k in (-1, 0, 1))
    bend = left - 2.0 * here + right
    part = np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, 1.0), 0.0)
    return np.asarray((top + size // 2) % size - size // 2 + np.clip(part, -0.5, 0.5), dtype=np.float64)


def _strips(
    pixels: PixelArray, x: FloatArray, y: FloatArray, path: Path
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Light (N, V, U) on a grid along and across the path about each place, less the sky beside it; the grid."""
    reach = path.reach_px
    u = np.arange(-np.ceil(reach / STEP_PX), np.ceil(reach / STEP_PX) + 1) * STEP_PX
    half = np.ceil(3.0 * path.width_px) + 3.0
    v = np.arange(-half, half + 1)
    cx, cy, stretch = (part[:, None, None] for part in path.along(x, y))
    px = x[:, None, None] + u * stretch * cx - v[:, None] * cy
    py = y[:, None, None] + u * stretch * cy + v[:, None] * cx
    strips = _bilinear(pixels, px, py)
    beside = np.abs(v) > 3.0 * path.width_px + 0.5
    sky = np.median(strips[:, beside, :].reshape(x.size, -1), axis=1)
    return strips - sky[:, None, None], u, v


def _bilinear(pixels: PixelArray, x: FloatArray, y: FloatArray) -> FloatArray:
    height, width = pixels.shape
    x, y = np.clip(x, 0.0, width - 1.001), np.clip(y, 0.0, height - 1.001)
    i, j = x.astype(np.int64), y.astype(np.int64)
    a, b = x - i, y - j
    flat, at = pixels.ravel(), j * width + i
    upper = (1.0 - a) * flat[at] + a * flat[at + 1]
    lower = (1.0 - a) * flat[at + width] + a * flat[at + width + 1]
    return np.asarray((1.0 - b) * upper + b * lower, dtype=np.float64)


def _width(across: FloatArray, v: FloatArray, before: float) -> float:
    near = np.abs(v) <= 3.0 * before + 1.0
    light = np.maximum(across[near], 0.0)
    middle = float((light * v[near]).sum() / max(light.sum(), 1e-9))
    variance = float((light * (v[near] - middle) ** 2).sum() / max(light.sum(), 1e-9))
    return float(np.clip(np.sqrt(max(variance, 0.0)), 0.7, 1.5 * before))


def with_middle(profile: Profile) -> Profile | None:
    """The profile about the place of mid-exposure: the median of the light, the blur of a still star taken off."""
    ramp = fit_ramp(profile.u_px, profile.light, profile.path.width_px)
    if ramp is not None and _no_motion(profile.path, ramp):
        return None
    middle, sigma = _sharpened_middle(profile) if ramp is None else (ramp.middle_px, ramp.middle_sigma_px)
    return replace(profile, u_px=profile.u_px - middle, middle_sigma_px=sigma)


def _no_motion(path: Path, ramp: Ramp) -> bool:
    """Whether this light has another cause: double stars, one satellite among stars that are round. Tails that a
    readout draws along rows are read as a mount that stood: at their heads, with the doubt that the tails leave."""
    if ramp.last_px - ramp.first_px < _ROUND_SHARE * path.length_px:
        return True
    return max(ramp.first_share, ramp.last_share) > _STOOD or ramp.first_share + ramp.last_share > _DOUBLE


def _sharpened_middle(profile: Profile) -> tuple[float, float]:
    """The median of whatever path, and its sigma: no better than a third of the blur, and a share of the path: the
    mount may have swung."""
    sharp = sharpened(profile.light, profile.path.width_px)
    summed = np.concatenate([[0.0], np.cumsum(sharp)])
    edges = np.append(profile.u_px - 0.5 * STEP_PX, profile.u_px[-1] + 0.5 * STEP_PX)
    first, low, middle, high, last = np.interp([0.05, 0.48, 0.5, 0.52, 0.95], summed, edges)
    sigma = np.hypot(_FLUX_SHARE * (high - low) / 0.04, 0.3 * profile.path.width_px)
    extent = last - first
    sigma = np.hypot(sigma, _SWING_SHARE * extent)
    return float(middle), float(sigma)


def sharpened(light: FloatArray, width_px: float) -> FloatArray:
    """The light along the path as it would be without blur (Richardson, JOSA 62, 55 (1972); Lucy, AJ 79, 745 (1974)).

    Light and the result, sum 1, are never negative.
    """
    blur = _blur(light.size, round(width_px, 2))
    estimate = np.full(light.size, 1.0 / light.size)
    for _ in range(_SHARPENING):
        estimate = estimate * (blur.T @ (light / np.maximum(blur @ estimate, 1e-9)))
    return np.asarray(estimate / max(float(estimate.sum()), 1e-9))


@lru_cache(maxsize=32)
def _blur(size: int, width_px: float) -> FloatArray:
    at = np.arange(size) * STEP_PX
    blur = np.exp(-0.5 * ((at[:, None] - at) / width_px) ** 2)
    return np.asarray(blur / blur.sum(axis=0))


def fit_stars(
    pixels: PixelArray, x: FloatArray, y: FloatArray, profile: Profile, noise_adu: float
) -> tuple[Drawn, Profile]:
    """Every star fitted with the shared profile: flux, sky, place along and across (least squares, clipped).

    The second is the profile with the twist that the stars' own lengths and directions show.
    """
    x, y = x[:_MOST_FIT].copy(), y[:_MOST_FIT].copy()
    path = profile.path
    dx, dy = _offsets(profile)
    height, width = pixels.shape
    table = _Table(profile)
    for step in range(_FIT_STEPS + 1):
        bx, by = np.rint(x).astype(np.int64), np.rint(y).astype(np.int64)
        px, py = np.clip(bx[:, None] + dx, 0, width - 1), np.clip(by[:, None] + dy, 0, height - 1)
        ox, oy = px - x[:, None], py - y[:, None]
        cx, cy, stretch = (part[:, None] for part in path.along(x, y))
        u, v = ox * cx + oy * cy, oy * cx - ox * cy
        shape = table.shape(u, v, stretch)
        fit = _fit(pixels[py, px].astype(np.float64), shape, noise_adu, clip=step > 0)
        if step == _FIT_STEPS - 1 and path.length_px >= _TWISTED:
            path = _better_twisted(path, x, y, fit, u)
        if step < _FIT_STEPS:
            along, across = fit.step()[:, :, None].swapaxes(0, 1)
            x += (along * cx - across * cy)[:, 0]
            y += (along * cy + across * cx)[:, 0]
    sigma = fit.sigmas()
    return Drawn(
        x,
        y,
        np.hypot(sigma[:, 2], FLOOR_SIGMA_PX),
        np.hypot(sigma[:, 3], FLOOR_SIGMA_PX),
        fit.flux,
        fit.flux / np.maximum(sigma[:, 0], 1e-9),
        fit.misfit(),
    ), replace(profile, path=path)


def _better_twisted(path: Path, x: FloatArray, y: FloatArray, fit: _Fit, u: FloatArray) -> Path:
    """The path with another twist, from how much each star asks for a longer path and for one swung round.

    A longer path moves light by u along, a swung one by u across.
    """
    along, across = fit.slopes[:, 2] * u, fit.slopes[:, 3] * u
    slopes = np.concatenate([fit.slopes, along[:, None], across[:, None]], axis=1)
    normal = (slopes * fit.weight[:, None, :]) @ slopes.swapaxes(1, 2)
    scale = np.maximum(np.trace(normal, axis1=1, axis2=2), 1e-9)[:, None, None]
    inverse = np.linalg.inv(normal + 1e-9 * scale * np.eye(6))
    asked = (inverse @ (slopes @ (fit.weight * fit.rest)[:, :, None]))[:, 4:, 0]
    variance = np.maximum(np.diagonal(inverse, axis1=1, axis2=2)[:, 4:], 1e-12) * fit.misfit()[:, None]
    cx, cy, stretch = path.along(x, y)
    from_x, from_y = x - path.x_px, y - path.y_px
    lever = np.stack([from_x * cy - from_y * cx, from_x * cx + from_y * cy], axis=1) / stretch[:, None]
    off = asked - lever * _change(asked, lever, variance)
    weight = 1.0 / (variance + np.square(1.4826 * np.median(np.abs(off), axis=0)))
    weight *= np.abs(off) < 4.0 / np.sqrt(weight)
    change = _change(asked, lever, 1.0 / np.maximum(weight, 1e-12))
    limit = _MOST_CHANGE / max(path.x_px, 1.0)
    return replace(path, twist_px=path.twist_px + float(np.clip(change, -limit, limit)))


def _change(asked: FloatArray, lever: FloatArray, variance: FloatArray) -> float:
    """The twist that explains best what the stars ask for."""
    return float((asked * lever / variance).sum() / max(float((lever * lever / variance).sum()), 1e-12))


def _offsets(profile: Profile) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The pixels (M,) about a star's place that its light and some sky beside it fall on."""
    path, first, last = profile.path, float(profile.u_px[0]), float(profile.u_px[-1])
    half = 3.0 * path.width_px + 3.0 + 0.3 * abs(path.twist_px) * path.x_px * path.length_px
    side = int(np.ceil(np.hypot(max(-first, last), half)))
    dy, dx = np.mgrid[-side : side + 1, -side : side + 1]
    cx, cy = np.cos(path.angle_rad), np.sin(path.angle_rad)
    along = dx * cx + dy * cy
    inside = (along >= first) & (along <= last) & (np.abs(dy * cx - dx * cy) <= half)
    return dx[inside], dy[inside]


class _Table:
    """The shared shape of a star and its slopes, looked up along the path, a Gaussian across."""

    def __init__(self, profile: Profile) -> None:
        self._width = profile.path.width_px
        self._first = float(profile.u_px[0])
        self._light = profile.light / STEP_PX
        self._slope = np.gradient(self._light, STEP_PX)

    def shape(self, u: FloatArray, v: FloatArray, stretch: FloatArray) -> FloatArray:
        """Light per unit flux, and its slopes against a move of the star along and across: (3, N, M)."""
        at = np.clip((u / stretch - self._first) / STEP_PX, 0.0, self._light.size - 1.001)
        k = at.astype(np.int64)
        part = at - k
        across = np.exp(-0.5 * (v / self._width) ** 2) / (np.sqrt(2.0 * np.pi) * self._width) / stretch
        light = ((1.0 - part) * self._light[k] + part * self._light[k + 1]) * across
        slope = ((1.0 - part) * self._slope[k] + part * self._slope[k + 1]) * across / stretch
        return np.stack([light, -slope, light * v / self._width**2])


@dataclass(frozen=True, eq=False)
class _Fit:
    """Flux and sky of N stars, the normal matrix of (flux, sky, along, across), weights and residuals of M pixels."""

    flux: FloatArray
    slopes: FloatArray  # (N, 4, M)
    normal: FloatArray  # (N, 4, 4)
    weight: FloatArray
    rest: FloatArray

    def step(self) -> FloatArray:
        """How far each star is to be moved along and across, px: (N, 2)."""
        right = self.slopes @ (self.weight * self.rest)[:, :, None]
        found = np.linalg.solve(self.normal, right)[:, 2:, 0]
        return np.asarray(np.clip(found, -3.0, 3.0))

    def misfit(self) -> FloatArray:
        """chi2 / dof (N,), 1 at least."""
        used = np.maximum((self.weight > 0.0).sum(axis=1) - 4, 1)
        return np.asarray(np.maximum(1.0, (self.weight * self.rest**2).sum(axis=1) / used))

    def sigmas(self) -> FloatArray:
        """Of the four parameters (N, 4)."""
        variance = np.diagonal(np.linalg.inv(self.normal), axis1=1, axis2=2)
        return np.sqrt(np.maximum(variance, 0.0) * self.misfit()[:, None])


def _fit(data: FloatArray, shape: FloatArray, noise_adu: float, clip: bool) -> _Fit:
    """Flux and sky in closed form, twice: the second time with photon noise and without what does not belong."""
    light = shape[0]
    weight = np.full(data.shape, 1.0 / noise_adu**2)
    for _ in range(2):
        weighted = weight * light
        sl, s1, sll = weighted.sum(1), weight.sum(1), (weighted * light).sum(1)
        sd, sld = (weight * data).sum(1), (weighted * data).sum(1)
        det = np.maximum(s1 * sll - sl * sl, 1e-30)
        flux, sky = (s1 * sld - sl * sd) / det, (sll * sd - sl * sld) / det
        model = np.maximum(flux, 0.0)[:, None] * light
        rest = data - sky[:, None] - flux[:, None] * light
        variance = noise_adu**2 + model
        kept = np.square(rest) < _CLIP_SIGMA**2 * (variance + np.square(0.2 * model)) if clip else 1.0
        weight = kept / variance
    slopes = np.stack([light, np.ones_like(light), flux[:, None] * shape[1], flux[:, None] * shape[2]], axis=1)
    normal = (slopes * weight[:, None, :]) @ slopes.swapaxes(1, 2)
    scale = np.maximum(np.trace(normal, axis1=1, axis2=2), 1e-9)[:, None, None]  # nothing may be left of a star
    return _Fit(flux, slopes, normal + 1e-12 * scale * np.eye(4), weight, rest)
