"""Centroids, widths and shapes of stars from Gaussian-weighted moments on small windows.

A centroid under a Gaussian weight, iterated until the weight sits on it, is the least-squares fit of that Gaussian:
with a weight as wide as the star it reaches the bound of the background noise. The weight is a product of an x and
a y profile, so all moments up to the second of N stars are two batched matrix products.

For a star and a weight that are Gaussians of variance s^2 and w^2 (pixel area included in s^2), with
h = s^2 w^2 / (s^2 + w^2):
    sum I g = flux w^2 / (s^2 + w^2)        the weighted flux
    mean of x under I g = x_weight + (x_star - x_weight) w^2 / (s^2 + w^2)
    variance of x under I g = h             hence s^2 = h w^2 / (w^2 - h)
Source of the weighted-moment relations: G. M. Bernstein and M. Jarvis, AJ 123, 583 (2002), section 3 (elementary
products of Gaussians, rederived here).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.windows import WindowArray, Windows, held, middle
from polewright.core.model import FloatArray

FWHM_PER_SIGMA = 2.0 * np.sqrt(2.0 * np.log(2.0))  # of a normal distribution
PIXEL_VARIANCE = 1.0 / 12.0  # px^2, of the pixel's own width
LEAST_WEIGHT_PX = 0.8  # narrower weights are undersampled and make the centroid depend on the pixel phase
_LARGEST_STEP_PX = 1.0  # of the weight: a longer one jumps to a neighbour
_SLANTED = 0.95  # correlation of a star's two axes that is still believed
_SETTLED = 0.05  # change of the usual weight that may be left: freed of the weight, a Gaussian shows its own width
_NARROW_PX2 = 1.0  # variance below which a pixel is too coarse to take the light at its middle


@dataclass(frozen=True, eq=False)
class Moments:
    """What the weighted moments of N windows say. Arrays (N,), positions in the window, pixels.

    `weighted_flux` is sum(I g) with g = 1 at its centre; `weight_px` its sigma; `xx`, `xy`, `yy` are the variances of
    the star itself, pixel included (NaN when the moments exclude a star); `travel_px` is how far the centre moved.
    """

    x: FloatArray
    y: FloatArray
    weighted_flux: FloatArray
    weight_px: FloatArray
    xx: FloatArray
    xy: FloatArray
    yy: FloatArray
    travel_px: FloatArray

    @cached_property
    def variance_px2(self) -> FloatArray:
        """Mean variance along an axis, px^2, pixel included."""
        return 0.5 * (self.xx + self.yy)

    @cached_property
    def flux(self) -> FloatArray:
        """Total flux of a round Gaussian star that has this weighted flux and width, ADU."""
        w2 = self.weight_px**2
        s2 = np.where(self.variance_px2 > 0.0, self.variance_px2, PIXEL_VARIANCE)
        return self.weighted_flux * (s2 + w2) / w2

    @cached_property
    def axis_ratio(self) -> FloatArray:
        """Longest over shortest width, >= 1; inf when the short one is unresolved."""
        long2, short2 = self.principal_variances()
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.sqrt(np.where(short2 > 0.0, long2 / short2, np.inf))

    @property
    def long_axis_rad(self) -> FloatArray:
        """Direction of the long axis, from +x towards +y, -pi/2 to pi/2."""
        return 0.5 * np.arctan2(2.0 * self.xy, self.xx - self.yy)

    def select(self, keep: NDArray[np.bool_] | NDArray[np.int64]) -> Moments:
        """The stars where `keep` is true, or at its indices."""
        return Moments(*(getattr(self, f.name)[keep] for f in fields(self)))

    def principal_variances(self) -> tuple[FloatArray, FloatArray]:
        """Variances along the long and the short axis, px^2."""
        half = np.hypot(0.5 * (self.xx - self.yy), self.xy)
        return self.variance_px2 + half, self.variance_px2 - half


def profiles(centre: FloatArray, weight_px: FloatArray, side: int) -> WindowArray:
    """Weight profile g and its products g d, g d^2 along one axis: (3, N, side)."""
    rows = np.empty((3, centre.size, side), dtype=np.float32)
    g, d, d2 = rows
    np.subtract(np.arange(side, dtype=np.float32), centre[:, None].astype(np.float32), out=d)
    np.multiply(d, d, out=d2)
    np.multiply(d2, (-0.5 / weight_px**2)[:, None].astype(np.float32), out=g)
    np.exp(g, out=g)
    d *= g
    d2 *= g
    return rows


def circular_moments(
    windows: Windows,
    x: FloatArray,
    y: FloatArray,
    weight_px: FloatArray,
    steps: int,
    adapt: bool = False,
) -> Moments:
    """Moments under a round weight that is moved onto each star in `steps` >= 1 steps.

    `x`, `y`: first guess in window coordinates. With `adapt` the weight also takes on the star's own width,
    until most weights nearly stay the same. Flux and shape are those seen before the last step, which is small.
    """
    side = windows.side_px
    data = windows.sky_free
    x, y, start_x, start_y = x.copy(), y.copy(), x, y
    weight = np.maximum(weight_px, LEAST_WEIGHT_PX).astype(np.float64)
    for _ in range(steps):
        last = weight
        table = _table(data, x, y, weight, side)
        s = table[:, 0, 0]
        good = s > 0.0
        safe = np.where(good, s, 1.0)
        mx = np.where(good, table[:, 0, 1] / safe, 0.0)
        my = np.where(good, table[:, 1, 0] / safe, 0.0)
        hxx = table[:, 0, 2] / safe - mx * mx
        hyy = table[:, 2, 0] / safe - my * my
        h = np.minimum(np.maximum(0.5 * (hxx + hyy), 0.05), 0.9 * weight**2)
        gain = weight**2 / (weight**2 - h)  # (s^2 + w^2) / w^2
        x = held(x + held(gain * mx, -_LARGEST_STEP_PX, _LARGEST_STEP_PX), 0.0, side - 1.0)
        y = held(y + held(gain * my, -_LARGEST_STEP_PX, _LARGEST_STEP_PX), 0.0, side - 1.0)
        if adapt:
            star = np.sqrt(h * gain)
            weight = np.minimum(np.maximum(star, np.maximum(LEAST_WEIGHT_PX, 0.7 * weight)), 1.5 * weight)
            weight = np.minimum(weight, 0.3 * side)
            if middle(np.abs(weight - last) / last) < _SETTLED:
                break
    hxy = table[:, 1, 1] / safe - mx * my
    xx, xy, yy = deconvolved(hxx, hxy, hyy, last**2, np.zeros_like(last), last**2)
    travel = np.hypot(x - start_x, y - start_y)
    return Moments(x, y, np.where(good, s, 0.0), last, xx, xy, yy, travel)


def _table(data: WindowArray, x: FloatArray, y: FloatArray, weight: FloatArray, side: int) -> FloatArray:
    """sum of I g dx^j dy^i for i, j = 0, 1, 2: (N, 3, 3)."""
    rows = profiles(np.concatenate((x, y)), np.concatenate((weight, weight)), side)
    across, down = rows[:, : x.size].transpose(1, 2, 0), rows[:, x.size :].transpose(1, 0, 2)
    return np.asarray(down @ data @ across, dtype=np.float64)


def deconvolved(
    hxx: FloatArray, hxy: FloatArray, hyy: FloatArray, wxx: FloatArray, wxy: FloatArray, wyy: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The star's own covariance S from the weighted one H and the weight's W: S^-1 = H^-1 - W^-1.

    NaN where the weight leaves nothing.
    """
    wdet = wxx * wyy - wxy * wxy
    with np.errstate(invalid="ignore", divide="ignore"):
        hdet = hxx * hyy - hxy * hxy
        axx, axy, ayy = hyy / hdet - wyy / wdet, -hxy / hdet + wxy / wdet, hxx / hdet - wxx / wdet
        adet = axx * ayy - axy * axy
        adet = np.where((hdet > 0.0) & (adet > 0.0) & (axx > 0.0), adet, np.nan)
        return ayy / adet, -axy / adet, axx / adet


