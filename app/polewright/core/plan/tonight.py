"""Tonight's plan as the person states it, independent of the site; and what it needs, as it goes into the record.

Decided 2026-11-25. A plan carries what it needs. The tolerance of a night follows from an exact simulation that
takes a quarter of a second, and replay must tell the same in later versions. The event that sets the tolerance
holds the plan and the computed answer for all three poles; the state is still a pure function of the events. The
page of the plan computes in the worker; between the nodes of its tables logarithms are straight (within 3 % of the
simulation). Its plot is painted by hand. Computing inside the step was rejected: slow, and a better simulation
would change old records.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from polewright.core.errors import RecordingError, UsageError
from polewright.core.model import Site, TargetPole
from polewright.core.plain import from_plain, to_plain
from polewright.core.plan.imaging_plan import ImagingPlan
from polewright.core.plan.tolerance import Tolerance, known_blur_px
from polewright.core.sky.places import standard_atmosphere

# of the declination offered first (chosen)
HIGHEST_TARGET_DEG = 80.0


class ToleranceOrigin(Enum):
    """Where tonight's tolerance comes from: nobody said anything, a plan, or the person's own word."""

    USUAL = "usual"
    PLAN = "plan"
    HAND = "hand"


@dataclass(frozen=True)
class TonightsPlan:
    """What is to be photographed, and with what. UsageError for numbers that make no sense.

    `pixel_um`, `width_px` and `height_px` are those of the sensor before binning. `target` names a listed object, ""
    when only the declination was given. `first_hour_angle_h` is west positive, None: centred on the meridian. The
    rest as in ImagingPlan.
    """

    declination_deg: float
    focal_length_mm: float = 400.0
    pixel_um: float = 4.0
    width_px: int = 6000
    height_px: int = 4000
    binning: int = 1
    sub_s: float = 120.0
    hours: float = 2.0
    target: str = ""
    first_hour_angle_h: float | None = None
    guided: bool = True
    guide_offset_deg: float = 0.5
    seeing_arcsec: float = 2.5
    allowed_blur_px: float = 0.5

    def __post_init__(self) -> None:
        if not 1 <= self.binning <= 8:
            raise UsageError(f"The binning must be between 1 and 8, not {self.binning}.")
        if not (math.isfinite(self.hours) and 0.0 < self.hours <= 16.0):
            raise UsageError(f"The total time must be between 0 and 16 hours, not {self.hours:g}.")
        self.at(Site(0.0, 0.0))

    def at(self, site: Site) -> ImagingPlan:
        """The plan at a site."""
        first = -0.5 * self.hours if self.first_hour_angle_h is None else self.first_hour_angle_h
        return ImagingPlan(
            latitude_deg=site.lat_deg,
            declination_deg=self.declination_deg,
            focal_length_mm=self.focal_length_mm,
            pixel_um=self.pixel_um * self.binning,
            width_px=self.width_px // self.binning,
            height_px=self.height_px // self.binning,
            sub_s=self.sub_s,
            hour_angle_from_h=first,
            hour_angle_to_h=first + self.hours,
            guided=self.guided,
            guide_offset_deg=self.guide_offset_deg,
            seeing_arcsec=self.seeing_arcsec,
            allowed_blur_px=self.allowed_blur_px,
            atmosphere=standard_atmosphere(site),
        )


def usual_plan(site: Site) -> TonightsPlan:
    """A plan to begin with: a small refractor with an ordinary sensor, on a target that passes near the zenith."""
    return TonightsPlan(min(max(float(round(site.lat_deg)), -HIGHEST_TARGET_DEG), HIGHEST_TARGET_DEG))


@dataclass(frozen=True)
class Planned:
    """A plan with what it needs: what an event carries, so that a record tells the same without computing again."""

    plan: TonightsPlan
    needs: Tolerance

    def __post_init__(self) -> None:
        numbers = (self.needs.advised_rad, self.needs.floor_rad, *(p.limit_rad for p in self.needs.poles))
        if not all(math.isfinite(n) and n >= 0.0 for n in numbers) or not 0.0 < self.needs.advised_rad <= math.pi:
            raise UsageError("What the plan needs must be told by finite angles.")
        if {p.target for p in self.needs.poles} != set(TargetPole):
            raise UsageError("What the plan needs must be told for every target pole.")

    def tolerance_rad(self, target: TargetPole) -> float:
        """The accuracy to aim at about this pole."""
        return self.needs.about(target).advised_rad

    def most_blur_px(self, target: TargetPole, error_rad: float) -> float:
        """Longest trail with an error of this size in its worst direction: straight from no error to the limit.

        Exact at both ends; beyond the limit it goes on. For quick looks: `blur_px` simulates.
        """
        pole = next(p for p in self.needs.poles if p.target is target)
        if pole.limit_rad > 0.0:
            slope = (self.plan.allowed_blur_px - pole.blur_px) / pole.limit_rad
        else:
            slope = self.plan.allowed_blur_px / max(self.needs.closed_form_rad, 1e-9)
        return pole.blur_px + slope * error_rad

    def blur_px(self, site: Site, target: TargetPole, east_rad: float, up_rad: float) -> float:
        """Longest trail of the plan's sub-exposures with the axis (east, up) off that pole."""
        return known_blur_px(self.plan.at(site), target, east_rad, up_rad)


def plan_to_dict(plan: TonightsPlan) -> dict[str, object]:
    """As members of a JSON object."""
    plain = to_plain(plan)
    return {name: value for name, value in plain.items() if name != "kind"}


def plan_from_dict(data: object) -> TonightsPlan | None:
    """The plan of such members; None when they describe none."""
    try:
        return from_plain(TonightsPlan, data)
    except (RecordingError, UsageError):
        return None
