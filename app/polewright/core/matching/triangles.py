"""Candidates from threes of stars in a small region of the sky: for sparse fields whose pointing is roughly known."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations

import numpy as np

from polewright.core.matching.image_stars import ImageStars
from polewright.core.matching.poses import Poses, directions, poses_of
from polewright.core.matching.shortlist import further_matches
from polewright.core.matching.star_quads import all_threes
from polewright.core.model import FloatArray, IntArray

_ORDERS = np.array(list(permutations(range(3))))
_SHAPE_SIGMAS = 5.0  # of one centroid, in a ratio of two sides
_SHORTEST_SIDE_PX = 25.0  # as a baseline of quads: shorter sides tell no shape


@dataclass(frozen=True, eq=False)
class Triangles:
    """Threes of stars, `members` (T, 3) in the order A, B, C: AB the longest side, AC the shorter of the others.

    `near`, `far` (T,) are AC / AB and BC / AB, `baseline` (T,) the chord AB.
    """

    members: IntArray
    near: FloatArray
    far: FloatArray
    baseline: FloatArray


def _sides(v: FloatArray, members: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Chords AB, AC, BC of threes (T, 3) of unit vectors (N, 3)."""
    a, b, c = (v[members[:, k]] for k in range(3))
    ab, ac, bc = b - a, c - a, c - b
    return (
        np.sqrt(np.einsum("ni,ni->n", ab, ab)),
        np.sqrt(np.einsum("ni,ni->n", ac, ac)),
        np.sqrt(np.einsum("ni,ni->n", bc, bc)),
    )


def sky_triangles(v: FloatArray, shortest: float, longest: float) -> Triangles:
    """All threes of unit vectors (N, 3) with every side between two chords, sorted by `near`."""
    count = len(v)
    away = v[:, None, :] - v
    chord = np.sqrt(np.einsum("ijk,ijk->ij", away, away))
    later = np.triu((chord < longest) & (chord > shortest), 1)
    first, second = np.nonzero(later)
    pair, third = np.divmod(np.flatnonzero(later[first] & later[second]), count)
    first, second = first[pair], second[pair]
    sides = chord.ravel()
    opposite = (sides[second * count + third], sides[first * count + third], sides[first * count + second])
    # name the corners: C faces the longest side, A is the end of it that is nearer to C
    longest_side = np.maximum(np.maximum(opposite[0], opposite[1]), opposite[2])
    c0, c1 = opposite[0] == longest_side, opposite[1] == longest_side
    c = np.where(c0, first, np.where(c1, second, third))
    a = np.where(c0, second, first)
    b = np.where(c0 | c1, third, second)
    ac, bc = (np.where(c0, opposite[k], np.where(c1, opposite[m], opposite[n])) for k, m, n in ((2, 2, 1), (1, 0, 0)))
    swap = ac > bc
    a, b = np.where(swap, b, a), np.where(swap, a, b)
    near = np.minimum(ac, bc) / longest_side
    order = np.argsort(near)
    members = np.stack([a[order], b[order], c[order]], axis=1)
    return Triangles(members, near[order], (np.maximum(ac, bc) / longest_side)[order], longest_side[order])


def image_triangles(image: ImageStars, stars: int) -> tuple[Triangles, FloatArray]:
    """Threes of the brightest `stars`, in every naming of the corners that the tolerance (T,) allows."""
    v = directions(image.pixels[:stars], image.camera.focal_px)
    named = all_threes(len(v))[:, _ORDERS].reshape(-1, 3)
    ab, ac, bc = _sides(v, named)
    usable = np.minimum(np.minimum(ac, bc), ab) * image.camera.focal_px > _SHORTEST_SIDE_PX
    named, ab, ac, bc = named[usable], ab[usable], ac[usable], bc[usable]
    sigma = np.sqrt(np.mean(np.square(image.sigma_px[named]), axis=1))
    tolerance = _SHAPE_SIGMAS * sigma / (ab * image.camera.focal_px) + image.slack
    good = (np.maximum(ac, bc) < ab * (1.0 + tolerance)) & (ac < bc + tolerance * ab)
    named, ab, ac, bc, tolerance = named[good], ab[good], ac[good], bc[good], tolerance[good]
    return Triangles(named, ac / ab, bc / ab, ab), tolerance


def _alike(
    seen: Triangles, tolerance: FloatArray, sky: Triangles, scale_tolerance: float
) -> tuple[IntArray, IntArray]:
    """Pairs (row of `seen`, row of `sky`) of like shape and size."""
    low = np.searchsorted(sky.near, seen.near - tolerance)
    count = np.searchsorted(sky.near, seen.near + tolerance) - low
    total = np.cumsum(count)
    rows = np.repeat(np.arange(count.size), count)
    found = np.arange(rows.size) + np.repeat(low - (total - count), count)
    good = np.abs(sky.far[found] - seen.far[rows]) < tolerance[rows]
    rows, found = rows[good], found[good]
    ratio = sky.baseline[found] / seen.baseline[rows]
    widest = (1.0 + scale_tolerance) * (1.0 + tolerance[rows])
    good = (ratio < widest) & (ratio > 1.0 / widest)
    return rows[good], found[good]


def triangle_poses(
    image: ImageStars, seen: Triangles, tolerance: FloatArray, sky: FloatArray
) -> tuple[Poses, FloatArray]:
    """Poses worth a closer look, best first, with scores: image_triangles() against the unit vectors `sky` (K, 3)."""
    diagonal = np.hypot(image.camera.width_px, image.camera.height_px) / image.camera.focal_px
    known = sky_triangles(sky, 0.02 * diagonal, 0.85 * diagonal)
    rows, found = _alike(seen, tolerance, known, image.scale_tolerance)
    poses = poses_of(image.pixels[seen.members[rows]], sky[known.members[found]], image.camera.focal_px)
    chosen = image.plausible(poses)
    poses, members = poses.take(chosen), known.members[found[chosen]]
    counted = np.ones((len(poses), len(sky)), dtype=bool)
    np.put_along_axis(counted, members, False, axis=1)
    hits, inside = further_matches(poses, sky, counted, image.map)
    score = hits * np.log(0.7 / image.map.chance) + (inside - hits) * np.log(0.5)
    order = np.argsort(-score, kind="stable")
    order = order[hits[order] > 0]
    return poses.take(order), score[order]
