"""What can be wrong with the stars of a frame, with its numbers; core/detection/verdict.py decides."""

from __future__ import annotations

from dataclasses import dataclass

STARS_NEEDED = 8  # what is asked for (chosen); a match is tried with fewer: services/solver.py, FEWEST_STARS
_SHORTER = 0.1  # a tenth of the light takes a full pixel well below half
_LONGER = 4.0  # twice the depth needs four times the exposure when the sky limits
_LEAST_LONGER_S = 0.5  # seconds; a shorter exposure is never the cure of too few stars (chosen)
_SHORT_TRAIL_PX = 6.0  # that measures as a star does


@dataclass(frozen=True)
class TooSmall:
    """The frame has fewer pixels along one side than a star needs around it."""

    least_px: int


@dataclass(frozen=True)
class CapOn:
    """Every pixel has the same low value: no light reached the sensor."""

    value_adu: float


@dataclass(frozen=True)
class TooBright:
    """This share of the pixels is full, 1 for all of them."""

    exposure_s: float | None
    share: float

    @property
    def better_s(self) -> float | None:
        """The exposure to try, s; None where the present one is not known."""
        return _SHORTER * self.exposure_s if self.exposure_s else None

    @property
    def exposure_factor(self) -> float:
        """By how much the exposure is to change."""
        return _SHORTER


@dataclass(frozen=True)
class Trailed:
    """So many stars are streaks alike, so long."""

    count: int
    length_px: float
    exposure_s: float | None

    @property
    def better_s(self) -> float | None:
        """The exposure that keeps the trails short, s; None where the present one is not known."""
        if not self.exposure_s or self.length_px <= 0.0:
            return None
        return self.exposure_s * min(1.0, _SHORT_TRAIL_PX / self.length_px)


@dataclass(frozen=True)
class Smeared:
    """The picture moved by so much while the shutter was open."""

    length_px: float


@dataclass(frozen=True)
class OutOfFocus:
    """So many stars, all too wide; as `rings` they are far out of focus."""

    stars: int
    width_px: float
    rings: bool = False


@dataclass(frozen=True)
class TooFewStars:
    """Too few stars; `needed` are wanted. None at all: clouds, dew, a cap, or far too short an exposure.

    `width_px`: how wide they are, 0 where nobody measured.
    """

    exposure_s: float | None
    hot_pixels: int
    found: int
    needed: int = STARS_NEEDED
    width_px: float = 0.0

    @property
    def better_s(self) -> float | None:
        """The exposure to try, s; None where the present one is not known."""
        return max(_LEAST_LONGER_S, _LONGER * self.exposure_s) if self.exposure_s else None

    @property
    def exposure_factor(self) -> float:
        """By how much the exposure is to change."""
        better = self.better_s
        return better / self.exposure_s if better and self.exposure_s else _LONGER


StarTrouble = TooSmall | CapOn | TooBright | Trailed | Smeared | OutOfFocus | TooFewStars
