"""The running window: file closed to marker moved, gaps of its event loop, memory over many frames.

    python tests/bench/window_session.py [--frames 60] [--every 0.7]

A capture of three places at 1280 x 960, then frames while a screw is turned a little, written into a folder that the
real window watches in a process of its own. Real time throughout, no screen needed (Qt's offscreen platform). The
floor of the first figure is reading the file and touching each pixel once.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from polewright.core.model import Utc
from polewright.core.night import events
from polewright.core.night.events import NOW
from polewright.practice.world import RehearsalWorld
from polewright.services.frame_reader import read_frame
from polewright.services.paths import cache_folder
from polewright.simulate.fits_file import fits_bytes

SCENARIO, SEED, EXPOSURE_S = "calm", 1, 2.0
DIFFERENT = 30  # frames rendered; more frames repeat them with later dates, as a tracking mount would show
BEAT_MS = 5
KEPT = 50  # older frames are removed: 2,000 would fill five gigabytes


def rendered() -> tuple[list[bytes], list[bytes]]:
    """The frames of a capture, and those of small turns after it."""
    world = RehearsalWorld(SCENARIO, SEED)
    rig, scenario = world.rig, world.rig.night.scenario
    done = rig.point(-3.0, scenario.declination_toward_pole_deg, world.now())
    rig.set_tracking(True, done)
    capture = []
    for _ in range(3):
        world.clock.advance(world.seconds_until(done) + 8.0)
        capture += [_frame(world), _frame(world)]
        done = rig.rotate_ra(40.0, world.now())
    world.clock.advance(world.seconds_until(done) + 8.0)
    adjust = []
    for _ in range(DIFFERENT):
        rig.turn("azimuth", 0.002, world.now())
        world.clock.advance(3.0)
        adjust.append(_frame(world))
    return capture, adjust


def _frame(world: RehearsalWorld) -> bytes:
    exposure = world.rig.take(world.now(), EXPOSURE_S)
    world.clock.advance(EXPOSURE_S + 1.0)
    return fits_bytes(exposure.pixels, exposure.header)


def later(data: bytes, seconds: float) -> bytes:
    """The same frame, exposed later."""
    at = data.index(b"DATE-OBS")
    card = data[at : at + 80].decode("ascii")
    text = card.split("'")[1].strip()
    moved = np.datetime64(text.rstrip("Z")) + np.timedelta64(round(seconds * 1000), "ms")
    card = f"DATE-OBS= '{np.datetime_as_string(moved, unit='ms')}'".ljust(80)
    return data[:at] + card.encode("ascii") + data[at + 80 :]


def stream(capture: list[bytes], adjust: list[bytes], count: int) -> Iterator[bytes]:
    """The capture, then `count` frames."""
    yield from capture
    for number in range(count):
        turn, place = divmod(number, len(adjust))
        yield later(adjust[place], turn * 3.0 * len(adjust))


def run(count: int, every_s: float) -> int:
    """Feed the window and print what it measured."""
    capture, adjust = rendered()
    with tempfile.TemporaryDirectory(prefix="polewright-session-") as name:
        place = Path(name)
        (place / "frames").mkdir()
        (place / "home").mkdir()
        cache_folder().mkdir(parents=True, exist_ok=True)
        (place / "home" / "cache").symlink_to(cache_folder())
        env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "POLEWRIGHT_HOME": str(place / "home")}
        command = [sys.executable, __file__, "--child", str(place / "frames")]
        with subprocess.Popen(command, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None and child.stdin is not None
            assert child.stdout.readline() == "ready\n"
            closed_s: list[float] = []
            floors_s: list[float] = []
            for number, data in enumerate(stream(capture, adjust, count)):
                path = place / "frames" / f"{number:05d}.fits"
                path.write_bytes(data)
                closed_s.append(time.monotonic())
                (place / "frames" / f"{number - KEPT:05d}.fits").unlink(missing_ok=True)
                if number < len(capture):
                    time.sleep(3.0)
                    continue
                time.sleep(every_s)
                if len(floors_s) < 20:
                    begun = time.monotonic()
                    float(np.sum(read_frame(path).pixels))
                    floors_s.append(time.monotonic() - begun)
            time.sleep(2.0)
            child.stdin.close()
            found = json.loads(child.stdout.readline())
    print("\n".join(report(found, closed_s[len(capture) :], floors_s, every_s)))
    return 0


def report(found: dict[str, list[float]], closed_s: list[float], floors_s: list[float], every_s: float) -> list[str]:
    """The figures as lines."""
    moved = np.array(found["moved_s"])
    waits = []
    for closed in closed_s:
        after = moved[moved > closed]
        if after.size and after[0] - closed < every_s:
            waits.append(float(after[0] - closed))
    delay, gaps, memory = 1000 * np.array(waits), 1000 * np.array(found["gaps_s"]), np.array(found["memory_mb"])
    floor = 1000 * float(np.median(floors_s))
    settled = memory[len(memory) // 5 :]
    return [
        f"frames {len(closed_s)}, seen as a moved marker within {every_s} s: {len(waits)}",
        f"file closed to marker drawn: median {np.median(delay):.0f} ms, 95 % {np.percentile(delay, 95):.0f} ms, "
        f"most {delay.max():.0f} ms",
        f"the floor, reading and summing: {floor:.1f} ms, {np.percentile(delay, 95) / floor:.0f} times less",
        f"event loop while frames come: 99.9 % of gaps below {np.percentile(gaps, 99.9):.0f} ms, longest "
        f"{gaps.max():.0f} ms, above 50 ms: {int(np.sum(gaps > 50))} of {gaps.size}",
        f"memory {memory[0]:.0f} MB at the first frame, {settled.min():.0f} to {settled.max():.0f} MB after a fifth, "
        f"{memory[-1]:.0f} MB at the end ({found['anonymous_mb'][-1]:.0f} MB of its own)",
    ]


def child(folder: Path, still: bool) -> int:
    """The window, as the command opens it, with a stopwatch in it; `still` leaves out its beat, which costs 2 %."""
    from PySide6.QtCore import QSocketNotifier, QTimer
    from PySide6.QtWidgets import QApplication

    from polewright.bootstrap_window import SWITCH_S, build_window
    from polewright.practice.real_time import PracticeClock
    from polewright.ui import intents as want

    sys.setswitchinterval(SWITCH_S)
    app = QApplication([])
    window, driver = build_window()
    world = RehearsalWorld(SCENARIO, SEED)
    site = world.site
    driver._means = replace(driver._means, clock=PracticeClock(driver._means.clock, _utc(world)))
    notes: dict[str, list[float]] = {"moved_s": [], "gaps_s": [], "memory_mb": [], "anonymous_mb": []}
    well = window.night.well
    paint, seen = well.paintEvent, {"reading": well.reticle.reading_id, "beat": time.monotonic()}

    def painted(event: object) -> None:
        paint(event)  # type: ignore[arg-type]
        if well.reticle.reading_id != seen["reading"]:
            seen["reading"] = well.reticle.reading_id
            notes["moved_s"].append(time.monotonic())
            total, own = _memory_mb()
            notes["memory_mb"].append(total)
            notes["anonymous_mb"].append(own)

    well.paintEvent = painted  # type: ignore[method-assign]
    window.resize(1280, 800)
    window.show()
    driver.begin_when_shown()

    def beat() -> None:
        now = time.monotonic()
        if notes["moved_s"]:
            notes["gaps_s"].append(now - seen["beat"])
        seen["beat"] = now

    heart = QTimer(window)
    heart.timeout.connect(beat)

    def start() -> None:
        driver.act(want.FillForm(f"{site.lat_deg}", f"{site.lon_deg}", f"{site.elev_m}", "240", "5", str(folder)))
        driver.act(want.StartNight())
        QTimer.singleShot(1500, go_on)

    def go_on() -> None:
        driver.act(events.NextAsked(NOW))
        if not still:
            heart.start(BEAT_MS)
        print("ready", flush=True)

    QTimer.singleShot(1500, start)
    listener = QSocketNotifier(sys.stdin.fileno(), QSocketNotifier.Type.Read, window)
    listener.activated.connect(lambda *_: app.quit())
    app.exec()
    driver.close()
    print(json.dumps(notes), flush=True)
    os._exit(0)


def _utc(world: RehearsalWorld) -> Utc:
    return world.now()


def _memory_mb() -> tuple[float, float]:
    fields = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    return int(fields["VmRSS"].split()[0]) / 1024.0, int(fields["RssAnon"].split()[0]) / 1024.0


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--frames", type=int, default=60)
    parser.add_argument("--every", type=float, default=0.7, help="seconds between frames")
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--still", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    sys.exit(child(given.child, given.still) if given.child is not None else run(given.frames, given.every))
