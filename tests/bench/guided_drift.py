"""How often a drift is refused because nothing moves: `python tests/bench/guided_drift.py [--nights 200]`.

Prints the share for a mount that is guided in both axes, whose axis may be anywhere, and for one that runs free with
its axis on the pole, by its periodic error.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from drift_nights import guided, mount_off, watched
from polewright.core.drift.live import DriftProof, DriftResult, measure

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
CADENCE_S = 4.0


def held(proof: DriftProof) -> bool:
    """Whether it is refused."""
    found = measure(proof)
    assert isinstance(found, DriftResult)
    return found.held


def free(seconds: float, noise: float, wave_arcsec: float, rng: np.random.Generator) -> bool:
    """A free mount, aligned to 0.1'."""
    period_s = float(rng.choice([240.0, 478.7, 638.0]))
    spec = mount_off(50.0, 0.1, 0.1, periodic_error_arcsec=wave_arcsec, periodic_error_s=period_s)
    fields = tuple((h + rng.uniform(-0.3, 0.3), d + rng.uniform(-5.0, 5.0)) for h, d in FIELDS)
    return held(watched(spec, 50.0, fields, seconds + rng.uniform(0.0, 30.0), CADENCE_S, noise, rng))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=200)
    count = parser.parse_args().nights
    for seconds, noise in ((160.0, 0.5), (240.0, 0.5), (300.0, 1.0), (600.0, 1.0)):
        rng = np.random.default_rng(1)
        caught = sum(held(guided(50.0, FIELDS, seconds, CADENCE_S, noise, rng)) for _ in range(count))
        print(f'{seconds:.0f} s a field, frames of {noise:g}": guided, refused {caught / count:.3f}', flush=True)
        for wave in (2.0, 3.0, 5.0, 10.0):
            refused = sum(free(seconds, noise, wave, rng) for _ in range(count))
            print(f'    free, periodic error +-{wave:g}": refused {refused / count:.3f}', flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
