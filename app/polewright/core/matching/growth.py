"""From a candidate pose to a plate solution with its odds: match outward from the first stars, fit, match again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.camera import vector_to_pixel
from polewright.core.catalogue import Catalogue
from polewright.core.matching.evidence import Prior, log_likelihood_ratio, log_share_of_prior
from polewright.core.matching.plate_fit import FitPlan, PlateFit, fit_plate
from polewright.core.model import Camera, FloatArray, IntArray

FEWEST_MATCHED = 4
CENTROID_FLOOR_PX = 0.05  # no centroid is better than this
CATALOGUE_SIGMA_ARCSEC = 0.15  # positions of faint stars at their epoch, and unmeasured proper motion
_FIRST_GATE_PX = 3.0
_CLIP_SIGMAS = 4.5
_REACH = (0.35, 0.55, 0.8, 1.1, 1.1, 1.1)  # of the frame's diagonal, from the first stars outward
_GATE_SLOPE = (0.015, 0.012, 0.01, 0.008, 0.004, 0.0)  # px of gate per px of distance
_DEPTHS = 6
_WIDE_FIELD_RAD = np.radians(5.0)
_STARS_FOR_K1, _STARS_FOR_K2 = 12, 30
_WORTHWHILE_DROP = 16.0  # fall of (rescaled) chi-square that justifies a distortion term


@dataclass(frozen=True, eq=False)
class Detections:
    """The detected stars used for solving, brightest first: pixels and sigma (N,)."""

    x_px: FloatArray
    y_px: FloatArray
    sigma_px: FloatArray


@dataclass(frozen=True, eq=False)
class Placement:
    """A fitted pose with its matches: rows of the detections, catalogue indices, ICRS vectors, and its log odds."""

    fit: PlateFit
    detected: IntArray
    catalogue_index: IntArray
    icrs: FloatArray
    log_odds: float
    sigma_px: FloatArray
    stretch: float  # residuals over their sigmas, at least 1


@dataclass(frozen=True)
class Known:
    """What the fit may take for granted: focal length to a fraction `scale_sigma`, and the distortion."""

    focal_px: float | None = None
    scale_sigma: float | None = None
    distortion: bool = False


def grow(
    detections: Detections,
    catalogue: Catalogue,
    epoch_year: float,
    camera: Camera,
    camera_to_sky: FloatArray,
    middle: FloatArray,
    known: Known,
    prior: Prior,
) -> Placement | None:
    """Match and fit outward from `middle` (2,), centred pixels of the first stars. None when nothing holds together.

    `camera` and `camera_to_sky` are right near the first stars to about two pixels.
    """
    diagonal = float(np.hypot(camera.width_px, camera.height_px))
    sigma = effective_sigma(detections.sigma_px, camera.scale_arcsec_px)
    stars = _FieldStars.around(catalogue, epoch_year, camera, camera_to_sky, 3 * detections.x_px.size + 20)
    fit, stretch = None, 1.0
    match = (np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))
    for reach, slope in zip(_REACH, _GATE_SLOPE):
        tight = max(_FIRST_GATE_PX if slope else 0.0, _CLIP_SIGMAS * stretch * float(np.median(sigma)), 0.75)
        match = stars.matched(detections, camera, camera_to_sky, middle, reach * diagonal, tight, slope)
        if match[0].size < FEWEST_MATCHED:
            return None
        fit, kept = _clipped_fit(detections, sigma, stars.icrs, match, camera, camera_to_sky, known)
        if fit is None:
            return None
        match = (match[0][kept], match[1][kept])
        camera, camera_to_sky = fit.camera, fit.camera_to_sky
        stretch = float(np.sqrt(max(1.0, fit.chi2 / max(fit.dof, 1))))
    assert fit is not None
    odds = _log_odds(detections, sigma * stretch, stars, fit, stretch, match, prior)
    return Placement(fit, match[0], stars.index[match[1]], stars.icrs[match[1]], odds, sigma[match[0]], stretch)


def effective_sigma(sigma_px: FloatArray, scale_arcsec_px: float) -> FloatArray:
    """Centroid sigma with its floor and the catalogue's own error, px."""
    return np.sqrt(np.square(sigma_px) + CENTROID_FLOOR_PX**2 + (CATALOGUE_SIGMA_ARCSEC / scale_arcsec_px) ** 2)


