"""The latest frame as a small picture: stretched so that faint stars show, with the stars found in it.

Made where the frame is measured, never in the thread that draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, PixelArray, PlateSolution
from polewright.services.measuring import MeasuredFrame

WIDEST_PX = 1000
MOST_STARS = 200
SKY_LEVEL, SKY_SIGMAS = 28.0, 2.5  # where the sky's median lands; how far below it is black
FAINT_SIGMAS = 30.0  # so many sigmas above the sky are bright grey


@dataclass(frozen=True, eq=False)
class Picture:
    """`pixels` (H, W) uint8, at most 1000 wide; stars (N, 2) in it, x right and y down; which ones are matched."""

    name: str
    pixels: NDArray[np.uint8]
    stars_px: FloatArray
    matched: NDArray[np.bool_]
    stars_text: str
    width_text: str


def picture_of(measured: MeasuredFrame) -> Picture:
    """A measured frame as a picture."""
    frame, stars = measured.frame, measured.stars
    every = step_for(frame.width_px)
    known = _matched(measured)
    count = len(stars)
    places = np.column_stack([stars.x_px, stars.y_px])[:MOST_STARS]
    found = "no stars" if not count else f"{count} {'star' if count == 1 else 'stars'}"
    return Picture(
        frame.name,
        stretched(frame.pixels, every),
        (places - 0.5 * (every - 1)) / every,
        known[:MOST_STARS],
        f"{found}, {int(known.sum())} matched" if count else found,
        f"{np.median(stars.fwhm_px):.1f} px wide" if count else "no width",
    )


def step_for(width_px: int) -> int:
    """How many pixels become one."""
    return max(1, -(-width_px // WIDEST_PX))


def stretched(pixels: PixelArray, every: int) -> NDArray[np.uint8]:
    """Shrunk by `every` and stretched: the sky dark grey, noise visible, stars bright (asinh)."""
    small = _shrunk(pixels, every)
    sample = small[::4, ::4]
    low, sky, high = (float(v) for v in np.percentile(sample, (16.0, 50.0, 99.9)))
    sigma = max(sky - low, 1e-3 * max(abs(high - sky), 1.0))
    black = sky - SKY_SIGMAS * sigma
    scale = (small - np.float32(black)) * np.float32(1.0 / (SKY_SIGMAS * sigma))
    bend = np.float32(SKY_LEVEL / np.arcsinh(1.0))
    top = SKY_LEVEL / np.arcsinh(1.0) * np.arcsinh(1.0 + FAINT_SIGMAS / SKY_SIGMAS)
    grey = np.arcsinh(scale, out=scale)
    grey *= bend * np.float32(220.0 / top)
    return np.clip(grey, 0.0, 255.0, out=grey).astype(np.uint8)


def _shrunk(pixels: PixelArray, every: int) -> NDArray[np.float32]:
    """Means of `every` x `every` pixels; an edge that does not fill a block is left out."""
    high, wide = (side // every * every for side in pixels.shape)
    if every == 1:
        return pixels.astype(np.float32)
    total = np.zeros((high // every, wide // every), dtype=np.float32)
    for dy in range(every):
        for dx in range(every):
            total += pixels[dy:high:every, dx:wide:every]
    total *= np.float32(1.0 / every**2)
    return total


def _matched(measured: MeasuredFrame) -> NDArray[np.bool_]:
    """Which of the detected stars the solution rests on."""
    stars, outcome = measured.stars, measured.outcome
    if not isinstance(outcome, PlateSolution):
        return np.zeros(len(stars), dtype=bool)
    known = outcome.matched
    return np.asarray(np.isin(stars.x_px + 1j * stars.y_px, known.x_px + 1j * known.y_px))
