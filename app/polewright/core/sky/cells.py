"""One-degree cells of the sky: a cube around the sphere, each of its six faces cut into 90 x 90 equal angles.

A direction p = F[face] @ (1, u, v) / |(1, u, v)| with -1 <= u, v <= 1. The cell borders lie at u, v = tan(k deg),
k = -45 .. 45, 0.7 to 1 degree apart on the sky; within a cell, positions run linearly in u and v. There is no
singular point at the celestial poles, and going from a position in a cell to a direction needs no trigonometry.
Cell number = (face * 90 + row along v) * 90 + column along u.
"""

from __future__ import annotations

import numpy as np

from polewright.core.model import FloatArray, IntArray

CELLS_PER_EDGE = 90  # of a cube face: a cell is about a degree wide; the format of the catalogue fixes it
CELLS_PER_FACE = CELLS_PER_EDGE**2
CELL_COUNT = 6 * CELLS_PER_FACE
EDGES: FloatArray = np.tan(np.radians(np.arange(-45.0, 45.5)))  # (91,)
EDGES.setflags(write=False)
# no corner is farther from the centre of its cell; the longest are the skewed cells at the corners of the cube
CELL_RADIUS_RAD = float(np.radians(0.82))

# columns: outward normal, u axis, v axis; faces +X +Y -X -Y +Z -Z, each basis right-handed
FACE_TO_ICRS: FloatArray = np.array(
    [
        [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        [[0, -1, 0], [1, 0, 0], [0, 0, 1]],
        [[-1, 0, 0], [0, -1, 0], [0, 0, 1]],
        [[0, 1, 0], [-1, 0, 0], [0, 0, 1]],
        [[0, 0, -1], [0, 1, 0], [1, 0, 0]],
        [[0, 0, 1], [0, 1, 0], [-1, 0, 0]],
    ],
    dtype=float,
)
FACE_TO_ICRS.setflags(write=False)


_BLOCK_EDGE = 9  # cells
BLOCK_RADIUS_RAD = float(np.radians(6.3))  # no centre of a cell is farther from that of its block


def blocks_of_cells() -> tuple[FloatArray, IntArray]:
    """Blocks of 9 x 9 cells: unit vectors (B, 3) of their middles, and the cell numbers (B, 81) in each."""
    per_edge = CELLS_PER_EDGE // _BLOCK_EDGE
    number = np.arange(CELL_COUNT).reshape(6, per_edge, _BLOCK_EDGE, per_edge, _BLOCK_EDGE)
    cells = number.transpose(0, 1, 3, 2, 4).reshape(-1, _BLOCK_EDGE**2)
    return cell_centres()[cells[:, _BLOCK_EDGE**2 // 2]], cells


def cell_of(v: FloatArray) -> tuple[IntArray, FloatArray]:
    """Cell number (N,) and place within it (N, 2), each 0 <= f < 1 along u and v, of unit vectors (N, 3) in ICRS."""
    outward = np.einsum("fi,ni->nf", FACE_TO_ICRS[:, :, 0], v)
    face = np.argmax(outward, axis=1)
    local = np.einsum("nij,ni->nj", FACE_TO_ICRS[face], v)
    uv = local[:, 1:] / local[:, :1]
    k = np.clip(np.searchsorted(EDGES, uv, side="right") - 1, 0, CELLS_PER_EDGE - 1)
    fraction = (uv - EDGES[k]) / (EDGES[k + 1] - EDGES[k])
    number = (face * CELLS_PER_EDGE + k[:, 1]) * CELLS_PER_EDGE + k[:, 0]
    return number.astype(np.int64), np.clip(fraction, 0.0, np.nextafter(1.0, 0.0))


def face_directions(face: int, u: FloatArray, v: FloatArray) -> FloatArray:
    """Unit vectors (N, 3) in ICRS of the points (u, v), each (N,), on one face."""
    scale = 1.0 / np.sqrt(1.0 + u * u + v * v)
    local = np.empty((3, u.size))
    local[0] = scale
    np.multiply(u, scale, out=local[1])
    np.multiply(v, scale, out=local[2])
    out = np.empty((u.size, 3))
    for axis, row in enumerate(FACE_TO_ICRS[face]):  # every row of the basis holds a single +1 or -1
        source = int(np.flatnonzero(row)[0])
        np.multiply(local[source], row[source], out=out[:, axis])
    return out


def cell_centres() -> FloatArray:
    """Unit vectors (CELL_COUNT, 3) of the cell centres."""
    middle = 0.5 * (EDGES[:-1] + EDGES[1:])
    u, v = np.tile(middle, CELLS_PER_EDGE), np.repeat(middle, CELLS_PER_EDGE)
    return np.concatenate([face_directions(face, u, v) for face in range(6)])


def directions_in_cells(first_cell: int, star_count: IntArray, fraction: FloatArray) -> FloatArray:
    """Unit vectors (N, 3) in ICRS of the stars of a run of cells within one face, listed cell by cell.

    `star_count` (C,) says how many stars each of the cells from `first_cell` on holds; `fraction` (2, N) is their
    place within the cell along u and v, 0 to 1.
    """
    face, start = divmod(first_cell, CELLS_PER_FACE)
    row, column = np.divmod(start + np.arange(star_count.size), CELLS_PER_EDGE)
    width = np.diff(EDGES)
    u = np.repeat(EDGES[column], star_count) + np.repeat(width[column], star_count) * fraction[0]
    v = np.repeat(EDGES[row], star_count) + np.repeat(width[row], star_count) * fraction[1]
    return face_directions(face, u, v)
