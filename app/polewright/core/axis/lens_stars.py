"""The stars of wide frames, and those of the catalogue where a lens draws them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.axis.lens import Lens, from_middle
from polewright.core.model import Atmosphere, Camera, FloatArray, PlateSolution, Site, SkyFrame, StarList
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.places import observed_enu
from polewright.core.sky.timescales import julian_epoch_year

FEWEST_STARS = 6  # of a frame
_GATE_PX = 5.0  # between drawn and seen, beyond which a star is another one
_SIGMA_FLOOR_PX = 0.1  # bright wide-lens stars are not measured better than that
_CATALOGUE_STARS = 9000  # of the whole sky, to magnitude 6.5: more than such a frame shows (measured: 220 detections)
_LOWEST_SINE, _BEHIND = 0.09, -0.2  # above 5 degrees, where refraction holds; up to 102 degrees off the boresight


@dataclass(frozen=True, eq=False)
class Wide:
    """A frame of a capture: in the observed sky, the solution that rests on, and all its stars."""

    sky: SkyFrame
    solution: PlateSolution
    stars: StarList


@dataclass(frozen=True, eq=False)
class Seen:
    """Stars of one frame: `pixels` (N, 2) from the middle, un-mirrored, their sigma (N,) and place `enu` (N, 3)."""

    pixels: FloatArray
    sigma_px: FloatArray
    enu: FloatArray

    @property
    def reach_px(self) -> float:
        """How far from the middle the outermost is."""
        return float(np.hypot(*self.pixels.T).max())

    def take(self, which: NDArray[np.bool_]) -> Seen:
        return Seen(self.pixels[which], self.sigma_px[which], self.enu[which])


@dataclass(frozen=True, eq=False)
class Listed:
    """All stars of a frame, `pixels` (N, 2) and sigma (N,), and `enu` (K, 3) of the catalogue above the horizon,
    brightest first; `matched_enu` (M, 3) of those that its own solution matched."""

    pixels: FloatArray
    sigma_px: FloatArray
    enu: FloatArray
    camera: Camera
    matched_enu: FloatArray

    @staticmethod
    def of(frame: Wide, catalogue: Catalogue, site: Site, atmosphere: Atmosphere) -> Listed:
        stars, camera, utc = frame.stars, frame.solution.camera, frame.sky.utc_mid
        icrs = catalogue.vectors_at(julian_epoch_year(utc), slice(0, _CATALOGUE_STARS))
        enu = observed_enu(icrs, utc, site, atmosphere)
        sigma = np.maximum(stars.sigma_px, _SIGMA_FLOOR_PX)
        pixels = from_middle(camera, stars.x_px, stars.y_px)
        matched = observed_enu(frame.solution.matched.icrs, utc, site, atmosphere)
        return Listed(pixels, sigma, enu[enu[:, 2] > _LOWEST_SINE], camera, matched)

    def first(self, solution: PlateSolution, share: float) -> Seen:
        """What the solution of the frame matched within a share of the half diagonal; or all of it."""
        matched = solution.matched
        seen = Seen(from_middle(self.camera, matched.x_px, matched.y_px), matched.sigma_px, self.matched_enu)
        corner = 0.5 * float(np.hypot(self.camera.width_px, self.camera.height_px))
        inner = seen.take(np.hypot(*seen.pixels.T) < share * corner)
        return inner if len(inner.sigma_px) >= FEWEST_STARS else seen

    def matched(self, lens: Lens, attitude: FloatArray, reach_px: float) -> Seen:
        """The stars within reach of the middle that lie where the lens draws one of the catalogue, each other's
        nearest; of the catalogue so many as the frame has stars."""
        v = self.enu @ attitude
        v_index = np.flatnonzero(v[:, 2] > _BEHIND)
        drawn = lens.drawn(v[v_index])
        half = np.array([0.5 * self.camera.width_px, 0.5 * self.camera.height_px])
        inside = np.flatnonzero((np.abs(drawn) < half).all(axis=1))[: len(self.pixels)]
        inside = inside[np.hypot(*drawn[inside].T) < reach_px]
        if inside.size == 0:
            return Seen(np.zeros((0, 2)), np.zeros(0), np.zeros((0, 3)))
        gap = np.hypot(*(np.subtract.outer(drawn[inside, k], self.pixels[:, k]) for k in (0, 1)))
        star = gap.argmin(axis=1)
        mutual = (gap.argmin(axis=0)[star] == np.arange(inside.size)) & (gap.min(axis=1) < _GATE_PX)
        return Seen(self.pixels[star[mutual]], self.sigma_px[star[mutual]], self.enu[v_index[inside[mutual]]])
