"""Whether the truth lies inside the 95 % ellipse that a drift states, before and after its whole budget.

    python tests/bench/drift_coverage.py [--nights 200]

Two fields of 120 to 600 s, a frame every 3 to 10 s of 0.3 to 1" noise, axes up to 20' off, both hemispheres, periodic
error 3 to 15". On top, one at a time and then all together: red noise of 0.2 to 1.5" that remembers for 10 to 60 s, a
base that creeps by up to 1" a minute, sag up to 20" and pull up to 15" per radian, air 8 degrees and 18 hPa from the
usual. `frames`: the covariance of the frames alone, as it was stated on the command line before; `whole`: as stated.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from drift_nights import AIR, mount_off, watched
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.covariance import Covariance
from polewright.core.drift.live import DriftProof, DriftResult, measure
from polewright.core.drift.reading import stated_covariance
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import Atmosphere
from polewright.simulate.real_mount import RealMount

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
INSIDE_95 = 5.991  # chi-square, 2 degrees of freedom
KINDS = ("nothing", "wander", "creep", "flexure", "weather", "all")
STOOD_S = math.inf  # on firm ground


def drift(seed: int, kind: str) -> tuple[DriftProof, DriftResult, tuple[float, float]]:
    """One night of that kind: the frames, what they say, the truth in arcmin (in the middle of the watch)."""
    rng = np.random.default_rng([seed, 77])
    lat = float(rng.choice([-1.0, 1.0]) * rng.uniform(20.0, 60.0))
    east, up = rng.uniform(-20.0, 20.0, 2)
    seconds, cadence_s, noise = (float(rng.uniform(*ends)) for ends in ((120.0, 600.0), (3.0, 10.0), (0.3, 1.0)))
    wander, memory_s, creep, toward = (
        float(rng.uniform(*ends)) for ends in ((0.2, 1.5), (10.0, 60.0), (0.0, 1.0), (0.0, 360.0))
    )
    sag, pull, warmer, heavier = (
        float(rng.uniform(*e)) for e in ((0.0, 20.0), (-15.0, 15.0), (-8.0, 8.0), (-18, 18))
    )
    period_s, wave = float(rng.choice([240.0, 478.7, 638.0])), float(rng.uniform(3.0, 15.0))
    real = RealMount(seed)
    if kind in ("wander", "all"):
        real = replace(real, wander_arcsec=wander, wander_s=memory_s)
    if kind in ("creep", "all"):
        real = replace(real, creep_arcsec_min=creep, creep_toward_deg=toward)
    if kind in ("flexure", "all"):
        real = replace(real, pull_arcsec_rad=pull)
    air = AIR
    if kind in ("weather", "all"):
        air = Atmosphere(AIR.pressure_hpa + heavier, AIR.temperature_c + warmer)
    spec = mount_off(lat, east, up, air, periodic_error_arcsec=wave, periodic_error_s=period_s)
    spec = replace(spec, real=real, sag_arcsec=sag if kind in ("flexure", "all") else 0.0)
    proof = replace(watched(spec, lat, FIELDS, seconds, cadence_s, noise, rng, air=air), atmosphere=AIR)
    found = measure(proof)
    assert isinstance(found, DriftResult)
    middle_min = (seconds + 40.0) / 60.0
    crept = real.creep_arcsec_min * middle_min / 60.0
    side = 1.0 if lat > 0.0 else -1.0
    sunk_east, sunk_north = np.sin(np.radians(toward)) * crept, np.cos(np.radians(toward)) * crept
    truth = (
        float(east + sunk_east * np.sin(np.radians(abs(lat)))),
        float(up - side * sunk_north),
    )
    return proof, found, truth


def judged(found: DriftResult, truth: tuple[float, float], covariance: Covariance) -> tuple[bool, float]:
    """Whether the truth lies inside; the larger sigma in arcsec."""
    miss = np.array([found.east_rad, found.up_rad]) - np.array(truth) / ARCMIN_PER_RAD
    matrix = np.array(covariance)
    return bool(miss @ np.linalg.solve(matrix, miss) < INSIDE_95), float(np.sqrt(matrix.max()) * ARCSEC_PER_RAD)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=1)
    args = parser.parse_args()
    print(f"{args.nights} drifts of each kind; inside the stated 95 %, median of the larger sigma in arcsec")
    for kind in KINDS:
        rows: dict[str, list[tuple[bool, float]]] = {"frames": [], "whole": []}
        for seed in range(args.first_seed, args.first_seed + args.nights):
            proof, found, truth = drift(seed, kind)
            rested_s = 0.0 if kind in ("creep", "all") else STOOD_S
            rows["frames"].append(judged(found, truth, found.covariance_rad2))
            rows["whole"].append(judged(found, truth, stated_covariance(proof, found, rested_s, FLEXURE_PRIOR)))
        told = "   ".join(
            f'{name} {100.0 * np.mean([inside for inside, _ in row]):5.1f} % ({np.median([s for _, s in row]):5.1f}")'
            for name, row in rows.items()
        )
        print(f"{kind:10} {told}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
