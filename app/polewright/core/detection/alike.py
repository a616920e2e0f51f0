"""Whether the stars of a frame are drawn out alike, by the shapes of the bright ones; and drawn stars as stars."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.measure import Measurement, Sources
from polewright.core.detection.selection import Selection
from polewright.core.detection.smear import Drawn, Path, Profile
from polewright.core.detection.windows import middle as middle_of
from polewright.core.model import FloatArray, PixelArray, SharedError, StarFlag

_CLEAR_SNR = 15.0  # fainter stars lean by their noise alone (chosen)
_FEWEST, _MOST = 6, 40  # bright stars: fewer tell no common shape, more cost time and add nothing (chosen)
_WIDE_PX = 2.6  # Gaussian width, pixel included: ordinary stars are narrower
_FEW_BRIGHT = 20  # stars; with fewer, chance agrees too often to rule a drawing out (chosen)
_LEANING = 2.0  # sigmas
_SHORTEST_PX = 2.2  # a shorter path hardly moves a centroid
_LONGEST_PX = 15.0  # longer ones do not fit the measuring window
_SPREAD = 0.5  # of the drawing, among the stars: then they are alike
# whose tails are looked up, how many, and the fewest that agree (chosen)
_TAIL_SNR, _TAIL_STARS, _FEWEST_TAILS = 20.0, 20, 4
# chance makes 3 of so many rays (normal distribution); the rest is margin (chosen)
_TAIL_SIGMA = 7.0
_NO_PIXEL = 2.0  # peakedness of what may be a star, its width being taken too small
_TAIL_ANGLES, _TAIL_STEP_PX = 72, 1.5  # rays of 5 degrees, sampled a little finer than a star is wide
_TAIL_REACHES = (4, 8, 16, 24)  # steps along a ray that are taken together
# from beyond the star itself to the longest tail that still leaves a round head
_TAIL_PX = np.arange(4.5, 40.0, _TAIL_STEP_PX)
_ANGLES = 2.0 * np.pi * np.arange(_TAIL_ANGLES)[:, None] / _TAIL_ANGLES
_RAYS = np.stack([np.cos(_ANGLES) * _TAIL_PX, np.sin(_ANGLES) * _TAIL_PX])
_LEAST_SNR = 6.0  # noise under a filter of a path: one such peak in a hundred frames
_LINE_PX, _LINE_FEWEST = 3.0, 5  # pieces of one trail lie within so many pixels of a line, and are at least so many
_TWIST_SIGMA = 0.02  # of a path, at the side of the frame
_WORST_MISFIT = 30.0  # chi2 / dof: no star of that shape


def may_be_drawn(measurement: Measurement) -> bool:
    """Whether the bright stars lean the same way more than chance makes them, or are too few or too odd to tell.

    Of frames of a mount that stood, next to none; costs a tenth of a millisecond.
    """
    drawn, _ = _drawings(measurement)
    if drawn.size < _FEW_BRIGHT or measurement.width_px > _WIDE_PX:
        return True  # pieces of long trails may have been taken for stars
    middle = middle_of(drawn.real) + 1j * middle_of(drawn.imag)
    spread = 1.5 * middle_of(np.abs(drawn - middle)) / np.sqrt(drawn.size)
    return bool(abs(middle) > _LEANING * spread)


def _drawings(measurement: Measurement) -> tuple[NDArray[np.complex128], FloatArray]:
    """How much longer than wide each bright star is, px^2, as a complex number of twice the angle; its variance
    across."""
    s = measurement.sources
    bright = np.flatnonzero((s.snr > _CLEAR_SNR) & np.isfinite(s.axis_ratio) & (s.peakedness < 1.2))
    bright = bright[np.argsort(-s.snr[bright], kind="stable")][:_MOST]
    ratio2 = s.axis_ratio[bright] ** 2
    short2 = 2.0 * s.variance_px2[bright] / (1.0 + ratio2)
    return short2 * (ratio2 - 1.0) * np.exp(2.0j * s.long_axis_rad[bright]), short2


def short_path(measurement: Measurement, shape: tuple[int, int]) -> Path | None:
    """The path that most bright stars show by their moments; None where it is too short, too long or not shared.

    An even path of length L adds L^2 / 12 to the variance along it.
    """
    drawn, short2 = _drawings(measurement)
    if drawn.size < _FEWEST:
        return None
    middle = np.median(drawn.real) + 1j * np.median(drawn.imag)
    length = float(np.sqrt(12.0 * abs(middle)))
    if not _SHORTEST_PX < length < _LONGEST_PX or np.median(np.abs(drawn - middle)) > _SPREAD * abs(middle):
        return None
    width = float(np.sqrt(np.median(short2)))
    height, wide = shape
    return Path(0.5 * float(np.angle(middle)), length, width, 0.5 * (wide - 1.0), 0.5 * (height - 1.0))


def tailed_path(pixels: PixelArray, measurement: Measurement, full_adu: float) -> Path | None:
    """The path of stars that stood for most of the exposure and moved for the rest: round, with a tail; None without.

    Light is looked up along rays from the bright stars; what most of them have on one ray is no neighbour.
    """
    s = measurement.sources
    height, wide = pixels.shape
    reach = _TAIL_PX[-1] + 2.0
    clear = (s.snr > _TAIL_SNR) & (s.peakedness < _NO_PIXEL) & (s.peak_adu < full_adu)
    clear &= (s.x_px > reach) & (s.x_px < wide - reach) & (s.y_px > reach) & (s.y_px < height - reach)
    bright = np.flatnonzero(clear)
    bright = bright[np.argsort(-s.snr[bright], kind="stable")][:_TAIL_STARS]
    if bright.size < _FEWEST_TAILS:
        return None
    x = np.rint(s.x_px[bright, None, None] + _RAYS[0]).astype(np.int64)
    y = np.rint(s.y_px[bright, None, None] + _RAYS[1]).astype(np.int64)
    light = pixels[y, x].astype(np.float64)
    light -= np.median(light, axis=(1, 2), keepdims=True)
    rays = np.median(light / s.flux_adu[bright, None, None], axis=0)  # (angle, radius)
    found = [_longest_ray(rays[:, :reach].mean(axis=1)) for reach in _TAIL_REACHES]
    best = int(np.argmax([sigmas for sigmas, _ in found]))
    if found[best][0] < _TAIL_SIGMA:
        return None
    angle = 2.0 * np.pi * found[best][1] / _TAIL_ANGLES
    length = float(_TAIL_PX[_TAIL_REACHES[best] - 1])
    return Path(float(angle), length, max(measurement.width_px, 0.7), 0.5 * (wide - 1.0), 0.5 * (height - 1.0))


def _longest_ray(light: FloatArray) -> tuple[float, int]:
    """By how many sigmas the brightest ray stands out, and which it is."""
    middle = float(np.median(light))
    spread = max(1.4826 * float(np.median(np.abs(light - middle))), 1e-9)
    best = int(light.argmax())
    return (float(light[best]) - middle) / spread, best


def whole_drawn(stars: Drawn, path: Path, shape: tuple[int, int]) -> Drawn:
    """The clear ones, wholly inside the frame (height, width), each once, brightest first."""
    height, width = shape
    cx, cy, stretch = path.along(stars.x_px, stars.y_px)
    half = 0.5 * path.length_px * stretch + 2.0 * path.width_px
    inside = (np.abs(stars.x_px - 0.5 * (width - 1)) + half * np.abs(cx)) < 0.5 * width - 2.0
    inside &= (np.abs(stars.y_px - 0.5 * (height - 1)) + half * np.abs(cy)) < 0.5 * height - 2.0
    good = np.flatnonzero(inside & (stars.snr > _LEAST_SNR) & (stars.misfit < _WORST_MISFIT))
    good = good[np.argsort(-stars.flux_adu[good], kind="stable")]
    x, y = stars.x_px[good], stars.y_px[good]
    near = np.maximum(np.abs(x[:, None] - x), np.abs(y[:, None] - y)) < 2.0
    return stars.select(good[~np.tril(near, -1).any(axis=1)])


def drawn_selection(stars: Drawn, profile: Profile) -> Selection:
    """Drawn stars as any other: one sigma for both axes, the mean of along and across."""
    along2 = profile.path.length_px**2 / 12.0 + profile.path.width_px**2
    none, count = np.zeros(len(stars.x_px)), len(stars.x_px)
    sources = Sources(
        x_px=stars.x_px,
        y_px=stars.y_px,
        sigma_px=np.hypot(stars.along_sigma_px, stars.across_sigma_px) / np.sqrt(2.0),
        flux_adu=stars.flux_adu,
        snr=stars.snr,
        variance_px2=np.full(count, 0.5 * (along2 + profile.path.width_px**2)),
        axis_ratio=np.full(count, float(np.sqrt(along2) / profile.path.width_px)),
        long_axis_rad=np.full(count, profile.path.angle_rad),
        peak_adu=none,
        peakedness=none,
        travel_px=none,
    )
    flags = np.full(count, int(StarFlag.ELONGATED), dtype=np.int64)
    return Selection(sources, flags, np.full(count, 2.355 * float(np.sqrt(0.5 * (along2 + 1.0)))), {})


def shared_error(stars: Drawn, profile: Profile) -> SharedError:
    """What all stars of the frame are off by: the moment within the exposure, with what one sigma for both axes hides
    of the mean along the path; and the turn that a wrong twist makes of light to one side of that moment."""
    along2, across2 = stars.along_sigma_px**2, stars.across_sigma_px**2
    hidden = 0.5 * float(np.mean(np.maximum(along2 - across2, 0.0))) / max(len(stars.x_px), 1)
    sigma = float(np.sqrt(profile.middle_sigma_px**2 + hidden))
    path = profile.path
    aside = abs(float((profile.light * profile.u_px).sum()))
    turned = aside * _TWIST_SIGMA / max(path.x_px, 1.0)
    c, s = float(np.cos(path.angle_rad)), float(np.sin(path.angle_rad))
    return sigma * c, sigma * s, sigma * path.twist_px, turned


def teachers(x: FloatArray, y: FloatArray, path: Path, shape: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """Those of the places from which the whole path can be seen."""
    height, width = shape
    reach = path.reach_px
    inside = (x > reach) & (x < width - 1 - reach) & (y > reach) & (y < height - 1 - reach)
    return x[inside], y[inside]


def off_one_line(x: FloatArray, y: FloatArray, path: Path) -> tuple[FloatArray, FloatArray]:
    """The places that do not follow each other on a line along the path, as pieces of a satellite's trail do."""
    across = y * np.cos(path.angle_rad) - x * np.sin(path.angle_rad)
    beside = (np.abs(across[:, None] - across) < _LINE_PX).sum(axis=1)
    chance = 2.0 * _LINE_PX * x.size / max(path.x_px, 1.0)
    lone = beside < _LINE_FEWEST + 3.0 * chance
    return x[lone], y[lone]
