"""A night on paper: two exact screws, readings with noise, and somebody who does what the coach says, nothing else.

No images and no sky: it exercises states, table, screw learning, plan and coach. The hand errs by `hand_error` (one
standard deviation, relative), now and then turns the wrong way, and reports most turns: as told, or read off the
head of the screw with an error of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, rotation_about, unit
from polewright.core.model import Camera, Site, SkyPosition, TargetPole, Utc
from polewright.core.night import advice as says
from polewright.core.night.advise import advise
from polewright.core.night.effects import EstimateAxis, FollowAxis, Refused, StartFollowing
from polewright.core.night.events import (
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    BackAsked,
    BaseLocked,
    BaseUnlocked,
    FrameSolved,
    FrameUnsolved,
    LessonAsked,
    NextAsked,
    NightStarted,
    RestartAsked,
    ScrewTurned,
    Ticked,
)
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, PlacedFrame, RotationGain
from polewright.core.night.states import NightState, Stage, Waiting, begun
from polewright.core.night.table import step
from polewright.core.screws.angles import Screw, ScrewAngles, offset_from_angles
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory, ScrewPrior
from polewright.core.star_trouble import Trailed

FRAME_S, SECONDS_PER_TURN, REACTION_S = 2.5, 6.0, 1.5
READING_FLOOR_TURNS = 1.0 / 120.0


@dataclass
class PaperScrew:
    """Rate arcmin per clockwise turn (signed), backlash in turns, change of the rate per degree."""

    rate: float
    backlash: float
    change: float = 0.0
    slack: float = 0.5  # share of the backlash ahead of a clockwise turn
    turned: float = 0.0
    last_motion: float = 0.0

    def turn(self, turns: float, coordinate: float) -> float:
        """What the coordinate moves by, arcmin."""
        ahead = (self.slack if turns > 0.0 else 1.0 - self.slack) * self.backlash
        lost = min(ahead, abs(turns))
        if self.backlash:
            self.slack += math.copysign(lost / self.backlash, -turns)
        engaged = math.copysign(abs(turns) - lost, turns)
        self.turned += turns
        rate = self.rate * (1.0 + self.change * coordinate / 60.0)
        slope = self.rate * self.change / 60.0
        return rate * engaged if abs(slope * engaged) < 1e-9 else rate * math.expm1(slope * engaged) / slope


@dataclass
class PaperNight:
    """One night. `hand_error`: relative sigma of a turn; `wrong_way`: how often the direction is mistaken, unnoticed;
    `reading_error`: relative sigma of a turn read off the screw head, None where turns are reported as told;
    `reports`: the share of turns that are reported at all."""

    seed: int
    tolerance_arcsec: float = 30.0
    latitude_deg: float = 52.0
    off_deg: tuple[float, float] | None = None  # (east on the horizon, up); None: up to 4 degrees, at random
    hand_error: float = 0.2
    wrong_way: float = 0.04
    reports: float = 0.95
    reading_error: float | None = 0.03
    capture_sigma_arcsec: float = 3.0
    frame_sigma_arcsec: float = 3.0
    lock_shift_arcmin: float = 0.6
    lean_deg: float = 0.5
    azimuth_memory: ScrewMemory = field(default_factory=ScrewMemory)
    altitude_memory: ScrewMemory = field(default_factory=ScrewMemory)
    lock_memory: LockMemory = NEW_LOCKS
    screws: tuple[PaperScrew, PaperScrew] | None = None
    shift: np.ndarray | None = None  # arcmin of bearing, of height; None: at random
    known: bool = False  # the rates are known from earlier nights
    lessons: bool = False  # asks for a lesson on each screw
    walking: bool = False  # the eye leads the hand

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        rng = self.rng
        if self.screws is None:
            self.screws = (
                PaperScrew(rng.uniform(20, 110) * rng.choice([-1, 1]), rng.uniform(0.05, 0.3), 0.0, rng.uniform()),
                PaperScrew(
                    rng.uniform(20, 110) * rng.choice([-1, 1]),
                    rng.uniform(0.02, 0.12),
                    rng.uniform(-0.015, 0.015),
                    rng.uniform(),
                ),
            )
        if self.off_deg is None:
            size, way = 4.0 * math.sqrt(rng.uniform(0.05, 1.0)), rng.uniform(0, 2 * math.pi)
            shrink = math.cos(math.radians(self.latitude_deg))
            self.off_deg = size * math.cos(way) / shrink, size * math.sin(way)
        if self.known:
            self.azimuth_memory, self.altitude_memory = (ScrewMemory(_prior(s, rng)) for s in self.screws)
        self.bearing, self.height = (60.0 * v for v in self.off_deg)
        self.t = 0.0
        self.theta = math.radians(-30.0)
        self.creep = (0.0, 0.0, 0.0)  # arcmin of bearing, of height, since
        self.lean = math.radians(rng.uniform(-self.lean_deg, self.lean_deg))
        self.turned_since_lock = True
        at_random = rng.normal(0.0, self.lock_shift_arcmin / 2.0, 2)
        self.shift = at_random if self.shift is None else self.shift
        self.capture_error = np.zeros(2)
        self.capture_errors: dict[tuple[str, int], np.ndarray] = {}
        self.frame_number = 0
        self.state: NightState = Waiting()
        self.log: list[AnyEvent] = []
        self.refused: list[Refused] = []
        self.false_done = False
        self.hand_turns = 0
        self.taught: set[Screw] = set()
        self.start_arcsec = self.error_arcsec()

    # truth

    def truth(self) -> tuple[float, float]:
        """(east, up) of the axis, rad."""
        left = math.exp(-(self.t - self.creep[2]) / 3.0)
        angles = ScrewAngles(self.bearing - self.creep[0] * left, self.height - self.creep[1] * left)
        return offset_from_angles(angles, math.radians(abs(self.latitude_deg)), self.latitude_deg < 0.0)

    def true_screw(self, screw: Screw) -> PaperScrew:
        assert self.screws is not None
        return self.screws[0 if screw is Screw.AZIMUTH else 1]

    def error_arcsec(self) -> float:
        return math.hypot(*self.truth()) * ARCSEC_PER_RAD

    def turn(self, screw: Screw, turns: float) -> None:
        """A hand turns a screw; a little of the motion creeps in later."""
        assert self.screws is not None
        if screw is Screw.AZIMUTH:
            moved = self.screws[0].turn(turns, self.bearing)
            self.bearing += moved
            self.height -= moved * self.lean
            self.creep = (0.03 * moved, -0.03 * moved * self.lean, self.t)
        else:
            moved = self.screws[1].turn(turns, self.height)
            self.height += moved
            self.creep = (0.0, 0.03 * moved, self.t)
        self.turned_since_lock = True

    # the program

    def feed(self, event: AnyEvent) -> None:
        """One event, and whatever it asks to have computed."""
        self.log.append(event)
        self.state, effects = step(self.state, event)
        for effect in effects:
            if isinstance(effect, Refused):
                self.refused.append(effect)
            elif isinstance(effect, EstimateAxis):
                self.feed(AxisMeasured(self.t, self._axis(effect)))
            elif isinstance(effect, FollowAxis):
                self.feed(AxisFollowed(self.t, effect.frame.name, self._followed()))
            elif isinstance(effect, StartFollowing):
                pass

    def _axis(self, effect: EstimateAxis) -> MeasuredAxis:
        places = _places(effect.frames)
        sigma = (self.capture_sigma_arcsec * (12.0 if places < 3 else 1.0)) / ARCSEC_PER_RAD / math.sqrt(2.0)
        key = (effect.frames[0].name, places)  # more frames at the same places bring no fresh luck
        if key not in self.capture_errors:
            self.capture_errors[key] = self.rng.normal(0.0, sigma, 2)
        self.capture_error = self.capture_errors[key]
        east, up = np.array(self.truth()) + self.capture_error
        gains = (RotationGain(math.radians(40.0), sigma * math.sqrt(2.0) / (12.0 if places < 3 else 2.0)),)
        covariance = ((sigma**2, 0.0), (0.0, sigma**2))
        names = tuple(f.name for f in effect.frames)
        return MeasuredAxis(float(east), float(up), covariance, frames=names, gains=gains)

    def _followed(self) -> FollowedAxis:
        sigma = self.frame_sigma_arcsec / ARCSEC_PER_RAD / math.sqrt(2.0)
        east, up = np.array(self.truth()) + self.capture_error + self.rng.normal(0.0, sigma, 2)
        (shared, _), _ = begun(self.state).shared
        covariance = ((shared + sigma**2, 0.0), (0.0, shared + sigma**2))
        return FollowedAxis(float(east), float(up), covariance, "on")

    def frame(self, smeared: bool = False) -> None:
        """The camera delivers a frame."""
        self.t += FRAME_S
        self.frame_number += 1
        name = f"frame-{self.frame_number:04d}"
        if smeared:
            self.feed(FrameUnsolved(self.t, name, Trailed(12, 40.0, FRAME_S), 12))
        else:
            self.feed(FrameSolved(self.t, self.placed(name)))

    def placed(self, name: str) -> PlacedFrame:
        """A frame of the camera where it now looks: 40 degrees from the pole at the RA axis's angle."""
        phi = math.radians(abs(self.latitude_deg))
        side = -1.0 if self.latitude_deg < 0.0 else 1.0
        pole = np.array([0.0, side * math.cos(phi), math.sin(phi)])
        meridian = np.array([0.0, -pole[2] * side, abs(pole[1])])
        start = unit(math.sin(math.radians(40.0)) * meridian + math.cos(math.radians(40.0)) * pole)
        x = unit(np.cross(pole, start))
        base = np.stack([x, np.cross(start, x), start], axis=1)
        attitude = rotation_about(pole, -side * self.theta) @ base
        rows = tuple(tuple(float(v) for v in row) for row in attitude)
        camera = Camera(1280, 960, 9900.0)
        utc = Utc(2461000.5, self.t / 86400.0)
        tiny = ((1e-12, 0.0, 0.0), (0.0, 1e-12, 0.0), (0.0, 0.0, 1e-8))
        return PlacedFrame(name, utc, rows, tiny, camera, 40, 1.0, SkyPosition(0.0, 50.0))  # type: ignore[arg-type]

    # the person

    def begin(self) -> None:
        """Site, target and tolerance are known."""
        plan = NightStarted(
            0.0,
            Site(self.latitude_deg, 10.0),
            TargetPole.TRUE,
            math.radians(abs(self.latitude_deg)),
            self.tolerance_arcsec / ARCSEC_PER_RAD,
            azimuth=self.azimuth_memory,
            altitude=self.altitude_memory,
            locks=self.lock_memory,
            walking=self.walking,
        )
        self.feed(plan)

    def run(self, longest_s: float = 3600.0) -> NightState:
        """Until the coach says done, or an hour is over."""
        self.begin()
        done: says.Errand | None = None
        done_s = 0.0
        while self.t < longest_s:
            advice = advise(self.state)
            if isinstance(advice.action, says.Done):
                self.false_done = self.error_arcsec() > self.tolerance_arcsec
                break
            if advice.errand != done or (self.t - done_s > 30.0 and not isinstance(advice.action, says.Wait)):
                done = advice.errand
                self.obey(advice.action)
                done_s = self.t
            else:
                self.frame()
        return self.state

    def obey(self, action: says.Action) -> None:
        """Does what is asked, with human hands."""
        self.t += REACTION_S
        if isinstance(action, says.Turn):
            self.obey_turn(action)
        elif isinstance(action, says.RotateAxis):
            self.theta += math.radians(action.west_deg) * (1.0 + self.rng.normal(0.0, 0.05))
            self.t += abs(action.west_deg) / 3.0 + 2.0
            self.frame()
        elif action is says.Do.LOCK:
            if self.turned_since_lock:
                assert self.shift is not None
                self.bearing += self.shift[0]
                self.height += self.shift[1]
                self.turned_since_lock = False
                if self.rng.uniform() < 0.5:  # the camera does not wait for the person to say so
                    self.frame()
                    self.frame()
            self.feed(BaseLocked(self.t))
        elif action is says.Do.UNLOCK:
            self.feed(BaseUnlocked(self.t))
        elif isinstance(action, says.SetUp) or action is says.Do.GO_ON:
            self.feed(NextAsked(self.t))
        elif action in (says.Do.START_AGAIN, says.Do.TIGHTEN_CLUTCH):
            self.feed(RestartAsked(self.t))
        elif action is says.Do.GO_BACK:
            self.feed(BackAsked(self.t))
        else:
            self.feed(Ticked(self.t))
            self.frame()

    def obey_turn(self, action: says.Turn) -> None:
        if self.lessons and action.screw not in self.taught:
            self.taught.add(action.screw)
            self.feed(LessonAsked(self.t, action.screw))
            return
        turns = done = action.turns * (1.0 + self.rng.normal(0.0, self.hand_error))
        if self.rng.uniform() < self.wrong_way:
            turns = -turns
        self.hand_turns += 1
        pieces = max(1, round(abs(turns) * SECONDS_PER_TURN / FRAME_S))
        for piece in range(pieces):
            self.turn(action.screw, turns / pieces)
            if piece < pieces - 1:
                self.frame(smeared=True)
        self.t += max(abs(turns) * SECONDS_PER_TURN - (pieces - 1) * FRAME_S, 0.2) + 1.0
        if self.rng.uniform() < self.reports:
            self.feed(ScrewTurned(self.t, action.screw, self._read_off(done)))

    def _read_off(self, turns: float) -> float | None:
        """What the head of the screw shows: 3 % of the turn, and at least half a mark of a clock face."""
        if self.reading_error is None:
            return None
        share = self.reading_error * min(abs(turns), 1.0)
        return turns + self.rng.normal(0.0, share) + self.rng.normal(0.0, READING_FLOOR_TURNS)


def _prior(screw: PaperScrew, rng: np.random.Generator) -> ScrewPrior:
    """What several nights would have left: the rate to 5 %, the backlash to a fifth."""
    rate = screw.rate * (1.0 + rng.normal(0.0, 0.05))
    backlash = screw.backlash * (1.0 + rng.normal(0.0, 0.2))
    return ScrewPrior(rate, abs(rate) * 0.05, backlash, 0.2 * screw.backlash, human_error=0.18, human_weight=20.0)


def _places(frames: tuple[PlacedFrame, ...]) -> int:
    seen: list[np.ndarray] = []
    for frame in frames:
        look = np.array(frame.camera_to_enu)[:, 2]
        if all(float(look @ other) < math.cos(math.radians(4.0)) for other in seen):
            seen.append(look)
    return len(seen)


def nights(count: int, first_seed: int = 1, **settings: object) -> Iterator[PaperNight]:
    """Nights with growing seeds, each played to its end."""
    for seed in range(first_seed, first_seed + count):
        night = PaperNight(seed, **settings)  # type: ignore[arg-type]
        night.run()
        yield night


__all__ = ["ARCMIN_PER_RAD", "PaperNight", "PaperScrew", "Stage", "nights", "replace"]
