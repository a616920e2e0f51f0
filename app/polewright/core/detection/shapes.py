"""Moments under a weight that takes on the star's own ellipse: trailed, saturated, defocused stars."""

from __future__ import annotations

import numpy as np

from polewright.core.detection.moments import LEAST_WEIGHT_PX, Moments, deconvolved
from polewright.core.detection.windows import WindowArray, Windows, held
from polewright.core.model import FloatArray

_STEPS = 12  # of weight and moments in turn, at most (chosen)
_HASTE = 1.8  # measured: two thirds of the steps that 1 takes, and nearer the end where the steps run out
_STILL = 1e-2  # steps of centre and weight, px and px^2 per px of width: below the error of the best centroid


def elliptical_moments(windows: Windows, x: FloatArray, y: FloatArray, start_px: float) -> Moments:
    """Adaptive moments: weight and star agree in centre and shape at the end (Bernstein and Jarvis 2002, section 3).

    `x`, `y`: first guess in window coordinates; `start_px`: width of the first, round weight. `weight_px` of the
    result is the geometric mean width of the last weight. Not separable, hence for few stars only.
    """
    side = windows.side_px
    data = windows.sky_free
    column = np.arange(side, dtype=np.float64)
    x, y, start_x, start_y = x.copy(), y.copy(), x, y
    wxx = np.full(x.size, max(start_px, LEAST_WEIGHT_PX) ** 2)
    wyy, wxy = wxx.copy(), np.zeros(x.size)
    most = (0.3 * side) ** 2
    for step in range(_STEPS + 1):
        across, down = _powers(column, x), _powers(column, y)
        dx, dy = across[:, None, 1], down[:, 1, :, None]
        det = wxx * wyy - wxy * wxy
        a, b, c = ((v / det).astype(np.float32)[:, None, None] for v in (-0.5 * wyy, wxy, -0.5 * wxx))
        light = a * dx + b * dy
        light *= dx
        light += c * dy * dy
        np.exp(light, out=light)
        light *= data
        table = (down @ light @ across.swapaxes(1, 2)).astype(np.float64)  # sums of light dx^j dy^i
        s = table[:, 0, 0]
        shares = table / np.where(s > 0.0, s, np.inf)[:, None, None]
        mx, my = shares[:, 0, 1], shares[:, 1, 0]
        hxx, hxy, hyy = shares[:, 0, 2] - mx * mx, shares[:, 1, 1] - mx * my, shares[:, 2, 0] - my * my
        # for weight = star the weighted covariance is half the star's; going to twice it halves the distance to a
        # Gaussian's agreement, going twice as far would meet it
        next_xx, next_xy, next_yy = _bounded(
            wxx + _HASTE * (2.0 * hxx - wxx),
            wxy + _HASTE * (2.0 * hxy - wxy),
            wyy + _HASTE * (2.0 * hyy - wyy),
            LEAST_WEIGHT_PX**2,
            most,
        )
        moved = np.abs([mx, my, next_xx - wxx, next_xy - wxy, next_yy - wyy]) / np.sqrt(wxx + wyy)
        if step == _STEPS or float(moved.max(initial=0.0)) < _STILL:
            break
        x = held(x + held(2.0 * mx, -2.0, 2.0), 0.0, side - 1.0)
        y = held(y + held(2.0 * my, -2.0, 2.0), 0.0, side - 1.0)
        wxx, wxy, wyy = next_xx, next_xy, next_yy
    geometric = np.maximum(wxx * wyy - wxy * wxy, 1e-6) ** 0.25
    xx, xy, yy = deconvolved(hxx, hxy, hyy, wxx, wxy, wyy)
    travel = np.hypot(x - start_x, y - start_y)
    return Moments(x, y, np.maximum(s, 0.0), geometric, xx, xy, yy, travel)


def _powers(column: FloatArray, centre: FloatArray) -> WindowArray:
    """1, d and d^2 of the distances d of the columns from each centre: (N, 3, side)."""
    powers = np.ones((centre.size, 3, column.size), dtype=np.float32)
    np.subtract(column, centre[:, None], out=powers[:, 1], casting="same_kind")
    np.square(powers[:, 1], out=powers[:, 2])
    return powers


def _bounded(
    xx: FloatArray, xy: FloatArray, yy: FloatArray, least: float, most: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The covariance with both principal variances held between `least` and `most`."""
    mean, half = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), xy)
    long2, short2 = held(mean + half, least, most), held(mean - half, least, most)
    mean, share = 0.5 * (long2 + short2), 0.5 * (long2 - short2) / np.maximum(half, 1e-12)
    tilt = share * 0.5 * (xx - yy)
    return mean + tilt, share * xy, mean - tilt
