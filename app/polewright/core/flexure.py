"""How a camera gives against the mount axis: what is supposed of a rig before it is known, and what it has taught.

Sag: the camera hangs by `sag_rad` with the tube level, in proportion to the cosine of the altitude. Pull: cables, a
loose bearing, a bending plate change its declination by `pull_rad` for every radian of turn about the RA axis.

What is supposed: both are as likely one way as the other, and within 20" on nineteen rigs of twenty: common practice
has 5 to 20" for guide scopes (no source). The sign of the sag is open as well: a tube held in its middle tilts by the
difference of what its two ends hang by (beam theory), and lens or camera may be the heavier. A prior that hangs the
camera down for certain would be wrong on half of such rigs by more than it gains on the others. tests/unit/
test_real_mount.py holds the simulated mounts, drawn by the same common practice, against it; with a prior wider than
what is drawn no share of captures inside their 95 % could come out as 95 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.errors import UsageError

SAG_SIGMA_RAD = 10.0 / ARCSEC_PER_RAD  # half of the 20" above
LARGEST = 0.1  # rad: nothing that holds a camera bends so far
# how likely it pulls by up to six times that on any one night, learned or not: a cable is laid anew (chosen)
SURPRISE = 0.1
PULL_SIGMA = 10.0 / ARCSEC_PER_RAD  # per rad of RA: as much as the sag (chosen; no published figure is known)


@dataclass(frozen=True)
class Flexure:
    """Mean and one sigma of sag (rad, the camera hanging is positive) and pull (rad of declination, away from the
    mount axis, per rad of right-handed turn about it). `nights` taught it; 0: the prior. `pull` 0, `sag` 0: nothing
    is taken off the frames. `correlation`: of the errors of sag and pull, once captures have told them together.
    `surprise`: how likely tonight's pull is far from `pull` all the same (core/joint.py).
    """

    sag_rad: float = 0.0
    sag_sigma_rad: float = SAG_SIGMA_RAD
    pull: float = 0.0
    pull_sigma: float = PULL_SIGMA
    nights: int = 0
    correlation: float = 0.0
    surprise: float = SURPRISE

    def __post_init__(self) -> None:
        numbers = (self.sag_rad, self.sag_sigma_rad, self.pull, self.pull_sigma)
        small = all(math.isfinite(n) and abs(n) < LARGEST for n in numbers)
        if not small or self.sag_sigma_rad < 0.0 or self.pull_sigma < 0.0:
            raise UsageError("The flexure of a rig must be told by small, finite angles.")
        if not (abs(self.correlation) < 1.0 and 0.0 <= self.surprise < 1.0):
            raise UsageError("The correlation and the surprise of a flexure are shares of one.")

    @property
    def supposed(self) -> bool:
        """Whether neither a night nor another part of the sky has told yet how it bends."""
        return self.pull_sigma >= PULL_SIGMA

    @property
    def pull_with_sag(self) -> float:
        """The pull (per rad) that comes with a rad more of sag: the regression of the one on the other."""
        return self.correlation * self.pull_sigma / self.sag_sigma_rad if self.sag_sigma_rad > 0.0 else 0.0

    @property
    def own_pull_sigma(self) -> float:
        """One sigma of the pull that does not come with sag."""
        return self.pull_sigma * math.sqrt(1.0 - self.correlation**2)


FLEXURE_PRIOR = Flexure()
