"""Captures through bent lenses and fisheyes: `python tests/bench/wide_captures.py [--captures N]`.

Five star lists over 80 degrees, solved by their middle (tests/wide_lenses.py); the error of the axis when each frame
has a lens of its own, and when one lens is fitted to all: median and largest, and in stated sigmas (should be 1).
"After": the last frame is placed by the lens of the four others, as `follow` does after its capture.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from polewright.core.axis.shared_lens import frame_by, frames_by, learned_lens, with_shared_lens
from sky_solver import shared_catalogue
from wide_lenses import AIR, SITE, Bending, capture, error_arcmin, wide_frames

LENSES = (
    Bending("straight", 75.0, -0.03),
    Bending("straight", 90.0),
    Bending("equidistant", 120.0, mirrored=True),
    Bending("stereographic", 150.0),
    Bending("equidistant", 180.0),
    Bending("equal areas", 180.0, mirrored=True),
)


def row(lens: Bending, captures: int) -> str:
    """One row of the table."""
    apart, together, pulls, spent, refused = [], [], [], [], 0
    after, after_pulls, after_spent = [], [], []
    for seed in range(captures):
        taken = capture(shared_catalogue(), lens, np.random.default_rng([7, seed]))
        try:
            frames = wide_frames(taken)
            start = time.process_time()
            fitted = with_shared_lens(frames, shared_catalogue(), SITE, AIR)
            spent.append(time.process_time() - start)
            error, sigma = error_arcmin(fitted, taken)
            together.append(float(np.linalg.norm(error)))
            pulls.append(error / sigma)
            apart.append(float(np.linalg.norm(error_arcmin([frame.sky for frame in frames], taken)[0])))
            learned = learned_lens(frames[:-1], shared_catalogue(), SITE, AIR)
            assert learned is not None
            start = time.process_time()
            last = frame_by(learned, frames[-1], shared_catalogue(), SITE, AIR)
            after_spent.append(time.process_time() - start)
            assert last is not None
            error, sigma = error_arcmin([*frames_by(learned, frames[:-1]), last], taken)
            after.append(float(np.linalg.norm(error)))
            after_pulls.append(error / sigma)
        except AssertionError:
            refused += 1  # a frame that was not solved, or no axis from it
    each = f"{np.median(apart):.2f} / {max(apart):.2f}" if apart else "none"
    one = f"{np.median(together):.2f} / {max(together):.2f} | {np.sqrt(np.mean(np.square(pulls))):.2f}"
    told = f"{np.median(after):.2f} / {max(after):.2f} | {np.sqrt(np.mean(np.square(after_pulls))):.2f}"
    name = f"{lens.drawing}, {lens.width_deg:.0f} degrees"
    seconds = f"{np.median(spent):.2f}", f"{np.median(after_spent):.2f}"
    cells = (name, captures, len(together), each, one, seconds[0], told, seconds[1], refused)
    return f"| {' | '.join(map(str, cells))} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--captures", type=int, default=10)
    args = parser.parse_args()
    print(
        "| lens | N | axis | each its own, arcmin | one lens, arcmin | in sigmas | s | "
        "after, arcmin | in sigmas | s | a frame or axis refused |"
    )
    print("|---" * 11 + "|")
    for lens in LENSES:
        print(row(lens, args.captures), flush=True)


if __name__ == "__main__":
    main()
