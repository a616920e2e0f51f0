"""Which files and functions of the program one frame passes, from the watcher to the painted marker.

    python tests/bench/on_the_way.py [--list] [--chains]

The real window (offscreen) watches a real folder; frames of small turns at a screw are written into it once the axis
is being followed. A function counts when it is called for most of several frames between the closing of the file and
the painting of the moved marker, in whichever thread; what only a tick or a redraw in between calls falls out, and is
in the second figure: called for any of them. Reading and detection run in a helper process and are counted by doing
the same here. Comprehensions are no functions; lambdas and properties are.

`--list` prints every function, `--chains` the functions that only pass on: called by one function alone, of at most
three lines, and the files of which a frame sees one such function only.
"""

from __future__ import annotations

import argparse
import ast
import os
import sys
import tempfile
import threading
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from types import CodeType, FrameType

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from window_session import SCENARIO, SEED, later, rendered

import polewright

PACKAGE = str(Path(polewright.__file__).parent)
FRAMES = 6
GIVE_UP_S = 120.0
NO_FUNCTIONS = {"<listcomp>", "<dictcomp>", "<setcomp>", "<genexpr>", "<module>"}
PASSING_LINES = 3
Function = tuple[str, str, int]  # file below the package, qualified name, first line


@dataclass
class Counter:
    """A profiler for all threads: what is called while `on`, and from where."""

    on: bool = False
    seen: set[Function] = field(default_factory=set)
    callers: dict[Function, set[Function]] = field(default_factory=lambda: defaultdict(set))

    def __call__(self, frame: FrameType, event: str, argument: object) -> None:
        if self.on and event == "call":
            called = function_of(frame.f_code)
            if called is not None:
                self.seen.add(called)
                self.callers[called].add(caller_of(frame))

    def install(self) -> None:
        """For this thread and all that begin later."""
        threading.setprofile(self)
        sys.setprofile(self)

    def taken(self) -> set[Function]:
        """What was seen since it was last asked."""
        seen, self.seen = self.seen, set()
        return seen


@cache
def function_of(code: CodeType) -> Function | None:
    """The function of the package that a code object belongs to; None for all others."""
    if not code.co_filename.startswith(PACKAGE) or code.co_name in NO_FUNCTIONS:
        return None
    return code.co_filename[len(PACKAGE) + 1 :], code.co_qualname, code.co_firstlineno


def caller_of(frame: FrameType) -> Function:
    """The nearest function of the package that is waiting for this one."""
    back = frame.f_back
    while back is not None and (found := function_of(back.f_code)) is None:
        back = back.f_back
    return found if back is not None and found is not None else ("", "outside", 0)


def on_the_way(counter: Counter, folder: Path) -> tuple[set[Function], set[Function]]:
    """What most of the counted frames pass in the window's process, and what any of them does."""
    from PySide6.QtCore import QThread, QTimer
    from PySide6.QtWidgets import QApplication

    import polewright.ui.driving.threaded_desk as threaded
    from polewright.bootstrap_window import build_window
    from polewright.core.night.events import NOW, NextAsked
    from polewright.practice.real_time import PracticeClock
    from polewright.practice.world import RehearsalWorld
    from polewright.ui import intents as want

    class Counted(QThread):
        """The night's thread, of which Python's threading knows nothing."""

        def run(self) -> None:
            counter.install()
            self.exec()

    counter.install()
    setattr(threaded, "QThread", Counted)  # noqa: B010
    app = QApplication([])
    window, driver = build_window()
    world = RehearsalWorld(SCENARIO, SEED)
    driver._means = replace(driver._means, clock=PracticeClock(driver._means.clock, world.now()))
    capture, adjust = rendered()
    found: list[set[Function]] = []
    well = window.night.well
    paint, shown = well.paintEvent, [well.reticle.reading_id]
    pending: Iterator[tuple[int, bytes]] = iter(enumerate([*capture, *adjust[: FRAMES + 2]]))

    def next_frame() -> None:
        number, data = next(pending, (-1, b""))
        if number < 0:
            app.quit()
            return
        counter.taken()
        counter.on = number > len(capture)
        (folder / f"{number:05d}.fits").write_bytes(later(data, 0.0))
        if number < len(capture):
            QTimer.singleShot(3000, next_frame)

    def painted(event: object) -> None:
        paint(event)  # type: ignore[arg-type]
        if well.reticle.reading_id != shown[0]:
            shown[0] = well.reticle.reading_id
            if counter.on:
                counter.on = False
                found.append(counter.taken())
            if not len(found) > FRAMES:
                QTimer.singleShot(1500, next_frame)

    well.paintEvent = painted  # type: ignore[method-assign]
    window.resize(1280, 800)
    window.show()
    driver.begin_when_shown()
    site = world.site

    def start() -> None:
        driver.act(want.FillForm(f"{site.lat_deg}", f"{site.lon_deg}", f"{site.elev_m}", "240", "5", str(folder)))
        driver.act(want.StartNight())
        QTimer.singleShot(1500, lambda: driver.act(NextAsked(NOW)))
        QTimer.singleShot(2500, next_frame)

    QTimer.singleShot(1500, start)
    QTimer.singleShot(round(1000 * GIVE_UP_S), app.quit)
    app.exec()
    driver.close()
    if len(found) < FRAMES - 2:
        raise SystemExit(f"only {len(found)} frames were seen as a moved marker")
    ever = set.union(*found)
    return {function for function in ever if 2 * sum(function in way for way in found) > len(found)}, ever


