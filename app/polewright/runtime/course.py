"""The course of a night: the state, and the answers that the state asks for. Nothing is recorded or measured here.

The same course runs live, on resuming after a crash and in a replay; equal events give equal states and numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import assert_never

import numpy as np

from polewright.core.axis.estimate import estimate_axis, predicted_sigma_rad
from polewright.core.axis.following import FollowState, follow, start_following, start_following_axis
from polewright.core.axis.following_start import KnownAxis
from polewright.core.axis_reasons import AxisRefusal
from polewright.core.drift.reading import DriftReading, read_drift
from polewright.core.model import AxisEstimate, SkyFrame
from polewright.core.night.advice import Advice
from polewright.core.night.advise import advise
from polewright.core.night.effects import (
    Effect,
    EstimateAxis,
    FitDrift,
    FollowAxis,
    KeepDrift,
    KeepNight,
    Refused,
    SaveFlexure,
    SaveLocks,
    SaveScrew,
    ShiftFound,
    StartFollowing,
)
from polewright.core.night.events import (
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    DriftMeasured,
    DriftRefused,
    FrameUnsolved,
)
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, RotationGain
from polewright.core.night.states import NightPlan, NightState, Waiting, begun
from polewright.core.night.table import step
from polewright.core.offset import covariance_of
from polewright.core.sky.places import pole_enu

GAIN_STEPS_RAD = tuple(math.radians(d) for d in (15.0, 30.0, 45.0, 60.0, 75.0))


class Course:
    """Attributes: `state`; `following`: what is carried on from frame to frame while the screws turn."""

    def __init__(self) -> None:
        self._advised: tuple[NightState, Advice] | None = None
        self.begin_again()

    def begin_again(self) -> None:
        """As if nothing had happened yet: no night, and nothing followed."""
        self.state: NightState = Waiting()
        self.following: FollowState | None = None

    def take(self, event: AnyEvent) -> tuple[Effect, ...]:
        """One event further; what it asks for comes back."""
        self.state, effects = step(self.state, event)
        return tuple(effects)

    @property
    def advice(self) -> Advice:
        """The one thing to do in the state; worked out when it is asked for, once."""
        if self._advised is None or self._advised[0] is not self.state:
            self._advised = self.state, advise(self.state)
        return self._advised[1]

    def answer(self, effect: Effect, at_s: float) -> AnyEvent | None:
        """The event that answers an effect; None where none is due."""
        match effect:
            case EstimateAxis():
                return _estimated(effect, begun(self.state).plan, at_s)
            case StartFollowing():
                self.following = _started(effect, begun(self.state).plan)
                return None
            case FollowAxis():
                return self._follow(effect, at_s)
            case FitDrift():
                return _fitted(effect, begun(self.state).plan, at_s)
            case Refused() | KeepDrift() | SaveScrew() | SaveLocks() | SaveFlexure() | ShiftFound() | KeepNight():
                return None
            case _:
                assert_never(effect)

    def _follow(self, effect: FollowAxis, at_s: float) -> AnyEvent | None:
        if self.following is None:
            return None
        self.following, reading = follow(self.following, effect.frame.sky_frame())
        if reading.refused is not None:
            return FrameUnsolved(at_s, effect.frame.name, reading.refused)
        followed = FollowedAxis(
            float(reading.east_rad),
            float(reading.up_rad),
            covariance_of(reading.covariance_rad2),
            reading.tracking,
            tuple(reading.warnings),
        )
        return AxisFollowed(at_s, effect.frame.name, followed)


def _measured(
    effect: EstimateAxis | StartFollowing, plan: NightPlan
) -> tuple[list[SkyFrame], AxisEstimate | AxisRefusal]:
    frames = [placed.sky_frame() for placed in effect.frames]
    return frames, estimate_axis(frames, plan.site, plan.air, effect.target, plan.flexure)


def _estimated(effect: EstimateAxis, plan: NightPlan, at_s: float) -> AxisMeasured | AxisRefused:
    frames, axis = _measured(effect, plan)
    if not isinstance(axis, AxisEstimate):
        return AxisRefused(at_s, axis)
    return AxisMeasured(at_s, MeasuredAxis.of(axis, rotation_gains(frames)))


def _fitted(effect: FitDrift, plan: NightPlan, at_s: float) -> DriftMeasured | DriftRefused:
    resting = effect.wanted_rad, effect.rested_s
    found = read_drift(effect.samples, plan.site, plan.air, effect.target, *resting, plan.flexure, effect.nudged)
    if not isinstance(found, DriftReading):
        return DriftRefused(at_s, found)
    return DriftMeasured(at_s, found)


def _started(effect: StartFollowing, plan: NightPlan) -> FollowState | None:
    if effect.axis is None:
        frames, axis = _measured(effect, plan)
        return start_following(axis, frames) if isinstance(axis, AxisEstimate) else None
    pole = pole_enu(plan.site, plan.air, effect.target)
    known = KnownAxis(effect.axis.east_rad, effect.axis.up_rad, np.array(effect.axis.covariance_rad2))
    return start_following_axis(plan.site, pole, known, effect.frames[-1].sky_frame())


def rotation_gains(frames: Sequence[SkyFrame]) -> tuple[RotationGain, ...]:
    """What one more frame would buy after turning the RA axis further, in steps of 15 degrees."""
    gains = ((step_rad, predicted_sigma_rad(frames, step_rad)) for step_rad in GAIN_STEPS_RAD)
    return tuple(RotationGain(step_rad, float(sigma)) for step_rad, sigma in gains if math.isfinite(sigma))
