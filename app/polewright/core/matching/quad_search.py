"""Candidates from the pattern index: quads of the image that some quad of the sky resembles."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from polewright.core.matching.codes import ORDER, QuadCodes, pair_chords, quad_codes, with_close_calls
from polewright.core.matching.image_stars import ImageStars
from polewright.core.matching.pattern_index import PatternLayer, look_up
from polewright.core.matching.poses import Poses, directions, poses_of
from polewright.core.matching.shortlist import further_matches
from polewright.core.matching.star_quads import neighbour_quads, quad_numbers
from polewright.core.model import FloatArray, IntArray

_SHORTEST_BASELINE_PX = 25.0  # shorter ones are a hundredth of themselves uncertain
_CODE_SIGMAS = 5.0  # of one centroid, in the distance ratios of a code: three of their own
_WIDEST_TOLERANCE = 0.03  # of a code; wider boxes hold more chance than truth (chosen)
_QUADS_A_PART, _FEW_QUADS = 250, 200  # looked up together (bound of memory), and few enough to go at once
_ASKED = 5  # neighbours of the anchor, and of each of these, that a true pose should find


@dataclass(frozen=True)
class Question:
    """Which quads are looked up: of the brightest `stars`, each with threes of its `neighbours` nearest, at most
    `most` of them, those of the brightest stars first."""

    stars: int
    neighbours: int
    most: int


@dataclass(frozen=True)
class Effort:
    """How far one question goes: quads of the image `asked` for, over all layers, each of which costs 4 to 8
    microseconds (measured); quads of the sky `compared` with each, and how many that resemble one are enough. Stars
    that crowd together resemble anything: going on would cost much and tell little."""

    asked: int
    compared: int
    alike: int


# chosen: a list without a solution then costs 0.1 s in the median (services/solver.py)
ALL_EFFORT = Effort(asked=6000, compared=3000, alike=6000)


def quads_asked(image: ImageStars, question: Question, known: Iterable[IntArray] = ()) -> IntArray:
    """Quads (n, 4) of one question, without those of the questions before it, `known`."""
    pixels = image.pixels[: question.stars]
    quads = neighbour_quads(pixels[:, 0], pixels[:, 1], question.neighbours)
    for earlier in known:
        quads = quads[~np.isin(quad_numbers(quads), quad_numbers(earlier), assume_unique=True)]
    return quads[: question.most]


def quad_poses(
    image: ImageStars,
    layer: PatternLayer,
    position: FloatArray,
    quads: IntArray,
    part_done: Callable[[], None] | None = None,
    effort: Effort = ALL_EFFORT,
) -> tuple[Poses, FloatArray]:
    """Poses worth a closer look, best first, with their scores (M,), from quads (n, 4) of the image's stars.

    `position` are the catalogue's. A long look-up goes through the layer from its first cell to its last;
    `part_done` is called now and then, when what was read so far is not needed any more.
    """
    pixels = image.pixels
    codes = quad_codes(pair_chords(directions(pixels, image.camera.focal_px).take(quads, axis=0)))
    baseline_px = codes.baseline * image.camera.focal_px
    long = baseline_px > _SHORTEST_BASELINE_PX
    if not long.all():
        codes = QuadCodes(codes.code[:, long], codes.baseline[long], codes.arrangement[long])
        quads, baseline_px = quads[long], baseline_px[long]
    sigma = np.sqrt(np.square(image.sigma_px[quads]).sum(axis=1) / 4.0)
    widest = min(_WIDEST_TOLERANCE, 1.0 / layer.bins)
    tolerance = np.minimum(_CODE_SIGMAS * sigma / baseline_px + image.slack, widest)
    codes, rows = with_close_calls(codes, tolerance)
    hits, found = _looked_up(layer, codes, tolerance[rows], image.scale_tolerance, part_done, effort)
    named = quads[rows[hits][:, None], ORDER[codes.arrangement[hits]]]
    members = layer.members(found)
    sky = position.take(layer.catalogue_indices(members), axis=0)
    arrangement = quad_codes(pair_chords(sky)).arrangement
    sky = sky[np.arange(len(sky))[:, None], ORDER[arrangement]]
    poses = poses_of(pixels.take(named, axis=0), sky, image.camera.focal_px)
    chosen = image.plausible(poses)
    return _shortlist(image, layer, position, poses.take(chosen), members[chosen])


def _looked_up(
    layer: PatternLayer,
    codes: QuadCodes,
    tolerance: FloatArray,
    scale_tolerance: float,
    part_done: Callable[[], None] | None,
    effort: Effort,
) -> tuple[IntArray, IntArray]:
    """look_up() in parts, those of the brightest stars first, each from its first cell to its last, until there are
    so many that more would cost much and tell little: stars that crowd together look like anything."""
    count = codes.baseline.size
    if count < _FEW_QUADS or part_done is None:
        hits, found = look_up(layer, codes, tolerance, scale_tolerance, effort.compared * count)
        return hits[: effort.alike], found[: effort.alike]
    first_numbers = np.floor(codes.code[0] * layer.bins) * layer.bins + codes.code[1] * layer.bins
    rows, quads, total = [], [], 0
    for start in range(0, count, _QUADS_A_PART):
        part = start + np.argsort(first_numbers[start : start + _QUADS_A_PART])
        some = QuadCodes(codes.code[:, part], codes.baseline[part], codes.arrangement[part])
        hits, found = look_up(layer, some, tolerance[part], scale_tolerance, effort.compared * part.size)
        rows.append(part[hits])
        quads.append(found)
        total += hits.size
        part_done()
        if total > effort.alike:
            break
    return np.concatenate(rows)[: effort.alike], np.concatenate(quads)[: effort.alike]


def _shortlist(
    image: ImageStars, layer: PatternLayer, position: FloatArray, poses: Poses, members: IntArray
) -> tuple[Poses, FloatArray]:
    """The poses that put further neighbours of the anchor onto detected stars, best first."""
    # seven times seven neighbours of neighbours would tell no more than five times five
    near = layer.nearest(members[:, 0], _ASKED)
    further = layer.nearest(near, _ASKED).reshape(len(near), near.shape[1] ** 2)
    wider = np.concatenate([near, further], axis=1)
    wider.sort(axis=1)
    counted = np.ones(wider.shape, dtype=bool)
    counted[:, 1:] = wider[:, 1:] != wider[:, :-1]
    counted &= (wider[:, :, None] != members[:, None, :]).all(axis=2)
    hits, inside = further_matches(poses, position.take(layer.catalogue_indices(wider), axis=0), counted, image.map)
    score = hits * math.log(0.7 / image.map.chance) + (inside - hits) * math.log(0.35)
    order = np.argsort(-score, kind="stable")
    order = order[(hits[order] > 0) | (inside[order] == 0)]
    return poses.take(order), score[order]
