"""How many stars of a match stand for themselves: pieces of a trail, one behind the other, are one light."""

from __future__ import annotations

import numpy as np

from polewright.core.model import FloatArray

FEWEST_ON_A_LINE = 4  # three on a line happen among any dozen stars (chosen)
LONGEST_TRAILS = 3  # taken away, the fullest first
ASIDE_SIGMAS = 2.0  # of the median error; a trail along a parallel of the sky bends by a pixel in 800 at 30 degrees


def standing_for_themselves(x_px: FloatArray, y_px: FloatArray, sigma_px: FloatArray) -> int:
    """Of the stars (N,), those off any line of many, and two for each such line: its place and its direction.

    A bright star that trails falls into pieces in either of two frames. Pieces fit pieces as well forwards as
    backwards, at any shift: counted as stars they would place a frame turned by half a circle.
    """
    x, y, lines = x_px, y_px, 0
    aside = ASIDE_SIGMAS * float(np.median(sigma_px)) if len(sigma_px) else 0.0
    while lines < LONGEST_TRAILS and x.size >= FEWEST_ON_A_LINE:
        on = _fullest_line(x, y, aside)
        if np.count_nonzero(on) < FEWEST_ON_A_LINE:
            break
        x, y, lines = x[~on], y[~on], lines + 1
    return int(x.size) + 2 * lines


def _fullest_line(x: FloatArray, y: FloatArray, aside_px: float) -> np.ndarray:
    """Which of the points lie on the line through two of them that meets the most."""
    first, second = np.triu_indices(x.size, 1)
    along_x, along_y = x[second] - x[first], y[second] - y[first]
    length = np.maximum(np.hypot(along_x, along_y), 1e-9)
    off_x, off_y = x - x[first, None], y - y[first, None]
    near = np.abs(along_x[:, None] * off_y - along_y[:, None] * off_x) <= aside_px * length[:, None]
    return np.asarray(near[near.sum(axis=1).argmax()])
