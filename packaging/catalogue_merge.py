"""One list of stars out of Gaia, Hipparcos and Tycho-2, each star once, with the best motion the three can give.

1. Hipparcos stars are carried to 2016.0 and paired with Gaia: motion = (Gaia 2016.0 - Hipparcos 1991.25) / 24.75 yr,
   unless the pair is off by more than a close double can explain; then Hipparcos' own motion.
2. Hipparcos stars that Gaia lacks (the brightest, and those fainter than its limit here) come with their own motion.
3. Other Gaia stars are paired with Tycho-2: motion = (Gaia 2016.0 - Tycho-2 2000.0) / 16 yr. Up to 3 arcsec apart,
   then, among those still without a partner and of the same magnitude, up to 8 arcsec (0.5 arcsec a year): some 600
   fast stars, of which about 10 are by chance (the same search one arcminute beside finds that many).
4. Tycho-2 stars that are none of these are added; the mean motion of their neighbourhood stands for their own, also
   on the way from 2000.0 to 2016.0. Those that stand where another star was in 1991.25 are left out: they are entries
   that Tycho-2 kept at the epoch of observation.

Magnitudes are brought to Gaia G. Hp and V_T are converted by the medians of the stars that both catalogues have.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from catalogue_sources import GAIA_EPOCH, HIPPARCOS_EPOCH, MAS_PER_RAD, TYCHO_EPOCH, Gaia, Hipparcos, Tycho
from polewright.core.sky.cells import cell_centres, cell_of

ARCSEC = np.pi / 648000.0
PAIR_ARCSEC = 3.0  # within this, two entries of about one magnitude are one star ...
CLOSE_ARCSEC = 1.0  # ... nearer than this, even a variable or badly measured magnitude may differ by 3 mag
FAST_ARCSEC = 8.0  # how far apart the same star may be in 16 years when nothing else is in question
DOUBLE_ARCSEC = 0.3  # beyond this, a Gaia-Hipparcos difference is a double's photocentre, not motion;
FAST_SHARE = 0.003  # of a fast star's path may be perspective acceleration (Barnard's star: 0.0015)

NEIGHBOURS = 120  # faint stars of measured motion whose median stands for a cell
FAINT_G = 9.0


@dataclass(frozen=True, eq=False)
class Stars:
    """Unit vectors (N, 3) at 2016.0, motion (N, 3) in rad/yr, whether it was measured (N,), G magnitude (N,)."""

    position: np.ndarray
    motion: np.ndarray
    measured: np.ndarray
    magnitude: np.ndarray

    def at(self, year: float) -> np.ndarray:
        return carried(self.position, self.motion, year - GAIA_EPOCH)


def merge(gaia: Gaia, hipparcos: Hipparcos, tycho: Tycho) -> tuple[Stars, dict[str, int]]:
    """The merged stars and how many came each way."""
    hip_now = carried(hipparcos.position, hipparcos.motion, GAIA_EPOCH - HIPPARCOS_EPOCH)
    hip_g = hipparcos_as_g(hipparcos, hip_now, gaia)
    motion, measured = np.zeros_like(gaia.position), np.zeros(gaia.magnitude.size, dtype=bool)

    g, h = pairs(gaia.position, gaia.magnitude, hip_now, hip_g, 1.0)
    motion[g] = hipparcos_pair_motion(gaia.position[g], hip_now[h], hipparcos.position[h], hipparcos.motion[h])
    measured[g] = True
    alone = without_counterpart(hip_now, hip_g, h, gaia)
    stars = joined(
        Stars(gaia.position, motion, measured, gaia.magnitude),
        Stars(hip_now[alone], hipparcos.motion[alone], np.ones(alone.size, dtype=bool), hip_g[alone]),
    )
    tycho_g = tycho_as_g(tycho, gaia)
    counts = {"Gaia": gaia.magnitude.size, "Gaia and Hipparcos": g.size, "Hipparcos alone": alone.size}

    stars, taken = with_tycho_motions(stars, tycho, tycho_g)
    counts["Gaia and Tycho-2, not Hipparcos"] = int(stars.measured.sum()) - g.size - alone.size
    rest = left_over(stars, tycho, taken)
    cell, _ = cell_of(tycho.position[rest])
    motion = cell_motions_mas(stars)[cell] / MAS_PER_RAD
    position = carried(tycho.position[rest], motion, GAIA_EPOCH - TYCHO_EPOCH)
    stars = joined(stars, Stars(position, motion, np.zeros(rest.size, dtype=bool), tycho_g[rest]))
    counts |= {
        "Tycho-2 alone": rest.size,
        "all": stars.magnitude.size,
        "with measured motion": int(stars.measured.sum()),
    }
    return stars, counts


def carried(position: np.ndarray, motion: np.ndarray, years: float) -> np.ndarray:
    """Unit vectors after `years` of uniform motion."""
    moved = position + motion * years
    return moved / np.linalg.norm(moved, axis=1, keepdims=True)


def joined(*parts: Stars) -> Stars:
    return Stars(*(np.concatenate([getattr(p, name) for p in parts]) for name in Stars.__dataclass_fields__))


def pairs(
    a: np.ndarray,
    a_mag: np.ndarray,
    b: np.ndarray,
    b_mag: np.ndarray,
    agree_mag: float,
    reach_arcsec: float = PAIR_ARCSEC,
) -> tuple[np.ndarray, np.ndarray]:
    """Indices into a and b of the stars that are each other's nearest and agree in place and magnitude."""
    reach = reach_arcsec * ARCSEC
    distance, to_b = cKDTree(b).query(a, distance_upper_bound=reach)
    _, to_a = cKDTree(a).query(b, distance_upper_bound=reach)
    i = np.flatnonzero(np.isfinite(distance))
    i = i[to_a[to_b[i]] == i]
    j = to_b[i]
    off_mag = np.abs(a_mag[i] - b_mag[j])
    good = (off_mag < agree_mag) | ((off_mag < 3.0) & (distance[i] < CLOSE_ARCSEC * ARCSEC))
    return i[good], j[good]


