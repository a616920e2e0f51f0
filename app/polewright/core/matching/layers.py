"""Subsets of the catalogue of even density over the sky: the brightest stars of every cell, cells of many sizes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.matching.cell_order import order_of
from polewright.core.model import FloatArray, IntArray
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.cells import FACE_TO_ICRS

LAYERS_PER_SQ_DEG = (46.0, 20.0, 8.0, 3.2, 1.3, 0.5, 0.2, 0.08, 0.03, 0.012)
_BEST_STARS = 22.0  # of a layer in the frame: the layer tried first (chosen)
_STARS_PER_CELL = 6  # chosen: the brightest of six keeps a layer even over the sky
# Neighbours that make quads with each star: many where a layer is small, so that missing stars cost little; few in
# the dense layers, which hold most of the stars (five neighbours make 7 quads a star, seven 25).
_NEIGHBOURS = (5, 5, 5, 5, 6, 7, 7, 7, 7, 7)
_SKY_SQ_DEG = 41252.96  # the whole sphere, 4 pi (180 / pi)^2
_SEARCHED = 6.0  # times the wanted number: how far down the catalogue the brightest of every cell are sought


def layers_by_fit(area_sq_deg: float) -> dict[int, float]:
    """The stars of every layer expected in a frame of so many square degrees, the layer that suits it best first."""
    expected = {n: density * area_sq_deg for n, density in enumerate(LAYERS_PER_SQ_DEG)}
    return dict(sorted(expected.items(), key=lambda item: abs(np.log(item[1] / _BEST_STARS))))


def layer_stars(catalogue: Catalogue, number: int) -> NDArray[np.int32]:
    """Catalogue indices of layer `number`, cell by cell over the sky. Layer 0 is everything."""
    if number == 0:
        return np.array(catalogue.members)
    wanted = LAYERS_PER_SQ_DEG[number] * _SKY_SQ_DEG
    per_edge = max(1, round(np.sqrt(wanted / _STARS_PER_CELL / 6.0)))
    searched = min(len(catalogue), int(_SEARCHED * wanted))
    cell = cell_numbers(catalogue.position[:searched], per_edge)
    order = order_of(cell)  # by cell, brightest first within
    sorted_cell = cell[order]
    first = np.flatnonzero(np.diff(sorted_cell, prepend=-1))
    rank = np.arange(order.size) - np.repeat(first, np.diff(first, append=order.size))
    share = wanted / (6.0 * per_edge**2)
    return np.asarray(order[rank < round(share)], dtype=np.int32)


def neighbours_wanted(number: int) -> int:
    """How many neighbours of each star make quads in layer `number`."""
    return _NEIGHBOURS[number]


def cell_numbers(v: FloatArray, per_edge: int) -> IntArray:
    """Cell (N,) of unit vectors (N, 3): a cube around the sky, faces cut into per_edge x per_edge equal angles."""
    outward = v @ FACE_TO_ICRS[:, :, 0].T
    face = np.argmax(outward, axis=1)
    number = face.astype(np.int64)
    each = np.arange(len(v))
    depth = outward[each, face]
    for column in (2, 1):
        along = (v @ FACE_TO_ICRS[:, :, column].T)[each, face]
        place = np.arctan2(along, depth) / (np.pi / 2.0) + 0.5
        number = number * per_edge + np.clip((place * per_edge).astype(np.int64), 0, per_edge - 1)
    return np.asarray(number)
