"""A whole night as a stranger does it: real files, real keys, a real display, a mount that turns in real time.

    xvfb-run -a -s "-screen 0 1280x800x24" python tests/bench/walk_on_a_display.py PICTURES

Needs xdotool and ImageMagick's `import` (Debian packages). The window runs in a process of its own and knows nothing
of this one; what it advises is read from the record that it writes. Pictures of every page that is reached, and of
the turn in progress by day, in red light and in the reading mode. It ends with 1 where a step is not
reached, or the well stands still for longer than a frame while a screw turns. About eight minutes.
"""

from __future__ import annotations

import datetime
import json
import math
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from PIL import Image, ImageChops

from polewright.core.night import advice as said
from polewright.core.night.events import Ticked
from polewright.core.night.states import begun
from polewright.core.screws.walk import Cue
from polewright.practice.real_time import start_camera, write_into
from polewright.practice.world import RehearsalWorld
from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events
from polewright.services.night_log import read_night
from polewright.simulate.scenarios import SCENARIOS

SEED, FRAME_S, STEP_S = 4, 1.5, 0.25
FAST, SLOW, CREEP = 0.05, 0.01, 0.004  # turns a second: 5' on the sky at most
KEY_S = 0.3
LONGEST_S = 12 * 60.0
WELL = (20, 60, 540, 580)  # of a screen of 1280 x 800


class Mount:
    """A simulated mount by the clock on the wall; its camera writes a file every 1.5 s."""

    def __init__(self, frames: Path) -> None:
        now = datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%S")
        self.world = RehearsalWorld(replace(SCENARIOS["first-night"], start=now), SEED)
        self.world.work_briskly()
        self.lock = threading.Lock()
        self.speed, self.screw = 0.0, "azimuth"
        self._zero_s = time.monotonic()
        frames.mkdir(parents=True)
        start_camera(self.world, write_into(self.world, frames))
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while True:
            with self.lock:
                due_s = time.monotonic() - self._zero_s - self.world.clock.monotonic_s()
                if due_s >= STEP_S:
                    if self.speed:
                        self.world.rig.turn(self.screw, self.speed * STEP_S, self.world.now(), STEP_S)
                    self.world.clock.advance(STEP_S)
            time.sleep(0.02)

    def do(self, name: str, *values: float) -> float:
        """A deed of the rig; how many seconds it takes."""
        with self.lock:
            done = getattr(self.world.rig, name)(*values, self.world.now())
            return self.world.seconds_until(done)