@dataclass(frozen=True, eq=False)
class _FieldStars:
    """Catalogue stars that may be in the frame, brightest first."""

    index: IntArray
    icrs: FloatArray

    @staticmethod
    def around(
        catalogue: Catalogue, epoch_year: float, camera: Camera, camera_to_sky: FloatArray, limit: int
    ) -> _FieldStars:
        half = np.hypot(camera.width_px, camera.height_px) / 2.0 / camera.focal_px
        radius = float(np.arctan(half * (1.0 + half * half * max(camera.k1, 0.0))) * 1.03)
        circle_over_frame = np.pi * (camera.width_px**2 + camera.height_px**2) / 4.0
        share = circle_over_frame / (camera.width_px * camera.height_px)
        index = catalogue.around(camera_to_sky[:, 2], radius, int(limit * share))
        return _FieldStars(index, catalogue.vectors_at(epoch_year, index))

    def pixels(self, camera: Camera, camera_to_sky: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Where they fall; NaN outside the frame."""
        x, y = vector_to_pixel(camera, self.icrs @ camera_to_sky)
        with np.errstate(invalid="ignore"):
            outside = ~(
                (np.abs(x - (camera.width_px - 1) / 2) < camera.width_px / 2 + 2)
                & (np.abs(y - (camera.height_px - 1) / 2) < camera.height_px / 2 + 2)
            )
        x[outside] = np.nan
        return x, y

    def matched(
        self,
        detections: Detections,
        camera: Camera,
        camera_to_sky: FloatArray,
        middle: FloatArray,
        reach_px: float,
        gate_px: float,
        slope: float,
    ) -> tuple[IntArray, IntArray]:
        """(detections, stars): pairs that are each other's nearest, within gate and reach of the middle."""
        x, y = self.pixels(camera, camera_to_sky)
        away = np.hypot(x - (middle[0] + (camera.width_px - 1) / 2.0), y - (middle[1] + (camera.height_px - 1) / 2.0))
        with np.errstate(invalid="ignore"):
            inside = np.flatnonzero(away < reach_px)
        if inside.size == 0:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        d2 = (x[inside, None] - detections.x_px) ** 2 + (y[inside, None] - detections.y_px) ** 2
        nearest = np.argmin(d2, axis=1)
        rows = np.arange(inside.size)
        gate = gate_px + slope * away[inside]
        good = (d2[rows, nearest] < gate * gate) & (np.argmin(d2, axis=0)[nearest] == rows)
        return nearest[good], inside[good]


def _clipped_fit(
    detections: Detections,
    sigma: FloatArray,
    icrs: FloatArray,
    match: tuple[IntArray, IntArray],
    camera: Camera,
    camera_to_sky: FloatArray,
    known: Known,
) -> tuple[PlateFit | None, IntArray]:
    """Fit, leave out what does not belong, fit again; with the rows of the matches that were kept."""
    kept = np.arange(match[0].size)
    terms = 0 if known.distortion else _terms_supported(camera, kept.size)
    fit = None
    for _ in range(4):
        fit = _fit(
            detections,
            sigma,
            icrs,
            match,
            kept,
            camera,
            camera_to_sky,
            FitPlan(terms, known.focal_px, known.scale_sigma),
        )
        z = np.hypot(*fit.residual_px.T) / sigma[match[0][kept]]
        spread = max(1.0, float(np.median(z)) / 1.1774)  # median of a Rayleigh distribution
        good = z < _CLIP_SIGMAS * spread
        if good.all():
            break
        kept = kept[good]
        if kept.size < FEWEST_MATCHED:
            return None, kept
    return fit, kept


def _terms_supported(camera: Camera, stars: int) -> int:
    wide = np.hypot(camera.width_px, camera.height_px) / camera.focal_px > _WIDE_FIELD_RAD
    return int(wide and stars >= _STARS_FOR_K1) + int(wide and stars >= _STARS_FOR_K2)


def _fit(
    detections: Detections,
    sigma: FloatArray,
    icrs: FloatArray,
    match: tuple[IntArray, IntArray],
    kept: IntArray,
    camera: Camera,
    camera_to_sky: FloatArray,
    plan: FitPlan,
) -> PlateFit:
    """The fit with as many distortion terms as the residuals justify."""
    i, j = match[0][kept], match[1][kept]

    def attempt(terms: int, start: Camera) -> PlateFit:
        return fit_plate(
            start,
            camera_to_sky,
            detections.x_px[i],
            detections.y_px[i],
            sigma[i],
            icrs[j],
            FitPlan(terms, plan.known_focal_px, plan.scale_sigma),
        )

    if plan.distortion_terms == 0:
        return attempt(0, camera)
    fits = [attempt(terms, _without_distortion(camera, terms)) for terms in range(plan.distortion_terms + 1)]
    best = fits[0]
    for richer in fits[1:]:
        noise = max(1.0, richer.chi2 / max(richer.dof, 1))
        if best.chi2 - richer.chi2 > _WORTHWHILE_DROP * noise:
            best = richer
    return best


def _without_distortion(camera: Camera, terms: int) -> Camera:
    return replace(camera, k1=camera.k1 if terms > 0 else 0.0, k2=camera.k2 if terms > 1 else 0.0)


def _log_odds(
    detections: Detections,
    sigma: FloatArray,
    stars: _FieldStars,
    fit: PlateFit,
    stretch: float,
    match: tuple[IntArray, IntArray],
    prior: Prior,
) -> float:
    """Likelihood ratio at the best depth of catalogue, times the share of the prior, less the choice of depth."""
    camera = fit.camera
    x, _ = stars.pixels(camera, fit.camera_to_sky)
    rank = np.cumsum(~np.isnan(x))  # how many expected stars are as bright or brighter
    distance = np.full(detections.x_px.size, np.inf)
    area = float(camera.width_px * camera.height_px)
    distance[match[0]] = np.hypot(*fit.residual_px.T)
    match_rank = rank[match[1]]
    depths = np.unique(np.quantile(match_rank, np.linspace(0.5, 1.0, _DEPTHS)).astype(np.int64))
    best = -np.inf
    for depth in depths:
        seen = np.where(np.isin(np.arange(distance.size), match[0][match_rank <= depth]), distance, np.inf)
        best = max(best, log_likelihood_ratio(seen, sigma, int(depth), area))
    return float(best - np.log(_DEPTHS) + log_share_of_prior(prior, fit.covariance[:4, :4] * stretch**2))
