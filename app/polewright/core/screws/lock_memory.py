"""What tightening the base locks does to the axis, night after night: kept with the rig like the screws' rates.

In screw coordinates (bearing, height; arcmin), so that it holds at another latitude. A night counts once, by the
median of its tightenings; what is usual is the median over the nights, and it is allowed for beforehand only where
the nights agree: where they scatter by less than its size.

Decided 2026-11-25. Locks have habits, and the nights must agree about them. What tightening did is kept in screw
coordinates, a night counting once by its median; the coach aims beside the pole by the median over eight nights
where they scatter by less than its size, and spares the trial where they scatter by less than a quarter of
tonight's tolerance. Tonight's own tightening replaces the habit at once; a first event without habits (an older
record) aims at the pole as it did. Sparing the trial whenever the habit is consistent was tried: with a scatter
near the tolerance every second night loosened the locks again and needed two turns more.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import RecordingError
from polewright.core.plain import from_plain, to_plain
from polewright.core.screws.angles import ScrewAngles, offset_from_angles

Pair = tuple[float, float]
KEPT_NIGHTS = 8  # chosen: habits change slowly, and a median of eight forgives three odd nights
LEAST_NIGHTS = 2  # one night says nothing about the next
SIGMA_OF_MAD = 1.4826  # of a normal distribution: 1 / inverse of Phi at 3/4
LEAST_ARCMIN = 0.1  # a tightening is measured to some arcseconds
LARGEST_ARCMIN = 600.0  # the well's rim; beyond it was no lock


@dataclass(frozen=True)
class UsualShift:
    """One coordinate: median over the nights, their spread (sigma by the median deviation), arcmin."""

    median_arcmin: float
    spread_arcmin: float

    @property
    def consistent(self) -> bool:
        """Whether it is worth aiming beside the pole for."""
        return max(self.spread_arcmin, LEAST_ARCMIN) < abs(self.median_arcmin)


@dataclass(frozen=True)
class LockMemory:
    """`nights`: what earlier nights found, oldest first; `tonight`: every tightening measured so far."""

    nights: tuple[Pair, ...] = ()
    tonight: tuple[Pair, ...] = ()

    def with_shift(self, before: ScrewAngles, after: ScrewAngles) -> LockMemory:
        """This memory and one more tightening, from the rests about it."""
        shift = (after.bearing_arcmin - before.bearing_arcmin, after.height_arcmin - before.height_arcmin)
        if max(map(abs, shift)) > LARGEST_ARCMIN:
            return self
        return replace(self, tonight=(*self.tonight, shift))

    def for_next_night(self) -> LockMemory:
        """The memory to keep in the rig's profile."""
        if not self.tonight:
            return LockMemory(self.nights)
        return LockMemory((*self.nights, _medians(self.tonight))[-KEPT_NIGHTS:])

    @property
    def usual(self) -> tuple[UsualShift, UsualShift] | None:
        """Bearing and height; None while too few nights have told."""
        if len(self.nights) < LEAST_NIGHTS:
            return None
        bearing, height = (_usual([night[i] for night in self.nights]) for i in (0, 1))
        return bearing, height

    def known_to(self, close_rad: float) -> bool:
        """Whether a trial of the locks can be spared: what it would tell is known this well."""
        close_arcmin = close_rad * ARCMIN_PER_RAD
        return self.usual is not None and all(shift.spread_arcmin <= close_arcmin for shift in self.usual)

    def aim_rad(self, pole_altitude_rad: float, southern: bool) -> Pair:
        """Where to bring the axis so that tightening takes it to the pole, (east, up); 0 where nothing is sure."""
        if self.usual is None or not any(shift.consistent for shift in self.usual):
            return 0.0, 0.0
        bearing, height = (-shift.median_arcmin if shift.consistent else 0.0 for shift in self.usual)
        return offset_from_angles(ScrewAngles(bearing, height), pole_altitude_rad, southern)

    def to_dict(self) -> dict[str, object]:
        """Plain values for the rig's profile (JSON)."""
        result: dict[str, object] = to_plain(self)
        return result

    @staticmethod
    def from_dict(data: object) -> LockMemory:
        """The memory of such values; RecordingError when they are damaged."""
        memory = from_plain(LockMemory, data)
        sizes = [abs(value) for shift in (*memory.nights, *memory.tonight) for value in shift]
        if not all(size <= LARGEST_ARCMIN for size in sizes):  # not a number is damage as well
            raise RecordingError("The memory of the locks holds a shift that no lock makes.")
        return memory


NEW_LOCKS = LockMemory()


def _medians(shifts: Sequence[Pair]) -> Pair:
    return statistics.median(s[0] for s in shifts), statistics.median(s[1] for s in shifts)


def _usual(values: Sequence[float]) -> UsualShift:
    middle = statistics.median(values)
    return UsualShift(middle, SIGMA_OF_MAD * statistics.median(abs(v - middle) for v in values))
