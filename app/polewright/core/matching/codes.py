"""The shape of four stars as five numbers that no shift, turn, mirroring or change of scale alters.

A and B are the two stars farthest apart, C and D the other two; the code is (AC, BC, AD, BD, CD) / AB, with the
names A, B exchanged when needed so that AC + AD <= BC + BD, and C, D so that AC <= AD. Distances are chords between
unit vectors: exact on the sphere, so that a wide field needs no projection.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, IntArray

PAIRS = np.array([(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)])  # of members 0..3; PAIRS[5 - m] is the other pair
CODE_SIZE = 5

Chords = NDArray[np.float32] | NDArray[np.float64]


def _pair_number(i: int, j: int) -> int:
    return [(int(a), int(b)) for a, b in PAIRS].index((min(i, j), max(i, j)))


def _tables() -> tuple[IntArray, IntArray]:
    """Members A B C D (24, 4) by 4 * widest pair + 2 swapAB + swapCD; pair numbers (4, 6) of AC BC AD BD by widest
    pair, nothing swapped."""
    order, sides = [], []
    for widest in range(6):
        for swap in range(4):
            a, b = PAIRS[widest][:: -1 if swap & 2 else 1]
            c, d = PAIRS[5 - widest][:: -1 if swap & 1 else 1]
            order.append((a, b, c, d))
            if swap == 0:
                sides.append([_pair_number(*p) for p in ((a, c), (b, c), (a, d), (b, d))])
    return np.array(order), np.array(sides).T.copy()


ORDER, SIDES = _tables()


@dataclass(frozen=True, eq=False)
class QuadCodes:
    """Codes (5, n), chord AB (n,), and `arrangement` (n,): row of ORDER that names the members A B C D."""

    code: Chords
    baseline: Chords
    arrangement: NDArray[np.int8]


def quad_codes(chords: Chords) -> QuadCodes:
    """Codes of n quads from the chords (6, n) of their pairs, in the order of PAIRS."""
    baseline = chords.max(axis=0)
    widest = (chords == baseline).argmax(axis=0)
    flat, column = chords.ravel(), np.arange(chords.shape[1])
    ac, bc, ad, bd = flat.take(SIDES.take(widest, axis=1) * column.size + column)
    swap_ab = ac + ad > bc + bd
    ac, bc = np.where(swap_ab, bc, ac), np.where(swap_ab, ac, bc)
    ad, bd = np.where(swap_ab, bd, ad), np.where(swap_ab, ad, bd)
    code = np.empty((CODE_SIZE, column.size), dtype=chords.dtype)
    swap_cd = _name_c_d(code, ac, bc, ad, bd)
    code[4] = flat.take((5 - widest) * column.size + column)
    code /= baseline
    arrangement = (4 * widest + 2 * swap_ab + swap_cd).astype(np.int8)
    return QuadCodes(code, baseline, arrangement)


def _name_c_d(code: Chords, ac: Chords, bc: Chords, ad: Chords, bd: Chords) -> NDArray[np.bool_]:
    """Writes the first four numbers so that C is the nearer to A; true where C and D change their names for it."""
    swapped = ac > ad
    code[0], code[2] = np.minimum(ac, ad), np.maximum(ac, ad)
    code[1], code[3] = np.where(swapped, bd, bc), np.where(swapped, bc, bd)
    return swapped


def with_close_calls(codes: QuadCodes, tolerance: FloatArray) -> tuple[QuadCodes, IntArray]:
    """The codes, and again those whose naming of A, B or of C, D a tolerance (n,) could turn; and their rows (m,)."""
    ac, bc, ad, bd, _ = codes.code
    close_ab = np.flatnonzero(np.abs(ac + ad - bc - bd) < 2.0 * tolerance)
    close_cd = np.flatnonzero(np.abs(ac - ad) < tolerance)
    rows = np.concatenate([np.arange(codes.baseline.size), close_ab, close_cd])
    code = codes.code.take(rows, axis=1)
    ab = code[:, codes.baseline.size : codes.baseline.size + close_ab.size]
    # exchanging A and B may also exchange which of C, D is nearer to A: name them anew
    turned = _name_c_d(ab, bc[close_ab], ac[close_ab], bd[close_ab], ad[close_ab])
    swapped_cd = code[:, rows.size - close_cd.size :]
    swapped_cd[:4] = swapped_cd[[2, 3, 0, 1]]
    arrangement = np.concatenate(
        [
            codes.arrangement,
            (codes.arrangement[close_ab] ^ 2) ^ turned,
            codes.arrangement[close_cd] ^ 1,
        ]
    ).astype(np.int8)
    return QuadCodes(code, codes.baseline[rows], arrangement), rows


def pair_chords(v: FloatArray) -> FloatArray:
    """Chords (6, n), in the order of PAIRS, of quads of unit vectors (n, 4, 3)."""
    away = v.take(PAIRS[:, 0], axis=1)
    away -= v.take(PAIRS[:, 1], axis=1)
    return np.ascontiguousarray(np.sqrt(np.einsum("npi,npi->np", away, away)).T)