@dataclass
class Stranger:
    """Eyes, keys and a hand. `told`: what was read, in order; `still_s`: how long the well stood while one turned."""

    home: Path
    pictures: Path
    mount: Mount
    told: list[str] = field(default_factory=list)
    still_s: list[float] = field(default_factory=list)
    shown: set[str] = field(default_factory=set)

    def keys(self, *names: str) -> None:
        for name in names:
            subprocess.run(["xdotool", "key", "--clearmodifiers", name], check=True)
            time.sleep(KEY_S)

    def picture(self, name: str) -> Image.Image:
        path = self.pictures / f"{name}-1280x800.png"
        subprocess.run(["import", "-window", "root", str(path)], check=True)
        with Image.open(path) as image:
            return image.convert("L").crop(WELL)

    def course(self) -> Course | None:
        """The night as the window has recorded it so far."""
        nights = sorted((self.home / "data" / "nights").glob("*/night.jsonl"))
        if not nights:
            return None
        course = Course()
        for _, event in recorded_events(read_night(nights[-1].parent)):
            course.take(event)
        course.take(Ticked(begun(course.state).now_s + 0.5))
        return course

    def three_lights(self, name: str) -> None:
        """The same moment by day, in red, and in red as the reading mode shows it."""
        for light, key in (("day", "F9"), ("red", "r"), ("reading-red", "")):
            self.picture(f"{name}-{light}")
            if key:
                self.keys(key)
        self.keys("r", "F9")

    def once(self, name: str, *, lights: bool = False) -> None:
        if name in self.shown:
            return
        self.shown.add(name)
        if lights:
            self.three_lights(name)
        else:
            self.picture(f"{name}-day")

    # the night

    def first_page(self, frames: Path) -> None:
        """One folder, no field, two confirmations."""
        self.picture("first-day")
        while len(list(frames.glob("*.fits"))) < 2:
            time.sleep(0.5)
        self.keys("ctrl+o")
        self.picture("folder-day")
        subprocess.run(["xdotool", "mousemove", "400", "112", "click", "--repeat", "3", "1"], check=True)
        subprocess.run(["xdotool", "type", str(frames)], check=True)
        time.sleep(1.0)
        self.keys("ctrl+Return")
        time.sleep(2.0)
        self.picture("site-day")
        self.keys("ctrl+Return")

    def act(self, course: Course) -> float:
        """One look at what is said, and what a hand does about it; seconds until the next look."""
        why = course.advice.reason
        name = type(why).__name__
        if not self.told or self.told[-1] != name:
            self.told.append(name)
            print(f"{begun(course.state).now_s:6.0f} s  {name}", flush=True)
        match why:
            case said.Walking():
                return self.walk(why)
            case said.ScrewLeft():
                self.once("turn-begins")
                return self.turn(why.screw.value, math.copysign(SLOW, why.turns))
        self.mount.speed = 0.0
        match why:
            case said.NotUpYet() | said.Near():
                self.once(name.lower())
                self.keys("Return")
            case said.LocksWanted() | said.LocksTrial():
                self.once(name.lower())
                self.mount.do("tighten")
                time.sleep(8.0)  # round the mount to the key
                self.keys("Return")
                return 5.0
            case said.LocksToLoosen():
                self.once("locks-to-loosen")
                self.keys("Return")
                return 5.0
            case said.PlaceWanted():
                self.once("measure")
                return self.mount.do("rotate_ra", why.west_deg) + 4.0
            case said.ElsewhereWanted():
                self.once("proof-elsewhere")
                return self.mount.do("point", why.hour_angle_h, why.declination_deg) + 4.0
            case said.ProofLimited() | said.FloorReached() | said.ProofContradicts():
                self.once("proof-told")
                self.keys("Return")
        return 1.0

    def turn(self, screw: str, speed: float) -> float:
        self.mount.screw, self.mount.speed = screw, speed
        return 0.5

    def walk(self, why: said.Walking) -> float:
        match why.cue:
            case Cue.STOP | Cue.HANDS_OFF:
                self.mount.speed = 0.0
                self.once("turning-stop", lights=True)
                return 0.5
            case Cue.SLOWER:
                self.turn(why.screw.value, math.copysign(CREEP, why.turns))
                self.once("turning-slower", lights=True)
                return 0.5
            case Cue.KEEP_TURNING:
                self.turn(why.screw.value, math.copysign(FAST, why.turns))
                self.once("turning-far", lights=True)
                self.watch_the_well()
                return 0.1
            case _:
                return self.turn(why.screw.value, math.copysign(CREEP, why.turns))

    def watch_the_well(self) -> None:
        """For how long the picture of the well stays the same while the screw turns."""
        before, since = self.picture("well"), time.monotonic()
        while time.monotonic() - since < 3.0 * FRAME_S:
            time.sleep(0.2)
            now = self.picture("well")
            changed = sum(ImageChops.difference(before, now).histogram()[24:])
            if changed > 0.0005 * now.width * now.height:
                break
        self.still_s.append(time.monotonic() - since)

    def after(self) -> None:
        """The watch, the report, the nights, a replay with take-over."""
        time.sleep(20.0)
        self.picture("watch-day")
        for name, keys in (
            ("first-again", ("ctrl+w", "ctrl+w")),
            ("nights", ("ctrl+l",)),
            ("report", ("r",)),
            ("nights-again", ("Escape",)),
            ("take-over", ("t",)),
        ):
            self.keys(*keys)
            time.sleep(3.0)
            self.picture(f"{name}-day")


def opened(home: Path) -> subprocess.Popen[bytes]:
    """The window, as its command opens it."""
    env = {**os.environ, "POLEWRIGHT_HOME": str(home), "QT_QPA_PLATFORM": "xcb"}
    window = subprocess.Popen([str(Path(sys.executable).with_name("polewright"))], env=env)
    found = subprocess.run(["xdotool", "search", "--sync", "--onlyvisible", "--class", "polewright"],
                           check=True, capture_output=True, text=True, timeout=60)  # fmt: skip
    time.sleep(3.0)
    subprocess.run(["xdotool", "windowfocus", found.stdout.split()[0]], check=True)
    return window


def known_rig_begins_by_one_key(home: Path) -> bool:
    """Another start, with headers that tell and a known rig."""
    before = set((home / "data" / "nights").iterdir())
    subprocess.run(["xdotool", "key", "ctrl+Return"], check=True)
    time.sleep(4.0)
    return len(set((home / "data" / "nights").iterdir()) - before) == 1


def run(pictures: Path) -> int:
    pictures.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="polewright-stranger-") as name:
        home, frames = Path(name) / "home", Path(name) / "frames"
        mount = Mount(frames)
        window = opened(home)
        stranger, begun_s = Stranger(home, pictures, mount), time.monotonic()
        try:
            stranger.first_page(frames)
            time.sleep(3.0)
            ended = False
            while time.monotonic() - begun_s < LONGEST_S and not ended:
                course = stranger.course()
                assert course is not None, "no night has begun"
                ended = begun(course.state).aligned
                time.sleep(0.0 if ended else stranger.act(course))
            if ended:
                stranger.after()
            window.terminate()
            window.wait(20)
            window = opened(home)
            one_key = known_rig_begins_by_one_key(home)
        finally:
            mount.speed = 0.0
            window.kill()
    worst = max(stranger.still_s, default=math.nan)
    result = {"ended": ended, "one_key": one_key, "looks": len(stranger.still_s), "longest_still_s": round(worst, 2)}
    print(json.dumps(result | {"told": stranger.told}))
    return 0 if ended and one_key and worst <= FRAME_S else 1


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    raise SystemExit(run(Path(sys.argv[1])))
