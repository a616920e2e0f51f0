"""A frame placed by the stars that it shares with one placed before it.

Decided 2026-11-29. The catalogue ends, the sky does not. A long telescope shows a hundred stars of which the
catalogue knows five: one frame of a field is solved, and of the next one a cloud takes two of the five. What a
placed frame shows is a catalogue of its own field: the next frame is matched against that, under the same verdict
(core/matching/evidence.py), and inherits the error of its neighbour besides its own. A frame that the catalogue
placed is asked first, the latest one after it, so that errors add up only where the field has moved on.
What shows at the same pixel in both frames has no vote unless the catalogue, or a move of the sky, has proved it a
star: hot pixels would place every frame where the last one was. Matching pixels instead of stars was rejected for
the same reason; a deeper catalogue would be tens of megabytes larger.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polewright.core.camera import moved_alike_rad2, pixel_to_vector
from polewright.core.matching.collinear import standing_for_themselves
from polewright.core.matching.evidence import (
    ACCEPTED_LOG_ODDS,
    Prior,
    log_likelihood_ratio,
    log_share_of_prior,
)
from polewright.core.matching.field_stars import FieldStars, Matches
from polewright.core.matching.growth import Detections, effective_sigma, middle_of
from polewright.core.matching.hint import CAMERA_SCALE_TOLERANCE, KNOWN_SCALE_SIGMA
from polewright.core.matching.image_stars import ImageStars, image_stars
from polewright.core.matching.plate_fit import FitPlan, PlateFit, fit_plate
from polewright.core.matching.regions import Cap
from polewright.core.matching.triangles import image_triangles, triangle_poses
from polewright.core.model import Attitude, Camera, FloatArray, IntArray, MatchedStars, PlateSolution, StarList

PATH = "neighbour"
FEWEST_SHARED = 5  # stars in common; two give the pose, and three that fit besides are no accident among few (chosen)
OWN_SHARE = 0.5  # of the stars in common that must stand for themselves (chosen: 0.31 in the false match of the test)
_MOST_STARS = 100  # the brightest of either frame that are compared
_SAME_PLACE_PX = 1.0  # wider than a hot pixel's place is uncertain, as it is measured like a star
_DEPTHS = ((12, 30), (18, 45))  # brightest stars here and there whose threes are compared: 3 and 10 ms (measured)
_JUDGED = 6  # candidates of a depth that are fitted, as in core/matching/verdict.py
_GATES_PX = (4.0, 2.5)  # of the first matches; then so many sigmas of what is left over
_CLIP_SIGMAS = 4.5
_HALF_BELIEF = 2.0  # that the frame overlaps its neighbour at all is as likely as not
UNKNOWN_STAR = -1  # in place of a catalogue index


@dataclass(frozen=True, eq=False)
class Neighbour:
    """Stars of a placed frame, brightest first: `x_px`, `y_px`, `sigma_px` (N,), `icrs` (N, 3) by its solution.

    `proved` (N,): matched by the frame's own solution, and so on the sky and not on the sensor.
    """

    solution: PlateSolution
    x_px: FloatArray
    y_px: FloatArray
    sigma_px: FloatArray
    icrs: FloatArray
    proved: NDArray[np.bool_]

    @property
    def camera(self) -> Camera:
        """That of the frame."""
        return self.solution.camera

    def take(self, which: IntArray) -> Neighbour:
        """Some of its stars."""
        return Neighbour(
            self.solution,
            self.x_px[which],
            self.y_px[which],
            self.sigma_px[which],
            self.icrs[which],
            self.proved[which],
        )


@dataclass(frozen=True, eq=False)
class _Shared:
    """Stars in common, rows of the frame and of its neighbour, and the fit that they give."""

    pairs: Matches
    fit: PlateFit
    sigma_px: FloatArray
    stretch: float


@dataclass(frozen=True, eq=False)
class Neighbours:
    """The frames that may lend their stars: the last that the catalogue placed, and the last of all."""

    anchor: tuple[StarList, PlateSolution] | None = None
    latest: tuple[StarList, PlateSolution] | None = None

    def with_frame(self, stars: StarList, solution: PlateSolution) -> Neighbours:
        """After one more placed frame."""
        frame = (stars, solution)
        return replace(self, latest=frame) if solution.path == PATH else Neighbours(frame, frame)

    def place(self, stars: StarList) -> PlateSolution | None:
        """Where the frame points by the stars it shares with one of them; None when that is not beyond doubt."""
        for frame in dict.fromkeys(filter(None, (self.anchor, self.latest))):
            placed = placed_by(neighbour_of(*frame), stars)
            if placed is not None:
                return placed
        return None


def neighbour_of(stars: StarList, solution: PlateSolution) -> Neighbour:
    """The stars of a placed frame as a catalogue of its field."""
    x, y = stars.x_px[:_MOST_STARS], stars.y_px[:_MOST_STARS]
    icrs = pixel_to_vector(solution.camera, x, y) @ solution.attitude_icrs.camera_to_sky.T
    sigma = stars.sigma_px[:_MOST_STARS]
    return Neighbour(solution, x, y, sigma, icrs, np.isin(x, solution.matched.x_px))


def placed_by(neighbour: Neighbour, stars: StarList) -> PlateSolution | None:
    """The frame placed by the stars it shares with its neighbour, taken with the same camera; else None."""
    camera = neighbour.camera
    if (camera.width_px, camera.height_px) != (stars.width_px, stars.height_px):
        return None
    there, here = _with_a_vote(neighbour, stars)
    if here.x_px.size < FEWEST_SHARED or there.x_px.size < FEWEST_SHARED:
        return None
    image = image_stars(camera, here, CAMERA_SCALE_TOLERANCE, None, True)
    for own, others in _DEPTHS:
        poses, _ = triangle_poses(image, *image_triangles(image, own), there.icrs[:others])
        for rotation in poses.camera_to_sky[:_JUDGED]:
            shared = _grown(there, here, rotation)
            if shared is not None and _of_trails(here, shared):
                continue
            log_odds = _log_odds(there, image, shared) if shared is not None else -np.inf
            if shared is not None and log_odds > ACCEPTED_LOG_ODDS:
                return _solution(there, here, stars, shared, log_odds)
    return None


def _with_a_vote(neighbour: Neighbour, stars: StarList) -> tuple[Neighbour, Detections]:
    """Without what shows at the same pixel in both and is not proved a star."""
    here = Detections(stars.x_px, stars.y_px, stars.sigma_px).brightest(_MOST_STARS)
    gap = np.hypot(np.subtract.outer(neighbour.x_px, here.x_px), np.subtract.outer(neighbour.y_px, here.y_px))
    stays = (gap < _SAME_PLACE_PX) & ~neighbour.proved[:, None]
    free, free_there = ~stays.any(axis=0), np.flatnonzero(~stays.any(axis=1))
    return neighbour.take(free_there), Detections(here.x_px[free], here.y_px[free], here.sigma_px[free])


def _grown(there: Neighbour, here: Detections, rotation: FloatArray) -> _Shared | None:
    """Match over the whole frame and fit, ever tighter; None when too few stars are shared."""
    field = FieldStars(np.arange(len(there.icrs)), there.icrs)
    own, lent = (effective_sigma(s, there.camera.scale_arcsec_px) for s in (here.sigma_px, there.sigma_px))
    plan = FitPlan(0, there.camera.focal_px, KNOWN_SCALE_SIGMA)
    camera, shared, gate = there.camera, None, _GATES_PX[0]
    for least in (*_GATES_PX, 0.0, 0.0):
        pixels = field.pixels(camera, rotation)
        pairs = field.matched(pixels, here.x_px, here.y_px, np.zeros(2), 1e9, max(gate, least), 0.0)
        if len(pairs) < FEWEST_SHARED:
            return None
        i, j = pairs.detected, pairs.star
        sigma = np.hypot(own[i], lent[j])
        fit = fit_plate(camera, rotation, here.x_px[i], here.y_px[i], sigma, there.icrs[j], plan)
        camera, rotation = fit.camera, fit.camera_to_sky
        stretch = float(np.sqrt(max(1.0, fit.chi2 / max(fit.dof, 1))))
        shared = _Shared(pairs, fit, sigma, stretch)
        gate = _CLIP_SIGMAS * stretch * middle_of(sigma)
    return shared


def _of_trails(here: Detections, shared: _Shared) -> bool:
    """Whether most of what is shared are pieces of trails, which have no votes of their own."""
    rows = shared.pairs.detected
    votes = standing_for_themselves(here.x_px[rows], here.y_px[rows], shared.sigma_px * shared.stretch)
    return votes < max(FEWEST_SHARED, OWN_SHARE * len(rows))


def _log_odds(there: Neighbour, image: ImageStars, shared: _Shared) -> float:
    """Against chance, over every place from which the frame could overlap its neighbour."""
    fit, order = shared.fit, shared.pairs.detected.argsort()
    x, _ = FieldStars(shared.pairs.star, there.icrs).pixels(fit.camera, fit.camera_to_sky)
    expected = np.array([np.count_nonzero(~np.isnan(x))])
    residual = np.hypot(fit.residual_px[:, 0], fit.residual_px[:, 1])[order]
    ratio = log_likelihood_ratio(
        residual[None, :],
        shared.sigma_px[order] * shared.stretch,
        expected,
        float(fit.camera.width_px * fit.camera.height_px),
        shared.pairs.detected[order],
        image.detections.x_px.size,
    )
    about = Cap(there.solution.attitude_icrs.camera_to_sky[:, 2], 2.0 * image.half_diagonal_rad)
    prior = Prior(about.solid_angle_sr * _HALF_BELIEF, CAMERA_SCALE_TOLERANCE, 1)
    return float(ratio[0]) + log_share_of_prior(prior, fit.covariance[:4, :4] * shared.stretch**2)


def _inherited_rad2(there: Neighbour, camera_to_sky: FloatArray) -> FloatArray:
    """Error of the neighbour's attitude, in the axes of this camera, and of its scale over the way between them."""
    turn = camera_to_sky.T @ there.solution.attitude_icrs.camera_to_sky
    matched = there.solution.matched
    from_middle = np.hypot(
        matched.x_px - 0.5 * (there.camera.width_px - 1), matched.y_px - 0.5 * (there.camera.height_px - 1)
    )
    known = float(np.sum(np.square(from_middle / matched.sigma_px))) + KNOWN_SCALE_SIGMA**-2
    away = turn[:, 2]
    shift = np.array([-away[1], away[0], 0.0])
    return np.asarray(turn @ there.solution.attitude_icrs.covariance_rad2 @ turn.T + np.outer(shift, shift) / known)


