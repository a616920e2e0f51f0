"""From pixels in memory to the pointing, blind, one thread: `python tests/bench/pixels_to_pointing.py --cache DIR`.

Frames of real star fields (tests/solver_fields.py) drawn with stars of 3 px, SNR 500 down to 6. Processor time of all
runs, and its ratio to floors taken in turn with them, which a busy machine slows down alike: reading the file of such
a frame as a FITS image (astropy) and as bare bytes (numpy), and one pass over the pixels (their sum).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy.io import fits

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import starfields as sf
from polewright.core.matching.hint import SolveHint
from polewright.core.model import Frame, PlateSolution
from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue
from polewright.services.detector import Detector
from polewright.services.solver import Solver
from solver_fields import EPOCH_YEAR, Field, FieldRecipe, is_right, make_field

KINDS = {  # size of the frame, its width in degrees, most stars
    "1280x960, 55 stars": (1280, 960, 2.5, 60),
    "1280x960, 110 stars": (1280, 960, 2.5, 120),
    "3000x2000, 30 to 100 stars": (3000, 2000, 1.5, 120),
}
NOISE_ADU, SKY_ADU, FWHM_PX = 20.0, 1000.0, 3.0


def drawn(
    catalogue: Catalogue, width: int, height: int, width_deg: float, stars: int, seed: int
) -> tuple[Field, Frame]:
    """A field of 30 to `stars` stars and its frame."""
    rng, field = np.random.default_rng(seed), None
    recipe = FieldRecipe(width_deg, width_px=width, height_px=height, limit_stars=stars, spurious=0, noise_px=0.0)
    while field is None or field.real < 30:
        field = make_field(catalogue, recipe, rng)
    image = np.full((height, width), SKY_ADU)
    snr = np.geomspace(500.0, 6.0, field.real)
    for x, y, flux in zip(field.stars.x_px, field.stars.y_px, sf.flux_of(snr, FWHM_PX, NOISE_ADU)):
        sf.add_star(image, x, y, float(flux), FWHM_PX / sf.FWHM_PER_SIGMA)
    image += rng.normal(size=image.shape) * np.sqrt(NOISE_ADU**2 + np.maximum(image - SKY_ADU, 0.0))
    return field, Frame("drawn", np.clip(np.rint(image), 0, 65535).astype(np.uint16), None)


def floors(pixels: np.ndarray, folder: Path) -> dict[str, Callable[[], Any]]:
    """What else is done with a frame."""
    path = folder / f"{len(list(folder.iterdir()))}.fits"
    fits.PrimaryHDU(pixels).writeto(path)
    return {
        "read FITS": lambda: fits.getdata(path, memmap=False),
        "read bytes": lambda: np.fromfile(path, dtype=np.uint8),
        "one pass": lambda: pixels.sum(dtype=np.int64),
    }


def one_run(
    detector: Detector, solver: Solver, field: Field, frame: Frame, others: dict[str, Callable[[], Any]]
) -> dict[str, float]:
    """Milliseconds of each part."""
    times = [time.process_time()]
    stars = detector.detect(frame)
    times.append(time.process_time())
    got = solver.solve(stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
    times.append(time.process_time())
    assert isinstance(got, PlateSolution) and is_right(field, got)
    detect, solve = 1e3 * np.diff(times)
    spent = {"detect": detect, "solve": solve, "both": detect + solve}
    for name, work in others.items():
        begun = time.process_time()
        work()
        spent[name] = 1e3 * (time.process_time() - begun)
    return spent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--runs", type=int, default=12)
    args = parser.parse_args()
    catalogue, detector = load_catalogue(), Detector()
    solver = Solver(catalogue, args.cache)
    for kind, (width, height, width_deg, most) in KINDS.items():
        fields = [drawn(catalogue, width, height, width_deg, most, seed) for seed in range(8)]
        spent: dict[str, list[list[float]]] = {}
        with tempfile.TemporaryDirectory() as folder:
            others = [floors(frame.pixels, Path(folder)) for _, frame in fields]
            for run in range(args.runs + 1):
                for k, (field, frame) in enumerate(fields):
                    for name, ms in one_run(detector, solver, field, frame, others[k]).items():
                        if run > 0:
                            spent.setdefault(name, [[] for _ in fields])[k].append(ms)
        report(kind, {name: np.array(ms) for name, ms in spent.items()})


def report(kind: str, spent_ms: dict[str, np.ndarray]) -> None:
    """Times (fields, runs) of each part."""
    for name, ms in spent_ms.items():
        least = ms.min(axis=1)
        print(
            f"{kind}, {name}: quickest {ms.min():.2f} ms, quickest of each field {least.mean():.2f} ms,"
            f" median of all {np.median(ms):.2f} ms"
        )
    both = spent_ms["both"]
    for name in ("read FITS", "read bytes", "one pass"):
        other = spent_ms[name]
        least = both.min(axis=1).mean() / other.min(axis=1).mean()
        middle = np.median(both) / np.median(other)
        print(f"{kind}, both: {least:.1f} x {name} at their quickest, {middle:.1f} x by medians", flush=True)


if __name__ == "__main__":
    main()
