"""A sample of every refusal and doubt of axis, drift and shift, for tests that go over all of them."""

from __future__ import annotations

from polewright.core import axis_reasons as axis
from polewright.core.drift import reasons as drift
from polewright.core.not_measurable import RecordedRefusal
from polewright.core.star_trouble import TooFewStars
from polewright.core.unsolved import BelowHorizon

RAD = 0.01
REFUSALS: tuple[axis.AxisRefusal, ...] = (
    axis.TooFewPlaces(0),
    axis.TooFewPlaces(1),
    axis.TooFewPlaced(1, 3, "b.fits", TooFewStars(2.0, 0, 0)),
    axis.SkyImpossible(BelowHorizon("a.fits", 12.0)),
    axis.MirroredAndNot("b.fits", "a.fits"),
    axis.OtherField("b.fits", 0.05, "a.fits", 0.04),
    axis.TurnedUpright("b.fits", "a.fits"),
    axis.LongApart("a.fits", "b.fits", 23.9),
    axis.SameInstant("a.fits", "b.fits"),
    axis.TooAlike(RAD, 0.8),
    axis.FarFromPole(0.5),
    axis.TooUnsure(0.02, 0.8),
    RecordedRefusal("It was so.", "Do it again."),
)
DOUBTS: tuple[axis.AxisDoubt, ...] = (
    axis.SameExposure("b.fits", "a.fits"),
    axis.LowPole(),
    axis.TwoFrames(),
    axis.Unsure(1e-3, 0.8, 1e-4),
    axis.FramesDisagree(123.0, 4, RAD, 3),
    axis.FramesDisagree(123.0, 4, RAD, 6),
    *(
        axis.MishapFound(mishap, "b.fits", RAD, index, 3, stays, undone)
        for mishap, index, stays, undone in (
            (axis.Mishap.SLIP, 1, True, True),
            (axis.Mishap.SLIP, 2, True, True),
            (axis.Mishap.SLIP, 2, False, True),
            (axis.Mishap.SLIPS, 2, True, True),
            (axis.Mishap.KICK, 2, True, True),
            (axis.Mishap.TIME, 1, False, True),
            (axis.Mishap.TIME, 1, True, False),
            (axis.Mishap.TIME, 1, False, False),
            (axis.Mishap.ODD, 1, False, True),
            (axis.Mishap.ODD, 2, False, True),
        )
    ),
    axis.ClocksDiffer(-120.0, None, 1e-5),
    axis.ClocksDiffer(3600.0, RAD, 1e-4, widened=True),
    axis.RecordedDoubt("It was so."),
)
BETTER = axis.CameraPosition(0.5, 180.0, 40.0, 1e-5)
FOLLOWED: tuple[axis.FollowDoubt, ...] = (
    axis.TrackingSeemsSwitched(True),
    axis.TrackingSeemsSwitched(False),
    axis.AxisTurned(0.5, True, 1e-4),
    axis.AxisTurned(1e-3, False, 1e-4),
    axis.OlderFrame("a.fits"),
    axis.TakenInMotion("a.fits"),
    *(axis.WeakView(look, 1e-4, better) for look in axis.Look for better in (None, BETTER)),
    axis.RecordedDoubt("It was so."),
)
DRIFT_REFUSALS: tuple[drift.DriftRefusal, ...] = (
    drift.NoFramesYet(),
    drift.AllLeftOut(4),
    drift.TooFewFrames(2, 6),
    drift.TooShort(12.0, 20.0),
    drift.NotTracking(),
    axis.SkyImpossible(BelowHorizon("a.fits", 20.0)),
    RecordedRefusal("It was so.", "Do it again."),
)
SHIFT_REFUSALS: tuple[drift.ShiftRefusal, ...] = (
    drift.TooFewClean(2, 3),
    drift.TooFewAgree(2, 3),
    drift.NoCommonShift(60.0),
)
DRIFT_DOUBTS: tuple[drift.DriftDoubt, ...] = (
    drift.Jumped(1e-4, 80.0),
    drift.Wanders(),
    drift.PartsDisagree(2e-4),
    drift.OddRate(),
    drift.MayBeHeld(free_rad=2e-4),
    drift.Held(),
    axis.RecordedDoubt("It was so."),
)
