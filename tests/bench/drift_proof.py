"""How good the proof by drift is: `python tests/bench/drift_proof.py [RUNS]` prints the distribution.

300 nights with 20" peak periodic error and 1" noise of one frame, both hemispheres: how often the truth lies within
two sigma, and how long it takes until the certainty is 1', against the prediction. Then the same with noise that has
a memory, as seeing has.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from polewright.core.model import FloatArray
from polewright.simulate.mount import MountSpec

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from drift_nights import mount_off, watched
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.drift.live import DriftResult, measure
from polewright.core.drift.plan import predicted_seconds

PLACES = ((0.0, 5.0), (-5.0, 60.0))
CADENCE_S = 3.0


def main(runs: int) -> None:
    wanted = 1.0 / ARCMIN_PER_RAD
    predicted = predicted_seconds([h for h, _ in PLACES], wanted, 1.0 / ARCSEC_PER_RAD, CADENCE_S)
    print(f"predicted time at each of two positions for 1' with 1\" every {CADENCE_S:g} s: {predicted:.0f} s")
    for memory in (0.0, 0.5):
        rng = np.random.default_rng(77)
        inside, ratios, at_prediction = [], [], []
        for _ in range(runs):
            lat = rng.choice([-1.0, 1.0]) * rng.uniform(20.0, 60.0)
            error = rng.uniform(-20.0, 20.0, 2)
            spec = mount_off(
                lat,
                *error,
                periodic_error_arcsec=20.0,
                periodic_error_s=float(rng.choice([240.0, 478.7, 638.0])),
                roll_deg=rng.uniform(0.0, 360.0),
            )
            inside.append(_inside(spec, lat, error, rng, memory))
            reached, miss = _time_to(spec, lat, error, predicted, wanted, rng, memory)
            ratios.append(reached / predicted)
            at_prediction.append(miss)
        print(f"memory of the noise {memory:g}, {runs} runs")
        print(f"  within 2 sigma: east {100 * np.mean(inside, 0)[0]:.1f} %, up {100 * np.mean(inside, 0)[1]:.1f} %")
        print(f"  time to 1' over prediction: median {np.median(ratios):.2f}, 95 % {np.quantile(ratios, 0.95):.2f}")
        print(f"  error then, rms: {np.sqrt(np.mean(np.square(at_prediction))):.2f}' in each component")


def _inside(spec: MountSpec, lat: float, error: FloatArray, rng: np.random.Generator, memory: float) -> Any:
    result = measure(watched(spec, lat, PLACES, 240.0, CADENCE_S, 1.0, rng, memory))
    assert isinstance(result, DriftResult)
    sigma = np.sqrt(np.diag(np.array(result.covariance_rad2)))
    return np.abs(np.array([result.east_rad, result.up_rad]) - error / ARCMIN_PER_RAD) < 2.0 * sigma


def _time_to(
    spec: MountSpec,
    lat: float,
    error: FloatArray,
    predicted: float,
    wanted: float,
    rng: np.random.Generator,
    memory: float,
) -> tuple[float, Any]:
    """Seconds at each position until the reported sigma is as wanted, in steps of 3 %; the errors then, arcmin."""
    whole = watched(spec, lat, PLACES, 2.5 * predicted, CADENCE_S, 1.0, rng, memory)
    begin = {s.position: s.at_s for s in reversed(whole.samples)}
    for factor in np.arange(0.7, 2.5, 0.03):
        kept = tuple(s for s in whole.samples if s.at_s - begin[s.position] <= factor * predicted)
        result = measure(replace(whole, samples=kept))
        if isinstance(result, DriftResult) and result.sigma_rad <= wanted:
            return factor * predicted, np.array([result.east_rad, result.up_rad]) * ARCMIN_PER_RAD - error
    return 2.5 * predicted, np.zeros(2)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
