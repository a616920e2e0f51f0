"""A whole night as a stranger does it: real files, real keys, a real display, a mount that turns in real time.

    xvfb-run -a -s "-screen 0 1366x768x24" python tests/bench/walk_on_a_display.py PICTURES

Needs xdotool (a Debian package). The window runs in a process of its own and knows nothing of this one; the slow hand
sees what the record says that is advised, and presses keys. It writes pictures of every page that is reached, and of
the turn in progress by day, in red light and in the reading mode. It ends with 1 where a step is not reached, or the
marker stands still for longer than a frame while a screw turns. About eight minutes.
"""

from __future__ import annotations

import argparse
import datetime
import json
import math
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast

import numpy as np
from PIL import Image, ImageGrab

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import TargetPole
from polewright.core.night import advice as said
from polewright.core.night.advise import advise
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import AnyEvent, Ticked
from polewright.core.night.states import NightState, Waiting, begun
from polewright.core.night.table import step
from polewright.core.screws.walk import Cue
from polewright.practice.hand import Screen, Seat
from polewright.practice.real_time import start_camera, write_into
from polewright.practice.walking_hand import WalkingHand
from polewright.practice.world import RehearsalWorld, TrueOffset
from polewright.runtime.engine import NightEngine
from polewright.runtime.retrace import EVENT_KIND
from polewright.services.log_format import decode_line
from polewright.simulate.scenarios import SCENARIOS, Scenario
from polewright.ui.theme import DAY
from polewright.words.coach import say

SEED, FRAME_S = 4, 1.5
FAST, CREEP = 0.04, 0.01  # turns a second: under 5' on the sky, whatever the screw
KEEPS_ON, NEAR_ARCMIN = 3.0, 10.0  # times what is meant to be turned; nearer to the aim it is turned by touches
MOVES_ARCMIN_S = 0.3  # the axis: slower than that is slack and creep
KEY_S, STEP_S, DRAWN_S = 0.4, 0.05, 0.15
PATIENCE = 12  # so often the stranger tries a key again
EVENING_H = 22.0  # local mean time
MOVED_PX = 0.25  # of the marker's middle: it has moved
LIGHTS = (("day", ("F9", "r")), ("red", ("F9",)), ("day", ("F9",)), ("reading-red", ("F9", "r")))  # with their keys


class SlowHand(WalkingHand):
    """Far from the aim it turns until it is told to stop, no faster than a marker can be followed."""

    name = "slow"

    @property
    def turning(self) -> bool:
        """Just now."""
        return self._speed != 0.0

    def _set_out(self, why: said.Walking | said.ScrewLeft, screen: Screen) -> None:
        super()._set_out(why, screen)
        if abs(why.left_rad) * ARCMIN_PER_RAD > NEAR_ARCMIN:
            self._left, self._speed = KEEPS_ON * self._left, FAST

    def _follow(self, why: said.Walking, screen: Screen) -> None:
        super()._follow(why, screen)
        if why.cue is Cue.SLOWER and self.turning:
            self._speed = min(self._speed, CREEP)


class Shown:
    """What the window shows, by the record that it writes: stands in for the engine at the hand's seat."""

    def __init__(self, home: Path, looked: Callable[[Screen], None]) -> None:
        self._nights, self._looked = home / "data" / "nights", looked
        self._state: NightState = Waiting()
        self._read: dict[Path, int] = {}
        self._ahead_s = -math.inf

    @property
    def nights(self) -> set[Path]:
        """All there are."""
        return set(self._nights.glob("*/night.jsonl"))

    @property
    def state(self) -> NightState:
        """As of now."""
        for event in self._new_events():
            self._state, _ = step(self._state, event)
            self._ahead_s = max(self._ahead_s, event.at_s - time.monotonic())
        if isinstance(self._state, Waiting):
            return self._state
        return step(self._state, Ticked(self.now_s(), measuring=self._state.measuring))[0]

    def _new_events(self) -> Iterator[AnyEvent]:
        for night in self.nights:
            with night.open("rb") as record:
                record.seek(self._read.get(night, 0))
                whole, end, _torn = record.read().rpartition(b"\n")
            self._read[night] = self._read.get(night, 0) + len(whole + end)
            lines = map(decode_line, whole.splitlines())
            yield from (event_from_plain(line.data) for line in lines if line and line.kind == EVENT_KIND)

    @property
    def advice(self) -> said.Advice:
        """What stands there in large letters."""
        state = self.state
        advice = advise(state)
        self._looked(Screen(state, advice, self.now_s()))
        return advice

    def now_s(self) -> float:
        """In the time of the night."""
        return time.monotonic() + self._ahead_s

    def post(self, _event: AnyEvent) -> None:
        """What this hand says is always what it was asked for."""
        keys("Return")


