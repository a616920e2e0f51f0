"""Record the nights of tests/golden/test_recorded_nights.py with the program as it is: record_nights.py [NAME...].

    python tests/bench/record_nights.py
    python tests/bench/record_nights.py --again NAME...    # the kept record stays; what comes of it is written anew
    python tests/bench/record_nights.py --shown [NAME...]  # and so what the window shows of it; what could follow
    python tests/bench/record_nights.py --numbers          # the numbers of tests/kept_numbers.py
    python tests/bench/record_nights.py --sentences        # what words/ says, of tests/kept_sentences.py

The kept nights are those of the commit that added this file; a later version writes its own, of another form, and
only where a decision is changed on purpose may a night be recorded anew. From star lists, in virtual time.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from kept_numbers import keep_numbers
from kept_sentences import keep_sentences
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.errors import FrameReadError
from polewright.core.model import Frame, Sourced, TargetPole
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    BackAsked,
    FolderBack,
    FolderLost,
    GuidingSwitched,
    NightStarted,
    PauseAsked,
    RestartAsked,
    ResumeAsked,
    ShiftPutAway,
    TargetChanged,
    ToleranceChanged,
    TrackingSwitched,
    TripodBumped,
    UndoAsked,
)
from polewright.core.night.states import Running, Stage
from polewright.core.screws.lock_memory import LockMemory
from polewright.core.sky.places import default_target, pole_enu, standard_atmosphere
from polewright.practice.by_drift import ByDrift, Way
from polewright.practice.fingers import Habits
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import HANDS, LONGEST_NIGHT_S, SYNC_S, Rehearsal
from polewright.practice.told_hand import ToldHand
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import Jobs
from polewright.services.clock import SystemClock
from polewright.services.detector import Detector
from polewright.services.measuring import FrameMeasurer, MeasuredFrame
from polewright.services.night_log import LOG_NAME, parse_night
from polewright.services.recorder import NightRecorder
from polewright.simulate.scenarios import SCENARIOS
from probed_nights import keep_probed
from recorded_nights import expect_again, names, write_night
from shown_nights import NIGHTS, keep_shown
from sky_solver import shared_solver
from star_list_nights import StarListsOnly
from starfields import add_ring, add_streak, star_field

KEPT_KINDS = (b'"kind":"log"', b'"kind":"event"', b'"kind":"drift"', b'"kind":"vigil_shift"')
HEAD_BYTES = 200
TICK_S = 4.0
SPOILED_S = 54.0
Deed = Callable[["Told"], None]


@dataclass(frozen=True)
class Step:
    """When the night has come so far, this happens; each step waits for the one before it, and then `after_s`."""

    reached: Callable[[Running], bool]
    deed: Deed
    after_s: float = 0.0


@dataclass(frozen=True)
class Script:
    """A night to record: a hand, told unless another is named, and whatever else happens."""

    scenario: str = "calm"
    seed: int = 3
    steps: Sequence[Step] = ()
    habits: Habits = field(default_factory=Habits)
    drift: Way | None = None
    image_s: float = 0.0
    locks_known: bool = False
    hand: str = "told"


class Told:
    """One night being recorded."""

    def __init__(self, script: Script, folder: Path) -> None:
        self.script, self.folder = script, folder
        self.world = RehearsalWorld(script.scenario, script.seed)
        recorder = NightRecorder(folder, self.world.clock, sync_s=SYNC_S)
        self.night = Rehearsal(self.world, recorder, self.measure)
        self.lists = StarListsOnly(
            self.world, shared_solver(), script.seed, lambda path: self.night.engine.frame_arrived(path)
        )
        self.seat = Seat(self.world, self.night.engine, lambda: self.world.start_camera(self.lists.deliver))
        told = script.hand == "told"
        self.hand = (
            ToldHand(self.seat, script.seed, script.habits) if told else HANDS[script.hand](self.seat, script.seed)
        )
        self.night.walking = self.hand.walks
        if self.hand.walks:
            self.world.work_briskly()
        self.steps = list(script.steps)
        self.spoiled: str | None = None
        self._since_s = 0.0
        if script.drift is not None:
            ByDrift(self.seat, script.drift)

    def measure(self, path: Path) -> MeasuredFrame:
        """The frame that the rig sees, or one that is spoiled."""
        return spoiled_frame(self, path) if self.spoiled else self.lists.measure(path)

    def run(self) -> None:
        """To the end of the alignment, and then so much of the imaging run."""
        self._begin()
        self._tick_on()
        self.hand.begin()
        clock = self.world.clock
        while not self.hand.finished and clock.monotonic_s() < LONGEST_NIGHT_S:
            self._second()
        for _ in range(round(self.script.image_s)):
            self._second()
        self.night.recorder.close()
        if self.steps:
            raise SystemExit(f"{self.script}: {len(self.steps)} steps never came about")

    def _tick_on(self) -> None:
        """Seldom, because every tick has to be gone through again in the test."""
        self.night.engine.tick()
        self.world.clock.after(TICK_S, self._tick_on)

    def _second(self) -> None:
        self.world.clock.advance(1.0)
        now_s = self.world.clock.monotonic_s()
        state = self.night.engine.state
        if self.steps and isinstance(state, Running) and self.steps[0].reached(state):
            self._since_s = self._since_s or now_s
            if now_s - self._since_s >= self.steps[0].after_s:
                self.steps.pop(0).deed(self)
                self._since_s = 0.0

    def _begin(self) -> None:
        if not self.script.locks_known:
            self.night.begin()
            return
        site, target = self.world.site, default_target(self.world.site)
        mount = self.world.rig.night.mount
        usual = (mount.azimuth.lock_shift_arcmin, mount.altitude.lock_shift_arcmin)
        nights = tuple((usual[0] + d, usual[1] - d) for d in (0.02, -0.03, 0.01, -0.01))
        tolerance_rad = self.night.tolerance_rad
        locks = LockMemory(nights)
        self.say(NightStarted(0.0, site, target, self.altitude_rad(target), tolerance_rad, locks=locks, rig="Moor"))

    def altitude_rad(self, target: TargetPole) -> float:
        """How high this pole stands here."""
        return float(np.arcsin(pole_enu(self.world.site, standard_atmosphere(self.world.site), target)[2]))

    def say(self, event: AnyEvent) -> None:
        """Somebody says so."""
        self.night.engine.post(event)

    @property
    def now_s(self) -> float:
        return self.night.engine.now_s()

    def kill(self) -> None:
        """The program dies before it has written the answer to its latest frame, in the middle of a line."""
        self.night.recorder.close()
        path = self.folder / LOG_NAME
        path.write_bytes(_cut(path.read_bytes()))
        recorder = NightRecorder(self.folder, self.world.clock, sync_s=SYNC_S)
        engine = NightEngine(self.measure, Jobs(), recorder, self.world.clock)
        assert recorder.resumed is not None
        engine.resume(recorder.resumed)
        self.night.recorder, self.night.engine = recorder, engine
        self.seat.engine = engine


def _cut(blob: bytes) -> bytes:
    """Up to the beginning of the latest answer, torn."""
    at = max(blob.rfind(b'"kind":"AxisFollowed"'), blob.rfind(b'"kind":"AxisMeasured"'))
    return blob[: at + 40]


def events(*kinds: type) -> Deed:
    """These are posted, one after the other."""

    def deed(told: Told) -> None:
        for kind in kinds:
            told.say(kind(told.now_s))

    return deed


def posted(make: Callable[[Told], AnyEvent]) -> Deed:
    """This is posted."""
    return lambda told: told.say(make(told))


def in_stage(stage: Stage) -> Callable[[Running], bool]:
    """The night has come to the stage."""
    return lambda state: state.stage is stage


def always(state: Running) -> bool:
    """At once."""
    return True


def turned(turns: int) -> Callable[[Running], bool]:
    """So many turns were made, and the axis is at rest."""
    return lambda state: state.handling.turns_made >= turns and state.stage in (Stage.ROUGH, Stage.FINE)


def other_pole(target: TargetPole) -> Deed:
    """The target pole is changed."""
    return posted(lambda told: TargetChanged(told.now_s, target, told.altitude_rad(target)))


def tolerance(arcsec: float) -> Deed:
    """The tolerance is changed."""
    return posted(lambda told: ToleranceChanged(told.now_s, arcsec / ARCSEC_PER_RAD))


def kick(arcmin: tuple[float, float, float]) -> Deed:
    """The tripod is moved by a small rotation, ENU."""
    return lambda told: told.world.rig.kick(told.world.now(), np.radians(np.array(arcmin) / 60.0))


def spoil(kind: str | None) -> Deed:
    """From now on every frame is spoiled in this way; None: in none."""

    def deed(told: Told) -> None:
        told.spoiled, told.world.exposure_s = kind, 2.0

    return deed


def spoiled_frame(told: Told, path: Path) -> MeasuredFrame:
    """What the program makes of a frame of nothing, of too little, or at a wrong time."""
    frame, stars = told.lists._frames[path.name]
    if told.spoiled == "unreadable":
        raise FrameReadError(f"{path.name} is no image: it begins like text.")
    if told.spoiled in ("no time", "by daylight"):
        by_day = Sourced(told.world.now().plus_seconds(15.0 * 3600.0), "header")
        told.lists._frames[path.name] = replace(frame, utc_mid=None if told.spoiled == "no time" else by_day), stars
        return told.lists.measure(path)
    assert told.spoiled is not None
    return replace(measured_once(told.spoiled, frame), frame=frame)


def measured_once(kind: str, frame: Frame) -> MeasuredFrame:
    """Detector and solver on a spoiled frame of this kind; all of one kind are alike."""
    if kind not in MEASURED:
        pixels = np.clip(np.rint(SPOILED_PIXELS[kind]()), 0, 65535).astype(np.uint16)
        measurer = FrameMeasurer(Detector(), shared_solver(), SystemClock().monotonic_s)
        MEASURED[kind] = measurer.place(replace(frame, pixels=pixels))
    return MEASURED[kind]


def smeared(length_px: float) -> np.ndarray:
    """Stars drawn out alike."""
    sky = star_field(5, 0).image
    rng = np.random.default_rng(6)
    for x, y in rng.uniform(60, 420, (40, 2)):
        add_streak(sky, x, y, 9000.0, 1.3, length_px, 0.4)
    return sky


def rings() -> np.ndarray:
    """Stars far out of focus."""
    sky = star_field(7, 0).image
    for x, y in np.random.default_rng(8).uniform(60, 420, (12, 2)):
        add_ring(sky, x, y, 60000.0, 14.0, 6.0)
    return sky


SPOILED_PIXELS: dict[str, Callable[[], np.ndarray]] = {
    "cap": lambda: np.full((480, 640), 300.0),
    "all full": lambda: np.full((480, 640), 65535.0),
    "daylight": lambda: np.where(np.arange(640) > 100, 65535.0, 40000.0) + np.zeros((480, 1)),
    "no stars": lambda: star_field(1, 0).image,
    "three stars": lambda: star_field(2, 3).image,
    "no match": lambda: star_field(3, 40).image,
    "out of focus": lambda: star_field(4, 12, fwhm_px=13.0, snr=(60.0, 300.0)).image,
    "rings": rings,
    "trailed": lambda: smeared(30.0),
}
MEASURED: dict[str, MeasuredFrame] = {}
SPOILS = (*SPOILED_PIXELS, "no time", "by daylight", "unreadable")


def spoils(begin: Callable[[Running], bool]) -> tuple[Step, ...]:
    """All ways to spoil a frame, one after the other, each for as long as patience lasts."""
    first, *others = SPOILS
    return (
        Step(begin, spoil(first)),
        *(Step(always, spoil(kind), SPOILED_S) for kind in others),
        Step(always, spoil(None), SPOILED_S),
    )


SPOILED = (*spoils(lambda state: len(state.capture.frames) > 1), *spoils(in_stage(Stage.FINE)))
INTERRUPTED = (
    Step(always, posted(lambda told: UndoAsked(told.now_s))),  # refused: nothing to take back
    Step(in_stage(Stage.CAPTURE), events(PauseAsked), 12.0),
    Step(always, events(PauseAsked, ResumeAsked), 15.0),
    Step(in_stage(Stage.CAPTURE), events(BackAsked), 4.0),
    Step(in_stage(Stage.CAPTURE), posted(lambda told: FolderLost(told.now_s, "The cable is out.")), 15.0),
    Step(always, events(FolderBack), 9.0),
    Step(lambda state: len(state.capture.frames) > 2, events(RestartAsked)),
    Step(lambda state: len(state.capture.frames) > 2, posted(lambda told: TrackingSwitched(told.now_s, True))),
    Step(turned(1), events(UndoAsked), 3.0),
    Step(turned(2), events(PauseAsked), 2.0),
    Step(always, events(UndoAsked, ResumeAsked), 5.0),
    Step(in_stage(Stage.FINE), events(BackAsked), 5.0),
    Step(in_stage(Stage.FINE), posted(lambda told: FolderLost(told.now_s)), 6.0),
    Step(always, events(PauseAsked), 5.0),
    Step(always, events(FolderBack, ResumeAsked), 8.0),
    Step(in_stage(Stage.PROOF), events(BackAsked), 8.0),
    Step(in_stage(Stage.PROOF), events(UndoAsked), 5.0),
    Step(in_stage(Stage.PROOF), events(RestartAsked), 5.0),
)
OTHER_PLANS = (
    Step(always, tolerance(90.0), 5.0),
    Step(in_stage(Stage.CAPTURE), other_pole(TargetPole.TRUE), 20.0),
    Step(in_stage(Stage.CAPTURE), tolerance(20.0), 2.0),
    Step(turned(1), other_pole(TargetPole.REFRACTED), 4.0),
    Step(in_stage(Stage.FINE), tolerance(40.0), 4.0),
    Step(always, events(UndoAsked), 4.0),
    Step(in_stage(Stage.PROOF), other_pole(TargetPole.TRUE), 6.0),
    Step(lambda state: state.aligned, tolerance(4.0), 60.0),
    Step(always, tolerance(60.0), 30.0),
    Step(always, other_pole(TargetPole.REFRACTED), 20.0),
)
WATCHED = (
    Step(lambda state: state.aligned, kick((3.0, -2.0, 1.0)), 240.0),
    Step(lambda state: bool(state.watching and state.watching.unread), events(ShiftPutAway), 60.0),
    Step(always, posted(lambda told: GuidingSwitched(told.now_s, True)), 60.0),
    Step(always, kick((-4.0, 5.0, 3.0)), 120.0),
    Step(lambda state: bool(state.watching and state.watching.unread), events(TripodBumped), 60.0),
)
BUMPED = (
    Step(lambda state: len(state.capture.frames) > 2, kick((5.0, 2.0, -1.0))),
    Step(always, events(TripodBumped), 10.0),
    Step(turned(2), kick((6.0, -3.0, 2.0))),
    Step(always, events(TripodBumped), 12.0),
    Step(in_stage(Stage.PROOF), kick((2.0, 3.0, -2.0)), 10.0),
    Step(always, events(TripodBumped), 8.0),
)
KILLED = (
    Step(lambda state: state.capture.axis is not None and state.stage is Stage.CAPTURE, Told.kill),
    Step(turned(2), Told.kill, 4.0),
    Step(in_stage(Stage.FINE), Told.kill, 20.0),
)
ACCEPTED = (
    Step(in_stage(Stage.FINE), events(Accepted), 12.0),
    Step(in_stage(Stage.PROOF), events(Accepted), 12.0),
)
SEEDS = {"loose-clutch": 2}
SCRIPTS = {
    **{name: Script(name, SEEDS.get(name, 1)) for name in SCENARIOS},
    "by-drift": Script("calm", 5, drift="all"),
    "proof-by-drift": Script("calm", 3, drift="proof"),
    "walking": Script("first-night", 21, hand="walking"),
    "halting": Script("southern-sky", 22, hand="halting"),
    "lessons": Script("first-night", 2, habits=Habits(lessons=True)),
    "locks-by-habit": Script("southern-sky", 4, locks_known=True),
    "bumped": Script("calm", 7, BUMPED),
    "interrupted": Script("first-night", 6, INTERRUPTED),
    "other-plans": Script("calm", 8, OTHER_PLANS, image_s=150.0),
    "shift-in-the-watch": Script("calm", 9, WATCHED, image_s=1000.0),
    "killed": Script("first-night", 10, KILLED),
    "accepted": Script("windy", 11, ACCEPTED, image_s=60.0),
    "spoiled-frames": Script("calm", 14, SPOILED),
    "clumsy-hands": Script(
        "first-night",
        13,
        habits=Habits(turn_error=0.4, reading_error=None, forgets=0.3, wrong_way=0.15, rotation_error=0.3),
    ),
}


def kept_lines(blob: bytes) -> bytes:
    """The lines of events, and of what the engine noted about them; without the star lists of the frames."""
    lines = blob.splitlines(keepends=True)
    return b"".join(line for line in lines if any(kind in line[:HEAD_BYTES] for kind in KEPT_KINDS))


def record(name: str) -> None:
    """One night."""
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        told = Told(SCRIPTS[name], Path(folder))
        told.run()
        blob = (Path(folder) / LOG_NAME).read_bytes()
    size = write_night(name, kept_lines(blob))
    state, log = told.night.engine.state, parse_night(blob, name)
    print(
        f"{name:20} {state.stage.name:8} proved {state.proved!s:5} accepted {state.accepted!s:5} "
        f"{told.now_s / 60.0:4.0f} min {len(log.events):6} lines {size / 1e3:6.0f} kB "
        f"{time.perf_counter() - begun:5.0f} s",
        flush=True,
    )


def main() -> None:
    """The nights named, or all of them."""
    wanted = [name for name in sys.argv[1:] if not name.startswith("--")]
    if set(sys.argv[1:]) - set(wanted) - {"--shown", "--numbers", "--sentences", "--again"}:
        sys.exit(__doc__)  # not every night is to be recorded anew because somebody asked how
    if "--shown" in sys.argv:
        for name in wanted or NIGHTS:
            keep_shown(name)
        keep_probed()
        return
    if "--numbers" in sys.argv:
        keep_numbers()
        return
    if "--sentences" in sys.argv:
        keep_sentences()
        return
    for name in wanted or SCRIPTS:
        expect_again(name) if "--again" in sys.argv else record(name)
    unknown = set(names()) - set(SCRIPTS)
    if unknown:
        print(f"not made by this script: {', '.join(sorted(unknown))}")


if __name__ == "__main__":
    main()
