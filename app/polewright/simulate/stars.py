"""The stars of the simulated sky: those of the catalogue, but not quite where and as bright as it says.

A catalogue is never the sky: places are off, brightness varies, some stars are missing, some are not in it. What is
wrong with a star depends on its number and the seed alone, so that it is the same on every frame of a night.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD, unit
from polewright.core.model import FloatArray, IntArray


class StarSource(Protocol):
    """A star catalogue as the simulator needs it, sorted by magnitude (core.catalogue.Catalogue fits)."""

    @property
    def magnitude(self) -> NDArray[np.float32]: ...

    def vectors_at(self, julian_epoch_year: float, indices: IntArray | None = None) -> FloatArray: ...

    def around(self, v: FloatArray, radius_rad: float, limit: int | None = None) -> IntArray: ...


@dataclass(frozen=True)
class StarFlaws:
    """How the sky differs from the catalogue. Strangers are stars (a share of all) that no catalogue has."""

    place_arcsec: float = 0.06
    place_outlier_share: float = 0.01
    place_outlier_arcsec: float = 0.8
    brightness_mag: float = 0.12
    variable_share: float = 0.01
    missing_share: float = 0.02
    stranger_share: float = 0.04


@dataclass(frozen=True, eq=False)
class FieldStars:
    """Stars near one direction, brightest first: true ICRS places (N, 3), magnitudes, catalogue index (-1: none)."""

    icrs: FloatArray
    magnitude: FloatArray
    index: IntArray

    def __len__(self) -> int:
        return int(self.index.size)


def stars_around(
    source: StarSource,
    v: FloatArray,
    radius_rad: float,
    epoch_year: float,
    faintest: float,
    flaws: StarFlaws,
    seed: int,
    limit: int = 6000,
) -> FieldStars:
    """The true stars down to `faintest` within `radius_rad` of the ICRS direction `v` (3,), at `epoch_year`."""
    found = source.around(v, radius_rad, limit)
    found = found[np.asarray(source.magnitude[found]) <= faintest]
    place = source.vectors_at(epoch_year, found)
    magnitude = np.asarray(source.magnitude[found], dtype=float)
    odd = _uniform(found, seed, 0) < flaws.place_outlier_share
    sigma = np.where(odd, flaws.place_outlier_arcsec, flaws.place_arcsec) / ARCSEC_PER_RAD
    place_true = unit(place + sigma[:, None] * _normal3(found, seed, 1))
    true_magnitude = magnitude + flaws.brightness_mag * _normal(found, seed, 5)
    varies = _uniform(found, seed, 7) < flaws.variable_share
    true_magnitude += np.where(varies, 1.0 * _normal(found, seed, 8), 0.0)
    there = _uniform(found, seed, 10) >= flaws.missing_share
    strange = _uniform(found, seed, 11) < flaws.stranger_share
    away = 0.01 * _normal3(found[strange], seed, 12)
    return FieldStars(
        icrs=np.concatenate([place_true[there], unit(place[strange] + away)]),
        magnitude=np.concatenate([true_magnitude[there], magnitude[strange]]),
        index=np.concatenate([found[there], np.full(int(strange.sum()), -1)]).astype(np.int64),
    )


def _uniform(number: IntArray, seed: int, salt: int) -> FloatArray:
    """One value in [0, 1) for each star number: SplitMix64 (Steele, Lea & Flood, OOPSLA 2014)."""
    with np.errstate(over="ignore"):
        z = number.astype(np.uint64) + np.uint64((seed * 64 + salt) & 0xFFFFFFFF) * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z = z ^ (z >> np.uint64(31))
    return np.asarray((z >> np.uint64(11)).astype(float) / 2.0**53)


def _normal(number: IntArray, seed: int, salt: int) -> FloatArray:
    """One standard normal value for each star number (uses two salts; Box-Muller)."""
    radius = np.sqrt(-2.0 * np.log1p(-_uniform(number, seed, salt)))
    return np.asarray(radius * np.cos(2.0 * np.pi * _uniform(number, seed, salt + 1)))


def _normal3(number: IntArray, seed: int, salt: int) -> FloatArray:
    """Three of them, (N, 3) (uses six salts apart by ten)."""
    return np.stack([_normal(number, seed, salt + 20 * axis) for axis in (1, 2, 3)], axis=-1)
