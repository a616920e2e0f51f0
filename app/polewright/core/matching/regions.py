"""Where a frame may point, as regions of the sky: their size, what lies in them, and patches that cover them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import sky_to_vector
from polewright.core.model import FloatArray, SkyPosition

WHOLE_SKY_SR = float(4.0 * np.pi)


@dataclass(frozen=True, eq=False)
class Cap:
    """All directions within `radius_rad` of `centre` (3,)."""

    centre: FloatArray
    radius_rad: float

    @property
    def solid_angle_sr(self) -> float:
        return float(4.0 * np.pi * np.sin(0.5 * min(self.radius_rad, np.pi)) ** 2)

    def contains(self, v: FloatArray) -> bool:
        return bool(v @ self.centre >= np.cos(self.radius_rad))

    def patches(self, reach_rad: float) -> FloatArray:
        """Centres (K, 3) of circles of radius `reach_rad` that cover the cap, from the middle outward."""
        if self.radius_rad <= reach_rad:
            return self.centre[None, :]
        step = reach_rad * np.sqrt(3.0)  # hexagonal grid: circles of this radius just cover the plane
        count = int(np.ceil(self.radius_rad / step)) + 1
        i, j = (g.ravel() for g in np.mgrid[-2 * count : 2 * count + 1, -2 * count : 2 * count + 1])
        x, y = step * (i + 0.5 * j), step * np.sqrt(0.75) * j
        away = np.hypot(x, y)
        chosen = np.argsort(away, kind="stable")
        chosen = chosen[away[chosen] < self.radius_rad + reach_rad]
        east = np.cross([0.0, 0.0, 1.0] if abs(self.centre[2]) < 0.9 else [1.0, 0.0, 0.0], self.centre)
        east /= np.linalg.norm(east)
        north = np.cross(self.centre, east)
        angle = np.maximum(away[chosen], 1e-12)
        turned = (x[chosen, None] * east + y[chosen, None] * north) / angle[:, None]
        return np.asarray(np.cos(angle)[:, None] * self.centre + np.sin(angle)[:, None] * turned)


@dataclass(frozen=True)
class Ring:
    """All directions whose declination is within `half_width_rad` of `dec_rad`."""

    dec_rad: float
    half_width_rad: float

    @property
    def solid_angle_sr(self) -> float:
        low, high = self._edges()
        return float(2.0 * np.pi * (np.sin(high) - np.sin(low)))

    def _edges(self) -> tuple[float, float]:
        return (
            max(self.dec_rad - self.half_width_rad, -np.pi / 2.0),
            min(self.dec_rad + self.half_width_rad, np.pi / 2.0),
        )

    def contains(self, v: FloatArray) -> bool:
        low, high = self._edges()
        return bool(np.sin(low) <= v[2] <= np.sin(high))

    def patches(self, reach_rad: float) -> FloatArray:
        """Centres (K, 3) of circles of radius `reach_rad` that cover the ring."""
        low, high = self._edges()
        rows = max(1, int(np.ceil((high - low) / (reach_rad * 1.4))))
        places = []
        for row in range(rows):
            dec = low + (row + 0.5) * (high - low) / rows
            around = max(1, int(np.ceil(2.0 * np.pi * np.cos(dec) / (reach_rad * 1.4))))
            ra = np.arange(around) * 2.0 * np.pi / around
            places.append(sky_to_vector(ra, np.full(around, dec)))
        return np.concatenate(places)


def cap_about(position: SkyPosition, radius_deg: float) -> Cap:
    """The cap about a position."""
    centre = sky_to_vector(np.radians(position.ra_deg), np.radians(position.dec_deg))
    return Cap(centre, float(np.radians(radius_deg)))
