"""Hypothesis strategies for everything that can happen in a night."""

from __future__ import annotations

import math

from hypothesis import strategies as st

from frame_reasons import SAMPLES
from polewright.core.axis_reasons import RecordedDoubt, TooAlike, TooFewPlaces, TwoFrames
from polewright.core.drift.reading import DriftField, DriftReading
from polewright.core.drift.reasons import Held, Jumped, NotTracking, TooShort, Unknown
from polewright.core.model import Atmosphere, Camera, Site, SkyPosition, TargetPole, Utc
from polewright.core.night import events as ev
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, PlacedFrame, RotationGain
from polewright.core.plan.sky_choice import Obstacle
from polewright.core.plan.tolerance import PoleChoice, Tolerance
from polewright.core.plan.tonight import Planned, TonightsPlan
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewPrior

REAL = st.floats(allow_nan=False, allow_infinity=False, width=64)
TIME = st.floats(0.0, 1e5)
SMALL = st.floats(-0.1, 0.1)
NAME = st.text(max_size=12)
VARIANCE = st.floats(1e-14, 1e-4)


@st.composite
def covariances(draw: st.DrawFn) -> tuple[tuple[float, float], tuple[float, float]]:
    ee, uu = draw(VARIANCE), draw(VARIANCE)
    cross = draw(st.floats(-0.9, 0.9)) * math.sqrt(ee * uu)
    return (ee, cross), (cross, uu)


@st.composite
def rotations(draw: st.DrawFn) -> tuple[tuple[float, float, float], ...]:
    """Proper rotations from three angles."""
    a, b, c = (draw(st.floats(-math.pi, math.pi)) for _ in range(3))
    ca, sa, cb, sb, cc, sc = math.cos(a), math.sin(a), math.cos(b), math.sin(b), math.cos(c), math.sin(c)
    return (
        (ca * cb, ca * sb * sc - sa * cc, ca * sb * cc + sa * sc),
        (sa * cb, sa * sb * sc + ca * cc, sa * sb * cc - ca * sc),
        (-sb, cb * sc, cb * cc),
    )


SITE = st.builds(Site, st.floats(-90.0, 90.0), st.floats(-180.0, 180.0), st.floats(-100.0, 5000.0))
CAMERA = st.builds(Camera, st.integers(100, 9000), st.integers(100, 9000), st.floats(100.0, 1e5), st.booleans())
TINY = st.just(((1e-12, 0.0, 0.0), (0.0, 1e-12, 0.0), (0.0, 0.0, 1e-9)))
FRAME = st.builds(
    PlacedFrame,
    NAME,
    st.builds(Utc, st.floats(2440000.0, 2480000.0), st.floats(0.0, 1.0)),
    rotations(),
    TINY,
    CAMERA,
    st.integers(0, 500),
    st.floats(0.0, 50.0),
    st.builds(SkyPosition, st.floats(0.0, 360.0), st.floats(-90.0, 90.0)),
)
GAIN = st.builds(RotationGain, SMALL, st.floats(0.0, 10.0))
AXIS = st.builds(
    MeasuredAxis,
    SMALL,
    SMALL,
    covariances(),
    chi2=st.floats(0.0, 1e6),
    dof=st.integers(0, 40),
    rotation_rad=st.lists(SMALL, max_size=4).map(tuple),
    frames=st.lists(NAME, max_size=4).map(tuple),
    suspect=st.none() | NAME,
    warnings=st.lists(st.builds(RecordedDoubt, NAME, st.booleans()) | st.just(TwoFrames()), max_size=2).map(tuple),
    gains=st.lists(GAIN, max_size=3).map(tuple),
)
FOLLOWED = st.builds(FollowedAxis, SMALL, SMALL, covariances(), st.sampled_from(("on", "off", "unknown")))
MOVE = st.builds(ScrewMove, st.floats(-20, 20), st.floats(-600, 600), st.floats(-600, 600), st.floats(1e-3, 10.0))
PRIOR = st.builds(
    ScrewPrior,
    st.floats(5.0, 200.0) | st.floats(-200.0, -5.0),
    st.floats(0.1, 50.0),
    st.floats(0.0, 0.5),
    st.floats(0.001, 0.2),
)
MEMORY = st.builds(ScrewMemory, st.none() | PRIOR, st.lists(MOVE, max_size=4).map(tuple), st.booleans())
AIR = st.builds(Atmosphere, st.floats(500.0, 1050.0), st.floats(-30.0, 30.0))
ALTITUDE, TOLERANCE = st.floats(0.0, math.pi / 2.0), st.floats(1e-6, 0.1)
OBSTACLE = st.builds(Obstacle, st.floats(0.0, 360.0), st.floats(0.0, 360.0), st.floats(0.0, 90.0))

