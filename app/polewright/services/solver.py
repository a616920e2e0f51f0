"""Places a star list on the sky: candidates from patterns, then one fit and one verdict for all of them.

Decided 2026-11-25. A search that fails must be cheap. Half the frames of a night at the screws are smeared. Effort
is counted in work, not in seconds: quads of a stage, candidates of a question, patches of sky about a hint; no quad
is asked twice, and a candidate below a least score is not fitted. A list without a solution costs 0.1 s in the
median, one tried at every scale half a second. Of 534 pictures that are no sky 95 % were refused within 1.5 s, all
within 2.6 s, second looks included, and none was solved (tests/bench/no_sky.py, one run: 60 textures, six pieces of
each of 79 pictures). A time limit was rejected: the same frame would be solved on one machine and not on another.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.camera import moved_alike_rad2
from polewright.core.matching.evidence import ACCEPTED_LOG_ODDS
from polewright.core.matching.growth import Detections, Placement, middle_of
from polewright.core.matching.hint import CAMERA_SCALE_TOLERANCE, SolveHint
from polewright.core.matching.image_stars import ImageStars, image_stars
from polewright.core.matching.layers import LAYERS_PER_SQ_DEG, layers_by_fit
from polewright.core.matching.leading_reason import leading_reason
from polewright.core.matching.quad_search import ALL_EFFORT, Effort, Question, quad_poses, quads_asked
from polewright.core.matching.regions import Cap, Ring, cap_about
from polewright.core.matching.triangles import image_triangles, triangle_poses
from polewright.core.matching.verdict import Candidates, Judge, promising, regions_of
from polewright.core.matching.work import FieldsTried, PatchesSearched
from polewright.core.model import (
    Attitude,
    Camera,
    FloatArray,
    IntArray,
    MatchedStars,
    PlateSolution,
    StarList,
)
from polewright.core.sky.catalogue import Catalogue
from polewright.core.star_trouble import Trailed
from polewright.core.unsolved import (
    NoMatch,
    NoMatchAnywhere,
    ScaleUnknown,
    ThinCatalogue,
    TooWide,
    Unmatched,
    Unsolved,
)
from polewright.services.sky_index import Progress, SkyIndex
from polewright.words import files

FEWEST_STARS = 4  # a pattern of four is the smallest that is looked up
MOST_STARS = 200  # the brightest; more add time, not certainty
FEWEST_FOR_OTHER_SCALES = 8  # below this, chance agreement at some scale is too likely to be worth the time
FEWEST_KNOWN = 5  # catalogue stars in a field; with fewer a match is luck even where the pointing is known
_HARDLY_ANY = 0.05  # catalogue stars a field on average: the densest field then has eight (measured, whole catalogue)
# tried when the scale is unknown: the catalogue thins out below, lenses bend beyond
NARROWEST_FIELD_DEG, WIDEST_FIELD_DEG = 0.4, 90.0
STRAIGHT_FIELD_DEG = 60.0  # wider lenses are tried, but few of them draw straight enough
SCALE_STEP = 1.35  # between the scales tried when it is unknown; each is searched 18 % either way
_STAGES = (
    (0.8, 3, 4),
    (1.1, 4, 6),
    (1.5, 12, 8),
    (2.0, 25, 12),
)  # brightest stars: factor x expected + extra; neighbours
_QUICK_STAGES = 2  # enough for most frames
_MOST_QUAD_STARS = 60  # whose patterns are asked for; more are fainter than the index
_LAYER_STARS = (4.5, 90.0)  # a layer serves when so many of its stars are expected in the frame
# stars of a layer in the frame: by one layer alone 5 of 25 fields were found with 4.7 of them, 16 with 6, 22 to 25
# with 9 and more (measured, 0.8 to 2.4 degrees wide); the next denser layer takes twice as long to make
_FINDS_ALONE = 6.0
_Depths = tuple[tuple[int, int, int], ...]
# catalogue stars per field, brightest detections, and how many patches of sky are worth that: 4 and 20 ms each
_LOCAL_DEPTHS: _Depths = ((10, 12, 400), (22, 14, 20))
_MOST_RING_PATCHES = 400  # a ring of narrow fields has thousands: an hour of clear sky would go by
_ABOUT_DEG = 0.5  # about a hinted place, over which catalogue stars are counted
_MANY, _BRIGHTEST = 80, 40  # of more detections than that, the brightest are tried alone when all find nothing
_SHORT_LIST = 24  # the same at every scale, where the time is short
_JUDGED_AT_A_SCALE = 3  # the best candidates of each question; two lost one field of 192 (measured)
# candidates fitted over all scales, from which on the best alone of each question is: random stars have 32 to 97 of
# them, one small picture had 284 (measured); of 154 fields found 152 were so by the best
_MOST_FITTED = 60
# small, as many scales are tried; a true list has some hundred alike. Of 196 fields as many were found by 1500 quads
# as by 6000, one less by 800; of so many compared 50 lost six (measured)
_AT_A_SCALE = Effort(asked=1500, compared=150, alike=500)
_MOST_PATCHES_OF_MANY = 40  # of sky, for lists of many stars, which the index would have found (bound of time)
_THIN = 20.0  # catalogue stars in a frame, below which the index may miss a field that has many detections
_PATCH_STARS, _SPARSE_FIELD = 300.0, 4.0  # catalogue stars in a patch, where a field has no more than four of them
# of the 26 frames of a camera that stood still, solved with trails of 30 to 300 px, whose error and scatter came to
# 0.8 px, two were off by 9: they matched 49 and 54 % of their trails, which scattered by 7.0 and 3.2 px (measured)
_SHARE_OF_TRAILS, _BENT_PX = 0.6, 2.5
_FEW_STARS = 25  # more than this and the index would have found the field


class Solver:
    """Star lists in, plate solutions out; keeps the index layers in memory between frames."""

    def __init__(self, catalogue: Catalogue, cache_dir: Path, search_other_scales: bool = True) -> None:
        """`search_other_scales`: when a stated scale finds nothing, look whether another one does."""
        self._catalogue = catalogue
        self._search_other_scales = search_other_scales
        self._index = SkyIndex(catalogue, cache_dir)

    def solve(
        self, stars: StarList, epoch_year: float, hint: SolveHint, progress: Progress | None = None
    ) -> PlateSolution | Unsolved:
        """Where the frame points, or why that cannot be told and what to do."""
        found = self._solved(stars, epoch_year, hint, progress)
        return _unsolved(stars, None) if isinstance(found, PlateSolution) and _bends(stars, found) else found

    def _solved(
        self, stars: StarList, epoch_year: float, hint: SolveHint, progress: Progress | None
    ) -> PlateSolution | Unsolved:
        if len(stars) < FEWEST_STARS:
            return _unsolved(stars, None)
        detections = _brightest(stars)
        judge = Judge(self._catalogue, epoch_year, regions_of(hint))
        placement = self._at_stated_scale(stars, detections, hint, judge, progress)
        if placement is not None:
            return _solution(stars, detections, self._catalogue, *placement)
        if self._may_try_scales(stars, hint):
            placement = self._search_scales(stars, detections, hint, judge, progress)
            if placement is not None:
                solution = _solution(stars, detections, self._catalogue, *placement)
                return _with_scale_warning(solution, hint)
        why = self._special(stars, hint) or _unmatched(stars, hint, self._may_try_scales(stars, hint))
        return _unsolved(stars, why)

    def _special(self, stars: StarList, hint: SolveHint) -> Unmatched | None:
        """What a stated scale says of the field: too few catalogue stars in it, or too wide to be drawn straight."""
        assumed = _assumed_camera(stars, hint)
        if assumed is None:
            return None
        camera, _ = assumed
        width_deg = 2.0 * float(np.degrees(np.arctan(camera.width_px / 2.0 / camera.focal_px)))
        if width_deg > STRAIGHT_FIELD_DEG:
            return TooWide(len(stars), width_deg, STRAIGHT_FIELD_DEG)
        known = self._known_stars(camera, hint)
        return ThinCatalogue(len(stars), width_deg, known, FEWEST_KNOWN) if known < FEWEST_KNOWN else None

    def _known_stars(self, camera: Camera, hint: SolveHint) -> int:
        """Stars of the catalogue in a field of this size, on average: about the hinted place, else over the sky."""
        if hint.near is None:
            return int(_mean_stars(camera))
        about = cap_about(hint.near, _ABOUT_DEG)
        there = self._catalogue.around(about.centre, about.radius_rad).size
        return round(there * camera.field_sr / about.solid_angle_sr)

    def _at_stated_scale(
        self, stars: StarList, detections: Detections, hint: SolveHint, judge: Judge, progress: Progress | None
    ) -> tuple[Placement, str] | None:
        """All stars first; where they are many, then the brightest alone, which fainter strays drown."""
        assumed = _assumed_camera(stars, hint)
        if assumed is None or _mean_stars(assumed[0]) < _HARDLY_ANY:
            return None
        camera, tolerance = assumed
        again = detections.x_px.size > _MANY and hint.thorough
        for depth in (None, _BRIGHTEST)[: 1 + again]:
            image = image_stars(camera, detections, tolerance, hint.mirrored, hint.camera is not None, depth)
            placement = self._search(image, judge, progress, hint.thorough)
            if placement is not None:
                return placement
        return None

    def _may_try_scales(self, stars: StarList, hint: SolveHint) -> bool:
        others = self._search_other_scales and hint.thorough
        wanted = hint.camera is None and (hint.scale_arcsec_px is None or others)
        return wanted and len(stars) >= FEWEST_FOR_OTHER_SCALES

    def _search(
        self, image: ImageStars, judge: Judge, progress: Progress | None, thorough: bool
    ) -> tuple[Placement, str] | None:
        """All ways of finding the field at one scale, the quickest first; or the quick ones alone."""
        for path, candidates in self._candidates(image, judge, progress, thorough):
            placement = judge.best(image, candidates)
            if placement is not None and placement.log_odds > ACCEPTED_LOG_ODDS:
                return placement, path
        return None

    def _candidates(
        self, image: ImageStars, judge: Judge, progress: Progress | None, thorough: bool
    ) -> Iterator[tuple[str, Candidates]]:
        reach = 0.8 * image.half_diagonal_rad
        few = len(image.pixels) <= _FEW_STARS
        at_once = not few and all(self._index.is_ready(n) for n in self._layers(image))
        if at_once:  # the index knows a rich field wherever it is; but to wait for it to be built, try the hint first
            for candidates in self._whole_sky(image, progress, _STAGES[:_QUICK_STAGES]):
                yield "whole sky", candidates
        for region in judge.regions:
            if isinstance(region, Cap):
                for candidates in self._near(image, region.patches(reach)[:1], reach):
                    yield "hint", candidates
        if thorough or not at_once:
            first, last = _QUICK_STAGES if at_once else 0, len(_STAGES) if thorough else _QUICK_STAGES
            for candidates in self._whole_sky(image, progress, _STAGES[first:last], build=thorough):
                yield "whole sky", candidates
        if thorough and (few or _mean_stars(image.camera) < _THIN):
            yield from self._elsewhere_hinted(image, judge, few, progress)

    def _elsewhere_hinted(
        self, image: ImageStars, judge: Judge, few: bool, progress: Progress | None
    ) -> Iterator[tuple[str, Candidates]]:
        """Patch by patch over what the hints allow beyond the first patch: slow, for few stars or narrow fields."""
        for region in judge.regions:
            ring = isinstance(region, Ring)
            if ring and not few:
                continue
            for per_field, brightest, most in _LOCAL_DEPTHS[:1] if ring else _LOCAL_DEPTHS:
                reach = _patch_reach_rad(image, per_field)
                patches = region.patches(reach)
                if ring and len(patches) > _MOST_RING_PATCHES:
                    continue
                most = _MOST_RING_PATCHES if ring else most if few else _MOST_PATCHES_OF_MANY
                for candidates in self._near(image, patches, reach, ((per_field, brightest, most),), progress):
                    yield "declination ring" if ring else "hint", candidates

    def _near(
        self,
        image: ImageStars,
        patches: FloatArray,
        reach_rad: float,
        depths: _Depths = _LOCAL_DEPTHS,
        progress: Progress | None = None,
    ) -> Iterator[Candidates]:
        """Candidates from threes of stars, patch by patch."""
        radius = reach_rad + image.half_diagonal_rad
        fields = np.pi * radius**2 / image.field_sr
        for per_field, brightest, most in depths:
            seen, tolerance = image_triangles(image, brightest)
            for k, patch in enumerate(patches[:most]):
                if progress is not None and k % 20 == 19:
                    progress(PatchesSearched(), k / len(patches))
                index = self._catalogue.around(patch, radius, int(per_field * fields))
                yield triangle_poses(image, seen, tolerance, self._catalogue.position[index])

    def _whole_sky(
        self,
        image: ImageStars,
        progress: Progress | None,
        stages: tuple[tuple[float, int, int], ...] = _STAGES,
        build: bool = True,
        effort: Effort = ALL_EFFORT,
    ) -> Iterator[Candidates]:
        """Candidates from the pattern index, the likely ones first; without `build` from the layers there are."""
        layers = self._layers(image)
        asked: dict[int, list[IntArray]] = {n: [] for n in layers}
        for together in self._in_turn(layers, build):
            for stage in stages:
                for n in together:
                    layer = self._index.layer(n, progress)
                    quads = quads_asked(
                        image, _question(stage, layers[n], image, effort.asked // len(layers)), asked[n]
                    )
                    asked[n].append(quads)
                    release = partial(self._index.release, n)
                    yield quad_poses(image, layer, self._catalogue.position, quads, release, effort)

    def _in_turn(self, layers: dict[int, float], build: bool) -> list[list[int]]:
        """The layers that are asked stage by stage together: those there are; then, with `build`, each of the missing
        by itself, the soonest made first of those that have stars enough to find the field alone."""
        ready = [n for n in layers if self._index.is_ready(n)]
        missing = sorted(set(layers) - set(ready), key=lambda n: (layers[n] < _FINDS_ALONE, layers[n]))
        return [ready, *([n] for n in missing if build)]

    @staticmethod
    def _layers(image: ImageStars) -> dict[int, float]:
        """The layers that suit the field, the best first, with the number of their stars expected in the frame."""
        fewest, most = _LAYER_STARS
        expected = layers_by_fit(image.field_sr * np.degrees(1.0) ** 2)
        return {n: stars for n, stars in expected.items() if fewest <= stars <= most}

    def _search_scales(
        self, stars: StarList, detections: Detections, hint: SolveHint, judge: Judge, progress: Progress | None
    ) -> tuple[Placement, str] | None:
        """The whole sky at every scale, from common fields outward; the odds know how much was searched.

        All stars, or the brightest alone where the time is short.
        """
        everything = judge.for_scales(0.5 * float(np.log(max(_half_tangents()) / min(_half_tangents()))))
        depth, fitted = None if hint.thorough else _SHORT_LIST, 0
        for image in self._images_of_scales(stars, detections, hint, depth, progress):
            for candidates in self._whole_sky(image, progress, _STAGES[1:3], effort=_AT_A_SCALE):
                judged = _JUDGED_AT_A_SCALE if fitted < _MOST_FITTED else 1
                placement = everything.best(image, candidates, judged)
                fitted += promising(image, candidates, judged)
                if placement is not None and placement.log_odds > ACCEPTED_LOG_ODDS:
                    return placement, "any scale"
        return None

    @staticmethod
    def _images_of_scales(
        stars: StarList, detections: Detections, hint: SolveHint, depth: int | None, progress: Progress | None
    ) -> Iterator[ImageStars]:
        tangents = _half_tangents()
        tangents = tangents[tangents >= np.tan(np.radians(hint.narrowest_field_deg) / 2.0)]
        for k, tangent in enumerate(tangents):
            if progress is not None:
                width_deg = float(2.0 * np.degrees(np.arctan(tangent)))
                progress(FieldsTried(width_deg), k / len(tangents))
            camera = Camera(stars.width_px, stars.height_px, float(stars.width_px / 2.0 / tangent))
            yield image_stars(camera, detections, SCALE_STEP**0.55 - 1.0, hint.mirrored, False, depth)


def _mean_stars(camera: Camera) -> float:
    """How many stars of the catalogue a frame holds on average over the sky."""
    return float(LAYERS_PER_SQ_DEG[0] * camera.field_sr * np.degrees(1.0) ** 2)


def _patch_reach_rad(image: ImageStars, per_field: int) -> float:
    """Radius of the patches that are searched at once: larger where the catalogue has few stars to a field."""
    there = min(per_field, _mean_stars(image.camera))
    fields = _PATCH_STARS / there * min(1.0, _SPARSE_FIELD / there)
    radius = float(np.sqrt(fields * image.field_sr / np.pi))
    return max(0.8 * image.half_diagonal_rad, radius - image.half_diagonal_rad)


def _question(stage: tuple[float, int, int], expected: float, image: ImageStars, most: int) -> Question:
    factor, extra, neighbours = stage
    stars = min(int(factor * expected) + extra, _MOST_QUAD_STARS, len(image.pixels))
    return Question(stars, neighbours, most)


def _half_tangents() -> FloatArray:
    """Tangents of half the field widths tried when the scale is unknown: three degrees first, wide ones, of small
    layers, sooner."""
    least, most = (float(np.tan(np.radians(width) / 2.0)) for width in (NARROWEST_FIELD_DEG, WIDEST_FIELD_DEG))
    tangents = least * SCALE_STEP ** np.arange(np.ceil(np.log(most / least) / np.log(SCALE_STEP)) + 1)
    away = np.log(tangents / np.tan(np.radians(1.5)))
    return np.asarray(tangents[np.argsort(np.where(away > 0.0, away, -2.0 * away), kind="stable")])


def _brightest(stars: StarList) -> Detections:
    return Detections(stars.x_px[:MOST_STARS], stars.y_px[:MOST_STARS], stars.sigma_px[:MOST_STARS])


def _assumed_camera(stars: StarList, hint: SolveHint) -> tuple[Camera, float] | None:
    """The camera to start from and how far its scale may be off; None when nothing is known."""
    if hint.camera is not None:
        return hint.camera, CAMERA_SCALE_TOLERANCE
    if hint.scale_arcsec_px is None:
        return None
    return Camera(stars.width_px, stars.height_px, ARCSEC_PER_RAD / hint.scale_arcsec_px), hint.scale_tolerance


def _unsolved(stars: StarList, unmatched: Unmatched | None) -> Unsolved:
    return Unsolved(leading_reason(stars, unmatched), len(stars))


def _unmatched(stars: StarList, hint: SolveHint, all_scales_tried: bool) -> Unmatched:
    """Stars, but no place on the sky for them."""
    n = len(stars)
    if hint.camera is not None:
        return NoMatch(n, hint.camera.scale_arcsec_px, learned=True)
    if hint.scale_arcsec_px is not None:
        return NoMatch(n, hint.scale_arcsec_px, others_too=all_scales_tried)
    if all_scales_tried:
        return NoMatchAnywhere(n, NARROWEST_FIELD_DEG, WIDEST_FIELD_DEG)
    return ScaleUnknown(n, FEWEST_FOR_OTHER_SCALES)


def _with_scale_warning(solution: PlateSolution, hint: SolveHint) -> PlateSolution:
    if hint.scale_arcsec_px is None:
        return solution
    warning = files.other_scale(solution.scale_arcsec_px, hint.scale_arcsec_px)
    return replace(solution, warnings=(*solution.warnings, warning))


def _bends(stars: StarList, solution: PlateSolution) -> bool:
    """Are the trails no copies of one path, as they are measured? Then half of them match nothing, and the others
    scatter: not at random, so that no sigma speaks for what centre and roll are off by."""
    few = len(solution.matched) < _SHARE_OF_TRAILS * len(stars)
    return isinstance(stars.trouble, Trailed) and few and middle_of(solution.matched.sigma_px) > _BENT_PX


def _solution(
    stars: StarList, detections: Detections, catalogue: Catalogue, placement: Placement, path: str
) -> PlateSolution:
    fit, i = placement.fit, placement.detected
    sigma = placement.sigma_px * placement.stretch
    residual_arcsec = fit.residual_px * fit.camera.scale_arcsec_px
    covariance = fit.covariance[:3, :3] * placement.stretch**2 + moved_alike_rad2(fit.camera, stars.shared_error)
    return PlateSolution(
        attitude_icrs=Attitude(fit.camera_to_sky, covariance),
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
        shared_error=stars.shared_error,
    )
