"""The star catalogue in memory: where every star is, at any epoch, brightest first."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, IntArray
from polewright.core.sky.cells import BLOCK_RADIUS_RAD, CELL_RADIUS_RAD, blocks_of_cells

_blocks = lru_cache(maxsize=1)(blocks_of_cells)
RAD_PER_MAS = np.pi / 648_000_000.0  # milliarcseconds, the unit of proper motion and parallax in the catalogue file
# Looking at the 2 * limit / share brightest stars costs 15 ns each, at the N * share stars of the circle 50 ns each
# (measured): the former pays below this times N * share^2.
_PREFIX_PAYS = 1.5


@dataclass(frozen=True, eq=False)
class Catalogue:
    """N stars, sorted by magnitude, brightest first. All arrays are read-only.

    `position` (N, 3) are ICRS unit vectors at `epoch_year` (Julian year); `motion_mas` (N, 3) is the proper motion
    in mas per Julian year along the same axes, at right angles to the position, without parallax or radial motion.
    `motion_measured` (N,) tells the motions measured for the star itself from the local mean of its neighbours.
    `magnitude` (N,) is on the scale of Gaia G. `members` (N,) lists star indices cell by cell
    (core/sky/cells.py), cell c being members[cell_start[c]:cell_start[c + 1]], its centre `cell_centre[c]`.
    `checksum` is the SHA-256 of the file.
    """

    epoch_year: float
    position: FloatArray
    motion_mas: NDArray[np.int16]
    motion_measured: NDArray[np.bool_]
    magnitude: NDArray[np.float32]
    members: NDArray[np.int32]
    cell_start: IntArray
    cell_centre: FloatArray
    checksum: str

    def __len__(self) -> int:
        return int(self.magnitude.size)

    def vectors_at(self, julian_epoch_year: float, indices: IntArray | slice | None = None) -> FloatArray:
        """ICRS unit vectors (M, 3) at a Julian epoch such as 2026.3, of all stars or of those at `indices`."""
        position, motion_mas = (_rows(column, indices) for column in (self.position, self.motion_mas))
        years = julian_epoch_year - self.epoch_year
        moved: FloatArray = np.multiply(motion_mas, years * RAD_PER_MAS, dtype=np.float64)
        moved += position
        moved /= np.sqrt(np.einsum("ni,ni->n", moved, moved))[:, None]
        return moved

    def around(self, v: FloatArray, radius_rad: float, limit: int | None = None) -> IntArray:
        """Indices of the stars within `radius_rad` of the unit vector `v` (3,), brightest first, at most `limit`.

        Places are those at `epoch_year`: allow for the motion of the few fast stars (10 arcsec a year at most).
        """
        chord = 2.0 * np.sin(0.5 * min(radius_rad, np.pi))
        share = 0.25 * chord * chord  # of the whole sky
        if limit is not None and limit < _PREFIX_PAYS * len(self) * share * share:
            return self._brightest_within(v, chord, limit, share)
        found = self._members_near(v, radius_rad)
        away = self.position.take(found, axis=0)
        away -= v
        found = np.sort(found[np.einsum("ni,ni->n", away, away) <= chord * chord])
        return found[:limit].astype(np.int64)

    def _members_near(self, v: FloatArray, radius_rad: float) -> NDArray[np.int32]:
        """Members of all cells that may reach into the circle, in no particular order."""
        reach = min(radius_rad + CELL_RADIUS_RAD, np.pi)
        middles, members = _blocks()
        close = members[middles @ v >= np.cos(min(reach + BLOCK_RADIUS_RAD, np.pi))].ravel()
        cells = np.sort(close[self.cell_centre[close] @ v >= np.cos(reach)])
        breaks = np.flatnonzero(np.diff(cells) != 1)  # neighbours along u lie side by side in `members`
        first = cells[np.concatenate([[0], breaks + 1])]
        last = cells[np.concatenate([breaks, [cells.size - 1]])]
        runs = zip(self.cell_start[first], self.cell_start[last + 1])
        return np.concatenate([self.members[start:stop] for start, stop in runs])

    def _brightest_within(self, v: FloatArray, chord: float, limit: int, share: float) -> IntArray:
        """The same for a wide circle of which few stars are wanted: run down the list until there are enough."""
        stop = int(2 * limit / share)
        while True:
            away = self.position[:stop] - v
            found = np.flatnonzero(np.einsum("ni,ni->n", away, away) <= chord * chord)
            if found.size >= limit or stop >= len(self):
                return found[:limit]
            stop *= 2


def _rows(column: NDArray[Any], indices: IntArray | slice | None) -> NDArray[Any]:
    """All rows, a slice of them, or those at indices, for which take() needs a quarter of the time."""
    if indices is None:
        return column
    return column[indices] if isinstance(indices, slice) else column.take(indices, axis=0)
