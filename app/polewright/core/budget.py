"""How sure the axis is, part by part: what the stars leave open, and what no frame shows.

Two kinds of error make the whole. A chance is new with every capture (star noise, wind): only a covariance is known
of it. A nuisance is one number that all captures of a night share (how far the tube sags): what one unit of it does
to the axis is a column J, and its part is J J^T sigma^2. Two captures share their nuisances, so that their errors
are correlated: whoever combines captures goes by their columns (core/joint.py), or sag is averaged away that is not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from polewright.core.covariance import Covariance, FloatArray, covariance_of


class Part(Enum):
    """Where an error comes from; the value is its name in the JSON output."""

    STARS = "stars"
    AIR = "air"
    FLEXURE = "flexure"
    DRIVE = "drive"
    SETTLING = "settling"


class Nuisance(Enum):
    """A number that no frame shows and that all captures of a night share; sizes: core/axis/nuisances.py."""

    REFRACTION = "refraction"  # its scale, as a share of itself
    LOW_AIR = "low air"  # how far its shape near the horizon departs from the model, in sigmas of that
    SAG = "sag"  # rad by which the camera hangs with the tube level; goes with the cosine of the altitude
    PULL = "pull"  # rad of declination per rad of turn about the RA axis
    LATE = "late"  # s by which all time stamps are late
    CREEP_EAST = "creep east"  # rad/s by which the mount leans toward the east
    CREEP_NORTH = "creep north"  # rad/s toward the north

    @property
    def part(self) -> Part:
        return _PARTS[self]


_TOLD = (Part.STARS, Part.SETTLING)
_PARTS = {
    Nuisance.REFRACTION: Part.AIR,
    Nuisance.LOW_AIR: Part.AIR,
    Nuisance.SAG: Part.FLEXURE,
    Nuisance.PULL: Part.FLEXURE,
    Nuisance.LATE: Part.DRIVE,
    Nuisance.CREEP_EAST: Part.SETTLING,
    Nuisance.CREEP_NORTH: Part.SETTLING,
}


@dataclass(frozen=True)
class Column:
    """What one unit of a nuisance does to (east, up), rad on the sky, and its sigma in the same unit."""

    nuisance: Nuisance
    east_rad: float
    up_rad: float
    sigma: float

    @property
    def per_unit(self) -> FloatArray:
        """(2,): the column J."""
        return np.array([self.east_rad, self.up_rad])

    @property
    def covariance(self) -> FloatArray:
        """(2, 2), rad^2: J J^T sigma^2."""
        return np.asarray(np.outer(self.per_unit, self.per_unit) * self.sigma**2)


@dataclass(frozen=True)
class Chance:
    """What a part adds that is new with every capture: covariance of (east, up), rad^2."""

    part: Part
    covariance_rad2: Covariance


@dataclass(frozen=True)
class Budget:
    """The error of one capture: chances and columns. `whole` is their sum, which any +- is made from."""

    chances: tuple[Chance, ...]
    columns: tuple[Column, ...] = ()

    def part(self, part: Part) -> FloatArray:
        """Covariance (2, 2), rad^2, of one part."""
        own = [np.array(c.covariance_rad2) for c in self.chances if c.part is part]
        common = [column.covariance for column in self.columns if column.nuisance.part is part]
        return _sum([*own, *common])

    def sigma_rad(self, part: Part) -> float:
        """Total sigma of one part: root of the trace."""
        return math.sqrt(float(np.trace(self.part(part))))

    @property
    def by_chance(self) -> Covariance:
        """What another capture like this one would average away."""
        return covariance_of(_sum([np.array(c.covariance_rad2) for c in self.chances]))

    @property
    def shared(self) -> Covariance:
        """What it would not: the sum of all columns."""
        return covariance_of(_sum([column.covariance for column in self.columns]))

    @property
    def told(self) -> Covariance:
        """What the frames tell of themselves, and more of them make smaller: star noise and shaking."""
        return covariance_of(_sum([np.array(c.covariance_rad2) for c in self.chances if c.part in _TOLD]))

    @property
    def hidden(self) -> Covariance:
        """All the rest, which any number of frames at these places leaves as it is."""
        return covariance_of(np.array(self.whole) - np.array(self.told))

    @property
    def whole(self) -> Covariance:
        """The sum of all parts."""
        return covariance_of(np.array(self.by_chance) + np.array(self.shared))

    def with_chance(self, part: Part, covariance_rad2: Covariance) -> Budget:
        """The same with one more doubt."""
        return replace(self, chances=(*self.chances, Chance(part, covariance_rad2)))

    def column(self, nuisance: Nuisance) -> Column | None:
        """What one nuisance does here; None when it is not in the budget."""
        return next((c for c in self.columns if c.nuisance is nuisance), None)


def _sum(covariances: Sequence[FloatArray]) -> FloatArray:
    return np.asarray(sum(covariances, np.zeros((2, 2))))


def part_sigmas_rad(budget: Budget) -> dict[Part, float]:
    """Total sigma of every part, in the order of `Part`."""
    return {part: budget.sigma_rad(part) for part in Part}