def hipparcos_pair_motion(
    gaia: np.ndarray, hip_now: np.ndarray, hip_then: np.ndarray, hip_motion: np.ndarray
) -> np.ndarray:
    """Motion (N, 3), rad/yr, of stars with both positions."""
    motion = tangential((gaia - hip_then) / (GAIA_EPOCH - HIPPARCOS_EPOCH), gaia)
    path = np.linalg.norm(gaia - hip_then, axis=1)
    double = np.linalg.norm(gaia - hip_now, axis=1) > DOUBLE_ARCSEC * ARCSEC + FAST_SHARE * path
    motion[double] = tangential(hip_motion[double], gaia[double])
    return motion


def tangential(motion: np.ndarray, position: np.ndarray) -> np.ndarray:
    """The part of `motion` at right angles to `position`."""
    return motion - position * np.einsum("ni,ni->n", motion, position)[:, None]


def without_counterpart(hip_now: np.ndarray, hip_g: np.ndarray, paired: np.ndarray, gaia: Gaia) -> np.ndarray:
    """Hipparcos stars that no Gaia entry stands for; the components of a close double count as standing for it."""
    alone = np.setdiff1d(np.arange(hip_g.size), paired)
    near = cKDTree(gaia.position).query_ball_point(hip_now[alone], 2.0 * PAIR_ARCSEC * ARCSEC)
    covered = [any(gaia.magnitude[i] < hip_g[star] + 1.5 for i in found) for star, found in zip(alone, near)]
    return alone[~np.array(covered, dtype=bool)]


