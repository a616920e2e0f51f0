"""Noise as the frame itself shows it: blank windows measured like stars, photon noise from the stars' residuals."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from polewright.core.detection.moments import Moments, model
from polewright.core.detection.windows import MAD_TO_SIGMA, Windows, middle
from polewright.core.model import FloatArray

_BLANKS_X, _BLANKS_Y = 12, 9  # 108 windows: their spread is known to 7 %, at a tenth of the cost of the stars
_QUIET_SIGMA = 5.0  # a window with a brighter pixel holds a star
_LEAST_QUIET = 24  # windows; fewer do not tell correlation from chance (15 % of their spread)
_MOST_TEACHERS = 32  # bright stars (chosen)
_UNUSUAL = 1.6  # times the usual variance
_LIT_WIDTHS = 4.0  # half side, in star widths, of what a star lights
_INDEPENDENT = 1.25  # a ratio up to this is what chance alone gives with 108 windows


@dataclass(frozen=True)
class FrameNoise:
    """`sky_adu`, `noise_adu`: typical level and pixel noise. `correlation`: how much more the noise under the weight
    varies than that of independent pixels would (walking noise, interpolated colour, JPEG): 1 when independent."""

    sky_adu: float
    noise_adu: float
    correlation: float


@lru_cache(maxsize=8)
def blank_places(height: int, width: int) -> tuple[FloatArray, FloatArray]:
    """The middles (x, y) of a grid of 12 x 9 windows, most of them blank sky, on a frame of so many pixels."""
    x = (np.arange(_BLANKS_X) + 0.5) * width / _BLANKS_X
    y = (np.arange(_BLANKS_Y) + 0.5) * height / _BLANKS_Y
    return np.tile(x, _BLANKS_Y), np.repeat(y, _BLANKS_X)


def frame_noise(windows: Windows, weight_px: float) -> FrameNoise:
    """Weigh the windows at `blank_places` as if each had a star at its centre."""
    half = windows.side_px // 2
    sky, noise = middle(windows.sky_adu), middle(windows.noise_adu)
    quiet = windows.sky_free.max(axis=(1, 2)) < _QUIET_SIGMA * noise
    quiet &= windows.noise_adu > 0.0
    if quiet.sum() < _LEAST_QUIET:
        return FrameNoise(sky, noise, 1.0)
    g = np.exp(-0.5 * (np.arange(-half, half + 1) / weight_px) ** 2)
    weight = np.outer(g, g).astype(np.float32).ravel()
    # the sky level under the weight has the noise of the rim's mean
    expected = (weight * weight).sum() + weight.sum() ** 2 / windows.rim_size
    independent = windows.noise_adu[quiet] * float(np.sqrt(expected))
    ratio = (windows.sky_free.reshape(-1, weight.size) @ weight)[quiet] / independent
    ratio = ratio[np.abs(ratio) < 3.5 * MAD_TO_SIGMA * middle(np.abs(ratio))]
    spread = float(ratio.std()) if ratio.size else 1.0
    return FrameNoise(sky, noise, spread if spread > _INDEPENDENT else 1.0)


@dataclass(frozen=True)
class PhotonNoise:
    """Noise variance per ADU of star light, >= 0: `typical`, and less in proportion below the flux `least_adu`."""

    typical: float = 0.0
    least_adu: float = 0.0

    def per_adu(self, flux_adu: FloatArray) -> FloatArray:
        """That of stars (N,) of such a flux."""
        if self.least_adu == 0.0:
            return np.full(flux_adu.size, self.typical)
        return self.typical * np.minimum(1.0, flux_adu / self.least_adu)


def photon_noise(windows: Windows, m: Moments, snr: FloatArray, width_px: float) -> PhotonNoise:
    """The photon noise that the residuals of the bright stars tell; none without bright stars.

    `snr`: on sky noise alone, 0 for stars that must not teach (full ones). Photon noise is the same per ADU for all
    stars (1 / gain). Where the stars are no Gaussians the residual per ADU grows with the flux instead; then,
    and with fewer than five teachers, stars fainter than the teachers get less in proportion.
    """
    usual = (m.variance_px2 > width_px**2 / _UNUSUAL) & (m.variance_px2 < width_px**2 * _UNUSUAL)
    usual &= np.isfinite(m.axis_ratio)
    bright = np.flatnonzero(usual & (snr > 30.0))[:_MOST_TEACHERS]
    if bright.size == 0:
        return PhotonNoise()
    moments = m.select(bright)
    rim = max(0, windows.side_px // 2 - int(np.ceil(_LIT_WIDTHS * width_px)))
    lit = slice(rim, windows.side_px - rim)
    light = model(moments, windows.side_px - 2 * rim, rim)
    excess = windows.sky_free[bright, lit, lit] - light
    excess *= excess
    excess -= np.square(windows.noise_adu[bright]).astype(np.float32)[:, None, None]
    told = np.einsum("nij,nij->n", excess, light)
    per_adu = told / np.maximum(np.einsum("nij,nij->n", light, light), 1e-12)
    # the fit of place, flux and width takes up four of the 4 pi s^2 pixels that the light covers
    covered = max(8.0, 4.0 * np.pi * width_px**2)
    typical = max(0.0, middle(per_adu)) * covered / (covered - 4.0)
    order = np.argsort(moments.flux)
    half = bright.size // 2
    if bright.size >= 5 and middle(per_adu[order[half:]]) < 2.0 * middle(per_adu[order[:half]]):
        return PhotonNoise(typical)
    return PhotonNoise(typical, middle(moments.flux))