def weight_sums(weight_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """sum g^2 and sum g^2 d^2 along an axis, over all pixels."""
    w2 = weight_px**2
    return np.pi * w2, 0.5 * np.pi * w2 * w2


def squared_weight_light(m: Moments) -> tuple[FloatArray, FloatArray]:
    """sum I g^2 and sum I g^2 d^2 along an axis for Gaussian stars: what photon noise is weighted with."""
    w2 = m.weight_px**2
    s2 = np.where(m.variance_px2 > 0.0, m.variance_px2, w2)
    inner = m.flux * 0.5 * w2 / (s2 + 0.5 * w2)
    return inner, inner * s2 * 0.5 * w2 / (s2 + 0.5 * w2)


def model(moments: Moments, side: int, first: int = 0) -> WindowArray:
    """The Gaussian star that the moments describe, on the pixels `first` to `first` + `side` of its window each way:
    (N, side, side).

    Narrow stars are integrated over the pixel by Simpson's rule. Stars whose shape is unknown (NaN) give NaN.
    """
    narrow = bool((moments.variance_px2 < _NARROW_PX2).any())
    offsets = ((-0.5, 1.0 / 6.0), (0.0, 4.0 / 6.0), (0.5, 1.0 / 6.0)) if narrow else ((0.0, 1.0),)
    inner = PIXEL_VARIANCE if narrow else 0.0
    xx, yy = np.maximum(moments.xx - inner, 0.05), np.maximum(moments.yy - inner, 0.05)
    most = _SLANTED * np.sqrt(xx * yy)  # taking the pixel off both axes must not leave an ellipse without an inside
    xy = np.minimum(np.maximum(moments.xy, -most), most)
    det = xx * yy - xy**2
    axis = np.arange(first, first + side, dtype=np.float32)
    a, b, c = ((-0.5 * v).astype(np.float32)[:, None, None] for v in (yy / det, -2.0 * xy / det, xx / det))
    from_x = (axis - moments.x[:, None].astype(np.float32))[:, None, :]
    from_y = (axis - moments.y[:, None].astype(np.float32))[:, :, None]
    shape = np.zeros((moments.x.size, side, side), dtype=np.float32)
    for off_y, part_y in offsets:
        dy = from_y + np.float32(off_y)
        across, down = b * dy, c * dy * dy
        for off_x, part_x in offsets:
            dx = from_x + np.float32(off_x)
            shape += np.float32(part_x * part_y) * np.exp((a * dx + across) * dx + down)
    peak = (moments.flux / (2.0 * np.pi * np.sqrt(det))).astype(np.float32)
    return np.asarray(peak[:, None, None] * shape)