def _solution(there: Neighbour, here: Detections, stars: StarList, shared: _Shared, log_odds: float) -> PlateSolution:
    fit, i, j = shared.fit, shared.pairs.detected, shared.pairs.star
    residual_arcsec = fit.residual_px * fit.camera.scale_arcsec_px
    inherited = _inherited_rad2(there, fit.camera_to_sky)
    covariance = fit.covariance[:3, :3] * shared.stretch**2 + moved_alike_rad2(fit.camera, stars.shared_error)
    return PlateSolution(
        attitude_icrs=Attitude(fit.camera_to_sky, covariance + inherited),
        camera=fit.camera,
        matched=MatchedStars(
            x_px=here.x_px[i],
            y_px=here.y_px[i],
            sigma_px=shared.sigma_px * shared.stretch,
            icrs=there.icrs[j],
            catalogue_index=np.full(len(i), UNKNOWN_STAR),
            magnitude=np.zeros(len(i)),
            residual_arcsec=residual_arcsec,
        ),
        stars_detected=len(stars),
        rms_arcsec=float(np.sqrt(np.mean(np.square(residual_arcsec)))),
        log_odds=log_odds,
        path=PATH,
        shared_error=stars.shared_error,
        inherited_rad2=inherited,
        anchor=there.solution.anchor or there.solution.centre,
    )