def keys(*names: str) -> None:
    """Real keys, one after the other."""
    for name in names:
        subprocess.run(["xdotool", "key", "--clearmodifiers", name], check=True)
        time.sleep(KEY_S)


def grabbed() -> Image.Image:
    """The screen as it is now."""
    return ImageGrab.grab(xdisplay=os.environ["DISPLAY"]).convert("RGB")


def marker_px(picture: Image.Image) -> tuple[float, float] | None:
    """The middle of all that is as dark as the marker (its star, its ellipse, its ring) in the left part, by day."""
    wide, high = picture.size
    pixels = np.asarray(picture.crop((0, high // 8, int(wide * 0.42), int(high * 0.92))), int)
    ys, xs = np.nonzero(np.abs(pixels - np.array(DAY.strong)).sum(axis=2) < 40)
    return (float(xs.mean()), float(ys.mean())) if len(xs) else None


@dataclass
class Eyes:
    """Follow the marker and take pictures. `told`: what was read, in order; a turn each: `first_s` until the marker
    moved, for which a frame must have begun and been read; `still_s` the longest that it stood from then on."""

    pictures: Path
    told: list[str] = field(default_factory=list)
    first_s: list[float] = field(default_factory=list)
    still_s: list[float] = field(default_factory=list)
    light: str = "day"
    _turns: int = 0
    _shown: set[tuple[str, str]] = field(default_factory=set)
    _marker: tuple[float, float] | None = None
    _since_s: float = 0.0

    def picture(self, name: str) -> None:
        """Of the screen; only the first of each name and light is taken: a picture holds up the hand."""
        if (name, self.light) not in self._shown:
            self._shown.add((name, self.light))
            time.sleep(DRAWN_S)
            picture = grabbed()
            picture.save(
                self.pictures / f"{name}-{self.light}-{picture.width}x{picture.height}.png", compress_level=1
            )

    def looked(self, seen: Screen) -> None:
        """A glance: each new sentence is written down, and its page pictured; each new turn has another light."""
        why, told = seen.advice.reason, say(seen.advice)
        sentence = re.sub(r"\d+", "…", told.instruction)  # a number that counts makes no new sentence
        if self.told and self.told[-1] == sentence:
            return
        self.told.append(sentence)
        name = type(why).__name__ if not isinstance(why, said.Walking) else f"Turning-{why.cue.name}"
        print(f"{seen.now_s:6.0f} s  {name:22} {told.instruction} | {told.why} {told.gain}", flush=True)
        if isinstance(why, said.ScrewLeft):
            self._turns += 1
            self.light, change = LIGHTS[self._turns % len(LIGHTS)]
            keys(*change)
        self.picture(f"{begun(seen.state).stage.name.lower()}-{name}")

    def follow(self, moving: bool) -> None:
        """Watch the marker while the axis is turned, by day: in red it is told from the rest by its shape alone."""
        if not moving or self.light != "day":
            self._marker = None
            return
        place, now_s = marker_px(grabbed()), time.monotonic()
        if self._marker is None:
            self._marker, self._since_s = place, now_s
            self.first_s.append(0.0)
            self.still_s.append(0.0)
        elif place is not None and max(abs(a - b) for a, b in zip(place, self._marker, strict=True)) > MOVED_PX:
            self.first_s[-1] = self.first_s[-1] or now_s - self._since_s
            self._marker, self._since_s = place, now_s
        elif self.first_s[-1]:
            self.still_s[-1] = max(self.still_s[-1], now_s - self._since_s)


def opened(home: Path) -> subprocess.Popen[bytes]:
    """The window, as its command opens it, over the whole screen; it has the keyboard."""
    env = {**os.environ, "HOME": str(home), "POLEWRIGHT_HOME": str(home / "polewright"), "QT_QPA_PLATFORM": "xcb"}
    window = subprocess.Popen([str(Path(sys.executable).with_name("polewright"))], env=env)
    search = ["xdotool", "search", "--sync", "--onlyvisible", "--class", "polewright"]
    found = subprocess.run(search, check=True, capture_output=True, text=True, timeout=60).stdout.split()[0]
    time.sleep(3.0)
    subprocess.run(["xdotool", "windowsize", found, "100%", "100%", "windowfocus", found], check=True)
    time.sleep(1.0)
    return window


def tonight(scenario: Scenario) -> Scenario:
    """The same by the clock on the wall, at a longitude where it is evening now."""
    now = datetime.datetime.now(datetime.UTC)
    east_deg = (15.0 * (EVENING_H - now.hour - now.minute / 60.0) + 180.0) % 360.0 - 180.0
    return replace(
        scenario,
        start=now.strftime("%Y-%m-%dT%H:%M:%S"),
        site=replace(scenario.site, lon_deg=round(east_deg, 1)),
    )


def _speed_arcmin_s(before: tuple[float, TrueOffset], now: tuple[float, TrueOffset]) -> float:
    far = math.hypot(now[1].east_arcmin - before[1].east_arcmin, now[1].up_arcmin - before[1].up_arcmin)
    return far / max(now[0] - before[0], 1e-3)


class Walk:
    """The stranger before the window. `eyes`, `shown`: what is seen; `world`: the mount."""

    def __init__(self, home: Path, pictures: Path) -> None:
        self.eyes = Eyes(pictures)
        self.shown = Shown(home / "polewright", self.eyes.looked)
        self.world = RehearsalWorld(tonight(SCENARIOS["calm"]), SEED)
        self.world.work_briskly()
        self._zero_s = time.monotonic()
        self._frames = home / "frames"
        seat = Seat(self.world, cast(NightEngine, self.shown), lambda: None)
        self.hand = SlowHand(seat, SEED)

    def live(self, seconds: float, until: Callable[[], bool] = lambda: False) -> None:
        """Let the mount live by the clock on the wall."""
        end_s, before = time.monotonic() + seconds, (0.0, self.world.true_offset(TargetPole.TRUE))
        while time.monotonic() < end_s and not until():
            self.world.clock.advance_to(time.monotonic() - self._zero_s)
            now = self.world.clock.monotonic_s(), self.world.true_offset(TargetPole.TRUE)
            self.eyes.follow(self.hand.turning and _speed_arcmin_s(before, now) > MOVES_ARCMIN_S)
            before = now
            time.sleep(STEP_S)

    def first_page(self) -> None:
        """One folder, no field, two confirmations; the second as soon as a frame has told the rest."""
        self.eyes.picture("first")
        start_camera(self.world, write_into(self.world, self._frames))
        keys("ctrl+o")
        self.eyes.picture("folder")
        keys("Down")
        self.eyes.picture("folder-chosen")
        keys("ctrl+Return")
        self.live(2.0)
        self.eyes.picture("site-before-a-frame")
        for _ in range(PATIENCE):
            self.live(3.0)
            self.eyes.picture("site")
            keys("ctrl+Return")
            if self.shown.nights:
                break

    def night(self, longest_s: float) -> bool:
        """From the stand to the proof; whether it was reached. The mount is up already."""
        self.shown.advice  # noqa: B018 - a look
        keys("Return")
        self.hand.begin()
        self.live(longest_s, lambda: self.hand.finished)
        return self.hand.finished and begun(self.shown.state).proved

    def afterwards(self) -> None:
        """The watch, the nights, the report, a replay with take-over."""
        self.live(20.0)
        self.eyes.picture("watch")
        for name, pressed, wait_s in (
            ("first-again", ("ctrl+w",), 2.0),
            ("nights", ("ctrl+l",), 3.0),
            ("report", ("r",), 3.0),
            ("take-over", ("Escape", "t"), 25.0),
            ("answered", ("1",), 2.0),
            ("went-on", ("Return",), 10.0),
        ):
            keys(*pressed)
            self.live(wait_s)
            self.eyes.picture(name)

    def one_key(self) -> bool:
        """Another start, with headers that tell and a known rig: one key begins a night."""
        before = self.shown.nights
        self.live(8.0)
        self.eyes.picture("known-rig")
        keys("ctrl+Return")
        self.live(4.0)
        return len(self.shown.nights - before) == 1


def run(pictures: Path, longest_s: float) -> int:
    """Walk, and say how it went."""
    pictures.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="polewright-stranger-") as name:
        home = Path(name)
        (home / "frames").mkdir()
        window = opened(home)
        walk = Walk(home, pictures)
        proved = one_key = False
        try:
            walk.first_page()
            proved = walk.night(longest_s)
            if proved:
                walk.afterwards()
                window.terminate()
                window.wait(20)
                window = opened(home)
                one_key = walk.one_key()
        finally:
            walk.eyes.picture("end")
            window.kill()
    still = walk.eyes.still_s
    result = {
        "proved": proved,
        "one_key": one_key,
        "turns_watched": len(still),
        "first_s": [round(s, 2) for s in walk.eyes.first_s],
        "still_s": [round(s, 2) for s in still],
    }
    print(json.dumps(result))
    return 0 if proved and one_key and max(still, default=9.0) <= FRAME_S else 1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pictures", type=Path)
    parser.add_argument("--seconds", type=float, default=400.0, help="longest night")
    given = parser.parse_args()
    raise SystemExit(run(given.pictures, given.seconds))
