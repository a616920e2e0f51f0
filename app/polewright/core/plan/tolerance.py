"""What polar error a plan can bear, by exact simulation of its exposures; and how long one may expose with an error.

The limit is the error, in its worst direction, with which the longest trail of the whole plan (worst hour angle,
worst corner, worst place of the guide star) just reaches the allowed blur; the air has its part in it. The advice is
half the limit, never below what measurement, pole and mechanics allow, and never above 5' (there declination guiding
has 1.3"/min to do). The cap and the half are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.model import FloatArray, Site, TargetPole
from polewright.core.not_measurable import NotMeasurable
from polewright.core.plan.exposure_blur import altitude_rad, axes_around, blur_px
from polewright.core.plan.imaging_plan import ImagingPlan, drift_limit_rad, rotation_limit_rad
from polewright.core.sky.places import default_target, refraction_rad

# above it declination guiding has more than 1.3"/min to do; common practice, no source
CAP_RAD = 5.0 / ARCMIN_PER_RAD
TYPICAL_FLEXURE_RAD = 10.0 / ARCSEC_PER_RAD  # a guide scope sags by 5 to 20" (common practice, no source)
POLE_DOUBT = 0.3  # share of the pole's refraction by which "the pole" itself is in doubt
LOWEST_ALTITUDE_RAD = np.radians(10.0)  # chosen: hour angles in which the target stands lower are left out of a plan
LARGEST_RAD = np.radians(5.0)  # no limit beyond this is looked for
_DIRECTIONS = 16  # of the error, searched coarsely; the worst is refined between its neighbours
SHORTEST_S, LONGEST_S = 0.01, 6.0 * 3600.0  # where the search for the longest exposure begins and ends


@dataclass(frozen=True)
class PoleChoice:
    """How one target pole serves the plan: the trail with the axis exactly on it, the error it leaves room for."""

    target: TargetPole
    blur_px: float
    limit_rad: float


@dataclass(frozen=True)
class Tolerance:
    """The accuracy that a plan needs.

    `limit_rad`: with this error the worst star trails by the allowed blur; 0 when the air alone does that.
    `advised_rad`: what to aim at. `floor_rad`: better cannot be measured and kept. `closed_form_rad`: the textbook's
    limit, without air. `air_blur_px`: trail with no error at all. `poles`: all three; `best` leaves most room.
    `session_rotation_rad`: turn of the field between first and last sub-exposure, with the advised error.
    `feasible`: the advice lies inside the limit.
    """

    target: TargetPole
    limit_rad: float
    advised_rad: float
    floor_rad: float
    closed_form_rad: float
    air_blur_px: float
    poles: tuple[PoleChoice, ...]
    best: TargetPole
    session_rotation_rad: float

    @property
    def feasible(self) -> bool:
        return self.advised_rad <= self.limit_rad

    def about(self, target: TargetPole) -> Tolerance:
        """The same plan with the axis on another pole."""
        if target is self.target:
            return self
        pole = next(p for p in self.poles if p.target is target)
        advised = advised_rad(pole.limit_rad, self.floor_rad)
        return replace(
            self,
            target=target,
            limit_rad=pole.limit_rad,
            advised_rad=advised,
            air_blur_px=pole.blur_px,
            session_rotation_rad=self.session_rotation_rad * advised / self.advised_rad,
        )


@dataclass(frozen=True)
class TargetTooLow(NotMeasurable):
    """The target stands too low at some hour angle of the plan; between which hours it does not, None: never."""

    altitude_rad: float
    hour_angle_h: float
    high_h: tuple[float, float] | None


def needed_accuracy(
    plan: ImagingPlan,
    target: TargetPole | None = None,
    axis_sigma_rad: float = 3.0 / ARCSEC_PER_RAD,
    flexure_rad: float = TYPICAL_FLEXURE_RAD,
) -> Tolerance | TargetTooLow:
    """The tolerance for `plan` about `target` (the default pole of the latitude when None).

    `axis_sigma_rad` is how well the axis can be measured (total), `flexure_rad` how much the tube gives.
    """
    if (refusal := unreachable(plan)) is not None:
        return refusal
    target = default_target(Site(plan.latitude_deg, 0.0)) if target is None else target
    poles = tuple(pole_choice(plan, choice) for choice in TargetPole)
    chosen = next(p for p in poles if p.target is target)
    floor = noise_floor_rad(plan, axis_sigma_rad, flexure_rad)
    advised = advised_rad(chosen.limit_rad, floor)
    return Tolerance(
        target=target,
        limit_rad=chosen.limit_rad,
        advised_rad=advised,
        floor_rad=floor,
        closed_form_rad=rotation_limit_rad(plan) if plan.guided else drift_limit_rad(plan),
        air_blur_px=chosen.blur_px,
        poles=poles,
        best=max(poles, key=lambda p: (p.limit_rad, -p.blur_px)).target,
        session_rotation_rad=_session_rotation_rad(plan, advised),
    )


def advised_rad(limit_rad: float, floor_rad: float) -> float:
    """Half the limit, not below the floor, not above the cap."""
    return min(max(0.5 * limit_rad, floor_rad), CAP_RAD)


def noise_floor_rad(plan: ImagingPlan, axis_sigma_rad: float, flexure_rad: float) -> float:
    """Three times the axis error, the doubt about the pole and flexure, in quadrature."""
    lifted = refraction_rad(abs(float(np.radians(plan.latitude_deg))), plan.atmosphere)
    return float(np.sqrt((3.0 * axis_sigma_rad) ** 2 + (POLE_DOUBT * lifted) ** 2 + flexure_rad**2))


def unreachable(plan: ImagingPlan) -> TargetTooLow | None:
    """Why nothing can be said: the target is too low at some time of the plan. None when it is not."""
    hours = np.linspace(plan.hour_angle_from_h, plan.hour_angle_to_h, 25)
    altitude = altitude_rad(np.radians(plan.latitude_deg), np.radians(plan.declination_deg), np.radians(15.0 * hours))
    if altitude.min() >= LOWEST_ALTITUDE_RAD:
        return None
    high = hours[altitude >= LOWEST_ALTITUDE_RAD]
    low = hours[int(np.argmin(altitude))]
    hours_high = (float(high[0]), float(high[-1])) if high.size else None
    return TargetTooLow(float(altitude.min()), float(low), hours_high)


def pole_choice(plan: ImagingPlan, target: TargetPole) -> PoleChoice:
    """The trail with the axis on that pole and the error that may be added in the worst direction."""
    at_rest = worst_blur_px(plan, target, 0.0)
    return PoleChoice(target, at_rest, _limit_rad(plan, target, at_rest))


def worst_blur_px(plan: ImagingPlan, target: TargetPole, error_rad: float, seconds: float | None = None) -> float:
    """Longest trail of the plan, pixels, over hour angles and directions of an axis error of this size."""
    if error_rad == 0.0:
        return known_blur_px(plan, target, 0.0, 0.0, seconds)
    coarse = np.linspace(0.0, 2.0 * np.pi, _DIRECTIONS, endpoint=False)
    worst = _blur_toward(plan, target, error_rad, coarse, seconds)
    step = 2.0 * np.pi / _DIRECTIONS
    middle = float(coarse[int(np.argmax(worst))])
    fine = np.linspace(middle - step, middle + step, 9)
    return float(max(worst.max(), _blur_toward(plan, target, error_rad, fine, seconds).max()))


def known_blur_px(
    plan: ImagingPlan, target: TargetPole, east_rad: float, up_rad: float, seconds: float | None = None
) -> float:
    """Longest trail of the plan, pixels, for an axis that is (east, up) off the target pole."""
    axis = axes_around(
        np.radians(plan.latitude_deg), plan.atmosphere, target, np.array([east_rad]), np.array([up_rad])
    )
    return float(blur_px(plan.shot(seconds), axis, plan.mid_hour_angles_rad(seconds)).max())


def longest_exposure_s(plan: ImagingPlan, target: TargetPole, error_rad: float) -> float | TargetTooLow:
    """How long a sub-exposure may be with an error of this size in its worst direction.

    At most the length of the plan's hour-angle range or six hours. TargetTooLow when it is.
    """
    if (refusal := unreachable(plan)) is not None:
        return refusal
    longest = min(LONGEST_S, max(plan.total_s, SHORTEST_S * 10.0))
    if worst_blur_px(plan, target, error_rad, longest) <= plan.allowed_blur_px:
        return longest
    low, high = SHORTEST_S, longest
    guess = min(max(plan.sub_s, low), high)
    for _ in range(40):  # trails grow nearly as the time: false position in the logarithm, kept inside the bracket
        trail = worst_blur_px(plan, target, error_rad, guess)
        low, high = (guess, high) if trail <= plan.allowed_blur_px else (low, guess)
        if abs(trail / plan.allowed_blur_px - 1.0) < 2e-3 or high / low < 1.0 + 1e-4:
            break
        proposal = guess * plan.allowed_blur_px / trail
        guess = proposal if low < proposal < high else float(np.sqrt(low * high))
    return float(guess)


def _blur_toward(
    plan: ImagingPlan, target: TargetPole, error_rad: float, directions_rad: FloatArray, seconds: float | None
) -> FloatArray:
    axes = axes_around(
        np.radians(plan.latitude_deg),
        plan.atmosphere,
        target,
        error_rad * np.cos(directions_rad),
        error_rad * np.sin(directions_rad),
    )
    return np.asarray(blur_px(plan.shot(seconds), axes, plan.mid_hour_angles_rad(seconds)).max(axis=1))


def _limit_rad(plan: ImagingPlan, target: TargetPole, at_rest_px: float) -> float:
    """The error in its worst direction at which the trail reaches the allowed blur, by the method of secants."""
    if at_rest_px >= plan.allowed_blur_px:
        return 0.0
    known, known_blur = 0.0, at_rest_px
    guess = min(rotation_limit_rad(plan) if plan.guided else drift_limit_rad(plan), float(LARGEST_RAD))
    for _ in range(12):
        trail = worst_blur_px(plan, target, guess)
        if abs(trail / plan.allowed_blur_px - 1.0) < 2e-3:
            break
        if guess >= LARGEST_RAD and trail < plan.allowed_blur_px:
            return float(LARGEST_RAD)
        slope = (trail - known_blur) / (guess - known) if guess != known else trail / guess
        known, known_blur = guess, trail
        proposal = guess + (plan.allowed_blur_px - trail) / slope if slope > 0.0 else 0.5 * guess
        guess = float(np.clip(proposal, 0.1 * guess, min(10.0 * guess, LARGEST_RAD)))
    return guess


def _session_rotation_rad(plan: ImagingPlan, error_rad: float) -> float:
    """Closed form: how far the field may turn over the whole series (registration removes it)."""
    half = min(0.5 * (plan.hour_angle_to_h - plan.hour_angle_from_h) * np.pi / 12.0, 0.5 * np.pi)
    return float(2.0 * np.sin(half) * error_rad / max(np.cos(np.radians(plan.declination_deg)), 1e-3))
