"""Real frames of any folder in one table: `python tests/bench/real_frames.py FOLDER --cache DIR [--truth FILE]`.

As the program does it, from the files alone, second looks included; frames of one subfolder follow each other as
those of a night do. `--truth`: lines of "NAME RA DEC" (deg, ICRS; "none" instead of RA for a picture that shows no
sky). A solution counts as wrong when it lies further from the truth than half of its field; without a truth it counts
as solved, and is listed to be looked at.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from polewright.core.angles import sky_to_vector
from polewright.core.errors import FrameReadError
from polewright.core.model import PlateSolution
from polewright.core.unsolved import Unsolved
from polewright.services.catalogue import load_catalogue
from polewright.services.detector import Detector
from polewright.services.frame_reader.families import is_frame_name
from polewright.services.measuring import FrameMeasurer
from polewright.services.second_looks import second_looks
from polewright.services.solver import Solver

Truth = dict[str, tuple[float, float] | None]
KINDS = ("solved", "rightly refused", "wrongly refused", "refused", "wrong", "unreadable")


def truth_of(path: Path | None) -> Truth:
    """Where the frames point; None for a picture that shows no sky."""
    known: Truth = {}
    for line in path.read_text(encoding="utf-8").splitlines() if path is not None else []:
        name, *place = line.rsplit(maxsplit=2) if "none" not in line else [line.rsplit(maxsplit=1)[0]]
        known[name] = (float(place[0]), float(place[1])) if place else None
    return known


def judged(name: str, outcome: PlateSolution | Unsolved, truth: Truth) -> str:
    """One of KINDS."""
    if isinstance(outcome, Unsolved):
        return "refused" if name not in truth else "rightly refused" if truth[name] is None else "wrongly refused"
    if name not in truth:
        return "solved"
    place = truth[name]
    if place is None:
        return "wrong"
    off = np.arccos(np.clip(sky_to_vector(*np.radians(place)) @ outcome.attitude_icrs.camera_to_sky[:, 2], -1, 1))
    return "solved" if off < 0.5 * outcome.camera.width_px / outcome.camera.focal_px else "wrong"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--truth", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    args = parser.parse_args()
    solver, truth = Solver(load_catalogue(), args.cache), truth_of(args.truth)
    table: dict[str, Counter[str]] = defaultdict(Counter)
    for folder in sorted({path.parent for path in args.folder.rglob("*") if path.is_file()}):
        measurer = FrameMeasurer(Detector(), solver, time.process_time, utc_offset_hours=0.0, look_again=second_looks)
        kind = str(folder.relative_to(args.folder))
        for path in sorted(p for p in folder.iterdir() if is_frame_name(p.name)):
            start = time.process_time()
            try:
                outcome = measurer.measure(path).outcome
            except FrameReadError as error:
                table[kind]["unreadable"] += 1
                print(f"{path.name}: {error}", flush=True)
                continue
            told = judged(path.name, outcome, truth)
            table[kind][told] += 1
            spent = time.process_time() - start
            what = outcome.centre if isinstance(outcome, PlateSolution) else outcome.why
            print(f"{path.name}: {told}, {spent:.2f} s, {what}", flush=True)
    print("| kind | " + " | ".join(KINDS) + " |")
    for kind, counts in table.items():
        print(f"| {kind} | " + " | ".join(str(counts[k]) for k in KINDS) + " |")


if __name__ == "__main__":
    main()