PLAN = st.builds(
    TonightsPlan,
    st.floats(-90.0, 90.0),
    st.floats(20.0, 4000.0),
    binning=st.integers(1, 4),
    sub_s=st.floats(0.1, 3600.0),
    hours=st.floats(0.1, 12.0),
    target=NAME,
    first_hour_angle_h=st.none() | st.floats(-6.0, 6.0),
    guided=st.booleans(),
)
NEEDS = st.builds(
    Tolerance,
    st.sampled_from(TargetPole),
    TOLERANCE,
    TOLERANCE,
    TOLERANCE,
    TOLERANCE,
    st.floats(0.0, 10.0),
    st.tuples(*(st.builds(PoleChoice, st.just(pole), st.floats(0.0, 10.0), TOLERANCE) for pole in TargetPole)),
    st.sampled_from(TargetPole),
    TOLERANCE,
)
PLANNED = st.builds(Planned, PLAN, NEEDS)

NIGHT_STARTED = st.builds(
    ev.NightStarted,
    TIME,
    SITE,
    st.sampled_from(TargetPole),
    ALTITUDE,
    TOLERANCE,
    st.lists(OBSTACLE, max_size=2).map(tuple),
    MEMORY,
    MEMORY,
    st.none() | PLANNED,
    rig=NAME,
)
DRIFT_FIELD = st.builds(
    DriftField, st.floats(-3.1, 3.1), st.floats(-1.5, 1.5), st.integers(3, 90), st.floats(0.0, 900.0), SMALL, SMALL
)
DRIFT = st.builds(
    DriftReading,
    st.integers(0, 12),
    SMALL,
    SMALL,
    covariances(),
    st.floats(1e-9, 1e-4),
    SMALL,
    st.floats(0.1, 60.0),
    st.lists(DRIFT_FIELD, min_size=1, max_size=3).map(tuple),
    here_s=st.sampled_from((0.0, 30.0, math.inf)),
    there_s=st.sampled_from((0.0, 30.0, math.inf)),
    component=st.sampled_from(("", "azimuth", "altitude")),
    unknown=st.none() | st.sampled_from(Unknown),
    warnings=st.lists(st.builds(Jumped, SMALL, TIME) | st.just(Held()), min_size=1, max_size=2).map(tuple),
    disturbed=st.booleans(),
)
PLAIN_EVENTS = (
    ev.NextAsked,
    ev.BackAsked,
    ev.RestartAsked,
    ev.PauseAsked,
    ev.ResumeAsked,
    ev.UndoAsked,
    ev.TripodBumped,
    ev.BaseLocked,
    ev.BaseUnlocked,
    ev.Accepted,
    ev.ShiftPutAway,
    ev.FolderBack,
    ev.Ticked,
)
EVENT = st.one_of(
    NIGHT_STARTED,
    *(st.builds(kind, TIME) for kind in PLAIN_EVENTS),
    st.builds(ev.ScrewTurned, TIME, st.sampled_from(Screw), st.none() | st.floats(-20.0, 20.0)),
    st.builds(ev.LessonAsked, TIME, st.sampled_from(Screw)),
    st.builds(ev.TrackingSwitched, TIME, st.booleans()),
    st.builds(ev.LeadSwitched, TIME, st.booleans()),
    st.builds(ev.SkyMended, TIME, SITE, ALTITUDE, AIR, st.floats(-1e9, 1e9), st.floats(-1e9, 1e9)),
    st.builds(ev.RigMended, TIME, NAME, MEMORY, MEMORY),
    st.builds(ev.TargetChanged, TIME, st.sampled_from(TargetPole), ALTITUDE),
    st.builds(ev.ToleranceChanged, TIME, TOLERANCE, st.none() | PLANNED),
    st.builds(ev.GuidingSwitched, TIME, st.booleans()),
    st.builds(ev.FrameSolved, TIME, FRAME),
    st.builds(ev.FrameUnsolved, TIME, NAME, st.sampled_from(SAMPLES), stars_detected=st.integers(0, 99)),
    st.builds(ev.AxisMeasured, TIME, AXIS),
    st.builds(ev.AxisRefused, TIME, st.sampled_from((TooFewPlaces(1), TooAlike(0.01, 0.8)))),
    st.builds(ev.DriftAsked, TIME, st.sampled_from(("east", "west")), st.booleans()),
    st.builds(ev.DriftMeasured, TIME, DRIFT),
    st.builds(ev.DriftRefused, TIME, st.sampled_from((NotTracking(), TooShort(4.0, 20.0)))),
    st.builds(ev.AxisFollowed, TIME, NAME, FOLLOWED),
    st.builds(ev.FolderLost, TIME, NAME),
)
