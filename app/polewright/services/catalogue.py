"""Loads the star catalogue that ships with the program, checked against its SHA-256."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.errors import CatalogueError
from polewright.core.model import FloatArray, IntArray
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.cells import CELL_COUNT, CELLS_PER_FACE, cell_centres, directions_in_cells
from polewright.services.catalogue_format import CHECKSUM_NAME, FILE_NAME, CatalogueTables, decode
from polewright.services.resources import find_resource
from polewright.words import files

_CELLS_AT_A_TIME = CELLS_PER_FACE // 5  # a piece must not straddle two faces


def load_catalogue(path: Path | None = None) -> Catalogue:
    """The star catalogue, from `path` or from the program's own resources, which are read once in a process.

    The checksum file lies beside it under the same name plus ".sha256". Raises CatalogueError when either is missing
    or damaged; the message says how to repair it.
    """
    return _load(path) if path is not None else _load_once(_own())


def _own() -> Path:
    source = find_resource(FILE_NAME)
    if source is None:
        raise CatalogueError(
            f"The star catalogue {FILE_NAME} is missing from the installation.", files.REPAIR_CATALOGUE
        )
    return source


def _load(source: Path) -> Catalogue:
    data, expected = _read(source), _expected_checksum(source)
    checksum = hashlib.sha256(data).hexdigest()
    if checksum != expected:
        raise CatalogueError(
            f"The star catalogue {source} is damaged (its checksum is wrong).", files.REPAIR_CATALOGUE
        )
    try:
        return _catalogue(decode(data), checksum)
    except (ValueError, KeyError, IndexError) as exc:
        raise CatalogueError(f"The star catalogue {source} cannot be used: {exc}.", files.REPAIR_CATALOGUE) from exc


# nobody can change it, and a rehearsal beside a night would hold a second one: 0.3 s and 45 bytes a star
_load_once = lru_cache(maxsize=1)(_load)


def _read(source: Path) -> bytes:
    try:
        return source.read_bytes()
    except OSError as exc:
        raise CatalogueError(
            f"The star catalogue {source} cannot be read ({exc.strerror}).", files.REPAIR_CATALOGUE
        ) from exc


def _expected_checksum(source: Path) -> str:
    """The first word of the checksum file, as the common tool sha256sum writes it."""
    beside = source.with_name(source.name + CHECKSUM_NAME.removeprefix(FILE_NAME))
    words = _read(beside).decode("ascii", errors="replace").split()
    return words[0].lower() if words else ""


def _catalogue(tables: CatalogueTables, checksum: str) -> Catalogue:
    """Put the stars, which the file lists cell by cell, into order of brightness; piece by piece, to save memory."""
    star_count = tables.cells["STARS"].astype(np.int64)
    moving_count = tables.cells["MOVING"].astype(np.int64)
    if star_count.sum() != tables.stars.size or moving_count.sum() != tables.motion.size:
        raise ValueError("its tables contradict each other")
    members, magnitude = _by_brightness(tables)
    position = np.empty((members.size, 3))
    motion_mas = np.empty((members.size, 3), dtype=np.int16)
    measured = np.empty(members.size, dtype=np.bool_)
    star_bound = np.concatenate([[0], np.cumsum(star_count)])
    moving_bound = np.concatenate([[0], np.cumsum(moving_count)])
    for first in range(0, CELL_COUNT, _CELLS_AT_A_TIME):
        last = first + _CELLS_AT_A_TIME
        cells, piece = slice(first, last), slice(star_bound[first], star_bound[last])
        index = members[piece]
        own = _first_of_each_cell(star_count[cells], moving_count[cells])
        place = directions_in_cells(first, star_count[cells], _fractions(tables.stars[piece]))
        motion = np.repeat(_components(tables.cells[cells], ("MX", "MY", "MZ")), star_count[cells], axis=0)
        motion[own] = _own_motions(tables.motion[moving_bound[first] : moving_bound[last]], place[own])
        _whole_rows(position)[index] = _whole_rows(place)
        _whole_rows(motion_mas)[index] = _whole_rows(motion)
        measured[index] = own
    centres = cell_centres()
    for array in (position, motion_mas, measured, magnitude, members, star_bound, centres):
        array.setflags(write=False)
    return Catalogue(
        tables.epoch_year, position, motion_mas, measured, magnitude, members, star_bound, centres, checksum
    )


def _by_brightness(tables: CatalogueTables) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """The rank of each star of the file, 0 the brightest, and the magnitudes in order of rank."""
    code = np.ascontiguousarray(tables.stars["MAG"])
    order = np.argsort(code, kind="stable")
    rank = np.empty(order.size, dtype=np.int32)
    rank[order] = np.arange(order.size, dtype=np.int32)
    levels = tables.levels["MAGNITUDE"].astype(np.float32)
    return rank, np.repeat(levels, np.bincount(code, minlength=levels.size))


def _whole_rows(array: NDArray[Any]) -> NDArray[np.void]:
    """A view (N,) of a contiguous (N, 3) array, each row one item: numpy moves those 2.5 times as fast (measured)."""
    return array.view(np.dtype((np.void, array.itemsize * array.shape[1])))[:, 0]


def _fractions(stars: NDArray[np.void]) -> FloatArray:
    """Place within the cell along u and v, (2, N), 0 to 1."""
    return np.stack([(stars[name] + np.float64(32768.5)) / 65536.0 for name in ("U", "V")])


def _components(rows: NDArray[np.void], names: tuple[str, ...]) -> NDArray[np.int16]:
    return np.stack([rows[name].astype(np.int16) for name in names], axis=1)


def _first_of_each_cell(star_count: IntArray, first_count: IntArray) -> NDArray[np.bool_]:
    """(N,) True for the first `first_count` stars of every cell."""
    runs = np.stack([first_count, star_count - first_count], axis=1).ravel()
    return np.repeat(np.tile([True, False], star_count.size), runs)


def _own_motions(rows: NDArray[np.void], position: FloatArray) -> FloatArray:
    """Proper motions (M, 3), whole mas/yr along the ICRS axes, from PMRA (times cos dec) and PMDEC."""
    x, y, z = position.T
    rho = np.hypot(x, y)  # cos dec, never 0: no star stands on the pole to the last bit
    along_ra, along_dec = rows["PMRA"] / rho, rows["PMDEC"] / rho
    motion = [-along_ra * y - along_dec * z * x, along_ra * x - along_dec * z * y, along_dec * rho * rho]
    return np.asarray(np.rint(np.stack(motion, axis=1)), dtype=np.float64)
