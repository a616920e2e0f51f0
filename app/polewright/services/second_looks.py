"""Other star lists of a frame that could not be placed by its ordinary one, the likeliest to help first.

Decided 2026-11-29. A second look before a refusal. Branches, grain and hot pixels teach the ordinary passes a wrong
star width. What cannot be placed is looked at again: by local noise, with pixels gathered, by its middle alone
(services/second_looks.py); ordinary frames pay nothing, and the look that solved one frame is tried on the next at
once. Making the ordinary passes cope with trees was rejected: every frame would pay, and each cure cost other
frames their stars.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.model import Camera, FloatArray, Frame, PixelArray, PlateSolution, StarList
from polewright.services.binning import binned
from polewright.services.detector import finite
from polewright.services.local_pass import local_list

_LARGE = 1_500_000  # pixels; frames beyond that are looked at once more with their pixels gathered
_MIDDLE = 0.35  # of each side: what a lens of 90 degrees draws nearly without bending it
_LEAST_SIDE_PX = 200  # of a crop: a smaller one holds too few stars to be surer than the whole

Finds = Callable[[Frame], StarList]


@dataclass(frozen=True, eq=False)
class Look:
    """Stars of the middle `width_px` x `height_px` pixels of `frame`, counted from there; found when asked for."""

    frame: Frame
    width_px: int
    height_px: int
    find: Callable[[], StarList]

    @cached_property
    def stars(self) -> StarList:
        """What `find` finds, found once."""
        return self.find()

    @property
    def is_part(self) -> bool:
        """Is it less than the frame?"""
        return (self.width_px, self.height_px) != (self.frame.width_px, self.frame.height_px)

    @property
    def _corner(self) -> tuple[int, int]:
        return (self.frame.width_px - self.width_px) // 2, (self.frame.height_px - self.height_px) // 2

    def camera_of_part(self, camera: Camera | None) -> Camera | None:
        """The camera of the frame as it draws the part."""
        return camera and replace(camera, width_px=self.width_px, height_px=self.height_px)

    def field_of_part_deg(self, field_deg: float) -> float:
        """Width of the part where the frame is `field_deg` wide, drawn straight."""
        half = np.tan(np.radians(field_deg) / 2.0) * self.width_px / self.frame.width_px
        return float(2.0 * np.degrees(np.arctan(half)))

    def whole_stars(self) -> StarList:
        """The stars in pixels of the frame."""
        x, y = self._corner
        return replace(
            self.stars,
            width_px=self.frame.width_px,
            height_px=self.frame.height_px,
            x_px=self.stars.x_px + x,
            y_px=self.stars.y_px + y,
        )

    def among(self, ordinary: StarList) -> StarList:
        """Its stars in pixels of the frame, bright ones first, and about the part those of the ordinary list (M,):
        what a lens of one capture is fitted to (core/axis/shared_lens.py). Its own stars keep their numbers exactly.
        """
        own = self.whole_stars()
        if not self.is_part:
            return own
        x, y = self._corner
        across, down = ordinary.x_px - x + 0.5, ordinary.y_px - y + 0.5
        inside = (across > 0) & (across < self.width_px) & (down > 0) & (down < self.height_px)
        return _joined(own, ordinary, ~inside)

    def whole(self, part: PlateSolution) -> PlateSolution:
        """The solution of the frame from that of its middle: the boresight is the same."""
        x, y = self._corner
        camera = replace(part.camera, width_px=self.frame.width_px, height_px=self.frame.height_px)
        matched = replace(part.matched, x_px=part.matched.x_px + x, y_px=part.matched.y_px + y)
        return replace(part, camera=camera, matched=matched)


def _joined(own: StarList, others: StarList, which: NDArray[np.bool_]) -> StarList:
    order = np.argsort(-np.concatenate([own.flux_adu, others.flux_adu[which]]), kind="stable")

    def both(mine: FloatArray, theirs: FloatArray) -> FloatArray:
        return np.asarray(np.concatenate([mine, theirs[which]])[order])

    return replace(
        own,
        x_px=both(own.x_px, others.x_px),
        y_px=both(own.y_px, others.y_px),
        sigma_px=both(own.sigma_px, others.sigma_px),
        flux_adu=both(own.flux_adu, others.flux_adu),
        snr=both(own.snr, others.snr),
        fwhm_px=both(own.fwhm_px, others.fwhm_px),
        flags=np.concatenate([own.flags, others.flags[which]])[order],
    )


def second_looks(frame: Frame, detect: Finds, hot_pixels: HotPixelMask | None = None) -> Iterator[Look]:
    """By local noise, against trees and hot pixels; then, of a large frame, the ordinary passes over gathered pixels,
    against grain and wide stars; then the middle alone, against lenses that bend. The stars of each are found when
    they are asked for. `detect` makes the ordinary passes, and so decides in which process the careful one runs.
    """
    pixels = finite(frame.pixels)
    if hot_pixels is not None:
        pixels = hot_pixels.mended(pixels)
    whole = partial(Look, frame, frame.width_px, frame.height_px)
    yield whole(lambda: local_list(frame, pixels))
    if pixels.size > _LARGE:
        yield whole(lambda: _gathered(frame, pixels, detect))
    middle = _middle(pixels)
    if min(middle.shape) >= _LEAST_SIDE_PX // 2 and max(middle.shape) >= _LEAST_SIDE_PX:
        yield Look(frame, middle.shape[1], middle.shape[0], lambda: detect(replace(frame, pixels=middle)))


def _middle(pixels: PixelArray) -> PixelArray:
    """The middle of the frame, as many pixels off on both sides."""
    down, across = (round(0.5 * (1.0 - _MIDDLE) * side) for side in pixels.shape)
    middle: PixelArray = pixels[down : pixels.shape[0] - down, across : pixels.shape[1] - across].copy()
    return middle


def _gathered(frame: Frame, pixels: PixelArray, detect: Finds) -> StarList:
    """The list of the frame with its pixels gathered `side` by `side`, in pixels of the frame itself."""
    small, side = binned(pixels, _LARGE)
    stars = detect(replace(frame, pixels=small))
    return replace(
        stars,
        width_px=frame.width_px,
        height_px=frame.height_px,
        x_px=side * stars.x_px + 0.5 * (side - 1),
        y_px=side * stars.y_px + 0.5 * (side - 1),
        sigma_px=side * stars.sigma_px,
        fwhm_px=side * stars.fwhm_px,
    )
