"""From merged stars to the tables of the file: cells, steps within a cell, magnitude levels, mean motions."""

from __future__ import annotations

import numpy as np

from catalogue_merge import Stars, cell_motions_mas
from catalogue_sources import GAIA_EPOCH, MAS_PER_RAD
from polewright.core.sky.cells import CELL_COUNT, cell_of
from polewright.services.catalogue_format import CELLS_ROW, LEVELS_ROW, MOTION_ROW, STARS_ROW, CatalogueTables

# 0.1 mag apart down to 8, 0.03 mag over the crowded part, 0.25 mag beyond 12.5
LEVELS = (
    np.round(np.concatenate([np.arange(-150, 800, 10), np.arange(800, 1252, 3), np.arange(1275, 1525, 25)]), 0) / 100
)


def tables_of(stars: Stars) -> CatalogueTables:
    """The tables of the file; stars sorted by cell, measured motions first, then by brightness, then by place."""
    cell, fraction = cell_of(stars.position)
    code = np.searchsorted(0.5 * (LEVELS[:-1] + LEVELS[1:]), stars.magnitude).astype(np.uint8)  # the nearest level
    order = np.lexsort((fraction[:, 1], fraction[:, 0], code, ~stars.measured, cell))
    rows = np.zeros(order.size, dtype=STARS_ROW)
    steps = np.floor(fraction[order] * 65536.0).astype(np.int64) - 32768
    rows["U"], rows["V"], rows["MAG"] = steps[:, 0], steps[:, 1], code[order]

    cells = np.zeros(CELL_COUNT, dtype=CELLS_ROW)
    cells["STARS"] = np.bincount(cell, minlength=CELL_COUNT)
    cells["MOVING"] = np.bincount(cell[stars.measured], minlength=CELL_COUNT)
    for name, component in zip(("MX", "MY", "MZ"), cell_motions_mas(stars).T):
        cells[name] = component

    levels = np.zeros(LEVELS.size, dtype=LEVELS_ROW)
    levels["MAGNITUDE"] = LEVELS
    moving = order[stars.measured[order]]
    return CatalogueTables(GAIA_EPOCH, cells, rows, motion_rows(stars.position[moving], stars.motion[moving]), levels)


def motion_rows(position: np.ndarray, motion: np.ndarray) -> np.ndarray:
    """Proper motions as PMRA (times cos dec) and PMDEC in whole mas/yr."""
    x, y, z = position.T
    rho = np.hypot(x, y)
    rows = np.zeros(rho.size, dtype=MOTION_ROW)
    rows["PMRA"] = np.rint((motion[:, 1] * x - motion[:, 0] * y) / rho * MAS_PER_RAD)
    along = (-motion[:, 0] * z * x - motion[:, 1] * z * y) / rho + motion[:, 2] * rho
    rows["PMDEC"] = np.rint(along * MAS_PER_RAD)
    return rows
