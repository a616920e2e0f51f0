"""From a candidate pose to a plate solution with its odds: match outward from the first stars, fit, match again."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from polewright.core.matching.evidence import Prior, log_likelihood_ratio, log_mean_exp, log_share_of_prior
from polewright.core.matching.field_stars import FieldStars, Matches
from polewright.core.matching.plate_fit import FitPlan, PlateFit, fit_plate
from polewright.core.model import Camera, FloatArray, IntArray
from polewright.core.sky.catalogue import Catalogue

FEWEST_MATCHED = 4  # chosen: two stars fix attitude and scale, the others can object
CENTROID_FLOOR_PX = 0.05  # no centroid is better than this
CATALOGUE_SIGMA_ARCSEC = 0.15  # positions of faint stars at their epoch, and unmeasured proper motion
HOPELESS_LOG_ODDS = -15.0  # a true pose stands better than this once its neighbourhood is matched
_CLIP_SIGMAS = 4.5  # of 200 matched stars a true one is lost in one fit of 700 (normal distribution)
_SUSPICIOUS_SPREAD, _HARDER_CLIP_SIGMAS = 1.7, 3.0  # a fit this loose holds wrong pairs: they go first (chosen)
_FIRST_GATE_PX = 3.0  # a pose from four stars is off by about as much at their own place
_MOSTLY = 0.9  # of the matches are good: the next round matches anew
_ROUGH_PX, _EXACT_PX = 0.02, 1e-4  # what a fit may leave out on the way, and at the end
# reach in frame diagonals from the first stars outward; px of gate per px of distance from them
_ROUNDS = ((0.35, 0.015), (1.1, 0.006))
_ROUNDS_OF_A_LENS = ((0.35, 0.015), (0.7, 0.01), (1.1, 0.006))  # its distortion is learned on the way
_WIDE_START = 0.12  # frame diagonals between the first stars: their scale and roll hold for the whole frame
_CONVINCING_STARS = 12  # matched, and half of the detections: one in thousands of false poses (measured)
MOST_WEIGHED = 80  # brightest detections that weigh in the verdict; the final fit takes them all
_STEADY_ROUNDS = 3  # at most, until the matches stay the same (chosen)
_STEADY_SHARE = 0.5  # of a centroid error: a fit that moves less keeps its matches
_DEPTHS = np.linspace(0.5, 1.0, 6)  # shares of the matches, brightest first, that a depth of catalogue may hold
_WIDE_FIELD_RAD = np.radians(5.0)  # a diagonal from which distortion exceeds a pixel with usual lenses
_STARS_FOR_TERMS = (12, 30)  # matches that let k1, and k2 besides, be fitted
_WORTHWHILE_DROP = 16.0  # fall of (rescaled) chi-square that justifies a distortion term


@dataclass(frozen=True, eq=False)
class Detections:
    """The detected stars used for solving, brightest first: pixels and sigma (N,)."""

    x_px: FloatArray
    y_px: FloatArray
    sigma_px: FloatArray

    def brightest(self, count: int) -> Detections:
        """The first of them."""
        return Detections(self.x_px[:count], self.y_px[:count], self.sigma_px[:count])


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


@dataclass(frozen=True, eq=False)
class Setting:
    """What stays the same while poses of one frame are judged. The brightest `weighed` detections decide."""

    catalogue: Catalogue
    epoch_year: float
    detections: Detections
    known: Known
    weighed: int


def effective_sigma(sigma_px: FloatArray, scale_arcsec_px: float) -> FloatArray:
    """Centroid sigma with its floor and the catalogue's own error, px."""
    return np.sqrt(np.square(sigma_px) + CENTROID_FLOOR_PX**2 + (CATALOGUE_SIGMA_ARCSEC / scale_arcsec_px) ** 2)


def grow(
    setting: Setting,
    camera: Camera,
    camera_to_sky: FloatArray,
    middle_px: FloatArray,
    extent_px: float,
    prior: Prior,
    accepted_log_odds: float,
) -> Placement | None:
    """Match and fit outward from `middle_px` (2,), pixels of the frame; None when nothing holds together.

    The first stars lie within `extent_px` of each other.
    `camera` and `camera_to_sky` are right near the first stars to about two pixels. The brightest detections decide;
    all are taken into a placement whose odds exceed `accepted_log_odds`.
    """
    attempt = _Attempt(setting, camera, camera_to_sky)
    diagonal = float(np.hypot(camera.width_px, camera.height_px))
    log_odds = HOPELESS_LOG_ODDS
    for reach, slope in _rounds(attempt.learns_distortion, extent_px > _WIDE_START * diagonal):
        if not attempt.match_and_fit(middle_px, reach * diagonal, slope, _FIRST_GATE_PX):
            continue  # a wide group of few stars: its fourth lies further out
        if reach > 0.5:
            log_odds = math.inf if attempt.is_convincing() else attempt.log_odds(prior)
            if log_odds < HOPELESS_LOG_ODDS:
                return None
    if attempt.fit is None:
        return None
    placement = None
    if log_odds <= accepted_log_odds:
        placement = _settled(attempt, prior)
        if placement is None or placement.log_odds <= accepted_log_odds:
            return placement
    if placement is None or attempt.takes_part():
        attempt.take_all()
        placement = _better(_settled(attempt, prior), placement, accepted_log_odds)
    return placement


