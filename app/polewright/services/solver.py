"""Places a star list on the sky: candidates from patterns, then one fit and one verdict for all of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.catalogue import Catalogue
from polewright.core.matching.evidence import ACCEPTED_LOG_ODDS, Prior
from polewright.core.matching.growth import Detections, Known, Placement, grow
from polewright.core.matching.hint import CAMERA_SCALE_TOLERANCE, SolveHint
from polewright.core.matching.image_stars import ImageStars, image_stars
from polewright.core.matching.layers import LAYERS_PER_SQ_DEG
from polewright.core.matching.poses import Poses
from polewright.core.matching.quad_search import quad_poses
from polewright.core.model import Attitude, Camera, MatchedStars, PlateSolution, StarList, Unsolved
from polewright.services.sky_index import Progress, SkyIndex

FEWEST_STARS = 4
MOST_STARS = 200  # the brightest; more add time, not certainty
_WHOLE_SKY_SR = 4.0 * np.pi
_STAGES = ((1.1, 4, 6), (1.5, 12, 8), (2.0, 25, 12))  # brightest stars: factor x expected + extra; neighbours
_MOST_QUAD_STARS = 60
_TRIED_PER_STAGE = 12
_LAYER_STARS = (4.5, 90.0)  # a layer serves when so many of its stars are expected in the frame
_BEST_LAYER_STARS = 22.0


class Solver:
    """Star lists in, plate solutions out; keeps the index layers in memory between frames."""

    def __init__(self, catalogue: Catalogue, cache_dir: Path) -> None:
        self._catalogue = catalogue
        self._index = SkyIndex(catalogue, cache_dir)

    def solve(
        self, stars: StarList, epoch_year: float, hint: SolveHint, progress: Progress | None = None
    ) -> PlateSolution | Unsolved:
        """Where the frame points, or why that cannot be told and what to do."""
        if len(stars) < FEWEST_STARS:
            return Unsolved(
                f"{len(stars)} stars found, {FEWEST_STARS} needed",
                stars.cure or "expose longer, or check the focus",
                len(stars),
            )
        detections = _brightest(stars)
        camera, tolerance = _assumed_camera(stars, hint)
        image = image_stars(camera, detections, tolerance, hint.mirrored)
        for poses in self._whole_sky(image, progress):
            placement = self._best(image, poses, epoch_year, hint)
            if placement is not None:
                return _solution(stars, detections, self._catalogue, placement, "whole sky")
        return Unsolved("no pattern", "?", len(stars))

    def _whole_sky(self, image: ImageStars, progress: Progress | None) -> Iterator[Poses]:
        """Candidates from the pattern index, the likely ones first."""
        camera = image.camera
        area_sr = camera.width_px * camera.height_px / camera.focal_px**2
        area_sq_deg = area_sr * np.degrees(1.0) ** 2
        expected = {n: d * area_sq_deg for n, d in enumerate(LAYERS_PER_SQ_DEG)}
        numbers = [n for n, e in expected.items() if _LAYER_STARS[0] <= e <= _LAYER_STARS[1]]
        numbers.sort(key=lambda n: abs(np.log(expected[n] / _BEST_LAYER_STARS)))
        for factor, extra, neighbours in _STAGES:
            for n in numbers:
                layer = self._index.layer(n, progress)
                count = min(int(factor * expected[n]) + extra, _MOST_QUAD_STARS, len(image.pixels))
                yield quad_poses(image, layer, self._catalogue.position, count, neighbours)[0]

    def _best(self, image: ImageStars, poses: Poses, epoch_year: float, hint: SolveHint) -> Placement | None:
        """The first of the poses that stands up to the evidence."""
        for k in range(min(len(poses), _TRIED_PER_STAGE)):
            camera = replace(image.camera, focal_px=float(poses.focal_px[k]), mirrored=bool(poses.mirrored[k]))
            placement = grow(
                image.detections,
                self._catalogue,
                epoch_year,
                camera,
                poses.camera_to_sky[k],
                poses.middle_px[k],
                Known(),
                Prior(_WHOLE_SKY_SR, image.scale_tolerance, 1 if hint.mirrored is not None else 2),
            )
            if placement is not None and placement.log_odds > ACCEPTED_LOG_ODDS:
                return placement
        return None


def _brightest(stars: StarList) -> Detections:
    return Detections(stars.x_px[:MOST_STARS], stars.y_px[:MOST_STARS], stars.sigma_px[:MOST_STARS])


def _assumed_camera(stars: StarList, hint: SolveHint) -> tuple[Camera, float]:
    if hint.camera is not None:
        return replace(hint.camera, mirrored=False), CAMERA_SCALE_TOLERANCE
    assert hint.scale_arcsec_px is not None
    return Camera(stars.width_px, stars.height_px, ARCSEC_PER_RAD / hint.scale_arcsec_px), hint.scale_tolerance


def _solution(
    stars: StarList, detections: Detections, catalogue: Catalogue, placement: Placement, path: str
) -> PlateSolution:
    fit, i = placement.fit, placement.detected
    sigma = detections.sigma_px[i] * placement.stretch
    residual_arcsec = fit.residual_px * fit.camera.scale_arcsec_px
    return PlateSolution(
        attitude_icrs=Attitude(fit.camera_to_sky, fit.covariance[:3, :3] * placement.stretch**2),
        camera=fit.camera,
        matched=MatchedStars(
            x_px=detections.x_px[i],
            y_px=detections.y_px[i],
            sigma_px=sigma,
            icrs=placement.icrs,
            catalogue_index=placement.catalogue_index,
            magnitude=catalogue.magnitude[placement.catalogue_index].astype(np.float64),
            residual_arcsec=residual_arcsec,
        ),
        stars_detected=len(stars),
        rms_arcsec=float(np.sqrt(np.mean(np.square(residual_arcsec)))),
        log_odds=placement.log_odds,
        path=path,
    )
