"""The catalogue stars that may be in a frame, and which detected star each of them is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.camera import vector_to_pixel
from polewright.core.model import Camera, FloatArray, IntArray
from polewright.core.sky.catalogue import Catalogue

_MARGIN_PX = 2.0  # round the frame, in which a catalogue star may still be half seen


@dataclass(frozen=True, eq=False)
class Matches:
    """Pairs (M,): rows of the detections, rows of the field stars."""

    detected: IntArray
    star: IntArray

    def __len__(self) -> int:
        return int(self.detected.size)

    def take(self, which: NDArray[np.bool_]) -> Matches:
        """Some of them."""
        return Matches(self.detected[which], self.star[which])


@dataclass(frozen=True, eq=False)
class FieldStars:
    """Catalogue `index` (K,) and direction `icrs` (K, 3) at the epoch of the frame, brightest first."""

    index: IntArray
    icrs: FloatArray

    @staticmethod
    def around(
        catalogue: Catalogue, epoch_year: float, camera: Camera, camera_to_sky: FloatArray, limit: int
    ) -> FieldStars:
        """Stars of the circle about the frame; `limit` is how many the frame itself should hold at most."""
        diagonal2 = float(camera.width_px**2 + camera.height_px**2)
        half = np.sqrt(diagonal2) / 2.0 / camera.focal_px
        radius = float(np.arctan(half * (1.0 + half * half * max(camera.k1, 0.0))) * 1.03)
        index = catalogue.around(camera_to_sky[:, 2], radius, _of_circle(camera, limit))
        return FieldStars(index, catalogue.vectors_at(epoch_year, index))

    def brightest(self, camera: Camera, limit: int) -> FieldStars:
        """Fewer of them: so many that the frame itself should hold `limit` at most."""
        count = _of_circle(camera, limit)
        return FieldStars(self.index[:count], self.icrs[:count])

    def pixels(self, camera: Camera, camera_to_sky: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Where they fall, (K,) each; NaN outside the frame."""
        x, y = vector_to_pixel(camera, self.icrs @ camera_to_sky)
        half_width, half_height = camera.width_px / 2.0, camera.height_px / 2.0
        inside = (np.abs(x + 0.5 - half_width) < half_width + _MARGIN_PX) & (
            np.abs(y + 0.5 - half_height) < half_height + _MARGIN_PX
        )
        return np.where(inside, x, np.nan), y

    def matched(
        self,
        pixels: tuple[FloatArray, FloatArray],
        x_px: FloatArray,
        y_px: FloatArray,
        middle_px: FloatArray,
        reach_px: float,
        gate_px: float,
        slope: float,
    ) -> Matches:
        """Each star within reach of the middle with the detection nearest to it, within the gate; a detection that is
        nearest to several of them goes to the nearest of these.

        `pixels` as from pixels(); the gate widens by `slope` px per px of distance from `middle_px`.
        """
        x, y = pixels
        away = np.hypot(x - middle_px[0], y - middle_px[1])
        inside = np.flatnonzero(away < reach_px)
        if inside.size == 0:
            return Matches(inside, inside)
        d2 = np.subtract.outer(x[inside].astype(np.float32), x_px.astype(np.float32))  # in place, to a thousandth of
        dy = np.subtract.outer(y[inside].astype(np.float32), y_px.astype(np.float32))  # a pixel: a third of the time
        d2 *= d2
        dy *= dy
        d2 += dy
        nearest = d2.argmin(axis=1)
        least = d2[np.arange(inside.size), nearest]
        gate = gate_px + slope * away[inside] if slope else gate_px
        near = np.flatnonzero(least < gate * gate)
        near = near[(-least[near]).argsort(kind="stable")]
        taken = np.full(x_px.size, -1)
        taken[nearest[near]] = near  # the last of several stars, the nearest, stays
        chosen = np.sort(taken[taken >= 0])
        return Matches(nearest[chosen], inside[chosen])


def _of_circle(camera: Camera, in_frame: int) -> int:
    """How many stars the circle about a frame holds when the frame holds `in_frame`."""
    diagonal2 = float(camera.width_px**2 + camera.height_px**2)
    return int(np.pi / 4.0 * diagonal2 / (camera.width_px * camera.height_px) * in_frame)
