"""How long the bent trails of a camera that stood still are: arcs are walked from end to end.

Noise and crossings break an arc into pieces, and no straight ruler fits it: either says too little. A walker that
looks a few pixels ahead keeps on the ridge, across gaps and other arcs, as long as half the light goes on. Arcs that
leave the frame are at least as long as they are seen: left out, the long ones would be missing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray

_AHEAD_PX, _STEP_PX = np.arange(1.0, 17.0), 4.0  # chosen: an arc of 100 px radius bends by 1.3 px so far ahead
_BENDS_RAD = np.radians(np.arange(-6.0, 6.1, 1.5))  # of one step: arcs of 40 px radius and wider
_WAYS_RAD = np.arange(60) * np.pi / 60.0  # to begin with: within a pixel at the far end
_LEAST_SHARE = 0.5  # of the arc's light: there is its end, as that of an edge out of focus
_MOST_SHARE = 1.5  # of the arc's light that one pixel may give: what crosses it may be brighter
_LEAST_LIGHT = 2.0  # of the noise, along a start: what is less is no arc (chosen)
_MOST_STEPS = 400  # of each half: arcs of 3200 px
_BLOCK_PX = 48  # each may give a start: arcs lie about as far apart (chosen)
_STARTS = 32  # the brightest (chosen)


def usual_length_px(light: NDArray[np.floating]) -> float:
    """The median length, px, of the arcs of a frame (H, W) without sky, in units of its noise; 0 without any, and
    where it is less than twice what a walker looks ahead: short ones seem as long as that."""
    x, y = _brightest(light)
    way, level = _started(light, x, y)
    arcs = level > _LEAST_LIGHT
    x, y, way, level = x[arcs], y[arcs], way[arcs], level[arcs]
    ways = [_walked(light, x, y, way + turn, level) for turn in (0.0, np.pi)]
    usual = _median(ways[0][0] + ways[1][0], ways[0][1] & ways[1][1])
    return usual if usual > 2.0 * _AHEAD_PX[-1] else 0.0


def _median(length: FloatArray, ended: NDArray[np.bool_]) -> float:
    """Of lengths (N,) of which some are only known to be longer: the product-limit estimate (Kaplan, Meier 1958)."""
    order = np.lexsort((~ended, length))
    left = np.arange(length.size, 0, -1)
    lives = np.cumprod(np.where(ended[order], 1.0 - 1.0 / left, 1.0))
    below = np.flatnonzero(lives <= 0.5)
    return float(length[order][below[0] if below.size else -1]) if length.size else 0.0


def _brightest(light: NDArray[np.floating]) -> tuple[FloatArray, FloatArray]:
    """Where the brightest blocks of the frame are brightest."""
    rows, columns = (side // _BLOCK_PX for side in light.shape)
    blocks = light[: rows * _BLOCK_PX, : columns * _BLOCK_PX].reshape(rows, _BLOCK_PX, columns, _BLOCK_PX)
    flat = blocks.transpose(0, 2, 1, 3).reshape(rows * columns, _BLOCK_PX**2)
    at = flat.argmax(axis=1)
    first = np.argsort(-flat[np.arange(at.size), at], kind="stable")[:_STARTS]
    row, column = np.divmod(first, max(columns, 1))
    return column * _BLOCK_PX + at[first] % _BLOCK_PX + 0.0, row * _BLOCK_PX + at[first] // _BLOCK_PX + 0.0


def _started(light: NDArray[np.floating], x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The way (N,) each arc goes through its place, rad, and its usual light (N,) there."""
    along = np.concatenate([-_AHEAD_PX[:10], _AHEAD_PX[:10]])
    dx, dy = along * np.cos(_WAYS_RAD)[:, None], along * np.sin(_WAYS_RAD)[:, None]
    usual = np.median(_at(light, x[:, None, None] + dx, y[:, None, None] + dy), axis=2)  # (N, ways)
    return _WAYS_RAD[usual.argmax(axis=1)], usual.max(axis=1)


def _walked(
    light: NDArray[np.floating], x: FloatArray, y: FloatArray, way: FloatArray, level: FloatArray
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """How far (N,) each arc goes on from its place, px, and whether it ended there (N,) or left the frame."""
    far, on, ended = np.zeros(x.size), np.ones(x.size, dtype=bool), np.zeros(x.size, dtype=bool)
    height, width = light.shape
    edge = _AHEAD_PX[-1]
    for _ in range(_MOST_STEPS):
        ways = way[:, None] + _BENDS_RAD
        ahead = _at(
            light,
            x[:, None, None] + _AHEAD_PX * np.cos(ways)[:, :, None],
            y[:, None, None] + _AHEAD_PX * np.sin(ways)[:, :, None],
        )
        share = (np.clip(ahead / level[:, None, None], 0.0, _MOST_SHARE)).mean(axis=2)
        best = share.argmax(axis=1)
        ends = on & (share.max(axis=1) < _LEAST_SHARE)
        far[ends] += _LEAST_SHARE * edge - 0.5 * _STEP_PX  # it ended within the last step
        ended |= ends
        on &= ~ends
        way = np.where(on, way + _BENDS_RAD[best], way)
        x, y = x + on * _STEP_PX * np.cos(way), y + on * _STEP_PX * np.sin(way)
        far[on] += _STEP_PX
        on &= (x >= edge) & (y >= edge) & (x <= width - 1 - edge) & (y <= height - 1 - edge)
        if not on.any():
            break
    return far, ended


def _at(light: NDArray[np.floating], x: FloatArray, y: FloatArray) -> FloatArray:
    """Light at places (...), by the nearest pixel; at the edge outside."""
    row = np.clip(np.rint(y), 0, light.shape[0] - 1).astype(np.int64)
    column = np.clip(np.rint(x), 0, light.shape[1] - 1).astype(np.int64)
    return np.asarray(light[row, column], dtype=np.float64)
