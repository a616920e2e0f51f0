"""How many fields are solved, how fast and how well: `python tests/bench/solver_rates.py --cache DIR`.

Recipe of the fields: tests/solver_fields.py. Times are processor time of one thread.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

from polewright.core.matching.hint import SolveHint
from polewright.core.model import PlateSolution

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from solver_fields import EPOCH_YEAR, FieldRecipe, error_px, is_right, make_field


def main() -> None:
    from polewright.services.catalogue import load_catalogue
    from polewright.services.solver import Solver

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--widths", type=float, nargs="+", default=[0.5, 1, 1.5, 2.5, 4, 8, 20, 40])
    parser.add_argument("--fields", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--poles", action="store_true", help="within a field of either celestial pole")
    args = parser.parse_args()
    catalogue = load_catalogue()
    solver = Solver(catalogue, args.cache)
    for width in args.widths:
        rng = np.random.default_rng([args.seed, int(10 * width)])
        took, right, wrong, failed, errors = [], 0, 0, [], []
        made = 0
        while made < args.fields:
            near = None
            if args.poles:
                near = np.array([*rng.normal(size=2) * np.radians(width) / 3, rng.choice([-1.0, 1.0])])
            field = make_field(catalogue, FieldRecipe(width), rng, near)
            if field is None:
                continue
            made += 1
            start = time.process_time()
            got = solver.solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
            took.append(1e3 * (time.process_time() - start))
            if not isinstance(got, PlateSolution):
                failed.append((field.catalogue_stars, field.real))
            elif is_right(field, got):
                right += 1
                errors.append(error_px(field, got))
            else:
                wrong += 1
        took = took[1:]
        print(
            f"{width:5.1f} deg: solved {right / made:.4f}, wrong {wrong}, median {np.median(took):.1f} ms,"
            f" p95 {np.percentile(took, 95):.1f} ms, max {max(took):.0f} ms, error {np.median(errors or [9]):.3f} px,"
            f" failed (catalogue, real) {sorted(failed)[:8]}",
            flush=True,
        )


if __name__ == "__main__":
    main()
