"""Judges candidate poses: grows each into a fitted solution and weighs it against all that could have been tried.

Decided 2026-11-29. Evidence at every length of the list. A long exposure shows two hundred stars, seven of them in
the catalogue. The verdict averages over how many of the brightest detections tell anything, over the share of
strays and the depth of the catalogue (core/matching/evidence.py); about a hint the patches grow where the catalogue
is thin. Of the fields of 0.25 to 1.5 degrees with 10 to 190 fainter strays, all are solved that a perfect search
could tell from chance (tests/bench/narrow_fields.py). Solving again with ever shorter lists was tried: it costs
four searches and wins nothing more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.matching.evidence import ACCEPTED_LOG_ODDS, Prior
from polewright.core.matching.growth import MOST_WEIGHED, Known, Placement, Setting, grow
from polewright.core.matching.hint import KNOWN_SCALE_SIGMA, RING_HALF_WIDTH_DEG, SolveHint
from polewright.core.matching.image_stars import ImageStars
from polewright.core.matching.poses import Poses
from polewright.core.matching.regions import WHOLE_SKY_SR, Cap, Ring, cap_about
from polewright.core.model import Camera, FloatArray
from polewright.core.sky.catalogue import Catalogue

Candidates = tuple[Poses, FloatArray]
_JUDGED = 6  # of the candidates of one question: a true pose comes first in 98 of 100 (measured)


def _least_score(stars: int) -> float:
    """Candidates of a lower score are not worth a fit: true ones among many stars score more than 2, among few
    stars, which leave little room for further matches, sometimes less than 0 (measured on seeded fields)."""
    return min(1.5, 0.4 * stars - 10.0)


def promising(image: ImageStars, candidates: Candidates, judged: int) -> int:
    """How many of the likeliest `judged` candidates are worth a fit."""
    return int(np.sum(candidates[1][:judged] >= _least_score(len(image.pixels))))


def regions_of(hint: SolveHint) -> tuple[Cap | Ring, ...]:
    """Where the hint says the frame may point, the likeliest first."""
    regions: list[Cap | Ring] = []
    if hint.near is not None:
        regions.append(cap_about(hint.near, hint.near_radius_deg))
    if hint.declination_deg is not None:
        regions.append(Ring(float(np.radians(hint.declination_deg)), float(np.radians(RING_HALF_WIDTH_DEG))))
    return tuple(regions)


def _start(image: ImageStars, poses: Poses, k: int) -> tuple[Camera, FloatArray, FloatArray]:
    """Camera, attitude and middle of the first stars in pixels of the frame."""
    camera = replace(image.camera, focal_px=float(poses.focal_px[k]), mirrored=bool(poses.mirrored[k]))
    corner = np.array([camera.width_px - 1, camera.height_px - 1]) / 2.0
    return camera, poses.camera_to_sky[k], poses.middle_px[k] + corner


@dataclass(frozen=True, eq=False)
class Judge:
    """`regions` are the places the hints speak of; the whole sky is always possible besides.

    `scale_half_range` is how much was searched in ln scale, when more than the image's own tolerance.
    """

    catalogue: Catalogue
    epoch_year: float
    regions: tuple[Cap | Ring, ...]
    scale_half_range: float | None = None

    def for_scales(self, half_range: float) -> Judge:
        """The same for a search over many scales."""
        return replace(self, scale_half_range=half_range)

    def best(self, image: ImageStars, candidates: Candidates, judged: int = _JUDGED) -> Placement | None:
        """The first of the likeliest `judged` candidates that is accepted, else None."""
        poses, _ = candidates
        setting = self._setting(image)
        for k in range(promising(image, candidates, judged)):
            prior = self._prior(image, poses.camera_to_sky[k][:, 2])
            placement = grow(setting, *_start(image, poses, k), float(poses.extent_px[k]), prior, ACCEPTED_LOG_ODDS)
            if placement is not None and placement.log_odds > ACCEPTED_LOG_ODDS:
                return placement
        return None

    def _setting(self, image: ImageStars) -> Setting:
        known = Known(image.camera.focal_px, KNOWN_SCALE_SIGMA, True) if image.camera_known else Known()
        weighed = min(MOST_WEIGHED, len(image.pixels))
        return Setting(self.catalogue, self.epoch_year, image.detections, known, weighed)

    def _prior(self, image: ImageStars, centre: FloatArray) -> Prior:
        """Hinted regions and the whole sky are given equal shares of belief."""
        shares = 1 + len(self.regions)
        density = 1.0 / (WHOLE_SKY_SR * shares)
        density += sum(1.0 / (r.solid_angle_sr * shares) for r in self.regions if r.contains(centre))
        return Prior(
            solid_angle_sr=1.0 / density,
            scale_tolerance=self.scale_half_range or image.scale_tolerance,
            parities=1 if image.mirrored is not None else 2,
        )
