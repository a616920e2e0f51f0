"""How a camera gives against the mount axis: what is supposed of a rig before it is known, and what it has taught.

Sag: the camera hangs by `sag_rad` with the tube level, in proportion to the cosine of the altitude. Pull: cables, a
loose bearing, a bending plate change its declination by `pull_rad` for every radian of turn about the RA axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.errors import UsageError

SAG_SIGMA_RAD = 10.0 / ARCSEC_PER_RAD  # a guide scope sags by 5 to 20" (common practice, no source)
LARGEST = 0.1  # rad: nothing that holds a camera bends so far
PULL_SIGMA = 10.0 / ARCSEC_PER_RAD  # per rad of RA: of the size of the sag (chosen; no published figure is known)


@dataclass(frozen=True)
class Flexure:
    """Mean and one sigma of sag (rad, the camera hanging is positive) and pull (rad of declination, away from the
    mount axis, per rad of right-handed turn about it). `nights` taught it; 0: the prior. `pull` 0, `sag` 0: nothing
    is taken off the frames.
    """

    sag_rad: float = 0.0
    sag_sigma_rad: float = SAG_SIGMA_RAD
    pull: float = 0.0
    pull_sigma: float = PULL_SIGMA
    nights: int = 0

    def __post_init__(self) -> None:
        numbers = (self.sag_rad, self.sag_sigma_rad, self.pull, self.pull_sigma)
        small = all(math.isfinite(n) and abs(n) < LARGEST for n in numbers)
        if not small or self.sag_sigma_rad < 0.0 or self.pull_sigma < 0.0:
            raise UsageError("The flexure of a rig must be told by small, finite angles.")


FLEXURE_PRIOR = Flexure()
