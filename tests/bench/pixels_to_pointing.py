"""From pixels in memory to the pointing, blind, one thread: `python tests/bench/pixels_to_pointing.py --cache DIR`.

Frames of real star fields (tests/solver_fields.py) drawn with stars of 3 px, SNR 500 down to 6. Processor time; the
quickest and the median of all runs, and the quickest as a ratio to one pass over the pixels (their sum) in the same
run, which a busy machine slows down alike.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import starfields as sf
from polewright.core.matching.hint import SolveHint
from polewright.core.model import Frame, PlateSolution
from polewright.core.sky.catalogue import Catalogue
from polewright.services.detector import Detector
from solver_fields import EPOCH_YEAR, Field, FieldRecipe, is_right, make_field

SIZES = {"1280x960": (1280, 960, 2.5), "3096x2080": (3096, 2080, 1.5)}
NOISE_ADU, SKY_ADU, FWHM_PX = 20.0, 1000.0, 3.0


def drawn(catalogue: Catalogue, width: int, height: int, width_deg: float, seed: int) -> tuple[Field, Frame]:
    """A field of at least 30 stars and its frame."""
    rng, field = np.random.default_rng(seed), None
    recipe = FieldRecipe(width_deg, width_px=width, height_px=height, limit_stars=120, spurious=0, noise_px=0.0)
    while field is None or field.real < 30:
        field = make_field(catalogue, recipe, rng)
    image = np.full((height, width), SKY_ADU)
    snr = np.geomspace(500.0, 6.0, field.real)
    for x, y, flux in zip(field.stars.x_px, field.stars.y_px, sf.flux_of(snr, FWHM_PX, NOISE_ADU)):
        sf.add_star(image, x, y, float(flux), FWHM_PX / sf.FWHM_PER_SIGMA)
    image += rng.normal(size=image.shape) * np.sqrt(NOISE_ADU**2 + np.maximum(image - SKY_ADU, 0.0))
    return field, Frame("drawn", np.clip(np.rint(image), 0, 65535).astype(np.uint16), None)


def main() -> None:
    from polewright.services.catalogue import load_catalogue
    from polewright.services.solver import Solver

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--runs", type=int, default=12)
    args = parser.parse_args()
    catalogue, detector = load_catalogue(), Detector()
    solver = Solver(catalogue, args.cache)
    for size, (width, height, width_deg) in SIZES.items():
        fields = [drawn(catalogue, width, height, width_deg, seed) for seed in range(8)]
        spent = []
        for run in range(args.runs + 1):
            for field, frame in fields:
                times = [time.process_time()]
                stars = detector.detect(frame)
                times.append(time.process_time())
                got = solver.solve(stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
                times.append(time.process_time())
                frame.pixels.sum(dtype=np.int64)
                times.append(time.process_time())
                assert isinstance(got, PlateSolution) and is_right(field, got)
                if run > 0:
                    spent.append(np.diff(times) * 1e3)
        detect, solve, floor = np.array(spent).T
        both = detect + solve
        for what, ms in (("detect", detect), ("solve", solve), ("both", both)):
            print(f"{size} {what}: quickest {ms.min():.1f} ms, median {np.median(ms):.1f} ms", flush=True)
        print(f"{size}: {both.min() / floor.min():.1f} x one pass over the pixels ({floor.min():.2f} ms)", flush=True)


if __name__ == "__main__":
    main()