def hipparcos_as_g(hipparcos: Hipparcos, hip_now: np.ndarray, gaia: Gaia) -> np.ndarray:
    """G from Hp: the median of G - Hp at each V-I, by the stars within half an arcsecond."""
    distance, i = cKDTree(gaia.position).query(hip_now, distance_upper_bound=0.5 * ARCSEC)
    both = np.isfinite(distance) & (hipparcos.hp < 9.0)
    offset = gaia.magnitude[i[both]] - hipparcos.hp[both]
    edges = np.arange(-0.4, 3.81, 0.3)
    at, value = [], []
    for low, high in pairwise(edges):
        inside = (hipparcos.v_minus_i[both] >= low) & (hipparcos.v_minus_i[both] < high)
        at.append(0.5 * (low + high))
        value.append(np.median(offset[inside]))
    return hipparcos.hp + np.interp(hipparcos.v_minus_i, at, value)


def tycho_as_g(tycho: Tycho, gaia: Gaia) -> np.ndarray:
    """G from V_T: a straight line through the medians of G - V_T where the Gaia list is complete, V_T 6 to 9.5."""
    distance, i = cKDTree(gaia.position).query(tycho.position, distance_upper_bound=CLOSE_ARCSEC * ARCSEC)
    both = np.isfinite(distance)
    vt, offset = tycho.vt[both], gaia.magnitude[i[both]] - tycho.vt[both]
    middle = np.arange(6.25, 9.5, 0.5)
    median = [np.median(offset[np.abs(vt - m) < 0.25]) for m in middle]
    slope, zero = np.polyfit(middle, median, 1)
    return tycho.vt + zero + slope * np.clip(tycho.vt, 6.0, 12.0)


def with_tycho_motions(stars: Stars, tycho: Tycho, tycho_g: np.ndarray) -> tuple[Stars, np.ndarray]:
    """The stars with motions from Tycho-2 where none was known, and the Tycho-2 entries used up by any of them."""
    s, t = pairs(stars.at(TYCHO_EPOCH), stars.magnitude, tycho.position, tycho_g, 1.2)
    stars = moved_from(stars, s, tycho.position[t])

    alone = np.setdiff1d(np.flatnonzero(~stars.measured), s)
    free = np.setdiff1d(np.arange(tycho_g.size), t)
    i, j = pairs(stars.position[alone], stars.magnitude[alone], tycho.position[free], tycho_g[free], 0.5, FAST_ARCSEC)
    distance = np.linalg.norm(stars.position[alone[i]] - tycho.position[free[j]], axis=1)
    fast = distance > PAIR_ARCSEC * ARCSEC
    s, fast_t = alone[i[fast]], free[j[fast]]
    return moved_from(stars, s, tycho.position[fast_t]), np.concatenate([t, fast_t])


def moved_from(stars: Stars, which: np.ndarray, tycho_position: np.ndarray) -> Stars:
    """The stars, those of `which` without a motion having come from `tycho_position` in 2000.0."""
    new = ~stars.measured[which]
    s, then = which[new], tycho_position[new]
    motion, measured = stars.motion.copy(), stars.measured.copy()
    motion[s] = tangential((stars.position[s] - then) / (GAIA_EPOCH - TYCHO_EPOCH), stars.position[s])
    measured[s] = True
    return Stars(stars.position, motion, measured, stars.magnitude)


def left_over(stars: Stars, tycho: Tycho, taken: np.ndarray) -> np.ndarray:
    """Tycho-2 entries that are not paired, nor so near another star that a camera sees them as one."""
    rest = np.setdiff1d(np.arange(tycho.vt.size), taken)
    for year, reach in ((TYCHO_EPOCH, PAIR_ARCSEC), (HIPPARCOS_EPOCH, CLOSE_ARCSEC)):
        distance, _ = cKDTree(stars.at(year)).query(tycho.position[rest], distance_upper_bound=reach * ARCSEC)
        rest = rest[~np.isfinite(distance)]
    return rest


def cell_motions_mas(stars: Stars) -> np.ndarray:
    """Median motion (CELL_COUNT, 3), whole mas/yr, of the faint stars of measured motion around each cell."""
    known = stars.measured & (stars.magnitude > FAINT_G)
    centres = cell_centres()
    _, near = cKDTree(stars.position[known]).query(centres, k=NEIGHBOURS)
    return np.rint(tangential(np.median(stars.motion[known][near], axis=1), centres) * MAS_PER_RAD)