def in_the_helper(counter: Counter, path: Path) -> set[Function]:
    """What reading and detecting pass for one frame, once everything is loaded."""
    from polewright.services.detector import Detector
    from polewright.services.frame_reader import read_frame

    detector = Detector()
    detector.detect(read_frame(path))
    counter.taken()
    counter.on = True
    detector.detect(read_frame(path))
    counter.on = False
    return counter.taken()


def lines_of(function: Function) -> int:
    """Statements of its body, docstring left out; 0 for what is no plain function."""
    file, name, line = function
    for node in ast.walk(ast.parse((Path(PACKAGE) / file).read_text())):
        if isinstance(node, ast.FunctionDef) and node.name == name.rsplit(".", 1)[-1]:
            first = node.decorator_list[0].lineno if node.decorator_list else node.lineno
            if first == line:
                body = node.body[1:] if ast.get_docstring(node) is not None else node.body
                return sum(1 + (part.end_lineno or part.lineno) - part.lineno for part in body)
    return 0


def chains(counter: Counter, seen: set[Function]) -> list[str]:
    """Small functions with one caller, by file; files that a frame enters for one of them alone come first."""
    small = {
        function: next(iter(counter.callers[function]))
        for function in seen
        if len(counter.callers[function]) == 1 and 0 < lines_of(function) <= PASSING_LINES
    }
    in_file: dict[str, list[Function]] = defaultdict(list)
    for function in seen:
        in_file[function[0]].append(function)
    told = []
    for file, functions in sorted(in_file.items(), key=lambda item: (len(item[1]), item[0])):
        passing = [function for function in functions if function in small]
        if passing:
            names = ", ".join(f"{f[1]} <- {small[f][0]}:{small[f][1]}" for f in sorted(passing, key=lambda f: f[2]))
            told.append(f"{file} ({len(functions)} functions on the way): {names}")
    return told


def sizes(seen: set[Function]) -> str:
    """The functions by the lines of their bodies, and the lines of all files that they stand in."""
    lines = sorted(lines_of(function) for function in seen)
    bounds = {"of one line or none (lambdas)": (0, 1), "of 2 or 3": (2, 3), "of 4 to 10": (4, 10), "longer": (11, 99)}
    told = ", ".join(f"{sum(a <= n <= b for n in lines)} {name}" for name, (a, b) in bounds.items())
    held = sum(len((Path(PACKAGE) / file).read_text().splitlines()) for file in {file for file, _, _ in seen})
    return f"{told}; {sum(lines)} lines in their bodies, {held} in their files"


def _files(functions: set[Function]) -> int:
    return len({file for file, _, _ in functions})


def _room(function: Function) -> str:
    parts = function[0].split("/")
    return "/".join(parts[:2]) if parts[0] == "core" else parts[0]


def main() -> int:
    """Count and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--chains", action="store_true")
    given = parser.parse_args()
    counter = Counter()
    with tempfile.TemporaryDirectory(prefix="polewright-way-") as name:
        place = Path(name)
        (place / "frames").mkdir()
        os.environ["POLEWRIGHT_HOME"] = str(place / "home")
        window, ever = on_the_way(counter, place / "frames")
        helper = in_the_helper(counter, max((place / "frames").glob("*.fits")))
    seen, ever = window | helper, ever | helper
    print(f"one frame from the watcher to the painted marker: {_files(seen)} files, {len(seen)} functions")
    print(f"and what else ran meanwhile for any of {FRAMES} frames: {_files(ever)} files, {len(ever)} functions")
    print(sizes(seen))
    for room in sorted({_room(function) for function in seen}):
        inside = {function for function in seen if _room(function) == room}
        print(f"  {room:28}{_files(inside):4} files {len(inside):4} functions")
    if given.list:
        print("\n".join(f"{file}:{line} {name}" for file, name, line in sorted(seen)))
    if given.chains:
        print("\n".join(chains(counter, seen)))
    sys.stdout.flush()
    os._exit(0)


if __name__ == "__main__":
    sys.exit(main())
