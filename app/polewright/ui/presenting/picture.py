"""The latest frame as a small picture: stretched so that faint stars show, with the stars found in it.

Made where the frame is measured, never in the thread that draws.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import PixelArray, PlateSolution
from polewright.services.measuring import MeasuredFrame
from polewright.ui.view_model import FramePicture

WIDEST_PX = 1000
MOST_STARS = 200
SKY_SIGMAS = 2.5  # so far below the sky's median is black
NOISE_STEPS = 40.0
FAINT_SIGMAS, FAINT_LEVEL = 30.0, 220.0  # so many sigmas above the sky are bright grey


def picture_of(measured: MeasuredFrame) -> FramePicture:
    """A measured frame as a picture."""
    frame, stars = measured.frame, measured.stars
    every = step_for(frame.width_px)
    known = _matched(measured)
    count = len(stars)
    places = np.column_stack([stars.x_px, stars.y_px])[:MOST_STARS]
    found = "no stars" if not count else f"{count} {'star' if count == 1 else 'stars'}"
    return FramePicture(
        frame.name,
        stretched(frame.pixels, every),
        (places - 0.5 * (every - 1)) / every,
        known[:MOST_STARS],
        stars_text=f"{found}, {int(known.sum())} matched" if count else found,
        width_text=f"{np.median(stars.fwhm_px):.1f} px wide" if count else "no width",
    )


def step_for(width_px: int) -> int:
    """How many pixels become one."""
    return max(1, -(-width_px // WIDEST_PX))


def stretched(pixels: PixelArray, every: int) -> NDArray[np.uint8]:
    """Shrunk by `every` and stretched: the sky dark grey, noise visible, stars bright (asinh)."""
    small = _shrunk(_whole_numbers(pixels), every)
    low, sky = (float(v) for v in np.percentile(small[::8, ::8], (16.0, 50.0)))
    sigma = max(sky - low, 0.5)
    level = np.arange(int(small.max()) + 1, dtype=np.float32)
    bend = np.arcsinh((level - np.float32(sky - SKY_SIGMAS * sigma)) / np.float32(SKY_SIGMAS * sigma))
    top = float(np.arcsinh(1.0 + FAINT_SIGMAS / SKY_SIGMAS))
    grey: NDArray[np.uint8] = np.clip(bend * np.float32(FAINT_LEVEL / top), 0.0, 255.0).astype(np.uint8)
    return np.take(grey, small)


def _whole_numbers(pixels: PixelArray) -> NDArray[np.uint16]:
    """The pixels as uint16; fractions so that the noise of the sky is some tens of steps."""
    if pixels.dtype == np.uint16:
        return np.asarray(pixels, dtype=np.uint16)
    spread: NDArray[np.uint16]
    if pixels.dtype == np.uint8:
        spread = pixels.astype(np.uint16) * np.uint16(16)
        return spread
    low, sky = (float(v) for v in np.percentile(pixels[::8, ::8], (16.0, 50.0)))
    factor = NOISE_STEPS / (sky - low) if sky > low else 1.0
    spread = np.clip((pixels - np.float32(sky)) * np.float32(factor) + 1000.0, 0.0, 65535.0).astype(np.uint16)
    return spread


def _shrunk(pixels: NDArray[np.uint16], every: int) -> NDArray[np.uint16]:
    """Sums of `every` x `every` pixels, scaled to fit; an edge that does not fill a block is left out."""
    if every == 1:
        return pixels
    high, wide = (side // every * every for side in pixels.shape)
    shift = (every * every - 1).bit_length()
    less = pixels[:high, :wide]
    if int(pixels.max()) > 65535 >> shift:
        less = np.right_shift(less, np.uint16(shift))
    rows = less[0::every].copy()
    for dy in range(1, every):
        rows += less[dy::every]
    total = rows[:, 0::every].copy()
    for dx in range(1, every):
        total += rows[:, dx::every]
    return total


def _matched(measured: MeasuredFrame) -> NDArray[np.bool_]:
    """Which of the detected stars the solution rests on."""
    stars, outcome = measured.stars, measured.outcome
    if not isinstance(outcome, PlateSolution):
        return np.zeros(len(stars), dtype=bool)
    known = outcome.matched
    return np.asarray(np.isin(stars.x_px + 1j * stars.y_px, known.x_px + 1j * known.y_px))
