"""A whole night on a simulated mount: world, engine, record and hand together, in virtual time."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.states import Running, begun
from polewright.core.night.witness import told_offset
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewRate
from polewright.core.sky.places import default_target
from polewright.practice.frame_delivery import Delivers, FilesThroughWatcher
from polewright.practice.hand import MakeHand, Seat, Tally
from polewright.practice.judge import Judge
from polewright.practice.told_hand import ToldHand
from polewright.practice.walking_hand import HaltingHand, WalkingHand
from polewright.practice.world import RehearsalWorld, TrueOffset
from polewright.runtime.engine import Measure, NightEngine
from polewright.runtime.jobs import Jobs
from polewright.runtime.starting import USUAL_TOLERANCE_RAD, night_started
from polewright.services.night_folders import KeepFrames, keep_frame
from polewright.services.recorder import NightRecorder
from polewright.simulate.scenarios import Scenario

LONGEST_NIGHT_S = 1.5 * 3600.0
TICK_S = 1.0
SYNC_S = 60.0  # of the night's time; a rehearsal that an empty battery ends may lose its last lines


@dataclass(frozen=True)
class ScrewScore:
    """A screw as learned and as it is at the end, near the pole; None where nothing was learned."""

    learned: ScrewRate | None
    true_arcmin_per_turn: float
    true_backlash_turns: float
    seen_arcmin: tuple[float, ...] = ()  # the motions that the frames showed, a turn each


@dataclass(frozen=True)
class Score:
    """How a rehearsal ended: what the program claims, beside the truth.

    `truth`: when the proof was claimed, or else at the end. `contrary_orders`: instructions against the true
    remaining motion; `overshoot_arcsec`: how far the axis went beyond the aim, a turn in progress each;
    `screw_minutes`: from the first screw instruction to the last locks.
    """

    scenario: str
    seed: int
    proved: bool
    start: TrueOffset
    truth: TrueOffset
    claimed_east_arcmin: float
    claimed_up_arcmin: float
    claimed_sigma_arcmin: float
    tolerance_arcmin: float
    goes: int
    turns: int
    wrong_turns: int
    minutes: float
    frames: int
    azimuth: ScrewScore
    altitude: ScrewScore
    hand: str = "told"
    contrary_orders: int = 0
    overshoot_arcsec: tuple[float, ...] = ()
    screw_minutes: float = math.nan

    @property
    def true_inside(self) -> bool:
        """Whether the true error is inside the tolerance."""
        return self.truth.total_arcmin <= self.tolerance_arcmin

    @property
    def false_done(self) -> bool:
        """Claimed, but not so."""
        return self.proved and not self.true_inside


class Rehearsal:
    """Attributes: `world`, `engine`, `recorder`. `begin` starts the night; the clock of the world moves it on."""

    def __init__(
        self, world: RehearsalWorld, recorder: NightRecorder, measure: Measure, keep: Callable[[Path], str] = str
    ) -> None:
        self.world = world
        self.recorder = recorder
        self.engine = NightEngine(measure, Jobs(), recorder, world.clock, keep_frame=keep)
        self.tolerance_rad = USUAL_TOLERANCE_RAD
        self.walking = False

    def begin(self) -> None:
        """Enter site, target and tolerance, as a person does on the first page."""
        site = self.world.site
        started = night_started(site, default_target(site), self.tolerance_rad, walking=self.walking)
        self.engine.post(replace(started, at_s=self.engine.now_s()))

    def tick_on(self) -> None:
        """Let the engine know every second that time passes."""
        self.engine.tick()
        self.world.clock.after(TICK_S, self.tick_on)

    def true_offset(self) -> TrueOffset:
        """The truth against tonight's target, now."""
        return self.world.true_offset(default_target(self.world.site))


Watch = Callable[["Rehearsal", Seat], None]
HANDS: dict[str, MakeHand] = {"told": ToldHand, "walking": WalkingHand, "halting": HaltingHand}
"""The hands that a rehearsal can be left to, by the name that the command takes."""


def rehearse_with_files(
    scenario: str | Scenario,
    seed: int,
    folder: Path,
    night_folder: Path,
    measure: Measure,
    make_hand: MakeHand = ToldHand,
    watch: Watch | None = None,
    image_s: float = 0.0,
) -> Score:
    """A night to its end through real FITS files and the real watcher; `image_s` of the imaging run follow it."""
    world = RehearsalWorld(scenario, seed)
    recorder = NightRecorder(night_folder, world.clock, sync_s=SYNC_S)
    keep = partial(keep_frame, night_folder, how=KeepFrames.LINK)
    night = Rehearsal(world, recorder, measure, keep)
    files = FilesThroughWatcher(world, folder, night.engine.frame_arrived)
    return rehearse(night, files, seed, make_hand, watch, image_s)


def rehearse(
    night: Rehearsal, camera: Delivers, seed: int, make_hand: MakeHand, watch: Watch | None, image_s: float
) -> Score:
    """The same with the frames brought by `camera`."""
    clock = night.world.clock
    start = night.true_offset()
    seat = Seat(night.world, night.engine, lambda: night.world.start_camera(camera.deliver))
    hand = make_hand(seat, seed)
    night.walking = hand.walks
    if hand.walks:
        night.world.work_briskly()
    judge = Judge(night.world, night.engine)
    if watch is not None:
        watch(night, seat)
    camera.start()
    try:
        night.begin()
        night.tick_on()
        hand.begin()
        while not hand.finished and clock.monotonic_s() < LONGEST_NIGHT_S:
            clock.advance(1.0)
        score = replace(
            score_of(night, seat.tally, seed, start),
            truth=judge.claimed or night.true_offset(),
            hand=hand.name,
            contrary_orders=judge.contrary_orders,
            overshoot_arcsec=tuple(judge.overshoot_arcsec),
            screw_minutes=judge.screw_minutes,
        )
        for _ in range(round(image_s)):
            clock.advance(1.0)
    finally:
        camera.stop()
        night.recorder.close()
    return score


def score_of(night: Rehearsal, tally: Tally, seed: int, start: TrueOffset) -> Score:
    """Claim beside truth."""
    state = begun(night.engine.state)
    spec = night.world.rig.night.mount
    offset = told_offset(state)
    azimuth, altitude = night.world.rig.mount.turn_worth_arcmin(night.world.rig.seconds(night.world.now()))
    return Score(
        scenario=night.world.rig.night.scenario.name,
        seed=seed,
        proved=state.proved,
        start=start,
        truth=night.true_offset(),
        claimed_east_arcmin=offset.east_rad * ARCMIN_PER_RAD if offset else math.nan,
        claimed_up_arcmin=offset.up_rad * ARCMIN_PER_RAD if offset else math.nan,
        claimed_sigma_arcmin=offset.sigma_rad * ARCMIN_PER_RAD if offset else math.nan,
        tolerance_arcmin=night.tolerance_rad * ARCMIN_PER_RAD,
        goes=state.handling.goes,
        turns=tally.moves,
        wrong_turns=tally.wrong_moves,
        minutes=night.engine.now_s() / 60.0,
        frames=night.world.frames_taken,
        azimuth=_screw(state, Screw.AZIMUTH, azimuth, spec.azimuth.backlash_turns),
        altitude=_screw(state, Screw.ALTITUDE, altitude, spec.altitude.backlash_turns),
    )


def _screw(state: Running, screw: Screw, rate: float, backlash: float) -> ScrewScore:
    seen = tuple(move.moved_arcmin for move in state.memory(screw).moves)
    return ScrewScore(state.rate(screw), rate, backlash, seen)
