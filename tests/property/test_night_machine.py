"""No order of events crashes the night, loses data, or leaves the coach without a word."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from night_events import DRIFT, EVENT, FRAME, NAME, covariances
from paper_night import PaperNight
from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.drift.reading import DriftReading
from polewright.core.model import Site, TargetPole, Utc
from polewright.core.night.advise import advise
from polewright.core.night.correction.outlook import outlooks
from polewright.core.night.effects import Effect, EstimateAxis, FollowAxis, Refused, StartFollowing
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    BackAsked,
    BaseLocked,
    BaseUnlocked,
    DriftAsked,
    DriftMeasured,
    FrameSolved,
    GuidingSwitched,
    LessonAsked,
    NextAsked,
    NightStarted,
    RestartAsked,
    ScrewTurned,
    ShiftPutAway,
    SkyMended,
    TripodBumped,
    UndoAsked,
)
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, PlacedFrame
from polewright.core.night.states import NightState, Running, Stage, Waiting
from polewright.core.night.table import step
from polewright.core.not_measurable import RecordedRefusal
from polewright.core.plain import from_plain, to_plain
from polewright.core.screws.angles import Screw
from polewright.core.screws.plan import LONGEST_TURNS
from polewright.words.coach import say
from polewright.words.objections import refused_words

MAY_DROP_FRAMES = (
    RestartAsked,
    TripodBumped,
    UndoAsked,
    AxisMeasured,
    DriftAsked,
    DriftMeasured,
    BackAsked,
    SkyMended,  # "nothing that frames have shown holds any more": core/night/orientation/mending.py
)
ERROR = st.floats(-0.05, 0.05) | st.floats(-2e-4, 2e-4)


class Night(RuleBasedStateMachine):
    """An engine that answers as it likes, and a person who clicks as they like."""

    def __init__(self) -> None:
        super().__init__()
        self.state: NightState = Waiting()
        self.at_s = 0.0
        self.open: list[Effect] = []
        self.frames = 0

    def feed(self, event: AnyEvent) -> None:
        before = self.state
        self.state, effects = step(before, event)
        again, same_effects = step(before, event)
        assert again == self.state and same_effects == effects, "a step is a pure function"
        if any(isinstance(effect, Refused) for effect in effects):
            assert len(effects) == 1 and self.state is before, "a refused event changes nothing"
            (only,) = effects
            assert isinstance(only, Refused) and all(refused_words(only))
            return
        assert self.state.now_s >= before.now_s
        assert self.state.frames_used >= before.frames_used
        if isinstance(before, Waiting):
            return
        if self.state.stage is before.stage and not isinstance(event, MAY_DROP_FRAMES):
            assert self.state.capture.frames[: len(before.capture.frames)] == before.capture.frames
        if not isinstance(event, NightStarted | UndoAsked | ScrewTurned):
            for screw in Screw:
                old, new = before.memory(screw).moves, self.state.memory(screw).moves
                assert new[: len(old)] == old or len(new) == 60, "what a screw taught is kept"
        self.open += [e for e in effects if isinstance(e, EstimateAxis | FollowAxis | StartFollowing)]

    def later(self, seconds: float) -> float:
        self.at_s += seconds
        return self.at_s

    @initialize(
        latitude=st.sampled_from((52.0, -33.0, 0.0, 90.0, -89.5)), arcsec=st.sampled_from((10.0, 30.0, 300.0))
    )
    def begin(self, latitude: float, arcsec: float) -> None:
        tolerance = math.radians(arcsec / 3600.0)
        site = Site(latitude, 10.0)
        self.feed(NightStarted(0.0, site, TargetPole.TRUE, math.radians(abs(latitude)), tolerance))

    @initialize(deep=st.booleans())
    def go_deep(self, deep: bool) -> None:
        """Half of the nights begin where the screws are turned."""
        if not deep or self.state.plan is None:
            return
        night = PaperNight(5)
        self.feed(NextAsked(self.later(1.0)))
        for degrees in (-30.0, -70.0, -110.0):
            night.theta = math.radians(degrees)
            self.frames += 1
            self.feed(FrameSolved(self.later(5.0), night.placed(f"frame-{self.frames}")))
        self.open.clear()
        names = tuple(frame.name for frame in self.state.capture.frames)
        tiny = ((1e-13, 0.0), (0.0, 1e-13))
        self.feed(AxisMeasured(self.later(0.1), MeasuredAxis(0.01, -0.004, tiny, frames=names)))

    @rule(east=ERROR, up=ERROR, count=st.integers(1, 4))
    def readings_at_rest(self, east: float, up: float, count: int) -> None:
        for _ in range(count):
            reading = FollowedAxis(east, up, ((1e-10, 0.0), (0.0, 1e-10)), "on")
            self.feed(AxisFollowed(self.later(2.5), "r", reading))

    @rule(lock=st.booleans())
    def the_locks(self, lock: bool) -> None:
        self.feed(BaseLocked(self.later(1.0)) if lock else BaseUnlocked(self.later(1.0)))

    @rule(event=EVENT)
    def anything(self, event: AnyEvent) -> None:
        self.at_s = max(self.at_s, event.at_s) if event.at_s < 5000.0 else self.at_s
        self.feed(event)

    @rule(frame=FRAME, seconds=st.floats(0.0, 20.0), degrees=st.sampled_from((0.0, 0.0, 35.0, 50.0, -40.0)))
    def a_frame(self, frame: PlacedFrame, seconds: float, degrees: float) -> None:
        self.frames += 1
        last = self.state.last_frame
        if last is not None and degrees:
            turned = rotation_about(np.array([0.0, 0.6, 0.8]), math.radians(degrees)) @ np.array(last.camera_to_enu)
            rows = tuple(tuple(float(v) for v in row) for row in turned)
            frame = replace(frame, camera_to_enu=rows)  # type: ignore[arg-type]
        self.feed(FrameSolved(self.later(seconds), replace(frame, name=f"frame-{self.frames}")))

    @rule(east=ERROR, up=ERROR, covariance=covariances(), good=st.booleans(), reason=NAME)
    def the_engine_answers(
        self,
        east: float,
        up: float,
        covariance: tuple[tuple[float, float], tuple[float, float]],
        good: bool,
        reason: str,
    ) -> None:
        if not self.open:
            return
        effect = self.open.pop(0)
        if isinstance(effect, FollowAxis):
            self.feed(AxisFollowed(self.later(0.1), effect.frame.name, FollowedAxis(east, up, covariance)))
        elif isinstance(effect, EstimateAxis) and good:
            names = tuple(frame.name for frame in effect.frames)
            tight = tuple(tuple(v * 1e-4 for v in row) for row in covariance)
            self.feed(AxisMeasured(self.later(0.1), MeasuredAxis(east, up, tight, frames=names)))  # type: ignore[arg-type]
        elif isinstance(effect, EstimateAxis):
            self.feed(AxisRefused(self.later(0.1), RecordedRefusal(reason, "Rotate on.")))

    @rule(count=st.integers(1, 12), kick_arcsec=st.sampled_from((0.0, 0.0, 40.0)), seconds=st.floats(1.0, 60.0))
    def the_imaging_run(self, count: int, kick_arcsec: float, seconds: float) -> None:
        """Accept, wherever that is possible, and image; the mount may be kicked halfway."""
        for _ in range(2):
            self.feed(Accepted(self.later(1.0)))
        if not self.state.aligned or self.state.paused:
            return
        night, shifts = PaperNight(6), 0
        for number in range(count):
            self.frames += 1
            placed = night.placed(f"frame-{self.frames}")
            turn = SIDEREAL_RATE_RAD_S * self.at_s
            tilt = kick_arcsec / ARCSEC_PER_RAD if number > count // 2 else 0.0
            moved = rotation_about(np.array([1.0, 0.0, 0.0]), tilt) @ rotation_about(np.array([0.0, 0.6, 0.8]), -turn)
            rows = tuple(tuple(float(v) for v in row) for row in moved @ np.array(placed.camera_to_enu))
            frame = replace(
                placed,
                camera_to_enu=rows,  # type: ignore[arg-type]
                utc_mid=Utc(2461000.5, self.at_s / 86400.0),
            )
            proof = self.state.proof
            self.feed(FrameSolved(self.later(seconds), frame))
            watching = self.state.watching
            assert watching is not None and watching.checked_s == self.state.now_s
            assert self.state.proof == proof, "a frame of the imaging run is no proof"
            assert len(watching.vigil.shifts) >= shifts, "what was found stays known"
            shifts = len(watching.vigil.shifts)

    @rule(on=st.none() | st.booleans())
    def about_the_imaging_run(self, on: bool | None) -> None:
        self.feed(ShiftPutAway(self.later(1.0)) if on is None else GuidingSwitched(self.later(1.0), on))

    @rule(seconds=st.floats(0.0, 10.0))
    def next_please(self, seconds: float) -> None:
        self.feed(NextAsked(self.later(seconds)))

    @rule(reading=DRIFT, sure=st.booleans())
    def the_stars_drift(self, reading: DriftReading, sure: bool) -> None:
        """Asked for where it may be, then an answer, now and then a complete one."""
        if self.state.drift is None:
            self.feed(DriftAsked(self.later(1.0), "east", True, ask=True))
        watch = self.state.drift
        if watch is None or not watch.samples:
            return
        fields = tuple(replace(f, frames=20, seconds=90.0) for f in reading.fields)
        good = replace(reading, here_s=0.0, there_s=0.0, unknown=None, disturbed=False, fields=fields)
        fitted = replace(good if sure else reading, samples=len(watch.samples))
        self.feed(DriftMeasured(self.later(0.1), fitted))

    @rule(screw=st.sampled_from(Screw), turns=st.none() | st.sampled_from((0.5, -0.5, 1.0, 0.0, -0.01)))
    def a_turn(self, screw: Screw, turns: float | None) -> None:
        self.feed(ScrewTurned(self.later(3.0), screw, turns))

    @rule(screw=st.sampled_from(Screw))
    def a_lesson(self, screw: Screw) -> None:
        self.feed(LessonAsked(self.later(1.0), screw))

    @invariant()
    def the_coach_has_one_thing_to_say(self) -> None:
        advice = advise(self.state)
        assert say(advice).instruction and advice.errand
        assert len(say(advice).instruction.split()) <= 8, say(advice).instruction
        assert "nan" not in (say(advice).instruction + say(advice).why + say(advice).gain).lower().split()

    @invariant()
    def the_state_makes_sense(self) -> None:
        state = self.state
        assert not (state.proved and state.stage is not Stage.PROOF)
        if state.stage is not Stage.PROOF:
            assert state.watching is None, "only an aligned mount is watched"
        if state.stage is not Stage.ORIENTATION:
            assert state.plan is not None
        both = outlooks(state) if isinstance(state, Running) else None
        assert both is None or all(math.isfinite(o.left_rad) and abs(o.plan.turns) <= LONGEST_TURNS for o in both)

    def teardown(self) -> None:
        assert from_plain(type(self.state), to_plain(self.state)) == self.state


TestNight = Night.TestCase
TestNight.settings = settings(
    max_examples=15, stateful_step_count=50, deadline=None, suppress_health_check=list(HealthCheck)
)
