"""What no watcher can beat: `python tests/bench/vigil_bound.py` prints the bound beside which the vigil is measured.

A base that tilts by k across the axis shows k cos(phi) along the declination axis d and k sin(phi) along m, phi being
any angle. How sure a least-squares fit can be of a step or a ramp that began at a known moment, with noise, slow
wandering and slope as large as they are but nothing else unknown, is the inverse of the information of its column:
the bound of Cramer and Rao. The share of directions in which it passes the vigil's threshold is the most that any
watcher with so few false alarms can find. Right ascension shows k sin(phi) sin(declination), under the periodic
error: the lines "ra known to" say what a model of the worm, wrong by so much from frame to frame, would add.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from polewright.core.vigil.watch import THRESHOLD
from vigil_nights import Run

CORRELATED = np.sqrt((1.0 + 0.2) / (1.0 - 0.2))  # noise of vigil_nights from frame to frame
WANDER, WANDER_S, BEFORE_S = 0.06, 700.0, 1200.0
FLEXURE_H, DEC_DEG = 3.0, 35.0


def information(column: np.ndarray, at_s: np.ndarray, sigma: float, slope_sigma_h: float) -> float:
    """Of one column, level and slope being unknown; 1 / arcsec^2."""
    apart = (at_s[:, None] - at_s) / WANDER_S
    weight = np.linalg.inv(np.diag(np.full(at_s.size, sigma**2)) + WANDER**2 * np.exp(-0.5 * apart**2))
    plain = np.stack([np.ones_like(at_s), at_s / 3600.0], axis=1)
    normal = plain.T @ weight @ plain + np.diag([0.0, slope_sigma_h**-2])
    cross = plain.T @ weight @ column
    return float(column @ weight @ column - cross @ np.linalg.solve(normal, cross))


def share_found(slow: bool, size: float, after_s: float, worm_left: float | None) -> float:
    """The share of directions that can be found `after_s` after the onset."""
    run = Run()
    at_s = np.arange(-BEFORE_S, after_s + 1e-6, run.cadence_s)
    column = np.maximum(at_s, 0.0) / 3600.0 if slow else (at_s >= 0.0).astype(float)
    drift_h = 7.292e-5 * run.axis_sigma * 3600.0
    d = information(column, at_s, run.noise * CORRELATED, float(np.hypot(FLEXURE_H, drift_h)))
    m = information(column, at_s, run.noise * run.roll_share, 50.0)
    if worm_left is not None:
        sigma = float(np.hypot(run.noise * CORRELATED, worm_left))
        m += information(column, at_s, sigma, 50.0) * np.sin(np.radians(DEC_DEG)) ** 2
    phi = np.linspace(0.0, 0.5 * np.pi, 4001)
    return float(np.mean(size * np.sqrt(d * np.cos(phi) ** 2 + m * np.sin(phi) ** 2) > THRESHOLD))


def main() -> None:
    for slow, size, unit in ((False, 5.0, '"'), (True, 10.0, '"/h')):
        for worm_left in (None, 1.0, 0.3, 0.1):
            shares = [100.0 * share_found(slow, size, 60.0 * minutes, worm_left) for minutes in (5, 10, 15)]
            known = "without right ascension" if worm_left is None else f'ra known to {worm_left:g}"'
            told = ", ".join(f"{share:.0f} %" for share in shares)
            print(f"{'slow' if slow else 'sudden'} {size:g}{unit}, {known}: at most {told} within 5, 10, 15 min")


if __name__ == "__main__":
    main()
