"""The star catalogue in memory: where every star is, at any epoch, brightest first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, IntArray
from polewright.core.sky_cells import cell_centres, cell_radius_rad

_CHORD_OF_WHOLE_SKY = 2.0


@dataclass(frozen=True, eq=False)
class Catalogue:
    """N stars, sorted by magnitude, brightest first. All arrays are read-only.

    `position` (N, 3) are ICRS unit vectors at `epoch_year` (Julian year); `motion` (N, 3) is the proper motion in
    rad per Julian year along the same axes, at right angles to the position, without parallax or radial motion.
    `motion_measured` (N,) tells the motions measured for the star itself from the local mean of its neighbours.
    `magnitude` (N,) is on the scale of Gaia G. `members` (N,) lists star indices cell by cell
    (core/sky_cells.py), cell c being members[cell_start[c]:cell_start[c + 1]]. `checksum` is the SHA-256 of the file.
    """

    epoch_year: float
    position: FloatArray
    motion: NDArray[np.float32]
    motion_measured: NDArray[np.bool_]
    magnitude: NDArray[np.float32]
    members: NDArray[np.int32]
    cell_start: IntArray
    cell_centre: FloatArray
    cell_radius_rad: float
    checksum: str

    def __len__(self) -> int:
        return int(self.magnitude.size)

    def vectors_at(self, julian_epoch_year: float, indices: IntArray | slice | None = None) -> FloatArray:
        """ICRS unit vectors (M, 3) at a Julian epoch such as 2026.3, of all stars or of those at `indices`."""
        chosen = slice(None) if indices is None else indices
        position, motion = self.position[chosen], self.motion[chosen]
        moved = np.multiply(motion, julian_epoch_year - self.epoch_year, dtype=np.float64)
        moved += position
        moved /= np.sqrt(np.einsum("ni,ni->n", moved, moved))[:, None]
        return moved

    def around(self, v: FloatArray, radius_rad: float, limit: int | None = None) -> IntArray:
        """Indices of the stars within `radius_rad` of the unit vector `v` (3,), brightest first, at most `limit`.

        Places are those at `epoch_year`: allow for the motion of the few fast stars (10 arcsec a year at most).
        """
        chord = _CHORD_OF_WHOLE_SKY * np.sin(0.5 * min(radius_rad, np.pi))
        share = 0.25 * chord * chord  # of the whole sky
        if limit is not None and limit < 0.05 * len(self) * share * share:
            return self._brightest_within(v, chord, limit, share)
        found = self._members_near(v, radius_rad)
        away = self.position[found] - v
        found = np.sort(found[np.einsum("ni,ni->n", away, away) <= chord * chord])
        return found[:limit].astype(np.int64)

    def _members_near(self, v: FloatArray, radius_rad: float) -> NDArray[np.int32]:
        """Members of all cells that may reach into the circle, in no particular order."""
        reach = min(radius_rad + self.cell_radius_rad, np.pi)
        cells = np.flatnonzero(self.cell_centre @ v >= np.cos(reach))
        pieces = [self.members[self.cell_start[c] : self.cell_start[c + 1]] for c in cells]
        return np.concatenate(pieces) if pieces else np.empty(0, dtype=np.int32)

    def _brightest_within(self, v: FloatArray, chord: float, limit: int, share: float) -> IntArray:
        """The same for a wide circle of which few stars are wanted: run down the list until there are enough."""
        stop = int(2 * limit / share)
        while True:
            away = self.position[:stop] - v
            found = np.flatnonzero(np.einsum("ni,ni->n", away, away) <= chord * chord)
            if found.size >= limit or stop >= len(self):
                return found[:limit]
            stop *= 2


def assemble(
    epoch_year: float,
    position: FloatArray,
    motion: NDArray[np.float32],
    motion_measured: NDArray[np.bool_],
    magnitude: NDArray[np.float32],
    star_count: IntArray,
    order: IntArray,
    checksum: str,
) -> Catalogue:
    """The catalogue of stars listed cell by cell, `star_count` (CELL_COUNT,) in each; `order` sorts by brightness."""
    members = np.empty(order.size, dtype=np.int32)
    members[order] = np.arange(order.size, dtype=np.int32)
    cell_start = np.concatenate([[0], np.cumsum(star_count)]).astype(np.int64)
    catalogue = Catalogue(
        epoch_year=epoch_year,
        position=position[order],
        motion=motion[order],
        motion_measured=motion_measured[order],
        magnitude=magnitude[order],
        members=members,
        cell_start=cell_start,
        cell_centre=cell_centres(),
        cell_radius_rad=cell_radius_rad(),
        checksum=checksum,
    )
    for array in vars(catalogue).values():
        if isinstance(array, np.ndarray):
            array.setflags(write=False)
    return catalogue
