"""All quads of one density of the sky, filed by the cell of their code, and the look-up of image quads among them.

A quad is a star (the anchor) with three of its nearest neighbours in the layer. The first four numbers of the
code give the cell; AC + BC >= AB halves each pair of dimensions, so cells are counted in triangles. Within a cell
a word refines the code (quad_words.py); with three bytes that name its stars a quad costs seven bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.matching.cell_order import order_of
from polewright.core.matching.codes import QuadCodes, quad_codes
from polewright.core.matching.filled_cells import file_cells, filled_among
from polewright.core.matching.quad_words import (
    CODE_STEPS,
    SIZE_STEP,
    SPARE_BIT,
    field,
    quad_words,
    size_steps,
    step_limits,
)
from polewright.core.matching.three_bytes import END, packed, unpacked
from polewright.core.model import FloatArray, IntArray

_STARS_AT_A_TIME = 50_000  # bound of memory while a layer is built
_MAX_BINS = 72  # 72^4 is 27 million bins (bound of memory)
MOST_NEIGHBOURS = 12  # 220 triples (bound of memory)
Chunk = tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.uint32]]
Run = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]


@lru_cache(maxsize=8)
def triples_of(neighbours: int) -> IntArray:
    """(T, 3) which neighbours, counted from 1, join the anchor in each of its quads."""
    return np.array(list(combinations(range(1, neighbours + 1), 3)))


@dataclass(frozen=True, eq=False)
class PatternLayer:
    """One layer of N stars and Q quads, everything packed as it lies in its file.

    `star` (N, 3) are catalogue indices, `neighbours` (N, K, 3) layer numbers, nearest first, three bytes each. The
    quads of the f-th filled cell (filled_cells.py) are start[f] <= q < start[f + 1]. Quad q is the star `anchor` with
    the neighbours of triples_of(K)[triple], where anchor * len(triples_of(K)) + triple is `which` (Q, 3), and 2^24
    more where the spare bit of its `word` (Q,) is set.
    """

    bins: int
    density_per_sr: float
    star: NDArray[np.uint8]
    neighbours: NDArray[np.uint8]
    filled: NDArray[np.uint64]
    before: NDArray[np.int32]
    start: NDArray[np.int32]
    which: NDArray[np.uint8]
    word: NDArray[np.uint32]

    def catalogue_indices(self, stars: IntArray) -> IntArray:
        """(...,) of layer numbers (...,)."""
        return unpacked(self.star[stars])

    def nearest(self, stars: IntArray, count: int) -> IntArray:
        """Layer numbers (..., count or fewer) of the nearest neighbours of stars (...,)."""
        return unpacked(self.neighbours[stars, :count])

    def members(self, quads: IntArray) -> IntArray:
        """Layer numbers (n, 4) of the stars of quads (n,)."""
        which = unpacked(self.which[quads]) + END * (self.word[quads] >= SPARE_BIT)
        triples = triples_of(self.neighbours.shape[1])
        anchor, triple = np.divmod(which, len(triples))
        others = unpacked(self.neighbours[anchor[:, None], triples[triple] - 1])
        return np.concatenate([anchor[:, None], others], axis=1)


def _pair_cell(first: IntArray, second: IntArray, bins: int) -> IntArray:
    """Number of the cell (first, second) among those with first + second >= bins - 2, a triangle and a margin."""
    row_start = first * (first + 3) // 2  # rows 0 .. first - 1 hold 2, 3, 4 ... cells
    return np.asarray(row_start + np.minimum(np.maximum(second - (bins - 2 - first), 0), first + 1))


def _pair_cells(bins: int) -> int:
    return bins * (bins + 3) // 2


def cell_count(bins: int) -> int:
    """How many cells a layer of so many bins per number has."""
    return _pair_cells(bins) ** 2


def bins_for(quad_count: int) -> int:
    """Bins per number that leave a few quads in each occupied cell."""
    return int(np.clip(round((4.0 * quad_count) ** 0.25), 8, _MAX_BINS))


def _cells(whole: IntArray, bins: int) -> IntArray:
    """Cell number (...,) of whole bins (4, ...)."""
    return _pair_cell(whole[0], whole[1], bins) * _pair_cells(bins) + _pair_cell(whole[2], whole[3], bins)


def repeated_quads(numbers: IntArray, neighbours: NDArray[np.int32]) -> NDArray[np.bool_]:
    """(triples, n): is the quad of star numbers[i] and triple t also made by a member of a lower number?"""
    count = neighbours.shape[1]
    triples = triples_of(count)
    own = np.concatenate([numbers[:, None], neighbours[numbers]], axis=1)  # (n, 1 + K)
    theirs = neighbours[own[:, 1:]]  # (n, K, K): neighbours of the neighbours
    knows = np.zeros((count, numbers.size), dtype=np.uint16)  # bit s: neighbour i knows slot s
    for slot in range(count + 1):
        knows |= ((theirs == own[:, None, slot, None]).any(axis=2).T.astype(np.uint16)) << slot
    knows[(own[:, 1:] > own[:, :1]).T] = 0
    repeated = np.zeros((len(triples), numbers.size), dtype=bool)
    for t, triple in enumerate(triples):
        for i in triple:
            wanted = 1 + sum(1 << int(s) for s in triple if s != i)
            repeated[t] |= (knows[i - 1] & wanted) == wanted
    return repeated


def _codes_of_stars(position: FloatArray, neighbours: NDArray[np.int32], numbers: IntArray) -> list[QuadCodes]:
    """Codes of the quads of some stars, one entry per triple."""
    count = neighbours.shape[1]
    near = (position[neighbours[numbers]] - position[numbers][:, None]).astype(np.float32)
    points = [np.zeros((3, numbers.size), dtype=np.float32)]
    points += [np.ascontiguousarray(near[:, k].T) for k in range(count)]
    chord = {}
    for i, j in combinations(range(count + 1), 2):
        away = points[i] - points[j]
        chord[i, j] = np.sqrt(away[0] * away[0] + away[1] * away[1] + away[2] * away[2])
    codes = []
    for a, b, c in triples_of(count):
        rows = [chord[0, a], chord[0, b], chord[0, c], chord[a, b], chord[a, c], chord[b, c]]
        codes.append(quad_codes(np.stack(rows)))
    return codes


def _file_chunk(
    position: FloatArray, neighbours: NDArray[np.int32], bins: int, density_per_sr: float, first: int
) -> Chunk:
    """(cell, which, word) of the quads of one run of stars, repeats left out."""
    numbers = np.arange(first, min(first + _STARS_AT_A_TIME, len(position)))
    repeated = repeated_quads(numbers, neighbours)
    parts = []
    for t, quads in enumerate(_codes_of_stars(position, neighbours, numbers)):
        keep = np.flatnonzero(~repeated[t] & (quads.baseline > 0.0))
        scaled = quads.code[:4, keep] * np.float32(bins)
        whole = np.minimum(scaled.astype(np.int32), bins - 1)
        rest = CODE_STEPS * np.concatenate([scaled - whole, quads.code[4:, keep]])
        word = quad_words(np.concatenate([rest, [size_steps(quads.baseline[keep], density_per_sr)]]))
        parts.append(
            (_cells(whole, bins).astype(np.int32), (numbers[keep] * len(repeated) + t).astype(np.int32), word)
        )
    cell, which, word = (np.concatenate(column) for column in zip(*parts))
    return cell, which, word


def build_layer(
    position: FloatArray, star: NDArray[np.int32], neighbours: NDArray[np.int32], run: Run | None = None
) -> PatternLayer:
    """File the quads of a layer. `position` (N, 3) unit vectors, `star` (N,) catalogue indices, `neighbours` (N, K).

    `run` works like map() and may use several threads.
    """
    names = len(star) * len(triples_of(neighbours.shape[1]))
    assert neighbours.shape[1] <= MOST_NEIGHBOURS and names <= 2 * END
    bins, density_per_sr = bins_for(6 * names // 10), len(star) / (4.0 * np.pi)
    firsts = range(0, len(star), _STARS_AT_A_TIME)
    chunks = (run or map)(lambda first: _file_chunk(position, neighbours, bins, density_per_sr, first), firsts)
    cells, whiches, words = (list(column) for column in zip(*chunks))
    del chunks
    cell = _joined(cells)
    filled, before, start = file_cells(cell, cell_count(bins))
    order = order_of(cell)
    del cell
    which, word = (run or map)(lambda pieces: _joined(pieces).take(order), (whiches, words))
    word[which >= END] |= SPARE_BIT
    return PatternLayer(
        bins=bins,
        density_per_sr=density_per_sr,
        star=packed(star),
        neighbours=packed(neighbours),
        filled=filled,
        before=before,
        start=start,
        which=packed(which % END),
        word=word,
    )


def _joined(pieces: list[Any]) -> Any:
    """The pieces as one array; the list is emptied, so that they are not in memory twice for long."""
    whole = np.concatenate(pieces)
    pieces.clear()
    return whole


def look_up(
    layer: PatternLayer, codes: QuadCodes, tolerance: FloatArray, scale_tolerance: float, most: int | None = None
) -> tuple[IntArray, IntArray]:
    """Pairs (row of `codes`, quad of layer) whose codes agree within `tolerance` (n,), sizes within a fraction.

    A tolerance is at most the width of a bin. Of the last codes nothing is said when the first take `most` quads of
    the layer to compare with.
    """
    rows, whole = _bins_touched(layer.bins, codes, tolerance)
    kept, filed = filled_among(layer.filled, layer.before, _cells(whole, layer.bins))
    start = layer.start[filed].astype(np.int64)
    count = layer.start[filed + 1] - start
    if most is not None:
        few = 1 + int(np.searchsorted(np.cumsum(count), most))
        kept, start, count = kept[:few], start[:few], count[:few]
    rows, whole = rows[kept], whole.take(kept, axis=1)
    lowest, more = _steps_wanted(layer, codes, rows, whole, tolerance, scale_tolerance)
    # one column per touched cell, repeated for its quads
    owner = np.repeat(np.arange(rows.size), count)
    total = np.cumsum(count)
    quads = np.arange(owner.size) + (start - (total - count))[owner]
    words = layer.word.take(quads)
    for number in (0, 2, 3, 1, 5, 4):
        good = np.flatnonzero(field(words, number) - lowest[number].take(owner) <= more[number].take(owner))
        owner, quads, words = owner[good], quads[good], words[good]
    return rows[owner], quads


def _steps_wanted(
    layer: PatternLayer,
    codes: QuadCodes,
    rows: IntArray,
    whole: IntArray,
    tolerance: FloatArray,
    scale_tolerance: float,
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """step_limits() of the words of each cell (m,) that a code touches."""
    middle, reach = np.empty((6, rows.size), dtype=np.float32), np.empty((6, rows.size), dtype=np.float32)
    middle[:4] = (codes.code[:4].take(rows, axis=1) * layer.bins - whole) * CODE_STEPS
    reach[:4] = tolerance[rows] * (layer.bins * CODE_STEPS) + 0.5
    middle[4] = codes.code[4, rows] * CODE_STEPS
    reach[4] = 2.0 * tolerance[rows] * CODE_STEPS + 0.6
    middle[5] = size_steps(codes.baseline, layer.density_per_sr)[rows]
    reach[5] = np.log2(1.0 + scale_tolerance) / SIZE_STEP + 0.6
    return step_limits(middle, reach)


@lru_cache(maxsize=4)
def _steps(count: int) -> NDArray[np.int8]:
    """(4, count^4) all fours of numbers below `count`."""
    return np.indices((count,) * 4, dtype=np.int8).reshape(4, -1)


def _bins_touched(bins: int, codes: QuadCodes, tolerance: FloatArray) -> tuple[IntArray, IntArray]:
    """Rows (m,) and whole bins (4, m) of the cells that a box of half width `tolerance` about each code touches."""
    scaled, reach = codes.code[:4] * bins, tolerance * bins
    first = np.minimum(np.maximum(scaled - reach, 0.0), bins - 1).astype(np.int64)
    spans = (np.minimum(scaled + reach, bins - 1).astype(np.int64) - first + 1).astype(np.int8)  # bins, one to three
    steps = _steps(int(spans.max(initial=1)))
    rows, step = np.nonzero((steps[:, None, :] < spans[:, :, None]).all(axis=0))
    whole = first.take(rows, axis=1) + steps.take(step, axis=1)
    wanted = np.flatnonzero((whole[0] + whole[1] >= bins - 2) & (whole[2] + whole[3] >= bins - 2))
    return rows[wanted], whole.take(wanted, axis=1)
