"""Loads the star catalogue that ships with the program, checked against its SHA-256."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.catalogue import Catalogue, assemble
from polewright.core.errors import CatalogueError
from polewright.core.model import FloatArray
from polewright.core.sky_cells import directions_in_cells
from polewright.services.catalogue_format import CHECKSUM_NAME, FILE_NAME, CatalogueTables, decode
from polewright.services.resources import find_resource

REPAIR = (
    "To repair it, install Polewright again, or, in a checkout, "
    "restore the file with 'git checkout resources' or make it anew with 'python packaging/build_catalogue.py'."
)


def load_catalogue(path: Path | None = None) -> Catalogue:
    """The star catalogue, from `path` or from the program's own resources.

    The checksum file lies beside it under the same name plus ".sha256". Raises CatalogueError when either is missing
    or damaged; the message says how to repair it.
    """
    source = path if path is not None else find_resource(FILE_NAME)
    if source is None:
        raise CatalogueError(f"The star catalogue {FILE_NAME} is missing from the installation. {REPAIR}")
    data, expected = _read(source), _expected_checksum(source)
    checksum = hashlib.sha256(data).hexdigest()
    if checksum != expected:
        raise CatalogueError(f"The star catalogue {source} is damaged (its checksum is wrong). {REPAIR}")
    try:
        return _catalogue(decode(data), checksum)
    except (ValueError, KeyError, IndexError) as exc:
        raise CatalogueError(f"The star catalogue {source} cannot be used: {exc}. {REPAIR}") from exc


def _read(source: Path) -> bytes:
    try:
        return source.read_bytes()
    except OSError as exc:
        raise CatalogueError(f"The star catalogue {source} cannot be read ({exc.strerror}). {REPAIR}") from exc


def _expected_checksum(source: Path) -> str:
    """The first word of the checksum file, as the common tool sha256sum writes it."""
    beside = source.with_name(source.name + CHECKSUM_NAME.removeprefix(FILE_NAME))
    words = _read(beside).decode("ascii", errors="replace").split()
    return words[0].lower() if words else ""


def _catalogue(tables: CatalogueTables, checksum: str) -> Catalogue:
    star_count = tables.cells["STARS"].astype(np.int64)
    moving_count = tables.cells["MOVING"].astype(np.int64)
    if star_count.sum() != tables.stars.size or moving_count.sum() != tables.motion.size:
        raise ValueError("its tables contradict each other")
    code = np.ascontiguousarray(tables.stars["MAG"])
    fraction = np.empty((2, tables.stars.size))
    for axis, column in enumerate(("U", "V")):
        fraction[axis] = tables.stars[column]
    fraction += 32768.5
    fraction /= 65536.0
    position = directions_in_cells(star_count, fraction)
    measured = _first_of_each_cell(star_count, moving_count)
    return assemble(
        epoch_year=tables.epoch_year,
        position=position,
        motion=_motions(tables, position, measured, star_count),
        motion_measured=measured,
        magnitude=tables.levels["MAGNITUDE"].astype(np.float32)[code],
        star_count=star_count,
        order=np.argsort(code, kind="stable"),
        checksum=checksum,
    )


def _first_of_each_cell(star_count: NDArray[np.int64], first_count: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(N,) True for the first `first_count` stars of every cell."""
    runs = np.stack([first_count, star_count - first_count], axis=1).ravel()
    return np.repeat(np.tile([True, False], star_count.size), runs)


def _motions(
    tables: CatalogueTables, position: FloatArray, measured: NDArray[np.bool_], star_count: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Proper motion (N, 3), rad/yr, at right angles to the position."""
    rad_per_mas = 1e-3 / ARCSEC_PER_RAD
    mean = np.stack([tables.cells[name] for name in ("MX", "MY", "MZ")], axis=1).astype(np.float32) * rad_per_mas
    motion = np.repeat(mean.astype(np.float32), star_count, axis=0)
    x, y, z = position[measured].T
    rho = np.hypot(x, y)  # cos dec, never 0: no star stands on the pole to the last bit
    pm_ra = tables.motion["PMRA"] * rad_per_mas
    pm_dec = tables.motion["PMDEC"] * rad_per_mas
    motion[measured] = np.stack(
        [-pm_ra * y / rho - pm_dec * z * x / rho, pm_ra * x / rho - pm_dec * z * y / rho, pm_dec * rho], axis=1
    )
    return motion