def _better(full: Placement | None, first: Placement | None, accepted_log_odds: float) -> Placement | None:
    """The placement of all detections, unless faint ones spoil what the brightest alone made sure."""
    if first is None or (full is not None and full.log_odds > accepted_log_odds):
        return full
    return first


def _rounds(learns_distortion: bool, wide_start: bool) -> tuple[tuple[float, float], ...]:
    if learns_distortion:
        return _ROUNDS_OF_A_LENS
    return _ROUNDS[1:] if wide_start else _ROUNDS


def _wanted(detections: Detections) -> int:
    """How many catalogue stars the frame is expected to hold at most."""
    return 3 * detections.x_px.size + 20


def middle_of(values: FloatArray) -> float:
    """The median of one or more values; numpy's own takes ten times as long on short arrays."""
    ordered = np.sort(values)
    return float(0.5 * (ordered[(values.size - 1) // 2] + ordered[values.size // 2]))


def _terms_used(camera: Camera) -> int:
    return 2 if camera.k2 else 1 if camera.k1 else 0


def _most_moved_px(camera: Camera, focal_px: float, turn: FloatArray) -> float:
    """Bound on how far a small `turn` (3, 3) in camera axes, and a focal length that was `focal_px`, move a star."""
    tilt_rad = math.hypot(float(turn[0, 2]), float(turn[1, 2]))
    corner_px = 0.5 * math.hypot(camera.width_px, camera.height_px)
    spread = abs(float(turn[0, 1])) + abs(camera.focal_px / focal_px - 1.0)
    return tilt_rad * (focal_px + corner_px**2 / focal_px) + spread * corner_px


def _settled(attempt: _Attempt, prior: Prior) -> Placement | None:
    """Tight gates over the whole frame until the matches stay the same; then the choice of distortion terms."""
    middle, everywhere = np.zeros(2), 1e9
    for _ in range(_STEADY_ROUNDS):
        before, rotation, focal = attempt.matches.detected, attempt.camera_to_sky, attempt.camera.focal_px
        if not attempt.match_and_fit(middle, everywhere, 0.0, 0.75):
            return None
        attempt.choose_terms()
        moved = _most_moved_px(attempt.camera, focal, rotation.T @ attempt.camera_to_sky)
        still = moved < _STEADY_SHARE * attempt.usual_sigma and not attempt.learns_distortion
        if still or np.array_equal(before, attempt.matches.detected):
            break
    assert attempt.fit is not None
    i, j = attempt.matches.detected, attempt.matches.star
    return Placement(
        attempt.fit,
        i,
        attempt.stars.index[j],
        attempt.stars.icrs[j],
        attempt.log_odds(prior),
        attempt.sigma[i],
        attempt.stretch,
    )


class _Attempt:
    """One pose on its way: what it matches and how well it fits so far."""

    def __init__(self, setting: Setting, camera: Camera, camera_to_sky: FloatArray) -> None:
        self.setting = setting
        self.camera = camera
        self.camera_to_sky = camera_to_sky
        self._all_stars = FieldStars.around(
            setting.catalogue, setting.epoch_year, camera, camera_to_sky, _wanted(setting.detections)
        )
        self._consider(setting.detections.brightest(setting.weighed))
        self.matches = Matches(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))
        self._expected = np.empty(0, dtype=np.int64)  # how many stars as bright as each or brighter are in the frame
        self.fit: PlateFit | None = None
        self.stretch = 1.0
        self.terms = _terms_used(camera)
        wide = np.hypot(camera.width_px, camera.height_px) / camera.focal_px > _WIDE_FIELD_RAD
        self.learns_distortion = bool(wide) and not setting.known.distortion

    def _consider(self, detections: Detections) -> None:
        self.detections = detections
        self.sigma = effective_sigma(detections.sigma_px, self.camera.scale_arcsec_px)
        self.usual_sigma = middle_of(self.sigma)
        # so many stars, not such a share of those there are: a narrow field has fewer than it might hold
        self.stars = self._all_stars.brightest(self.camera, _wanted(detections))

    def takes_part(self) -> bool:
        """Are there detections that do not count yet?"""
        return self.detections.x_px.size < self.setting.detections.x_px.size

    def is_convincing(self) -> bool:
        """Do so many match that the odds need not be asked before the final fit?"""
        return len(self.matches) >= _CONVINCING_STARS and 2 * len(self.matches) >= self.detections.x_px.size

    def take_all(self) -> None:
        """From now on all detections count."""
        if self.takes_part():
            self._consider(self.setting.detections)

    def match_and_fit(self, middle_px: FloatArray, reach_px: float, slope: float, least_gate_px: float) -> bool:
        """One round. False when too few stars fit."""
        gate = max(least_gate_px, _CLIP_SIGMAS * self.stretch * self.usual_sigma)
        d = self.detections
        pixels = self.stars.pixels(self.camera, self.camera_to_sky)
        self._expected = (~np.isnan(pixels[0])).cumsum()
        matches = self.stars.matched(pixels, d.x_px, d.y_px, middle_px, reach_px, gate, slope)
        for last in (False, False, True):
            if len(matches) < FEWEST_MATCHED:
                return False
            self.terms = max(self.terms, int(self._terms_supported(len(matches)) > 0))
            fit = self._fitted(matches, self.terms, *((2, _ROUGH_PX) if slope else (4, _EXACT_PX)))
            z = np.hypot(fit.residual_px[:, 0], fit.residual_px[:, 1]) / self.sigma[matches.detected]
            spread = max(1.0, middle_of(z) / 1.1774)  # median of a Rayleigh distribution
            # sigmas that promise too much, or one false match that bends the fit: then clip harder
            good = z < spread * (_CLIP_SIGMAS if spread < _SUSPICIOUS_SPREAD else _HARDER_CLIP_SIGMAS)
            if last or good.mean() >= (_MOSTLY if slope else 1.0):
                break
            matches = matches.take(good)
        self._accept(matches, fit)
        return True

    def choose_terms(self) -> None:
        """Fit with as many distortion terms as the residuals justify."""
        supported = self._terms_supported(len(self.matches))
        if supported == 0:
            return  # nothing to choose
        fits = [self._fitted(self.matches, terms, 6, _EXACT_PX) for terms in range(supported + 1)]
        best = 0
        for terms, richer in enumerate(fits):
            noise = max(1.0, richer.chi2 / max(richer.dof, 1))
            if terms and fits[best].chi2 - richer.chi2 > _WORTHWHILE_DROP * noise:
                best = terms
        self.terms = best
        self._accept(self.matches, fits[best])

    def log_odds(self, prior: Prior) -> float:
        """Log likelihood ratio, averaged over depths of catalogue and list, times the share of the prior."""
        assert self.fit is not None
        order = self.matches.detected.argsort()
        place = self.matches.detected[order]
        expected = self._expected[self.matches.star][order]
        deepest = np.sort(expected)[np.ceil(order.size * _DEPTHS).astype(np.int64) - 1]
        residual = np.hypot(self.fit.residual_px[:, 0], self.fit.residual_px[:, 1])[order]
        distance = np.where(expected <= deepest[:, None], residual, np.inf)
        area = float(self.camera.width_px * self.camera.height_px)
        sigma = self.sigma[place] * self.stretch
        ratios = log_likelihood_ratio(distance, sigma, deepest, area, place, self.sigma.size)
        share = log_share_of_prior(prior, self.fit.covariance[:4, :4] * self.stretch**2)
        return float(log_mean_exp(ratios) + share)

    def _accept(self, matches: Matches, fit: PlateFit) -> None:
        self.matches, self.fit = matches, fit
        self.camera, self.camera_to_sky = fit.camera, fit.camera_to_sky
        self.stretch = float(np.sqrt(max(1.0, fit.chi2 / max(fit.dof, 1))))

    def _terms_supported(self, stars: int) -> int:
        if not self.learns_distortion:
            return 0
        return sum(stars >= needed for needed in _STARS_FOR_TERMS)

    def _fitted(self, matches: Matches, terms: int, rounds: int, left_out_px: float) -> PlateFit:
        d, known = self.detections, self.setting.known
        i, j = matches.detected, matches.star
        camera = self.camera
        if known.distortion:
            terms = 0
        elif _terms_used(camera) > terms:
            camera = replace(camera, k1=camera.k1 if terms > 0 else 0.0, k2=0.0)
        plan = FitPlan(terms, known.focal_px, known.scale_sigma, rounds, left_out_px)
        return fit_plate(
            camera, self.camera_to_sky, d.x_px[i], d.y_px[i], self.sigma[i], self.stars.icrs.take(j, axis=0), plan
        )
