"""What the screws tell about longitude and clock.

A wrong longitude or clock turns the whole sky about the pole, and no frame shows it. But then the azimuth screw,
which moves the axis along the horizon, seems to move it aslant, and the altitude screw by the same angle. A base out
of level does that too, by its few degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

# chosen: so long a path has a direction even when the base creeps by arcseconds
SHORTEST_PATH_RAD = math.radians(3.0 / 60.0)
SUSPICIOUS_RAD = math.radians(12.0)  # no base leans so much
ALIKE_RAD = math.radians(7.0)  # two screws of one mount, out of square and out of level
KEPT_PATHS = 6  # of each screw


@dataclass(frozen=True)
class ScrewPath:
    """One reported turn of one screw: how far its path is turned from its own direction, rad, from east toward up."""

    azimuth: bool
    turned_rad: float


def screw_path(azimuth: bool, east_rad: float, up_rad: float, sigma_rad: float) -> ScrewPath | None:
    """The path of a move (east, up); None when it is too short to have a direction."""
    size = math.hypot(east_rad, up_rad)
    if size < max(SHORTEST_PATH_RAD, 20.0 * sigma_rad):
        return None
    angle = math.atan2(up_rad, east_rad) - (0.0 if azimuth else 0.5 * math.pi)
    return ScrewPath(azimuth, math.remainder(angle, math.pi))  # either way along the line


def with_path(paths: tuple[ScrewPath, ...], path: ScrewPath) -> tuple[ScrewPath, ...]:
    """One more path; of each screw the latest are kept."""
    own = [p for p in (*paths, path) if p.azimuth is path.azimuth][-KEPT_PATHS:]
    return (*(p for p in paths if p.azimuth is not path.azimuth), *own)


def sky_turn_rad(paths: Sequence[ScrewPath]) -> float | None:
    """By how much the sky is turned against both screws alike, rad; None when it is not, or when nothing is known."""
    by_screw = [[path.turned_rad for path in paths if path.azimuth is azimuth] for azimuth in (True, False)]
    if not all(by_screw):
        return None
    along, upward = (_middle(angles) for angles in by_screw)
    turn = _middle([along, upward])
    if abs(math.remainder(along - upward, math.pi)) > ALIKE_RAD or abs(turn) < SUSPICIOUS_RAD:
        return None
    return turn


def _middle(angles: Sequence[float]) -> float:
    """Mean of directions that count modulo half a turn."""
    return 0.5 * math.atan2(sum(math.sin(2.0 * a) for a in angles), sum(math.cos(2.0 * a) for a in angles))
