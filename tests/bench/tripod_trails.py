"""Long exposures of a camera that stands still: `python tests/bench/tripod_trails.py --cache DIR [--seeds N]`.

Frames of tests/tripod_frames.py, 80, 150 or 250 stars, declinations from -20 to 80 degrees. Of each field and trail
(px at the middle of the frame): how many are solved, by how much they are off, px and in their own sigmas (the moment
within the exposure is an error that all stars share); how many are refused, with the length stated and the true one
(the median of the arcs that lie whole in the frame), or the reason; and the processor time of the slowest frame.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from polewright.core.model import PlateSolution
from polewright.core.star_trouble import Trailed
from polewright.services.catalogue import load_catalogue
from polewright.services.detector import Detector
from polewright.services.measuring import FrameMeasurer
from polewright.services.second_looks import second_looks
from polewright.services.solver import Solver
from tripod_frames import Tripod, stood


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--widths", type=float, nargs="+", default=[1.0, 2.5, 8.0, 20.0, 70.0])
    parser.add_argument("--lengths", type=float, nargs="+", default=[60.0, 120.0, 180.0, 300.0])
    args = parser.parse_args()
    catalogue = load_catalogue()
    solver = Solver(catalogue, args.cache)
    for width in args.widths:
        for length in args.lengths:
            off, pulls, told, spent = [], [], [], []
            for seed in range(args.seeds):
                rng = np.random.default_rng([int(width), int(length), seed])
                dec, mirrored = float(rng.uniform(-20.0, 80.0)), bool(rng.integers(2))
                tripod = Tripod(width, length, dec, int(rng.choice([80, 150, 250])), mirrored=mirrored)
                taken = stood(catalogue, tripod, rng)
                measurer = FrameMeasurer(Detector(), solver, time.process_time, look_again=second_looks)
                start = time.process_time()
                got = measurer.place(taken.frame).outcome
                spent.append(time.process_time() - start)
                if isinstance(got, PlateSolution):
                    off.append(taken.error_px(got))
                    pulls.append(off[-1] / taken.sigma_px(got))
                else:
                    true_px = float(np.median(taken.lengths_px)) if taken.lengths_px.size else np.nan
                    named = isinstance(got.why, Trailed)
                    told.append(f"{got.why.length_px:.0f} of {true_px:.0f} px" if named else repr(got.why))
            errors = f"{np.median(off):.2f} / {max(off):.2f} px, {max(pulls):.1f} sigmas at most" if off else "none"
            print(
                f"{width:g} deg, {length:.0f} px: {len(off)} of {args.seeds} solved, off {errors};"
                f" refused {told}; {max(spent):.2f} s at most",
                flush=True,
            )


if __name__ == "__main__":
    main()
